"""Findings: what is recorded, which severities hold the device at once, what is refused, and what is taken back."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import Cause, Discovery, FailureKind, HoldReason, Role, Severity
from pmcore.models import FindingDetails, RepairDetails
from pmcore.queries.columns import BadValue
from pmcore.queries.verification import verify
from pmcore.services.append import append
from pmcore.services.assignments import assign_inspections
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import InTheFuture, NotYetInRecord
from pmcore.services.faults import OthersReferToIt, WordsMissing, take_back_fault_report
from pmcore.services.findings import (
    DiscoveryMissing,
    KindContradicts,
    OfAnotherDevice,
    PositionOfAnotherModel,
    SecondPersonIsYou,
    TrainingDayImpossible,
    TrainingMissing,
    WasRepaired,
    take_back_finding,
)
from pmcore.services.holds import FindingOfAnother
from pmcore.services.refusals import AlreadyReplaced, NotAllowed, UnknownReference, WrongSite
from pmcore.services.requests import Request
from tests.bench_cast import Bench, a_bench, assert_refused, inspection_of, moment, recorded
from tests.cast import AT, JANUARY, a_device, a_model, a_person
from tests.fault_cast import (
    JUNE_1,
    JUNE_10,
    a_line,
    a_position,
    finding_of,
    found,
    hold_of,
    in_force,
    minor,
    released,
    repaired,
    report_of,
    reported,
)

pytestmark = pytest.mark.django_db

IN_USE = {"discovery": Discovery.IN_USE}


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def view_of(finding: int) -> FindingDetails:
    view: FindingDetails = FindingDetails.objects.current().get(finding=finding)
    return view


def test_a_finding_says_what_where_why_and_how_it_came_to_light(bench: Bench) -> None:
    position, report = a_position(bench.model), report_of(reported(bench))
    line = a_line(position=position, fault_report=report, area=bench.theatre, note="Second time.")
    view = view_of(finding_of(found(bench, line)))
    assert (view.subsystem, view.cause, view.failure, view.severity) == ("drive", "wear", "functional", "stops_use")
    assert (view.position_id, view.fault_report_id, view.area_id) == (position, report, bench.theatre)
    assert (view.discovery, view.from_on, view.discovered_on) == (Discovery.IN_USE, JUNE_1, JUNE_1)
    assert (view.mode.words, view.note.words) == ("It sinks under load.", "Second time.")
    assert verify().sound


@pytest.mark.parametrize("severity", Severity)
def test_what_could_harm_or_stops_use_holds_the_device_by_the_same_act(bench: Bench, severity: Severity) -> None:
    receipt = found(bench, a_line(severity=severity, failure=FailureKind.POTENTIAL, **IN_USE))
    holds = [(held.reason, held.finding) for held in in_force(bench)]
    grave = severity in {"could_harm", "stops_use"}
    assert holds == ([(HoldReason.FINDING, finding_of(receipt))] if grave else [])


def test_how_it_came_to_light_follows_from_report_or_inspection_or_is_said(bench: Bench) -> None:
    inspection = inspection_of(recorded(bench, moment(6, 1)))
    report = report_of(reported(bench))
    at_inspection = found(bench, minor(), inspection=inspection)
    by_report = found(bench, minor(fault_report=report), inspection=inspection)
    said = found(bench, minor(discovery=Discovery.NOTICE))
    told = [view_of(finding_of(receipt)).discovery for receipt in (at_inspection, by_report, said)]
    assert told == [Discovery.INSPECTION, Discovery.IN_USE, Discovery.NOTICE]
    assert_refused(DiscoveryMissing, lambda: found(bench, minor()))


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.CLINICAL_LEAD, Role.SCHEDULER, Role.ADMINISTRATOR])
def test_findings_are_made_by_who_works_on_devices(bench: Bench, role: Role) -> None:
    onlooker = a_person("Ines Caddock", role, bench.alderwick)
    assert_refused(NotAllowed, lambda: found(bench, actor=onlooker))


def test_a_provider_makes_findings_on_devices_that_they_were_given(bench: Bench) -> None:
    provider = a_person("Ylva Brontesk", Role.PROVIDER, bench.alderwick)
    assert_refused(NotAllowed, lambda: found(bench, actor=provider))
    assign_inspections(
        due_inspections=[bench.due], person=provider.person or 0, on=AT.date(), half=None, actor=bench.odile, at=AT
    )  # fmt: skip
    assert finding_of(found(bench, actor=provider))


def test_what_is_wrong_with_a_finding_is_refused_by_name(bench: Bench) -> None:
    other_model = a_model(bench.odile, "Orvane", "Chert", bench.table)
    other = a_device(bench.odile, bench.model, "OM-2", bench.theatre)
    elsewhere = finding_of(found(bench, a_line(**IN_USE), device=other))
    report = report_of(reported(bench, device=other))
    inspection = inspection_of(recorded(bench, moment(6, 1), device=other))
    withdrawn = report_of(reported(bench))
    take_back_fault_report(fault_report=withdrawn, reason="No.", actor=bench.odile, at=AT)
    refused: list[tuple[type[Exception], dict[str, Any]]] = [
        (WordsMissing, {"mode": "  "}),
        (KindContradicts, {"failure": FailureKind.COSMETIC}),
        (KindContradicts, {"failure": FailureKind.NONE, "severity": Severity.COULD_HARM}),
        (KindContradicts, {"cause": Cause.NO_FAULT_FOUND}),
        (PositionOfAnotherModel, {"position": a_position(other_model)}),
        (UnknownReference, {"position": 999_999}),
        (FindingOfAnother, {"same_root_as": elsewhere}),
        (UnknownReference, {"same_root_as": 999_999}),
        (OfAnotherDevice, {"fault_report": report}),
        (OfAnotherDevice, {"fault_report": withdrawn}),
        (OfAnotherDevice, {"fault_report": 999_999}),
        (UnknownReference, {"area": 999_999}),
        (WrongSite, {"area": bench.ward}),
        (BadValue, {"subsystem": "wings"}),
    ]
    for error, changed in refused:
        assert_refused(error, lambda changed=changed: found(bench, a_line(**IN_USE | changed)))  # type: ignore[misc]
    day = dt.timedelta(days=1)
    stranger = a_person("Per Aldous", Role.TECHNICIAN, bench.stennet)
    assert_refused(OfAnotherDevice, lambda: found(bench, inspection=inspection))
    assert_refused(InTheFuture, lambda: found(bench, discovered_on=AT.date() + day))
    assert_refused(NotYetInRecord, lambda: found(bench, discovered_on=JANUARY - day))
    assert_refused(UnknownReference, lambda: found(bench, device=999_999))
    assert_refused(WrongSite, lambda: found(bench, actor=stranger))


def test_a_use_error_takes_a_training_and_a_second_person(bench: Bench) -> None:
    blamed = {**IN_USE, "cause": Cause.USE_ERROR}
    agreed = {**blamed, "training_on": JUNE_10, "second_person": bench.odile.person}
    refused: list[tuple[type[Exception], dict[str, Any]]] = [
        (TrainingMissing, blamed),
        (TrainingMissing, {**blamed, "training_on": JUNE_10}),
        (TrainingMissing, {**blamed, "second_person": bench.odile.person}),
        (SecondPersonIsYou, {**agreed, "second_person": bench.ruan.person}),
        (TrainingDayImpossible, {**agreed, "training_on": AT.date() + dt.timedelta(days=1)}),
        (TrainingDayImpossible, {**agreed, "training_on": dt.date(1999, 12, 31)}),
        (TrainingDayImpossible, {**agreed, "training_on": dt.date.min}),
        (UnknownReference, {**agreed, "second_person": 999_999}),
    ]
    for error, changed in refused:
        assert_refused(error, lambda changed=changed: found(bench, a_line(**changed)))  # type: ignore[misc]
    view = view_of(finding_of(found(bench, a_line(**agreed))))
    assert (view.training_on, view.second_person_id) == (JUNE_10, bench.odile.person)


def test_findings_of_one_root_point_to_the_first_of_them(bench: Bench) -> None:
    first = finding_of(found(bench))
    second = finding_of(found(bench, a_line(same_root_as=first, **IN_USE)))
    third = finding_of(found(bench, a_line(same_root_as=second, **IN_USE)))
    assert [view_of(finding).same_root_as_id for finding in (first, second, third)] == [None, first, first]


def test_a_finding_that_is_sent_twice_is_made_once(bench: Bench) -> None:
    request = Request.of("tablet-1", {"device": bench.device})
    first, again = (found(bench, request=request) for _ in range(2))
    assert again == first._replace(repeated=True)
    assert len(in_force(bench)) == 1


def test_a_finding_made_by_mistake_is_taken_back_with_the_hold_that_it_opened(bench: Bench) -> None:
    deed: dict[str, Any] = {"finding": finding_of(found(bench)), "at": AT}
    stranger = a_person("Per Aldous", Role.MANAGER, bench.stennet)
    assert_refused(NotAllowed, lambda: take_back_finding(reason="Another table.", actor=bench.ruan, **deed))
    assert_refused(WrongSite, lambda: take_back_finding(reason="Another table.", actor=stranger, **deed))
    assert_refused(ReasonMissing, lambda: take_back_finding(reason="", actor=bench.odile, **deed))
    unknown = deed | {"finding": 999_999}
    assert_refused(UnknownReference, lambda: take_back_finding(reason="No.", actor=bench.odile, **unknown))
    take_back_finding(reason="Another table.", actor=bench.odile, **deed)
    assert in_force(bench) == []
    assert not FindingDetails.objects.current().exists()
    assert_refused(AlreadyReplaced, lambda: take_back_finding(reason="Again.", actor=bench.odile, **deed))
    assert verify().sound


def test_a_hold_that_was_lifted_stays_when_its_finding_is_taken_back(bench: Bench) -> None:
    receipt = found(bench)
    released(bench, hold_of(receipt))
    take_back_finding(finding=finding_of(receipt), reason="Another table.", actor=bench.odile, at=AT)
    assert [held.hold for held in in_force(bench)] == [hold_of(receipt)]


def test_the_root_of_another_finding_is_not_taken_back(bench: Bench) -> None:
    first = finding_of(found(bench))
    found(bench, a_line(same_root_as=first, **IN_USE))
    deed: dict[str, Any] = {"finding": first, "reason": "No.", "actor": bench.odile, "at": AT}
    assert_refused(OthersReferToIt, lambda: take_back_finding(**deed))


def test_what_was_repaired_is_not_taken_back_until_the_repair_is(bench: Bench) -> None:
    finding = finding_of(found(bench))
    receipt = repaired(bench, finding)
    deed: dict[str, Any] = {"finding": finding, "reason": "Another table.", "actor": bench.odile, "at": AT}
    assert_refused(WasRepaired, lambda: take_back_finding(**deed))
    repair = RepairDetails.objects.get(entry=receipt.seq)
    append("repair_done", bench.device, replaces=[repair], note="Another table.", actor=bench.odile, at=AT)
    take_back_finding(**deed)
    assert not FindingDetails.objects.current().exists()
