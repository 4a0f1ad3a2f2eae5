"""What forbids the use of a device on a day."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from pmcore.engines.vocabulary import HoldReason
from pmcore.models import FaultDetails, FindingDetails, HoldDetails, ReleasedHold
from pmcore.models.base import RecordedQuerySet


@dataclass(frozen=True, slots=True)
class HoldInForce:
    """`reason` and `finding` as they stood on the day asked for; `placed_on`: the first day of the hold."""

    hold: int
    reason: str
    placed_on: dt.date
    finding: int | None


def holds_in_force(device: int, on: dt.date, known: int) -> list[HoldInForce]:
    """The holds on the device on a day, as known at a size of the history, in order of their first days.

    A hold counts from its first day up to the day of the release that lifts it, which is left out. Two statements.
    """
    lifted = set(lifted_by(on, known).filter(hold__device=device).values_list("hold_id", flat=True))
    rows = HoldDetails.objects.known(known).filter(hold__device=device, from_on__lte=on).order_by("from_on", "hold_id")
    found: dict[int, HoldInForce] = {}
    for hold, reason, from_on, finding in rows.values_list("hold_id", "reason", "from_on", "finding_id"):
        placed_on = found[hold].placed_on if hold in found else from_on
        found[hold] = HoldInForce(hold, reason, placed_on, finding)
    return [held for hold, held in found.items() if hold not in lifted]


def opened_by_report(fault_report: int, device: int, on: dt.date, known: int) -> list[int]:
    """The holds in force that are taken back with the report: four statements."""
    entries = FaultDetails.objects.filter(fault_report=fault_report, entry__lte=known).values_list("entry", flat=True)
    return _opened(list(entries), HoldReason.FAULT_REPORTED, device, on=on, known=known)


def opened_by_finding(finding: int, device: int, on: dt.date, known: int) -> list[int]:
    """The holds in force that are taken back with the finding: four statements."""
    entries = FindingDetails.objects.filter(finding=finding, entry__lte=known).values_list("entry", flat=True)
    return _opened(list(entries), HoldReason.FINDING, device, on=on, known=known, finding=finding)


def _opened(
    entries: Collection[int], reason: HoldReason, device: int, *, on: dt.date, known: int, finding: int | None = None
) -> list[int]:
    """For this reason, and finding, by these entries; what was lifted has done its work and stays."""
    in_force = [held.hold for held in holds_in_force(device, on, known) if held.reason == reason]
    rows = HoldDetails.objects.known(known).filter(entry__in=entries, hold__in=in_force, finding=finding)
    return list(rows.order_by("hold").values_list("hold_id", flat=True))


def lifted_by(on: dt.date, known: int) -> RecordedQuerySet[Any]:
    """What lifts holds by the day."""
    rows: RecordedQuerySet[Any] = ReleasedHold.objects.known(known).filter(statement__signed_on__lte=on)
    return rows


def held_devices(on: dt.date, known: int) -> Any:
    """The ids of the devices that may not be used on the day, for a filter."""
    placed = HoldDetails.objects.known(known).filter(from_on__lte=on)
    return placed.exclude(hold__in=lifted_by(on, known).values("hold")).values("hold__device")
