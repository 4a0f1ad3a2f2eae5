"""Devices put away and taken out again. Only what is sealed and in hand suspends what falls due."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import HoldReason, ServiceStateKind
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.storage import undone_in_storage
from pmcore.services.append import append
from pmcore.services.holds import hold_rows
from pmcore.services.permissions import use_case
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request
from pmcore.services.service_states import state_before, state_row

STORED = ServiceStateKind.STORED


class AlreadyStored(RecordRefused):
    """It is stored like this already."""


class NotStored(RecordRefused):
    """It is not in storage."""


class NotInHand(RecordRefused):
    """A device that is not located is found again before it is put away."""


@use_case("store a device", "service_state_set")
def store_device(
    *,
    device: int,
    sealed: bool,
    in_hand: bool,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """From a day on it is put away. `sealed`: nobody can use it unseen; `in_hand`: somebody answers for where it is.
    Stored otherwise than before, it is stored anew.

    Raises AlreadyStored, NotInHand, HasLeft, LaterStateStands, InTheFuture, NotYetInRecord, WrongSite, NotAllowed.
    """
    row = state_row(device, from_on, STORED, sealed=sealed, in_hand=in_hand, note=note)
    before = state_before(row, actor, at)
    if before is not None and before.state == ServiceStateKind.NOT_LOCATED:
        raise NotInHand(f"The device {device} is not located since {before.from_on}.")
    if before is not None and (before.state, before.sealed, before.in_hand) == (STORED, sealed, in_hand):
        raise AlreadyStored(f"The device {device} is stored like this since {before.from_on}.")
    return append("service_state_set", device, [row], actor=actor, at=at, request=request)


@use_case("store a device", "service_state_set")
def take_out_of_storage(
    *,
    device: int,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """From a day on it is in service again. Where a window has opened meanwhile and nothing was done, a hold is placed
    by the same act: it is released when it is inspected.

    Raises NotStored, HasLeft, LaterStateStands, InTheFuture, NotYetInRecord, WrongSite, NotAllowed.
    """
    row = state_row(device, from_on, ServiceStateKind.IN_SERVICE, note=note)
    before = state_before(row, actor, at)
    if before is None or before.state != STORED:
        raise NotStored(f"The device {device} is not in storage on {from_on}.")
    rows: list[Row] = [row]
    if undone_in_storage(device, from_on, head().size):
        rows += hold_rows(device, HoldReason.OTHER, from_on, actor, note="An inspection came due in storage.")
    return append("service_state_set", device, rows, actor=actor, at=at, request=request)
