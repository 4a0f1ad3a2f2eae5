"""What was recorded wrongly about a device is put right by another entry; the wrong one stays readable. Days and values
of states, ownership, loans and meters: `fact_corrections.py`."""

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.db.models import QuerySet

from pmcore.engines.records import Actor
from pmcore.models import (
    DeviceIdentity,
    DeviceRevision,
    Lending,
    MeterReading,
    Ownership,
    Placement,
    ServiceState,
    Succession,
    TagHeld,
    UseSeen,
)
from pmcore.models.base import Fact
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.device_days import check_day_of
from pmcore.services.devices import check_serial_free, check_tag_free
from pmcore.services.permissions import check_area, check_device, use_case
from pmcore.services.refusals import RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request
from pmcore.services.values import check_values

# What can be taken back without saying what was so instead; a device without an identity would be none.
TAKEN_BACK_AS: dict[type[Fact], str] = {
    Placement: "device_placed",
    TagHeld: "tag_set",
    ServiceState: "service_state_set",
    DeviceRevision: "revision_set",
    Ownership: "ownership_set",
    Lending: "lending_set",
    UseSeen: "use_seen",
    Succession: "device_succeeded",
    MeterReading: "meter_read",
}


class StandsNowhere(RecordRefused):
    """A device that stands nowhere would be due nowhere: its only placement is corrected, not taken back."""


class ReasonMissing(RecordRefused):
    """A correction says why."""


@use_case("correct a device", "device_placed")
def correct_placement(
    *,
    wrong: int,
    area: int,
    from_on: dt.date,
    reason: str,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """The placement `wrong` (its id) was another. Raises InTheFuture, NotYetInRecord, ReasonMissing, AlreadyReplaced,
    UnknownReference, WrongSite, NotAllowed."""
    fact = fact_with_id(wrong, [Placement])
    right = Row(Placement, device=fact.device_id, from_on=from_on, area=area)
    check_values(right)
    check_area(actor, area)
    check_day_of(actor, fact.device_id, from_on, at)
    return replace_fact("device_placed", fact, [right], reason=reason, actor=actor, at=at, request=request)


@use_case("correct a device", "device_identified")
def correct_identity(
    *,
    wrong: int,
    device_model: int,
    serial: str,
    reason: str,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """The identity `wrong` (its id) has another model or serial number. Raises SerialTaken, ReasonMissing,
    AlreadyReplaced, UnknownReference, WrongSite, NotAllowed."""
    fact = fact_with_id(wrong, [DeviceIdentity])
    right = Row(DeviceIdentity, device=fact.device_id, device_model=device_model, serial=serial)
    check_values(right)
    check_serial_free(device_model, serial, fact.device_id)
    return replace_fact("device_identified", fact, [right], reason=reason, actor=actor, at=at, request=request)


@use_case("correct a device", *TAKEN_BACK_AS.values())
def take_back(*, wrong: int, reason: str, actor: Actor, at: dt.datetime, request: Request | None = None) -> Receipt:
    """The fact `wrong` (its id) never was, and nothing stands in its place: what was said before it holds on.

    Raises StandsNowhere, ReasonMissing, AlreadyReplaced, UnknownReference, TagTaken, WrongSite, NotAllowed.
    """
    fact = fact_with_id(wrong, list(TAKEN_BACK_AS))
    if isinstance(fact, TagHeld):
        _check_earlier_tag_free(fact)
    return replace_fact(TAKEN_BACK_AS[type(fact)], fact, [], reason=reason, actor=actor, at=at, request=request)


def fact_with_id(wrong: int, tables: Sequence[type[Fact]]) -> Any:
    """The fact of that id, from whichever of the tables has it: all share one counter."""
    for table in tables:
        fact = table.objects.filter(pk=wrong).first()
        if fact is not None:
            return fact
    raise UnknownReference(" or ".join(table.record_name() for table in tables), [wrong])


def replace_fact(
    kind: str, wrong: Any, rows: list[Row], *, reason: str, actor: Actor, at: dt.datetime, request: Request | None
) -> Receipt:
    check_device(actor, wrong.device_id, at.date())
    if isinstance(wrong, Placement):
        check_area(actor, wrong.area_id)
    if not reason.strip():
        raise ReasonMissing("Say why the record was wrong.")
    if isinstance(wrong, Placement) and not rows and not _others(wrong).exists():
        raise StandsNowhere("It is the only thing said of where the device stands: say where it stood instead.")
    return append(kind, wrong.device_id, rows, replaces=[wrong], note=reason, actor=actor, at=at, request=request)


def _others(wrong: Placement) -> QuerySet[Placement]:
    return Placement.objects.current().filter(device=wrong.device_id).exclude(pk=wrong.pk)


def _check_earlier_tag_free(wrong: TagHeld) -> None:
    """The tag before it comes back into force, and may have been given to another device meanwhile."""
    earlier = TagHeld.objects.current().filter(device=wrong.device_id, from_on__lt=wrong.from_on)
    newest = earlier.order_by("-from_on").first()
    if newest is not None:
        check_tag_free(newest.tag, wrong.from_on, wrong.device_id)
