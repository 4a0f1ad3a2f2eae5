"""Devices that nobody can find, that are found again, or that are given up."""

import datetime as dt

from pmcore.engines.attempts import may_be_declared_lost
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Departure, HoldReason, ServiceStateKind
from pmcore.models import ServiceState
from pmcore.queries.head import head
from pmcore.queries.searches import searches_of
from pmcore.queries.site_days import Zones
from pmcore.queries.whereabouts import site_of_device
from pmcore.services.append import append
from pmcore.services.device_days import check_device
from pmcore.services.holds import hold_rows
from pmcore.services.permissions import use_case
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request
from pmcore.services.service_states import state_before, state_row

NOT_LOCATED = ServiceStateKind.NOT_LOCATED


class AlreadyNotLocated(RecordRefused):
    """It is not located as it is."""


class NotLost(RecordRefused):
    """Nobody missed it."""


class SeenLater(RecordRefused):
    """It was last seen before it was missed."""


class SearchedTooLittle(RecordRefused):
    """A device is given up when two windows in a row have closed in which it was searched for in vain."""


@use_case("mark not located", "service_state_set")
def mark_not_located(
    *,
    device: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    last_seen_on: dt.date | None = None,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """From a day on nobody can say where it is. It is due as before.

    Raises AlreadyNotLocated, SeenLater, HasLeft, LaterStateStands, InTheFuture, NotYetInRecord, WrongSite, NotAllowed.
    """
    row = state_row(device, from_on, NOT_LOCATED, last_seen_on=last_seen_on, note=note)
    before = state_before(row, actor, at)
    if before is not None and before.state == NOT_LOCATED:
        raise AlreadyNotLocated(f"The device {device} is not located since {before.from_on}.")
    if last_seen_on is not None and last_seen_on > from_on:
        raise SeenLater(f"It was seen on {last_seen_on}, so it was not missing from {from_on} on.")
    return append("service_state_set", device, [row], actor=actor, at=at, request=request)


@use_case("mark found again", "service_state_set")
def find_again(
    *,
    device: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """It is there again, also when it had been given up. Nobody knows where it has been: by the same act it is held,
    until an incoming inspection.

    Raises NotLost, HasLeft, LaterStateStands, InTheFuture, NotYetInRecord, WrongSite, NotAllowed.
    """
    row = state_row(device, from_on, ServiceStateKind.IN_SERVICE, note=note)
    before = state_before(row, actor, at, may_have_left=True)
    if before is None or not _is_missed(before):
        raise NotLost(f"The device {device} was not missed on {from_on}.")
    rows = [row, *hold_rows(device, HoldReason.FOUND_AGAIN, from_on, actor)]
    return append("service_state_set", device, rows, actor=actor, at=at, request=request)


@use_case("declare a device lost", "service_state_set")
def declare_lost(
    *, device: int, actor: Actor, at: dt.datetime, note: str | None = None, request: Request | None = None
) -> Receipt:
    """It leaves the inventory from today on at its site: what came due before stays as it was.

    Raises NotLost, SearchedTooLittle, HasLeft, LaterStateStands, WrongSite, NotAllowed.
    """
    check_device(device)
    today = _today_of(device, at)
    row = state_row(device, today, ServiceStateKind.LEFT, departure=Departure.DECLARED_LOST, note=note)
    before = state_before(row, actor, at)
    if before is None or before.state != NOT_LOCATED:
        raise NotLost(f"The device {device} is not marked as not located.")
    if not any(may_be_declared_lost(windows) for windows in searches_of(device, today, head().size)):
        raise SearchedTooLittle("Two windows in a row must have closed in which it was searched for in vain.")
    return append("service_state_set", device, [row], actor=actor, at=at, request=request)


def _is_missed(state: ServiceState) -> bool:
    return bool(state.state == NOT_LOCATED or state.departure == Departure.DECLARED_LOST)


def _today_of(device: int, at: dt.datetime) -> dt.date:
    utc = at.astimezone(dt.UTC).date()
    site = site_of_device(device, utc)
    today = None if site is None else Zones(head().size).day_at(site, at)
    return today or utc
