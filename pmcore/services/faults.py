"""Fault reports: what somebody in a clinical area saw, and the hold that it may call for at once."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import HoldReason
from pmcore.models import FaultDetails, FaultReport, FindingDetails, HoldDetails
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.holds import opened_by_report
from pmcore.services.append import append
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import check_device, check_happened, check_in_record, place_of
from pmcore.services.holds import hold_rows
from pmcore.services.permissions import check_area, check_site, use_case
from pmcore.services.permissions import check_device as check_site_of_device
from pmcore.services.refusals import AlreadyReplaced, RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request

KIND = "fault_reported"


class WordsMissing(RecordRefused):
    """What is wrong is said in words."""


class OthersReferToIt(RecordRefused):
    """Something else in the record rests on it: that is taken back or changed first."""


@use_case("report a fault", KIND)
def report_fault(
    *,
    device: int,
    seen_at: dt.datetime,
    account: str,
    actor: Actor,
    at: dt.datetime,
    area: int | None = None,
    during_use: bool | None = None,
    could_harm: bool = False,
    request: Request | None = None,
) -> Receipt:
    """Somebody saw something wrong; the day is the calendar's at the device's site. `could_harm`: by the same act the
    device is held from that day on, whoever reports it.

    Raises WordsMissing, NotAllowed, WrongSite, UnknownReference, InTheFuture, PlaceUnknown, NotYetInRecord, BadValue.
    """
    known = head().size
    check_device(device)
    check_happened(at, seen_at=seen_at)
    place = place_of(device, seen_at, known)
    check_site(actor, place.site)
    check_in_record(device, place.day, known)
    if area is not None:
        check_area(actor, area)
    if not account.strip():
        raise WordsMissing("Say what was seen.")
    report = Row(FaultReport, device=device)
    details = Row(
        FaultDetails, fault_report=report, seen_at=seen_at, seen_on=place.day, area=area, reported_by=actor.person,
        during_use=during_use, account=account,
    )  # fmt: skip
    held = hold_rows(device, HoldReason.FAULT_REPORTED, place.day, actor) if could_harm else []
    return append(KIND, device, [report, details, *held], actor=actor, at=at, request=request)


@use_case("take back a fault report", KIND)
def take_back_fault_report(
    *, fault_report: int, reason: str, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """It was written by mistake, and the hold that it opened is taken back with it, if that is in force. What was seen
    and put right is answered by a finding instead.

    Raises ReasonMissing, OthersReferToIt, AlreadyReplaced, UnknownReference, NotAllowed, WrongSite.
    """
    device = FaultReport.objects.filter(pk=fault_report).values_list("device_id", flat=True).first()
    if device is None:
        raise UnknownReference("fault_report", [fault_report])
    check_taking_back(actor, device, reason, at)
    details = FaultDetails.objects.current().filter(fault_report=fault_report).first()
    if details is None:
        raise AlreadyReplaced(f"The fault report {fault_report} was taken back before.")
    if FindingDetails.objects.current().filter(fault_report=fault_report).exists():
        raise OthersReferToIt(f"A finding answers the fault report {fault_report}.")
    replaced = [details, *taken_along(opened_by_report(fault_report, device, last_day(at), head().size))]
    return append(KIND, device, replaces=replaced, note=reason, actor=actor, at=at, request=request)


def check_taking_back(actor: Actor, device: int, reason: str, at: dt.datetime) -> None:
    """Raises WrongSite, ReasonMissing."""
    check_site_of_device(actor, device, at.astimezone(dt.UTC).date())
    if not reason.strip():
        raise ReasonMissing("Say why the record was wrong.")


def taken_along(holds: list[int]) -> list[HoldDetails]:
    return list(HoldDetails.objects.current().filter(hold__in=holds))


def last_day(at: dt.datetime) -> dt.date:
    """No zone is further ahead: nothing begins later."""
    return at.astimezone(dt.UTC).date() + dt.timedelta(days=1)
