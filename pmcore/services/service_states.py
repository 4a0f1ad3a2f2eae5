"""The turns of a device's life: in service, stored, not located, left. Each service makes one of them."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import ServiceStateKind
from pmcore.models import ServiceState
from pmcore.models.rows import Row
from pmcore.services.device_days import check_day_of
from pmcore.services.refusals import RecordRefused
from pmcore.services.values import check_values


class HasLeft(RecordRefused):
    """The device left the inventory by that day."""


class LaterStateStands(RecordRefused):
    """The record says of a later day what state the device was in; correct that first."""


def state_row(device: int, from_on: dt.date, state: ServiceStateKind, **said: object) -> Row:
    return Row(ServiceState, device=device, from_on=from_on, state=state, **said)


def state_on(device: int, day: dt.date) -> ServiceState | None:
    """What is said of the device for the day; None: nothing ever, so it is in service."""
    found: ServiceState | None = ServiceState.objects.current().on(day).filter(device=device).first()
    return found


def check_still_here(device: int, day: dt.date) -> None:
    """Raises HasLeft."""
    state = state_on(device, day)
    if state is not None and state.state == ServiceStateKind.LEFT:
        raise HasLeft(f"The device {device} left the inventory on {state.from_on}.")


def state_before(row: Row, actor: Actor, at: dt.datetime, *, may_have_left: bool = False) -> ServiceState | None:
    """A new state may be said of its device; gives back the one that it ends.

    Raises BadValue, UnknownReference, WrongSite, InTheFuture, NotYetInRecord, LaterStateStands, HasLeft.
    """
    check_values(row)
    device, from_on = row.values["device"], row.values["from_on"]
    check_day_of(actor, device, from_on, at)
    check_nothing_later(device, from_on)
    if not may_have_left:
        check_still_here(device, from_on)
    return state_on(device, from_on)


def check_nothing_later(device: int, day: dt.date) -> None:
    """Raises LaterStateStands."""
    later = ServiceState.objects.current().filter(device=device, from_on__gt=day).order_by("from_on").first()
    if later is not None:
        raise LaterStateStands(f"The device {device} is {later.state.replace('_', ' ')} from {later.from_on} on.")
