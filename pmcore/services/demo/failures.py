"""A failure told from beginning to end: reported by a clinical area, found, repaired, released."""

import datetime as dt
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pmcore.engines.vocabulary import Cause, Discovery, FailureKind, HoldReason, Severity, Subsystem
from pmcore.models import FaultDetails, FaultReport, Finding, FindingDetails, Hold, HoldDetails
from pmcore.models.rows import Row
from pmcore.services.demo.diary import EVENING, LATER, Diary, moment
from pmcore.services.demo.fleet import Machine
from pmcore.services.demo.repairs import note_release, note_repair
from pmcore.services.demo.world import World, written
from pmcore.services.preparation import Draft

APART = 35  # days between failures of one device, so that none passes for a repair that came back


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """`repaired_by`: the key of a provider, or None: our own technician; `released_on`: that day, or None: the day of
    the failure. `needs_repair` is false where there is nothing to mend. `trained_on`: the training that a use error led
    to, with a second person's word for it."""

    machine: Machine
    on: dt.date
    subsystem: Subsystem
    mode: str
    cause: Cause = Cause.WEAR
    kind: FailureKind = FailureKind.FUNCTIONAL
    severity: Severity = Severity.STOPS_USE
    repaired_by: str | None = None
    released_on: dt.date | None = None
    needs_repair: bool = True
    trained_on: dt.date | None = None
    position: Row | None = None
    fits: Callable[[int, Row], list[Row]] | None = None


def note_failure(world: World, diary: Diary, failure: Failure) -> None:
    """Report, finding and hold on one day; repair and release on the same day or later."""
    machine = failure.machine
    technician = world.people[machine.technician]
    report, finding, hold = Row(FaultReport), Row(Finding), Row(Hold)
    diary.note(failure.on, EVENING, technician, _reported(world, failure, report, hold))
    diary.note(failure.on, LATER, technician, _found(world, failure, report, finding))
    back_on = failure.released_on or failure.on
    if back_on > world.ends_on:
        return
    if failure.needs_repair:
        note_repair(
            world, diary, number=machine.number, finding=finding, on=back_on, account="Part changed, function proven.",
            technician=None if failure.repaired_by else machine.technician, provider=failure.repaired_by,
            fits=failure.fits,
        )  # fmt: skip
    note_release(world, diary, number=machine.number, hold=hold, on=back_on)


def _reported(world: World, failure: Failure, report: Row, hold: Row) -> Callable[[], Draft]:
    machine = failure.machine

    def draft() -> Draft:
        device = world.device(machine)
        report.values["device"] = hold.values["device"] = device
        details = Row(
            FaultDetails, fault_report=report, seen_at=moment(failure.on, 9), seen_on=failure.on,
            area=world.areas[machine.site, machine.area], reported_by=world.person("lead"), during_use=True,
            account=failure.mode,
        )  # fmt: skip
        held = Row(
            HoldDetails, hold=hold, from_on=failure.on, reason=HoldReason.FINDING,
            placed_by=world.person(machine.technician),
        )  # fmt: skip
        return Draft("fault_reported", device, [report, details, hold, held])

    return draft


def _found(world: World, failure: Failure, report: Row, finding: Row) -> Callable[[], Draft]:
    machine = failure.machine

    def draft() -> Draft:
        device = world.device(machine)
        finding.values["device"] = device
        details = Row(
            FindingDetails,
            finding=finding,
            from_on=failure.on,
            discovered_on=failure.on,
            discovery=Discovery.IN_USE,
            fault_report=written(report),
            subsystem=failure.subsystem,
            position=None if failure.position is None else written(failure.position),
            mode=failure.mode,
            cause=failure.cause,
            failure=failure.kind,
            severity=failure.severity,
            area=world.areas[machine.site, machine.area],
            training_on=failure.trained_on,
            second_person=None if failure.trained_on is None else world.person("deputy"),
        )
        return Draft("finding_made", device, [finding, details])

    return draft


def spread(
    draws: random.Random, fleet: Sequence[Machine], count: int, first: dt.date, last: dt.date, *, apart: int = APART
) -> list[tuple[Machine, dt.date]]:
    """So many failures on devices and days, those of one device at least so many days apart; in order of days.

    Where there are too few devices for that, as many as fit.
    """
    taken: dict[int, list[dt.date]] = {}
    found: list[tuple[Machine, dt.date]] = []
    for _ in range(200 * count if fleet else 0):
        if len(found) == count:
            break
        machine = draws.choice(fleet)
        day = first + dt.timedelta(days=draws.randint(0, (last - first).days))
        days = taken.setdefault(machine.number, [])
        if all(abs((day - other).days) >= apart for other in days):
            days.append(day)
            found.append((machine, day))
    return sorted(found, key=lambda each: (each[1], each[0].number))
