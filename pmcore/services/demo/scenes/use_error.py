"""In one theatre a device is often worked wrongly, until its people are trained."""

import datetime as dt
import random
from collections.abc import Sequence
from typing import Any

from pmcore.engines.vocabulary import Cause, FailureKind, Severity, Subsystem
from pmcore.services.demo.diary import Diary
from pmcore.services.demo.failures import Failure, note_failure, spread
from pmcore.services.demo.fleet import Machine
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import core, draws_of, parameters_of, part_of
from pmcore.services.demo.world import World

NAME = "use_error"

_WORN, _NOTHING = 0.6, 0.4  # of the reports that were no use error: a fault was found, or none


def note(world: World, rota: Rota, diary: Diary) -> None:
    said, draws = parameters_of(world, NAME), draws_of(world, NAME)
    fleet = [machine for name in said["classes"] for machine in core(world, device_class=name)]
    there = [machine for machine in fleet if (machine.site, machine.area) == (said["site"], said["area"])]
    elsewhere = [machine for machine in fleet if machine not in there]
    trained_on: dt.date = said["trained_on"]
    day_before = trained_on - dt.timedelta(days=1)
    _note(
        world, diary, draws, there, numbers=said["before"], period=(world.begins_on, day_before), trained_on=trained_on
    )
    _note(
        world,
        diary,
        draws,
        elsewhere,
        numbers=said["elsewhere"],
        period=(world.begins_on, world.ends_on),
        trained_on=trained_on,
    )
    _note(world, diary, draws, there, numbers=said["after"], period=(trained_on, world.ends_on), trained_on=trained_on)


def _note(
    world: World,
    diary: Diary,
    draws: random.Random,
    fleet: Sequence[Machine],
    *,
    numbers: Any,
    period: tuple[dt.date, dt.date],
    trained_on: dt.date,
) -> None:
    reports = spread(draws, fleet, part_of(world, numbers["reports"]), *period, apart=2)
    errors = set(draws.sample(range(len(reports)), min(len(reports), part_of(world, numbers["errors"]))))
    for number, (machine, day) in enumerate(reports):
        is_error = number in errors
        worn = draws.random() < _WORN / (_WORN + _NOTHING)
        note_failure(world, diary, _report(machine, day, trained_on, is_error=is_error, worn=worn))


def _report(machine: Machine, day: dt.date, trained_on: dt.date, *, is_error: bool, worn: bool) -> Failure:
    if is_error:
        return Failure(
            machine=machine, on=day, subsystem=Subsystem.CONTROLS, mode="It was set up wrongly.", cause=Cause.USE_ERROR,
            kind=FailureKind.NONE, severity=Severity.MINOR, needs_repair=False, trained_on=max(trained_on, day),
        )  # fmt: skip
    if worn:
        return Failure(machine=machine, on=day, subsystem=Subsystem.CONTROLS, mode="A key is worn out.")
    return Failure(
        machine=machine, on=day, subsystem=Subsystem.CONTROLS, mode="Nothing was found.", cause=Cause.NO_FAULT_FOUND,
        kind=FailureKind.NONE, severity=Severity.MINOR, needs_repair=False,
    )  # fmt: skip
