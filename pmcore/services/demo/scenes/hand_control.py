"""A hand control that fails more often since its revision."""

from collections.abc import Callable

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Subsystem
from pmcore.models import DeviceRevision
from pmcore.models.rows import Row
from pmcore.services.demo.diary import MORNING, Diary
from pmcore.services.demo.failures import Failure, note_failure, spread
from pmcore.services.demo.fleet import Machine
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import draws_of, of_model, parameters_of, part_of
from pmcore.services.demo.world import World
from pmcore.services.preparation import Draft

NAME = "hand_control"


def note(world: World, rota: Rota, diary: Diary) -> None:
    """Devices are repaired on the day of the failure: they earn their three years in service."""
    said, draws = parameters_of(world, NAME), draws_of(world, NAME)
    fleet = of_model(world, said["class"], said["model"])
    draws.shuffle(fleet)
    for label, terms in said["revisions"].items():
        count = round(terms["share"] * len(of_model(world, said["class"], said["model"])))
        mine, fleet = fleet[:count], fleet[count:]
        for machine in mine:
            diary.note(world.begins_on, MORNING, SYSTEM, revision_set(world, machine, label))
        failures = part_of(world, terms["failures"])
        for machine, day in spread(draws, mine, failures, world.begins_on, world.ends_on):
            failure = Failure(machine=machine, on=day, subsystem=Subsystem.CONTROLS, mode=said["mode"])
            note_failure(world, diary, failure)


def revision_set(world: World, machine: Machine, label: str) -> Callable[[], Draft]:
    """From the first day on the device is of this revision."""

    def draft() -> Draft:
        device = world.device(machine)
        revision = world.revisions[machine.model.maker, machine.model.name, label]
        row = Row(DeviceRevision, device=device, from_on=world.begins_on, revision=revision)
        return Draft("revision_set", device, [row])

    return draft
