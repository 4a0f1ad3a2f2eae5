"""The devices of a site and what generation needs to know of each, as known at a history size."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import OuterRef, Subquery

from pmcore.engines.due_generation import Written
from pmcore.engines.vocabulary import OwnershipKind, ServiceStateKind, WithdrawalReason
from pmcore.models import (
    CarriedOver,
    DeviceIdentity,
    DeviceOrigin,
    DueInspection,
    Entry,
    MeterReading,
    ModelDetails,
    Ownership,
    Placement,
    PlanAnchor,
    ServiceState,
    Withdrawal,
)

Meter = list[tuple[dt.date, Decimal]]


@dataclass(frozen=True, slots=True)
class Stay:
    """From a day on the device is ours, or is to go back: on `until_on`, or nobody knows when. `told_on`: the day on
    which that was recorded."""

    from_on: dt.date
    ours: bool
    until_on: dt.date | None
    told_on: dt.date


@dataclass(frozen=True, slots=True)
class ScopeDevice:
    """A device in the inventory of a site on the day. `arrived_on`: the first day of its history, or of this stay;
    `carried_over`: last days done before the start, by procedure; `anchors`: its own by plan, each with the day it
    counts from; `owned`: whose it has been in this stay, oldest first."""

    device: int
    device_model: int
    device_class: int | None
    arrived_on: dt.date
    found_in_use: bool
    carried_over: dict[int, dt.date] = field(default_factory=dict)
    anchors: dict[int, tuple[dt.date, dt.date]] = field(default_factory=dict)
    owned: list[Stay] = field(default_factory=list)


def devices_at(site: int, *, on: dt.date, known: int, only: int | None = None) -> list[ScopeDevice]:
    """Devices that stand at the site on the day and have not left, or the `only` one that is wanted, if it does; nine
    statements, however many there are.

    A device whose origin was never recorded has no first day, and is left out.
    """
    here = _standing_at(site, on, known, only)
    gone, came_again = _departures(here, on, known)
    identities = DeviceIdentity.objects.known(known).filter(device__among=here)
    classes = dict(ModelDetails.objects.known(known).on(on).values_list("device_model_id", "device_class_id"))
    origins = {
        device: (max(known_from, came_again.get(device, known_from)), in_use and device not in came_again)
        for device, known_from, in_use in DeviceOrigin.objects.known(known)
        .filter(device__among=here)
        .values_list("device_id", "known_from_on", "found_in_use")
    }
    carried: dict[int, dict[int, dt.date]] = defaultdict(dict)
    for device, procedure, performed_on in (
        CarriedOver.objects.known(known)
        .filter(device__among=here)
        .values_list("device_id", "procedure_id", "performed_on")
    ):
        carried[device][procedure] = performed_on
    anchors: dict[int, dict[int, tuple[dt.date, dt.date]]] = defaultdict(dict)
    for device, plan, anchor_on, from_on in (
        PlanAnchor.objects.known(known)
        .on(on)
        .filter(device__among=here)
        .values_list("device_id", "plan_id", "anchor_on", "from_on")
    ):
        anchors[device][plan] = (anchor_on, from_on)
    owned = _ownership(here, on, known)
    return [
        ScopeDevice(
            device,
            model,
            classes.get(model),
            *origins[device],
            carried[device],
            anchors[device],
            [stay for stay in owned[device] if stay.from_on >= came_again.get(device, dt.date.min)],
        )
        for device, model in sorted(identities.values_list("device_id", "device_model_id"))
        if device not in gone and device in origins
    ]


def _standing_at(site: int, on: dt.date, known: int, only: int | None) -> list[int]:
    placements = Placement.objects.known(known).on(on).filter(area__site=site)
    if only is not None:
        placements = placements.filter(device=only)
    return list(placements.values_list("device_id", flat=True))


def _departures(here: Collection[int], on: dt.date, known: int) -> tuple[set[int], dict[int, dt.date]]:
    """Devices that have left by the day, and the day on which others that had left came again."""
    gone: set[int] = set()
    came_again: dict[int, dt.date] = {}
    states = ServiceState.objects.known(known).filter(device__among=here, from_on__lte=on).order_by("from_on")
    for device, state, from_on in states.values_list("device_id", "state", "from_on"):
        if state == ServiceStateKind.LEFT:
            gone.add(device)
        elif device in gone:
            gone.discard(device)
            came_again[device] = from_on
    return gone, came_again


def _ownership(here: Collection[int], on: dt.date, known: int) -> dict[int, list[Stay]]:
    found: dict[int, list[Stay]] = defaultdict(list)
    rows = Ownership.objects.known(known).filter(device__among=here, from_on__lte=on).order_by("from_on")
    told_at = Entry.objects.filter(seq=OuterRef("entry")).values("at")
    columns = ("device_id", "from_on", "kind", "until_on", Subquery(told_at))
    for device, from_on, kind, until_on, at in rows.values_list(*columns):
        found[device].append(Stay(from_on, kind == OwnershipKind.OWNED, until_on, at.date()))
    return found


def meters_at(site: int, *, on: dt.date, known: int, only: int | None = None) -> dict[tuple[int, str], Meter]:
    """The readings by the day of the devices of a site, by (device, unit), oldest first; two statements."""
    here = _standing_at(site, on, known, only)
    found: dict[tuple[int, str], Meter] = defaultdict(list)
    rows = MeterReading.objects.known(known).filter(device__among=here, from_on__lte=on).order_by("from_on")
    for device, unit, from_on, value in rows.values_list("device_id", "unit", "from_on", "value"):
        found[device, unit].append((from_on, Decimal(value)))
    return found


def written_at(site: int, *, on: dt.date, known: int, only: int | None = None) -> dict[tuple[int, int], list[Written]]:
    """What is in the record for the devices of a site: due inspections by (device, plan); three statements."""
    here = _standing_at(site, on, known, only)
    return written_of(here, known=known)


def written_of(devices: Collection[int], *, known: int) -> dict[tuple[int, int], list[Written]]:
    """The same for these devices in the order in which they were written."""
    withdrawn = dict(
        Withdrawal.objects.known(known)
        .on(dt.date.max)
        .filter(withdrawn=True, due_inspection__device__among=devices)
        .values_list("due_inspection_id", "reason")
    )
    found: dict[tuple[int, int], list[Written]] = defaultdict(list)
    rows = DueInspection.objects.known(known).filter(device__among=devices).order_by("id")
    columns = ("id", "device_id", "plan_id", "procedure_id", "due_on", "opens_on", "closes_on", "counted_from_on")
    for key, device, plan, procedure, due_on, opens_on, closes_on, counted_from in rows.values_list(*columns):
        struck_out = withdrawn.get(key) == WithdrawalReason.RECORDED_WRONGLY
        due = Written(key, due_on, opens_on, closes_on, key in withdrawn, struck_out, counted_from, procedure)
        found[device, plan].append(due)
    return found
