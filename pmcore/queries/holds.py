"""What forbids the use of a device on a day."""

import datetime as dt
from dataclasses import dataclass

from pmcore.models import HoldDetails, ReleasedHold


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
    released = ReleasedHold.objects.known(known).filter(hold__device=device, statement__signed_on__lte=on)
    lifted = set(released.values_list("hold_id", flat=True))
    rows = HoldDetails.objects.known(known).filter(hold__device=device, from_on__lte=on).order_by("from_on", "hold_id")
    found: dict[int, HoldInForce] = {}
    for hold, reason, from_on, finding in rows.values_list("hold_id", "reason", "from_on", "finding_id"):
        placed_on = found[hold].placed_on if hold in found else from_on
        found[hold] = HoldInForce(hold, reason, placed_on, finding)
    return [held for hold, held in found.items() if hold not in lifted]
