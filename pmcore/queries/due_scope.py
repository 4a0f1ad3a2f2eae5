"""The devices of a site and what generation needs to know of each, as known at a history size."""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

from pmcore.engines.due_generation import Written
from pmcore.engines.vocabulary import ServiceStateKind, WithdrawalReason
from pmcore.models import (
    CarriedOver,
    DeviceIdentity,
    DeviceOrigin,
    DueInspection,
    ModelDetails,
    Placement,
    PlanAnchor,
    ServiceState,
    Withdrawal,
)


@dataclass(frozen=True, slots=True)
class ScopeDevice:
    """A device in the inventory of a site on the day. `known_from_on`: the first day of its history; `carried_over`:
    last days done before the start, by procedure; `anchors`: its own by plan, each with the day it counts from."""

    device: int
    device_model: int
    device_class: int | None
    known_from_on: dt.date
    found_in_use: bool
    carried_over: dict[int, dt.date] = field(default_factory=dict)
    anchors: dict[int, tuple[dt.date, dt.date]] = field(default_factory=dict)


def devices_at(site: int, *, on: dt.date, known: int) -> list[ScopeDevice]:
    """Devices that stand at the site on the day and have not left; seven statements, however many there are.

    A device whose origin was never recorded has no first day, and is left out.
    """
    here: Any = Placement.objects.known(known).on(on).filter(area__site=site).values("device")
    gone = set(
        ServiceState.objects.known(known)
        .on(on)
        .filter(device__in=here, state=ServiceStateKind.LEFT)
        .values_list("device_id", flat=True)
    )
    identities = DeviceIdentity.objects.known(known).filter(device__in=here).values_list("device_id", "device_model_id")
    classes = dict(ModelDetails.objects.known(known).on(on).values_list("device_model_id", "device_class_id"))
    origins = {
        device: (known_from, in_use)
        for device, known_from, in_use in DeviceOrigin.objects.known(known)
        .filter(device__in=here)
        .values_list("device_id", "known_from_on", "found_in_use")
    }
    carried: dict[int, dict[int, dt.date]] = defaultdict(dict)
    for device, procedure, performed_on in (
        CarriedOver.objects.known(known)
        .filter(device__in=here)
        .values_list("device_id", "procedure_id", "performed_on")
    ):
        carried[device][procedure] = performed_on
    anchors: dict[int, dict[int, tuple[dt.date, dt.date]]] = defaultdict(dict)
    for device, plan, anchor_on, from_on in (
        PlanAnchor.objects.known(known)
        .on(on)
        .filter(device__in=here)
        .values_list("device_id", "plan_id", "anchor_on", "from_on")
    ):
        anchors[device][plan] = (anchor_on, from_on)
    return [
        ScopeDevice(device, model, classes.get(model), *origins[device], carried[device], anchors[device])
        for device, model in sorted(identities)
        if device not in gone and device in origins
    ]


def written_at(site: int, *, on: dt.date, known: int) -> dict[tuple[int, int], list[Written]]:
    """What is in the record for the devices of a site: due inspections by (device, plan); two statements."""
    here: Any = Placement.objects.known(known).on(on).filter(area__site=site).values("device")
    return written_of(here, known=known)


def written_of(devices: Any, *, known: int) -> dict[tuple[int, int], list[Written]]:
    """The same for these devices (their ids, or a query for them), in the order in which they were written."""
    withdrawn = dict(
        Withdrawal.objects.known(known)
        .on(dt.date.max)
        .filter(withdrawn=True, due_inspection__device__in=devices)
        .values_list("due_inspection_id", "reason")
    )
    found: dict[tuple[int, int], list[Written]] = defaultdict(list)
    rows = DueInspection.objects.known(known).filter(device__in=devices).order_by("id")
    for key, device, plan, due_on, opens_on in rows.values_list("id", "device_id", "plan_id", "due_on", "opens_on"):
        struck_out = withdrawn.get(key) == WithdrawalReason.RECORDED_WRONGLY
        found[device, plan].append(Written(key, due_on, opens_on, key in withdrawn, struck_out))
    return found
