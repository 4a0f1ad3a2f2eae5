"""A decoy: a single device of a new revision fails twice in a year and a half, which says next to nothing."""

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Subsystem
from pmcore.models import DeviceRevision
from pmcore.models.rows import Row
from pmcore.services.demo.diary import MORNING, Diary
from pmcore.services.demo.failures import Failure, note_failure, spread
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.hand_control import revision_set
from pmcore.services.demo.scenes.picking import draws_of, of_model, parameters_of
from pmcore.services.demo.world import World
from pmcore.services.preparation import Draft

NAME = "tiny_group"


def note(world: World, rota: Rota, diary: Diary) -> None:
    said, draws = parameters_of(world, NAME), draws_of(world, NAME)
    fleet = of_model(world, said["class"], said["model"])
    for machine in fleet:
        diary.note(world.begins_on, MORNING, SYSTEM, revision_set(world, machine, said["others"]))
    here = [machine for machine in fleet if machine.site == said["site"]]
    if not here:
        return
    chosen, from_on = draws.choice(here), said["from_on"]

    def changed() -> Draft:
        device = world.device(chosen)
        revision = world.revisions[chosen.model.maker, chosen.model.name, said["revision"]]
        return Draft("revision_set", device, [Row(DeviceRevision, device=device, from_on=from_on, revision=revision)])

    diary.note(from_on, MORNING, SYSTEM, changed)
    for machine, day in spread(draws, [chosen], said["failures"], from_on, world.ends_on):
        note_failure(
            world, diary, Failure(machine=machine, on=day, subsystem=Subsystem.BRAKES, mode="A brake does not hold.")
        )
