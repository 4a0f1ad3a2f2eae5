"""In the last weeks devices of mixed classes pile up in the workshop; some of them wait for a part."""

import datetime as dt
from collections.abc import Callable

from pmcore.engines.vocabulary import (
    Cause,
    Discovery,
    FailureKind,
    HoldReason,
    PartNeedState,
    Severity,
    Subsystem,
)
from pmcore.models import Finding, FindingDetails, Hold, HoldDetails, PartNeed, PartNeedDetails, Placement
from pmcore.models.rows import Row
from pmcore.services.demo.diary import LATER, REPAIRS, Diary
from pmcore.services.demo.fleet import Machine
from pmcore.services.demo.rota import Rota
from pmcore.services.demo.scenes.picking import draws_of, parameters_of, plain
from pmcore.services.demo.world import World, written
from pmcore.services.preparation import Draft

NAME = "workshop_floor"

_WRONG = (
    (Subsystem.COVERS, "A cover is broken off."),
    (Subsystem.DRIVE, "A motor hums."),
    (Subsystem.BRAKES, "A castor is bent."),
)


def note(world: World, rota: Rota, diary: Diary) -> None:
    """Each is carried down one day; every other one waits for a part, ordered but not there."""
    said, draws = parameters_of(world, NAME), draws_of(world, NAME)
    workshop = next(
        name for site in world.parameters.sites if site.label == said["site"]
        for name, kind in site.areas if kind == "workshop"
    )  # fmt: skip
    days = rota.working(said["site"], said["starts_on"], said["ends_on"])
    carried = 0
    for device_class, number in said["numbers"].items():
        pool = plain(world, site=said["site"], device_class=device_class)
        for machine in draws.sample(pool, min(number, len(pool))):
            day = draws.choice(days)
            wrong, waits = draws.choice(_WRONG), carried % 2 == 0
            actor = world.people[machine.technician]
            diary.note(day, LATER, actor, _carried(world, machine, day, workshop))
            finding = Row(Finding)
            diary.note(day, LATER, actor, _found(world, machine, day, finding, wrong))
            if waits:
                diary.note(day, REPAIRS, actor, _wanted(world, machine, day, finding))
            carried += 1


def _carried(world: World, machine: Machine, day: dt.date, workshop: str) -> Callable[[], Draft]:
    def draft() -> Draft:
        device = world.device(machine)
        area = world.areas[machine.site, workshop]
        return Draft("device_placed", device, [Row(Placement, device=device, from_on=day, area=area)])

    return draft


def _found(
    world: World, machine: Machine, day: dt.date, finding: Row, wrong: tuple[Subsystem, str]
) -> Callable[[], Draft]:
    def draft() -> Draft:
        device = world.device(machine)
        finding.values["device"] = device
        hold = Row(Hold, device=device)
        details = Row(
            FindingDetails, finding=finding, from_on=day, discovered_on=day, discovery=Discovery.REPAIR,
            subsystem=wrong[0], mode=wrong[1], cause=Cause.NOT_KNOWN, failure=FailureKind.POTENTIAL,
            severity=Severity.MINOR,
        )  # fmt: skip
        held = Row(
            HoldDetails, hold=hold, from_on=day, reason=HoldReason.FINDING, finding=finding,
            placed_by=world.person(machine.technician),
        )  # fmt: skip
        return Draft("finding_made", device, [finding, details, hold, held])

    return draft


def _wanted(world: World, machine: Machine, day: dt.date, finding: Row) -> Callable[[], Draft]:
    def draft() -> Draft:
        device = world.device(machine)
        need = Row(PartNeed, device=device)
        details = Row(
            PartNeedDetails, need=need, from_on=day, state=PartNeedState.ORDERED, finding=written(finding),
            part_number=f"P-{machine.number:04d}", quantity=1, expected_on=day + dt.timedelta(days=21),
        )  # fmt: skip
        return Draft("part_wanted", device, [need, details])

    return draft
