"""What was said of a device for a day, said right: another day, another state, another value."""

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Departure, OwnershipKind, ServiceStateKind
from pmcore.models import Lending, MeterReading, Ownership, ServiceState, UseSeen
from pmcore.models.base import Fact
from pmcore.models.fields import FreeText
from pmcore.models.rows import Row
from pmcore.services.corrections import TAKEN_BACK_AS, fact_with_id, replace_fact
from pmcore.services.departures import DepartureUnclear
from pmcore.services.device_days import check_day_of
from pmcore.services.loans import check_return
from pmcore.services.locating import SeenLater
from pmcore.services.permissions import use_case
from pmcore.services.refusals import AlreadyReplaced, RecordRefused
from pmcore.services.requests import Receipt, Request
from pmcore.services.usage import check_reading
from pmcore.services.values import check_values


class NotCorrectable(RecordRefused):
    """Of which device it was said is no detail: take it back, and say it of the other one."""


class CrossesAnother(RecordRefused):
    """The right day lies beyond another one of which the record says something."""


class LostOtherwise(RecordRefused):
    """A device is given up by declaring it lost, and that is not dated back."""


@use_case("correct a device", *TAKEN_BACK_AS.values())
def correct_fact(
    *,
    wrong: int,
    changed: Mapping[str, Any],
    reason: str,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """The state, ownership, loan, use or meter reading `wrong` (its id) holds with other values: `changed`, by column.
    A hold that was placed with it stays until it is released or taken back.

    Raises NotCorrectable, CrossesAnother, LostOtherwise, DepartureUnclear, SeenLater, ReturnUnclear, MeterFalls,
    ReadingImplausible, InTheFuture, NotYetInRecord, ReasonMissing, AlreadyReplaced, UnknownReference, BadValue,
    WrongSite, NotAllowed.
    """
    fact = fact_with_id(wrong, list(_CHECKS))
    if fact.replaced_by is not None:
        raise AlreadyReplaced(f"{fact.record_name()} {wrong} was already replaced.")
    if fixed := sorted(changed.keys() & set(fact.about)):
        raise NotCorrectable(f"{fixed[0]} cannot be corrected: take it back, and say it anew.")
    right = Row(type(fact), **{**_said(fact), **changed})
    check_values(right)
    check_day_of(actor, fact.device_id, right.values["from_on"], at)
    _check_order(fact, right.values["from_on"])
    _CHECKS[type(fact)](right.values, fact)
    kind = TAKEN_BACK_AS[type(fact)]
    return replace_fact(kind, fact, [right], reason=reason, actor=actor, at=at, request=request)


def _said(fact: Fact) -> dict[str, Any]:
    """The fact's own values, words instead of where they are kept."""
    said = {}
    for field in fact._meta.concrete_fields:
        if field.name in ("id", "entry", "replaced_by"):
            continue
        if isinstance(field, FreeText):
            text = getattr(fact, field.name)
            said[field.name] = None if text is None else text.words
        else:
            said[field.name] = getattr(fact, field.attname)
    return said


def _check_order(wrong: Any, from_on: dt.date) -> None:
    """Nothing else is said for a day between the wrong one and the right one."""
    same = {name: getattr(wrong, name) for name in wrong.about}
    first, last = sorted([wrong.from_on, from_on])
    others = type(wrong).objects.current().filter(**same, from_on__gte=first, from_on__lte=last).exclude(pk=wrong.pk)
    if (other := others.first()) is not None:
        raise CrossesAnother(f"The record says something else for {other.from_on}; correct that first.")


def _check_state(right: dict[str, Any], wrong: Any) -> None:
    left, departure = right["state"] == ServiceStateKind.LEFT, right["departure"]
    if left != (departure is not None):
        raise DepartureUnclear("A device that leaves the inventory says how, and no other does.")
    dated_back = wrong.departure != Departure.DECLARED_LOST or right["from_on"] < wrong.from_on
    if departure == Departure.DECLARED_LOST and dated_back:
        raise LostOtherwise("A device is given up by declaring it lost, and that is not dated back.")
    if right["last_seen_on"] is not None and right["last_seen_on"] > right["from_on"]:
        raise SeenLater(f"It was seen on {right['last_seen_on']}, so it was not missing from {right['from_on']} on.")


def _check_ownership(right: dict[str, Any], _: Any) -> None:
    check_return(OwnershipKind(right["kind"]), right["from_on"], right["until_on"])


def _check_lending(right: dict[str, Any], _: Any) -> None:
    check_return(OwnershipKind.ON_LOAN, right["from_on"], right["due_back_on"])


def _check_meter(right: dict[str, Any], wrong: Any) -> None:
    check_reading(Row(MeterReading, **right), instead_of=wrong.pk)


def _check_nothing(right: dict[str, Any], wrong: Any) -> None:
    """A day on which it was seen in use is right by itself."""


_CHECKS: dict[type[Fact], Callable[[dict[str, Any], Any], None]] = {
    ServiceState: _check_state,
    Ownership: _check_ownership,
    Lending: _check_lending,
    UseSeen: _check_nothing,
    MeterReading: _check_meter,
}
