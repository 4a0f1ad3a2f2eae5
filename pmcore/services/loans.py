"""Whose a device is: ours, leased, on loan; each time that it comes, and when it is to go back; ours lent out."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import OwnershipKind, ServiceStateKind
from pmcore.models import DeviceIdentity, Lending, Ownership
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.whereabouts import site_of_area
from pmcore.services.append import append
from pmcore.services.device_days import check_day_has_come, check_day_of
from pmcore.services.devices import Arrival, check_tag_free, opening_rows
from pmcore.services.permissions import check_area, use_case
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request
from pmcore.services.service_states import check_nothing_later, check_still_here, state_on
from pmcore.services.values import check_values, same_but_for_case


class ReturnUnclear(RecordRefused):
    """What is ours goes back to nobody, and nothing goes back before it came."""


class StillHere(RecordRefused):
    """It came before and has not left; say whose it is instead."""


class NotOurs(RecordRefused):
    """Only what is ours is lent out."""


class AlreadyLent(RecordRefused):
    """It is lent out already."""


class NotLent(RecordRefused):
    """It is not lent out."""


class LaterLendingStands(RecordRefused):
    """The record says of a later day that it was lent or came back; correct that first."""


@use_case("receive a device", "device_registered")
def receive_device(
    *,
    device_model: int,
    serial: str,
    kind: OwnershipKind,
    area: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    until_on: dt.date | None = None,
    provider: int | None = None,
    tag: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """A device comes that is not ours: leased, rented, on loan, on trial, a patient's own. It goes back on `until_on`;
    none: nobody knows when. One of the same model and serial number that was here before is the same device.

    Raises ReturnUnclear, StillHere, LaterStateStands, TagTaken, InTheFuture, UnknownReference, WrongSite, NotAllowed.
    """
    arrival = Arrival(area, from_on, kind, provider, until_on, tag)
    rows = opening_rows(device_model, serial, arrival)
    check_values(*rows)
    check_area(actor, area)
    check_day_has_come(from_on, at, site_of_area(area), head().size)
    if kind == OwnershipKind.OWNED:
        raise ReturnUnclear("What is ours is registered, not received.")
    check_return(kind, from_on, until_on)
    of_model = DeviceIdentity.objects.current().filter(device_model=device_model)
    identities = same_but_for_case(of_model, "serial", serial)
    known: int | None = identities.values_list("device_id", flat=True).first()
    check_tag_free(tag, from_on, known)
    if known is None:
        return append("device_registered", rows[0], rows, actor=actor, at=at, request=request)
    _check_gone(known, from_on)
    return append("device_registered", known, arrival.rows(known), actor=actor, at=at, request=request)


@use_case("set whose it is", "ownership_set")
def set_ownership(
    *,
    device: int,
    kind: OwnershipKind,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    until_on: dt.date | None = None,
    provider: int | None = None,
    request: Request | None = None,
) -> Receipt:
    """Whose it is from a day on, and when it goes back: a loan made longer, a leased device bought.

    Raises ReturnUnclear, HasLeft, InTheFuture, NotYetInRecord, UnknownReference, WrongSite, NotAllowed.
    """
    row = Row(Ownership, device=device, from_on=from_on, kind=kind, provider=provider, until_on=until_on)
    check_values(row)
    check_day_of(actor, device, from_on, at)
    check_still_here(device, from_on)
    check_return(kind, from_on, until_on)
    return append("ownership_set", device, [row], actor=actor, at=at, request=request)


@use_case("lend a device", "lending_set")
def lend_device(
    *,
    device: int,
    borrower: str,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    due_back_on: dt.date | None = None,
    request: Request | None = None,
) -> Receipt:
    """Ours, and from a day on with somebody else; it is due as before.

    Raises NotOurs, AlreadyLent, ReturnUnclear, LaterLendingStands, HasLeft, InTheFuture, NotYetInRecord, WrongSite,
    NotAllowed.
    """
    row = Row(Lending, device=device, from_on=from_on, lent=True, borrower=borrower, due_back_on=due_back_on)
    if _is_lent(row, actor, at):
        raise AlreadyLent(f"The device {device} is lent out already.")
    ownership = Ownership.objects.current().on(from_on).filter(device=device).first()
    if ownership is not None and ownership.kind != OwnershipKind.OWNED:
        raise NotOurs(f"The device {device} is not ours.")
    check_return(OwnershipKind.ON_LOAN, from_on, due_back_on)
    return append("lending_set", device, [row], actor=actor, at=at, request=request)


@use_case("lend a device", "lending_set")
def receive_back(
    *, device: int, from_on: dt.date, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """Ours, that was lent out, is back. Raises NotLent, LaterLendingStands, HasLeft, InTheFuture, NotYetInRecord,
    WrongSite, NotAllowed."""
    row = Row(Lending, device=device, from_on=from_on, lent=False)
    if not _is_lent(row, actor, at):
        raise NotLent(f"The device {device} is not lent out on {from_on}.")
    return append("lending_set", device, [row], actor=actor, at=at, request=request)


def check_return(kind: OwnershipKind, from_on: dt.date, until_on: dt.date | None) -> None:
    """Raises ReturnUnclear."""
    if until_on is None:
        return
    if kind == OwnershipKind.OWNED:
        raise ReturnUnclear("What is ours goes back to nobody.")
    if until_on < from_on:
        raise ReturnUnclear(f"It came on {from_on}, and would go back on {until_on}.")


def _check_gone(device: int, on: dt.date) -> None:
    check_nothing_later(device, on)
    before = state_on(device, on)
    if before is None or before.state != ServiceStateKind.LEFT:
        raise StillHere(f"The device {device} came before and has not left.")


def _is_lent(row: Row, actor: Actor, at: dt.datetime) -> bool:
    """Before the new fact; after what both ways ask first."""
    check_values(row)
    device, from_on = row.values["device"], row.values["from_on"]
    check_day_of(actor, device, from_on, at)
    check_still_here(device, from_on)
    said = Lending.objects.current().filter(device=device)
    if said.filter(from_on__gt=from_on).exists():
        raise LaterLendingStands(f"The record says more of the device {device} after {from_on}.")
    return bool(said.on(from_on).filter(lent=True).exists())
