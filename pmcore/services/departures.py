"""Devices that leave the inventory, and the ones that take their place."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Departure, OwnershipKind, ServiceStateKind
from pmcore.models import DeviceIdentity, Ownership, Placement, Succession, TagHeld
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.devices import Arrival, check_serial_free, check_tag_free, opening_rows
from pmcore.services.permissions import use_case
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request
from pmcore.services.service_states import state_before, state_row
from pmcore.services.values import check_values

_SAID_OTHERWISE = {
    Departure.DECLARED_LOST: "A device is given up by declaring it lost, after it was searched for.",
    Departure.SWAPPED: "A device that was swapped has a successor: say which.",
    Departure.RETURNED: "What goes back to its owner is returned.",
}


class DepartureUnclear(RecordRefused):
    """This kind of departure asks for more, and has its own service."""


class Ours(RecordRefused):
    """What is ours goes back to nobody."""


class NothingToSwap(RecordRefused):
    """Nobody recorded the device's model or where it stands."""


@use_case("put out of the inventory", "service_state_set")
def leave_inventory(
    *,
    device: int,
    departure: Departure,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """From a day on it is no more in the inventory: sold, scrapped, or gone in another way that `note` tells.

    Raises DepartureUnclear, HasLeft, LaterStateStands, InTheFuture, NotYetInRecord, WrongSite, NotAllowed.
    """
    row = state_row(device, from_on, ServiceStateKind.LEFT, departure=departure, note=note)
    state_before(row, actor, at)
    if departure in _SAID_OTHERWISE:
        raise DepartureUnclear(_SAID_OTHERWISE[departure])
    return append("service_state_set", device, [row], actor=actor, at=at, request=request)


@use_case("return a device", "service_state_set")
def return_device(
    *,
    device: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """From a day on it is back with its owner. Raises Ours, HasLeft, LaterStateStands, InTheFuture, NotYetInRecord,
    WrongSite, NotAllowed."""
    row = state_row(device, from_on, ServiceStateKind.LEFT, departure=Departure.RETURNED, note=note)
    state_before(row, actor, at)
    ownership = Ownership.objects.current().on(from_on).filter(device=device).first()
    if ownership is None or ownership.kind == OwnershipKind.OWNED:
        raise Ours(f"The device {device} is ours.")
    return append("service_state_set", device, [row], actor=actor, at=at, request=request)


@use_case("swap a device", "device_registered")
def swap_device(
    *,
    device: int,
    serial: str,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    device_model: int | None = None,
    tag: str | None = None,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """Another device stands in the place of this one, which has left. The successor is a device of its own: it stands
    where the old one stood, belongs to whom that belonged, may take over its `tag`, and inherits no credit.

    The receipt is that of the successor's registration. Raises SerialTaken, TagTaken, NothingToSwap, HasLeft,
    LaterStateStands, InTheFuture, NotYetInRecord, UnknownReference, WrongSite, NotAllowed.
    """
    left = state_row(device, from_on, ServiceStateKind.LEFT, departure=Departure.SWAPPED, note=note)
    state_before(left, actor, at)
    held = TagHeld.objects.current().on(from_on).filter(device=device).first()
    if tag is not None and held is not None and held.tag == tag:
        untagged = Row(TagHeld, device=device, from_on=from_on, tag=None)
        append("tag_set", device, [untagged], actor=actor, at=at)
    rows = _successor_rows(device, device_model, serial, from_on, tag)
    receipt = append("device_registered", rows[0], rows, actor=actor, at=at, request=request)
    append("service_state_set", device, [left], actor=actor, at=at)
    link = Row(Succession, device=device, from_on=from_on, successor=receipt.subject)
    append("device_succeeded", device, [link], actor=actor, at=at)
    return receipt


def _successor_rows(device: int, device_model: int | None, serial: str, from_on: dt.date, tag: str | None) -> list[Row]:
    model = device_model or _model_of(device)
    place = Placement.objects.current().on(from_on).filter(device=device).first()
    if model is None or place is None:
        raise NothingToSwap(f"Nobody recorded the model of the device {device}, or where it stands.")
    owned = Ownership.objects.current().on(from_on).filter(device=device).first()
    arrival = Arrival(
        place.area_id,
        from_on,
        OwnershipKind.OWNED if owned is None else OwnershipKind(owned.kind),
        provider=None if owned is None else owned.provider_id,
        until_on=None if owned is None else owned.until_on,
        tag=tag,
    )
    rows = opening_rows(model, serial, arrival)
    check_values(*rows)
    check_serial_free(model, serial)
    check_tag_free(tag, from_on)
    return rows


def _model_of(device: int) -> int | None:
    identity = DeviceIdentity.objects.current().filter(device=device)
    return identity.values_list("device_model_id", flat=True).first()
