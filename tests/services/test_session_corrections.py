"""A sheet that was wrong is written again whole, or taken back; what it re-anchored goes with it."""

from typing import Any

import pytest

from pmcore.engines.vocabulary import InspectionKind, Outcome
from pmcore.models import InspectionSession, PlanAnchor, Reading
from pmcore.queries.head import head
from pmcore.queries.inspections import completed
from pmcore.queries.verification import verify
from pmcore.services.corrections import ReasonMissing
from pmcore.services.inspections import AlreadyRecorded, AnotherInspection, correct_session, take_back_session
from pmcore.services.readings import ReadingLine, UnknownStep
from pmcore.services.refusals import AlreadyReplaced, NotAllowed, WrongSite
from pmcore.services.requests import Receipt, Request
from tests.bench_cast import (
    BRAKES,
    RAISING,
    Bench,
    a_bench,
    assert_refused,
    inspection_of,
    moment,
    recorded,
    session_of,
    work,
)
from tests.cast import AT, a_person
from tests.history import day

pytestmark = pytest.mark.django_db

JUNE_15, JUNE_16 = moment(6, 15), moment(6, 16)


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def corrected(bench: Bench, wrong: InspectionSession, **options: Any) -> Receipt:
    given = {"reason": "The wrong day was written.", "performed_at": JUNE_16} | options
    return correct_session(wrong=wrong, **work(bench, given.pop("performed_at"), **given))


def performed_days(bench: Bench, known: int | None = None) -> list[Any]:
    return [done.performed_on for done in completed([bench.device], head().size if known is None else known)]


def test_the_whole_sheet_is_written_again_on_the_same_inspection(bench: Bench) -> None:
    first = recorded(bench, JUNE_15)
    corrected(bench, session_of(first), readings=[BRAKES, RAISING, bench.leakage("90")])
    session = InspectionSession.objects.current().get()
    assert session.inspection_id == inspection_of(first)
    assert Reading.objects.current().get(step="leakage").as_found == "90"
    assert performed_days(bench) == [day("2026-06-16")]
    assert performed_days(bench, known=first.seq) == [day("2026-06-15")]
    assert verify().sound


def test_a_correction_says_why_and_happens_once(bench: Bench) -> None:
    wrong = session_of(recorded(bench, JUNE_15))
    assert_refused(ReasonMissing, lambda: corrected(bench, wrong, reason="  "))
    corrected(bench, wrong)
    assert_refused(AlreadyReplaced, lambda: corrected(bench, wrong, performed_at=moment(6, 17)))
    assert_refused(AlreadyReplaced, lambda: take_back_session(wrong=wrong, reason="Twice.", actor=bench.odile, at=AT))


def test_only_who_manages_the_site_corrects(bench: Bench) -> None:
    wrong = session_of(recorded(bench, JUNE_15))
    stranger = a_person("Per Aldous", bench.odile.role, bench.stennet)
    assert_refused(NotAllowed, lambda: corrected(bench, wrong, actor=bench.ruan))
    assert_refused(WrongSite, lambda: corrected(bench, wrong, actor=stranger))
    take_back: dict[str, Any] = {"wrong": wrong, "reason": "Not done.", "at": AT}
    assert_refused(NotAllowed, lambda: take_back_session(actor=bench.ruan, **take_back))
    assert_refused(WrongSite, lambda: take_back_session(actor=stranger, **take_back))


def test_a_corrected_sheet_is_checked_like_a_new_one(bench: Bench) -> None:
    wrong = session_of(recorded(bench, JUNE_15))
    unknown = ReadingLine(step="castors", outcome=Outcome.PASSED)
    assert_refused(UnknownStep, lambda: corrected(bench, wrong, readings=[unknown]))


def test_a_correction_does_not_land_on_another_inspection(bench: Bench) -> None:
    wrong = session_of(recorded(bench, JUNE_15))
    recorded(bench, JUNE_16)
    assert_refused(AlreadyRecorded, lambda: corrected(bench, wrong))


def test_one_of_two_sessions_stays_with_the_other(bench: Bench) -> None:
    first = recorded(bench, JUNE_15, BRAKES)
    recorded(bench, moment(6, 17), RAISING, bench.leakage(), inspection=inspection_of(first))
    wrong = session_of(first)
    assert_refused(AnotherInspection, lambda: corrected(bench, wrong, readings=[BRAKES], kind=InspectionKind.INCOMING))
    assert_refused(AlreadyRecorded, lambda: corrected(bench, wrong, performed_at=moment(6, 17, 8)), "leakage|raising")
    corrected(bench, wrong, readings=[BRAKES])
    assert performed_days(bench) == [day("2026-06-17")]


def test_what_was_never_done_is_taken_back(bench: Bench) -> None:
    first = recorded(bench, JUNE_15)
    take_back_session(wrong=session_of(first), reason="Another device was meant.", actor=bench.odile, at=AT)
    assert performed_days(bench) == []
    assert performed_days(bench, known=first.seq) == [day("2026-06-15")]
    assert_refused(AnotherInspection, lambda: recorded(bench, JUNE_16, inspection=inspection_of(first)))
    recorded(bench, JUNE_15)
    assert performed_days(bench) == [day("2026-06-15")]


def test_a_plan_that_it_re_anchored_counts_as_before_unless_it_is_said_again(bench: Bench) -> None:
    first = recorded(bench, JUNE_15, re_anchor_plan=bench.plan)
    again = corrected(bench, session_of(first), re_anchor_plan=bench.plan)
    assert PlanAnchor.objects.current().get().anchor_on == day("2026-06-16")
    last = corrected(bench, session_of(again), performed_at=moment(6, 17), re_anchor_plan=bench.plan)
    take_back_session(wrong=session_of(last), reason="Not done.", actor=bench.odile, at=AT)
    assert not PlanAnchor.objects.current().exists()


def test_a_correction_without_the_plan_takes_its_new_anchor_back(bench: Bench) -> None:
    first = recorded(bench, JUNE_15, re_anchor_plan=bench.plan)
    corrected(bench, session_of(first))
    assert not PlanAnchor.objects.current().exists()


def test_a_correction_sent_twice_is_made_once(bench: Bench) -> None:
    wrong, request = session_of(recorded(bench, JUNE_15)), Request.of("desk-1", {"session": 1})
    first, again = (corrected(bench, wrong, request=request) for _ in range(2))
    assert (again.seq, again.repeated) == (first.seq, True)
    wrong, request = session_of(first), Request.of("desk-2", {"session": 2})
    deed: dict[str, Any] = {"wrong": wrong, "reason": "Not done.", "actor": bench.odile, "at": AT, "request": request}
    assert take_back_session(**deed).seq == take_back_session(**deed).seq
