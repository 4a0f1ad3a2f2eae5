"""Devices: registered, moved, labelled, put out of service. What was recorded wrongly: `corrections.py`."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Departure, OwnershipKind, ServiceStateKind
from pmcore.models import (
    Device,
    DeviceIdentity,
    DeviceOrigin,
    DeviceRevision,
    ModelRevision,
    Ownership,
    Placement,
    ServiceState,
    TagHeld,
)
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.permissions import check_area, check_device, use_case
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request
from pmcore.services.values import check_values, same_but_for_case


class SerialTaken(RecordRefused):
    """The same model and serial number is in the record: a device is registered once."""


class TagTaken(RecordRefused):
    """Another device carries this tag."""


class RevisionOfAnotherModel(RecordRefused):
    """The revision is none of the device's model."""


class DepartureUnclear(RecordRefused):
    """A device that leaves says how, and only that one does."""


@use_case("register a device", "device_registered")
def register_device(
    *,
    device_model: int,
    serial: str,
    tag: str | None,
    area: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    revision: int | None = None,
    ownership: OwnershipKind = OwnershipKind.OWNED,
    state: ServiceStateKind = ServiceStateKind.IN_SERVICE,
    known_from_on: dt.date | None = None,
    acquired_on: dt.date | None = None,
    found_in_use: bool = False,
    request: Request | None = None,
) -> Receipt:
    """A device comes into the inventory. Its history counts from `known_from_on`, or from that day.

    Raises SerialTaken, TagTaken, RevisionOfAnotherModel, DepartureUnclear, WrongSite, NotAllowed.
    """
    device = Row(Device)
    identity = Row(DeviceIdentity, device=device, device_model=device_model, serial=serial)
    origin = Row(
        DeviceOrigin,
        device=device,
        known_from_on=known_from_on or from_on,
        acquired_on=acquired_on,
        found_in_use=found_in_use,
    )
    rows = [
        device,
        identity,
        origin,
        Row(Placement, device=device, from_on=from_on, area=area),
        Row(Ownership, device=device, from_on=from_on, kind=ownership),
        Row(ServiceState, device=device, from_on=from_on, state=state),
    ]
    if tag is not None:
        rows.append(Row(TagHeld, device=device, from_on=from_on, tag=tag))
    if revision is not None:
        rows.append(Row(DeviceRevision, device=device, from_on=from_on, revision=revision))
    check_values(*rows)
    check_area(actor, area)
    check_serial_free(device_model, serial)
    check_tag_free(tag, from_on)
    _check_departure(state, None)
    _check_revision(revision, device_model)
    return append("device_registered", device, rows, actor=actor, at=at, request=request)


@use_case("move a device", "device_placed")
def move_device(
    *, device: int, area: int, from_on: dt.date, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """From a day on it stands in another area. Raises WrongSite where the actor is no member of both sites."""
    row = Row(Placement, device=device, from_on=from_on, area=area)
    check_values(row)
    check_device(actor, device, from_on)
    check_area(actor, area)
    return append("device_placed", device, [row], actor=actor, at=at, request=request)


@use_case("set a tag", "tag_set")
def set_tag(
    *, device: int, tag: str | None, from_on: dt.date, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """The label that it carries from a day on; none takes it off. Raises TagTaken, WrongSite."""
    row = Row(TagHeld, device=device, from_on=from_on, tag=tag)
    check_values(row)
    check_device(actor, device, from_on)
    check_tag_free(tag, from_on, device)
    return append("tag_set", device, [row], actor=actor, at=at, request=request)


@use_case("set a service state", "service_state_set")
def set_service_state(
    *,
    device: int,
    state: ServiceStateKind,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    sealed: bool | None = None,
    in_hand: bool | None = None,
    last_seen_on: dt.date | None = None,
    departure: Departure | None = None,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """In service, stored, not located or left, from a day on. Raises DepartureUnclear, WrongSite."""
    row = Row(
        ServiceState,
        device=device,
        from_on=from_on,
        state=state,
        sealed=sealed,
        in_hand=in_hand,
        last_seen_on=last_seen_on,
        departure=departure,
        note=note,
    )
    check_values(row)
    check_device(actor, device, from_on)
    _check_departure(state, departure)
    return append("service_state_set", device, [row], actor=actor, at=at, request=request)


def check_serial_free(device_model: int, serial: str, device: int | None = None) -> None:
    """No other device of the model has this serial number. Raises SerialTaken."""
    of_model = DeviceIdentity.objects.current().filter(device_model=device_model)
    if same_but_for_case(of_model, "serial", serial).exclude(device=device).exists():
        raise SerialTaken(f"The serial number {serial!r} of this model is already in the record.")


def check_tag_free(tag: str | None, from_on: dt.date, device: int | None = None) -> None:
    """On no day of those on which this device would carry the tag does another carry it. Raises TagTaken."""
    if tag is None:
        return
    until = _next_tag_on(device, from_on)
    for other in same_but_for_case(TagHeld.objects.current(), "tag", tag).exclude(device=device):
        if other.from_on < until and from_on < _next_tag_on(other.device_id, other.from_on):
            raise TagTaken(f"Another device carries the tag {tag!r}.")


def _next_tag_on(device: int | None, after: dt.date) -> dt.date:
    """The day on which what is said of the device's tag `after` a day changes again."""
    later = TagHeld.objects.current().filter(device=device, from_on__gt=after).order_by("from_on").first()
    return dt.date.max if later is None else later.from_on


def _check_departure(state: ServiceStateKind, departure: Departure | None) -> None:
    if (state == ServiceStateKind.LEFT) != (departure is not None):
        raise DepartureUnclear("A device that leaves the inventory says how it left, and no other does.")


def _check_revision(revision: int | None, device_model: int) -> None:
    if revision is None:
        return
    of_model = ModelRevision.objects.filter(pk=revision).values_list("device_model_id", flat=True).first()
    if of_model is not None and of_model != device_model:
        raise RevisionOfAnotherModel(f"The revision {revision} belongs to the model {of_model}, not {device_model}.")
