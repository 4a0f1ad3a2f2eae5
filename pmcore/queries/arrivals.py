"""Devices that came, new or on loan: were they inspected before anybody used them? Measured apart from the headline."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from pmcore.engines.timeline import timelines
from pmcore.engines.vocabulary import InspectionKind, OwnershipKind
from pmcore.models import DeviceOrigin, Ownership, Placement, UseSeen
from pmcore.queries.inspections import completed

_FROM_OUTSIDE = (OwnershipKind.ON_LOAN, OwnershipKind.ON_TRIAL, OwnershipKind.RENTED, OwnershipKind.LEASED)


@dataclass(frozen=True, slots=True)
class Arrival:
    """One arrival at a site; `inspected_on`: its incoming inspection, `used_on`: the first day on which it was seen in
    use before that. None: not by the day asked for."""

    device: int
    site: int | None
    area: int | None
    arrived_on: dt.date
    inspected_on: dt.date | None
    used_on: dt.date | None


def arrivals_between(starts_on: dt.date, ends_on: dt.date, *, as_of: dt.date, known: int) -> list[Arrival]:
    """The arrivals in the period, in order of device and day, as they stood on `as_of`."""
    last = min(ends_on, as_of)
    lent: Any = Ownership.objects.known(known).filter(kind__in=_FROM_OUTSIDE, from_on__range=(starts_on, last))
    bought: Any = DeviceOrigin.objects.known(known).filter(acquired_on__range=(starts_on, last), found_in_use=False)
    came = {*lent.values_list("device_id", "from_on"), *bought.values_list("device_id", "acquired_on")}
    devices = {device for device, _ in came}
    inspected: dict[int, list[dt.date]] = defaultdict(list)
    for done in completed(devices, known) if devices else ():
        if done.kind == InspectionKind.INCOMING and done.performed_on <= as_of:
            inspected[done.device].append(done.performed_on)
    used: dict[int, list[dt.date]] = defaultdict(list)
    seen = UseSeen.objects.known(known).filter(device__among=devices, from_on__lte=as_of)
    for device, day in seen.values_list("device_id", "from_on"):
        used[device].append(day)
    stood = Placement.objects.known(known).filter(device__among=devices).order_by("from_on", "id")
    columns = ("device_id", "from_on", "area_id", "area__site_id")
    places = timelines((device, from_on, (area, site)) for device, from_on, area, site in stood.values_list(*columns))
    found = []
    for device, day in sorted(came):
        area, site = (places[device].from_the_first_on(day) if device in places else None) or (None, None)
        inspected_on, used_on = _measured(day, inspected[device], used[device])
        found.append(Arrival(device, site, area, day, inspected_on, used_on))
    return found


def _measured(
    arrived_on: dt.date, inspected: Iterable[dt.date], used: Iterable[dt.date]
) -> tuple[dt.date | None, dt.date | None]:
    inspected_on = min((each for each in inspected if each >= arrived_on), default=None)
    before = [each for each in used if each >= arrived_on and (inspected_on is None or each < inspected_on)]
    return inspected_on, min(before, default=None)
