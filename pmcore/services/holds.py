"""Holds: a device may not be used, and why."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import HoldReason
from pmcore.models import Entry, Finding, Hold, HoldDetails, ReleasedHold
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.site_days import site_on
from pmcore.services.append import append
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import check_day_has_come, check_device, check_in_record
from pmcore.services.permissions import check_role, check_site
from pmcore.services.refusals import AlreadyReplaced, RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request, answered


class FindingOfAnother(RecordRefused):
    """The finding was made on another device."""


class OpenedByAnotherAct(RecordRefused):
    """The hold was not placed by itself: what opened it still stands, and calls for it."""


class AlreadyLifted(RecordRefused):
    """A release lifted the hold; it did its work."""


_OPENED_BY = {
    "inspection_recorded": "An inspection",
    "finding_made": "A finding",
    "fault_reported": "A fault report",
}


def place_hold(
    *,
    device: int,
    reason: HoldReason,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    finding: int | None = None,
    note: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """From a day on, today at the latest, the device may not be used.

    Raises NotAllowed, WrongSite, UnknownReference, FindingOfAnother, InTheFuture, NotYetInRecord.
    """
    check_role(actor, "place a hold")
    if (earlier := answered(actor, request, "hold_placed")) is not None:
        return earlier
    known = head().size
    check_device(device)
    site = site_on(device, from_on, known)
    check_site(actor, site)
    check_day_has_come(from_on, at, site, known)
    check_in_record(device, from_on, known)
    if finding is not None:
        _check_finding(finding, device)
    rows = hold_rows(device, reason, from_on, actor, finding=finding, note=note)
    return append("hold_placed", device, rows, actor=actor, at=at, request=request)


def hold_rows(
    device: int,
    reason: HoldReason,
    from_on: dt.date,
    actor: Actor,
    *,
    finding: int | Row | None = None,
    note: str | None = None,
) -> list[Row]:
    """A new hold, to be placed by whichever act calls for it."""
    hold = Row(Hold, device=device)
    details = Row(
        HoldDetails, hold=hold, from_on=from_on, reason=reason, finding=finding, placed_by=actor.person, note=note
    )
    return [hold, details]


def take_back_hold(*, hold: int, reason: str, actor: Actor, at: dt.datetime, request: Request | None = None) -> Receipt:
    """A hold that somebody placed was recorded by mistake. One that has done its work is lifted by a release instead,
    and so is one that another act opened, as long as that stands: otherwise nobody would ask on what ground.

    Raises ReasonMissing, AlreadyReplaced, AlreadyLifted, OpenedByAnotherAct, UnknownReference, NotAllowed, WrongSite.
    """
    check_role(actor, "take back a hold")
    if (earlier := answered(actor, request, "hold_placed")) is not None:
        return earlier
    device = Hold.objects.filter(pk=hold).values_list("device_id", flat=True).first()
    if device is None:
        raise UnknownReference("hold", [hold])
    details = list(HoldDetails.objects.current().filter(hold=hold).order_by("from_on"))
    if not details:
        raise AlreadyReplaced(f"The hold {hold} was taken back before.")
    check_site(actor, site_on(device, details[0].from_on, head().size))
    _check_alone(hold, min(each.entry for each in details))
    if not reason.strip():
        raise ReasonMissing("Say why the record was wrong.")
    return append("hold_placed", device, replaces=details, note=reason, actor=actor, at=at, request=request)


def _check_alone(hold: int, entry: int) -> None:
    if ReleasedHold.objects.current().filter(hold=hold).exists():
        raise AlreadyLifted("A release lifted this hold. Take the release back, if that was the mistake.")
    kind = Entry.objects.filter(seq=entry).values_list("kind", flat=True).get()
    if kind != "hold_placed":
        opened = _OPENED_BY.get(kind, "Another act")
        raise OpenedByAnotherAct(f"{opened} opened this hold. Take that back, or sign a release.")


def _check_finding(finding: int, device: int) -> None:
    found_on = Finding.objects.filter(pk=finding).values_list("device_id", flat=True).first()
    if found_on is None:
        raise UnknownReference("finding", [finding])
    if found_on != device:
        raise FindingOfAnother(f"The finding {finding} was made on the device {found_on}.")
