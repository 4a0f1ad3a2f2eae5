"""Fault reports: who reports, what is held at once, what is refused, and what is taken back."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import HoldReason, Role
from pmcore.models import FaultDetails
from pmcore.queries.columns import BadValue
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import InTheFuture, NotYetInRecord, PlaceUnknown
from pmcore.services.faults import OthersReferToIt, WordsMissing, take_back_fault_report
from pmcore.services.refusals import AlreadyReplaced, NotAllowed, RequestReused, UnknownReference, WrongSite
from pmcore.services.requests import Request
from tests.bench_cast import Bench, a_bench, assert_refused, moment
from tests.cast import AT, a_person
from tests.fault_cast import JUNE_10, a_line, found, hold_of, in_force, released, report_of, reported
from tests.history import a_device

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench() -> Bench:
    return a_bench()


@pytest.mark.parametrize("role", [Role.CLINICAL_LEAD, Role.TECHNICIAN, Role.SCHEDULER, Role.MANAGER])
def test_whoever_is_on_the_staff_reports_what_they_saw(bench: Bench, role: Role) -> None:
    lead = a_person("Merete Sondvik", role, bench.alderwick)
    receipt = reported(bench, actor=lead, area=bench.theatre, during_use=True)
    details = FaultDetails.objects.get(entry=receipt.seq)
    assert details.account.words == "It sank by itself."
    assert (details.seen_at, details.seen_on) == (moment(6, 1), dt.date(2026, 6, 1))
    assert (details.reported_by_id, details.area_id, details.during_use) == (lead.person, bench.theatre, True)
    assert in_force(bench) == []
    assert verify().sound


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.PROVIDER])
def test_who_only_looks_and_who_comes_from_outside_reports_nothing(bench: Bench, role: Role) -> None:
    onlooker = a_person("Wim Ostrava-Keel", role, bench.alderwick)
    assert_refused(NotAllowed, lambda: reported(bench, actor=onlooker))


def test_what_could_harm_is_held_by_the_same_act_also_by_a_clinical_lead(bench: Bench) -> None:
    lead = a_person("Merete Sondvik", Role.CLINICAL_LEAD, bench.alderwick)
    receipt = reported(bench, actor=lead, could_harm=True)
    (held,) = in_force(bench)
    assert (held.hold, held.reason) == (hold_of(receipt), HoldReason.FAULT_REPORTED)


def test_the_day_is_that_of_the_site(bench: Bench) -> None:
    """23:30 in UTC on the last day of May is the first of June in London's summer."""
    receipt = reported(bench, seen_at=dt.datetime(2026, 5, 31, 23, 30, tzinfo=dt.UTC))
    assert FaultDetails.objects.get(entry=receipt.seq).seen_on == dt.date(2026, 6, 1)


def test_what_is_wrong_with_a_report_is_refused_by_name(bench: Bench) -> None:
    stranger = a_person("Per Aldous", Role.TECHNICIAN, bench.stennet)
    nowhere = a_device(bench.model, "OM-9")
    without_origin = a_device(bench.model, "OM-8", bench.theatre)
    refused: list[tuple[type[Exception], dict[str, Any]]] = [
        (WordsMissing, {"account": " \n"}),
        (UnknownReference, {"device": 999_999}),
        (UnknownReference, {"area": 999_999}),
        (WrongSite, {"area": bench.ward}),
        (WrongSite, {"actor": stranger}),
        (InTheFuture, {"seen_at": AT + dt.timedelta(minutes=1)}),
        (BadValue, {"seen_at": moment(6, 1).replace(tzinfo=None)}),
        (NotYetInRecord, {"device": without_origin}),
        (PlaceUnknown, {"device": nowhere}),
    ]
    for error, options in refused:
        assert_refused(error, lambda options=options: reported(bench, **options))  # type: ignore[misc]


def test_a_report_that_is_sent_twice_is_written_once(bench: Bench) -> None:
    request = Request.of("tablet-1", {"device": bench.device})
    first, again = (reported(bench, could_harm=True, request=request) for _ in range(2))
    assert again == first._replace(repeated=True)
    assert len(in_force(bench)) == 1
    with pytest.raises(RequestReused):
        reported(bench, request=Request.of("tablet-1", {"device": "another"}))


def test_a_report_written_by_mistake_is_taken_back_with_the_hold_that_it_opened(bench: Bench) -> None:
    receipt = reported(bench, could_harm=True)
    deed: dict[str, Any] = {"fault_report": report_of(receipt), "at": AT}
    stranger = a_person("Per Aldous", Role.MANAGER, bench.stennet)
    assert_refused(NotAllowed, lambda: take_back_fault_report(reason="Another table.", actor=bench.ruan, **deed))
    assert_refused(WrongSite, lambda: take_back_fault_report(reason="Another table.", actor=stranger, **deed))
    assert_refused(ReasonMissing, lambda: take_back_fault_report(reason=" ", actor=bench.odile, **deed))
    unknown = deed | {"fault_report": 999_999}
    assert_refused(UnknownReference, lambda: take_back_fault_report(reason="No.", actor=bench.odile, **unknown))
    size = head().size
    take_back_fault_report(reason="Another table.", actor=bench.odile, **deed)
    assert in_force(bench) == []
    assert len(in_force(bench, known=size)) == 1
    assert_refused(AlreadyReplaced, lambda: take_back_fault_report(reason="Again.", actor=bench.odile, **deed))
    assert verify().sound


def test_a_hold_that_was_lifted_has_done_its_work_and_stays(bench: Bench) -> None:
    receipt = reported(bench, could_harm=True)
    released(bench, hold_of(receipt))
    take_back_fault_report(fault_report=report_of(receipt), reason="Another table.", actor=bench.odile, at=AT)
    assert [held.hold for held in in_force(bench)] == [hold_of(receipt)]
    assert in_force(bench, JUNE_10) == []


def test_a_report_that_a_finding_answers_is_not_taken_back(bench: Bench) -> None:
    report = report_of(reported(bench))
    found(bench, a_line(fault_report=report))
    deed: dict[str, Any] = {"fault_report": report, "reason": "No.", "actor": bench.odile, "at": AT}
    assert_refused(OthersReferToIt, lambda: take_back_fault_report(**deed))
