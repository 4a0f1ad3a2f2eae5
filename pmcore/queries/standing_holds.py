"""Holds of many devices at once: which stand on a day, since when, and where the device is."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from pmcore.engines.vocabulary import ServiceStateKind
from pmcore.models import HoldDetails, Placement, ReleasedHold, ServiceState


@dataclass(frozen=True, slots=True)
class StandingHold:
    """`reason` as it stood on the day asked for; `placed_on`: the first day; `site` None: nobody said."""

    hold: int
    device: int
    reason: str
    placed_on: dt.date
    site: int | None


def standing_holds(
    *,
    on: dt.date,
    known: int,
    placed_by: dt.date | None = None,
    devices: Collection[int] | None = None,
    holds: Collection[int] | None = None,
) -> list[StandingHold]:
    """Holds in force on the day (of these devices; these ones), placed by a day, on devices that have not left, in
    order of ids: three statements. A hold counts up to the day of the release that lifts it, which is left out."""
    lifted = ReleasedHold.objects.known(known).filter(statement__signed_on__lte=on)
    rows = HoldDetails.objects.known(known).filter(from_on__lte=on).exclude(hold__in=lifted.values("hold_id"))
    if devices is not None:
        rows = rows.filter(hold__device__among=devices)
    if holds is not None:
        rows = rows.filter(hold__among=holds)
    found: dict[int, tuple[int, str, dt.date]] = {}
    columns = ("hold_id", "hold__device_id", "reason", "from_on")
    for hold, device, reason, from_on in rows.order_by("from_on", "id").values_list(*columns):
        found[hold] = (device, reason, found[hold][2] if hold in found else from_on)
    kept = {hold: each for hold, each in found.items() if placed_by is None or each[2] <= placed_by}
    held = {device for device, _, _ in kept.values()}
    stood = Placement.objects.known(known).on(on).filter(device__among=held)
    sites = dict(stood.values_list("device_id", "area__site_id"))
    left = ServiceState.objects.known(known).on(on).filter(device__among=held, state=ServiceStateKind.LEFT)
    gone = set(left.values_list("device_id", flat=True))
    return [
        StandingHold(hold, device, reason, placed_on, sites.get(device))
        for hold, (device, reason, placed_on) in sorted(kept.items())
        if device not in gone
    ]
