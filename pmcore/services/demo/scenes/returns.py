"""Repairs by one provider come back within a month more often than those of the others."""

import datetime as dt

from pmcore.engines.vocabulary import Cause, Subsystem
from pmcore.services.demo.diary import Diary
from pmcore.services.demo.failures import Failure, note_failure, spread
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import core, draws_of, parameters_of, part_of
from pmcore.services.demo.world import World

NAME = "returns"

# Nothing else in the demonstration goes wrong with these, so that no stranger passes for a return.
_SUBSYSTEMS = (Subsystem.SOFTWARE, Subsystem.ACCESSORIES, Subsystem.BACKUP_CONTROLS)
_APART = 70


def note(world: World, rota: Rota, diary: Diary) -> None:
    """What comes back is then repaired by our own technicians."""
    said, draws = parameters_of(world, NAME), draws_of(world, NAME)
    fleet = [machine for name in said["classes"] for machine in core(world, device_class=name)]
    counts = [
        (each["provider"], part_of(world, each["repairs"]), part_of(world, each["return"])) for each in said["repairs"]
    ]
    failures = spread(draws, fleet, sum(n for _, n, _ in counts), world.begins_on, said["ends_on"], apart=_APART)
    draws.shuffle(failures)
    for provider, number, returning in counts:
        mine, failures = failures[:number], failures[number:]
        for place, (machine, day) in enumerate(mine):
            subsystem = draws.choice(_SUBSYSTEMS)
            released_on = day + dt.timedelta(days=draws.randint(0, 2))
            failure = Failure(
                machine=machine, on=day, subsystem=subsystem, mode="It stopped working.", repaired_by=provider,
                released_on=released_on,
            )  # fmt: skip
            note_failure(world, diary, failure)
            again_on = released_on + dt.timedelta(days=draws.randint(2, said["within"]))
            if place < returning:
                again = Failure(
                    machine=machine, on=again_on, subsystem=subsystem, mode="It stopped working again.",
                    cause=Cause.PREVIOUS_REPAIR,
                )  # fmt: skip
                note_failure(world, diary, again)
