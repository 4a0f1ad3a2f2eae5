"""Releases: who signs, on what ground, what is refused, and what is taken back."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import HoldReason, InspectionKind, Outcome, Role
from pmcore.models import ReleaseStatement
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import InTheFuture
from pmcore.services.findings import OfAnotherDevice
from pmcore.services.holds import place_hold, take_back_hold
from pmcore.services.inspections import take_back_session
from pmcore.services.readings import ReadingLine
from pmcore.services.refusals import AlreadyReplaced, NotAllowed, RowTwice, UnknownReference, WrongSite
from pmcore.services.releases import (
    GroundMissing,
    HoldNotInForce,
    HoldOfAnother,
    ManagersJudgement,
    NothingToLift,
    SignedBeforeHold,
    take_back_release,
)
from pmcore.services.requests import Request
from tests.bench_cast import (
    BRAKES,
    RAISING,
    Bench,
    a_bench,
    a_repair,
    assert_refused,
    inspection_of,
    moment,
    recorded,
    session_of,
)
from tests.cast import AT, a_device, a_person
from tests.fault_cast import (
    JUNE_1,
    JUNE_10,
    finding_of,
    found,
    hold_of,
    in_force,
    release_of,
    released,
    repaired,
)

pytestmark = pytest.mark.django_db

ONE_DAY = dt.timedelta(days=1)
NO_BRAKES = ReadingLine(step="brakes", outcome=Outcome.FAILED)


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def held(bench: Bench, reason: HoldReason = HoldReason.OTHER, **options: Any) -> int:
    given = {"device": bench.device, "from_on": JUNE_1, "actor": bench.ruan, "at": AT}
    return hold_of(place_hold(reason=reason, **given | options))


def failed(bench: Bench, *lines: ReadingLine) -> int:
    """The hold of a failed inspection on the first of June."""
    return hold_of(recorded(bench, moment(6, 1), *(lines or (NO_BRAKES, RAISING, bench.leakage()))))


def test_a_release_lifts_the_holds_that_it_names_and_says_what_remains(bench: Bench) -> None:
    first, second = hold_of(found(bench)), held(bench)
    receipt = released(bench, first, restriction="Not above 150 kg.")
    statement = ReleaseStatement.objects.get(entry=receipt.seq)
    assert (statement.signed_by_id, statement.signed_on) == (bench.odile.person, JUNE_10)
    assert (statement.restriction.words, statement.note.words) == ("Not above 150 kg.", "Drive changed, load held.")
    assert [each.hold for each in in_force(bench, JUNE_10 - ONE_DAY)] == [first, second]
    assert [each.hold for each in in_force(bench, JUNE_10)] == [second]
    assert verify().sound


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.CLINICAL_LEAD, Role.SCHEDULER, Role.PROVIDER, Role.ADMINISTRATOR])
def test_technicians_and_managers_sign_and_nobody_else(bench: Bench, role: Role) -> None:
    hold, onlooker = held(bench), a_person("Ines Caddock", role, bench.alderwick)
    assert_refused(NotAllowed, lambda: released(bench, hold, actor=onlooker))
    assert_refused(NotAllowed, lambda: released(bench, hold, actor=SYSTEM))
    assert released(bench, hold, actor=bench.ruan).seq


def test_what_is_wrong_with_a_release_is_refused_by_name(bench: Bench) -> None:
    hold = held(bench)
    other = a_device(bench.odile, bench.model, "OM-2", bench.theatre)
    elsewhere = held(bench, device=other)
    inspection = inspection_of(recorded(bench, moment(6, 1), device=other))
    stranger = a_person("Per Aldous", Role.MANAGER, bench.stennet)
    mistake = place_hold(device=bench.device, reason=HoldReason.OTHER, from_on=JUNE_1, actor=bench.ruan, at=AT)
    take_back_hold(hold=hold_of(mistake), reason="No.", actor=bench.odile, at=AT)
    refused: list[tuple[type[Exception], tuple[int, ...], dict[str, Any]]] = [
        (NothingToLift, (), {}),
        (RowTwice, (hold, hold), {}),
        (UnknownReference, (999_999,), {}),
        (UnknownReference, (hold,), {"device": 999_999}),
        (HoldOfAnother, (hold, elsewhere), {}),
        (HoldNotInForce, (hold_of(mistake),), {}),
        (SignedBeforeHold, (hold,), {"signed_at": moment(5, 31)}),
        (GroundMissing, (hold,), {"note": None}),
        (GroundMissing, (hold,), {"note": " "}),
        (OfAnotherDevice, (hold,), {"inspection": inspection}),
        (OfAnotherDevice, (hold,), {"inspection": 999_999}),
        (WrongSite, (hold,), {"actor": stranger}),
        (InTheFuture, (hold,), {"signed_at": AT + dt.timedelta(minutes=1)}),
    ]
    for error, holds, options in refused:
        assert_refused(error, lambda holds=holds, options=options: released(bench, *holds, **options))  # type: ignore[misc]


def test_a_hold_is_lifted_once(bench: Bench) -> None:
    hold = held(bench)
    released(bench, hold)
    assert_refused(HoldNotInForce, lambda: released(bench, hold))
    assert_refused(HoldNotInForce, lambda: released(bench, hold, signed_at=moment(6, 5)))


def test_a_failed_inspection_without_a_new_test_is_for_a_manager_to_judge(bench: Bench) -> None:
    hold = failed(bench)
    assert_refused(ManagersJudgement, lambda: released(bench, hold, actor=bench.ruan))
    assert_refused(GroundMissing, lambda: released(bench, hold, note=None))
    assert released(bench, hold).seq


def test_what_failed_and_was_passed_since_is_released_by_a_technician_without_more_words(bench: Bench) -> None:
    hold = failed(bench)
    a_repair(bench.device, moment(6, 2), "brakes_and_mobility")
    recorded(bench, moment(6, 3), BRAKES, kind=InspectionKind.AFTER_REPAIR)
    assert released(bench, hold, actor=bench.ruan, note=None).seq


def test_every_step_that_failed_is_tested_again(bench: Bench) -> None:
    hold = failed(bench, NO_BRAKES, ReadingLine(step="raising", outcome=Outcome.FAILED, energy_source="mains"))
    recorded(bench, moment(6, 3), BRAKES, kind=InspectionKind.AFTER_REPAIR)
    assert_refused(ManagersJudgement, lambda: released(bench, hold, actor=bench.ruan))
    recorded(bench, moment(6, 4), RAISING, kind=InspectionKind.AFTER_REPAIR)
    assert released(bench, hold, actor=bench.ruan, note=None).seq


def test_a_step_that_fails_again_while_the_device_is_held_counts_too(bench: Bench) -> None:
    hold = failed(bench)
    again = bench.leakage("640", outcome=Outcome.FAILED)
    recorded(bench, moment(6, 3), BRAKES, again, kind=InspectionKind.AFTER_REPAIR)
    assert_refused(ManagersJudgement, lambda: released(bench, hold, actor=bench.ruan))


def test_what_was_set_right_at_once_and_left_within_its_limits_is_tested_again(bench: Bench) -> None:
    adjusted = bench.leakage("640", outcome=Outcome.FAILED, as_left="120")
    hold = failed(bench, BRAKES, RAISING, adjusted)
    assert released(bench, hold, actor=bench.ruan, note=None).seq


def test_what_was_left_beyond_its_limits_is_not(bench: Bench) -> None:
    hold = failed(bench, BRAKES, RAISING, bench.leakage("640", outcome=Outcome.FAILED, as_left="510"))
    assert_refused(ManagersJudgement, lambda: released(bench, hold, actor=bench.ruan))


def test_a_repair_of_what_was_found_is_ground_enough(bench: Bench) -> None:
    receipt = found(bench)
    assert_refused(GroundMissing, lambda: released(bench, hold_of(receipt), actor=bench.ruan, note=None))
    repaired(bench, finding_of(receipt))
    assert released(bench, hold_of(receipt), actor=bench.ruan, note=None).seq


@pytest.mark.parametrize("reason", [HoldReason.FOUND_AGAIN, HoldReason.UNKNOWN_HISTORY])
def test_a_device_of_unknown_history_takes_an_incoming_inspection(bench: Bench, reason: HoldReason) -> None:
    hold = held(bench, reason)
    recorded(bench, moment(6, 2))
    assert_refused(ManagersJudgement, lambda: released(bench, hold, actor=bench.ruan))
    recorded(bench, moment(6, 3), kind=InspectionKind.INCOMING)
    assert released(bench, hold, actor=bench.ruan, note=None).seq


def test_an_incoming_inspection_is_no_ground_while_a_step_that_failed_since_is_open(bench: Bench) -> None:
    hold = held(bench, HoldReason.UNKNOWN_HISTORY)
    recorded(bench, moment(6, 3), kind=InspectionKind.INCOMING)
    recorded(bench, moment(6, 4), NO_BRAKES, kind=InspectionKind.ON_REQUEST)
    assert_refused(ManagersJudgement, lambda: released(bench, hold, actor=bench.ruan))


def test_when_the_failed_work_is_taken_back_nothing_shows_that_it_was_tested_again(bench: Bench) -> None:
    receipt = recorded(bench, moment(6, 1), NO_BRAKES)
    session = session_of(receipt)
    recorded(bench, moment(6, 2), BRAKES, kind=InspectionKind.ON_REQUEST)
    take_back_session(wrong=session, reason="It was another table.", actor=bench.odile, at=AT)
    assert_refused(ManagersJudgement, lambda: released(bench, hold_of(receipt), actor=bench.ruan))


@pytest.mark.parametrize("reason", [HoldReason.INCOMPLETE_PART_SET, HoldReason.DONOR_OF_PARTS])
def test_parts_that_are_missing_are_for_a_manager_to_judge(bench: Bench, reason: HoldReason) -> None:
    hold = held(bench, reason)
    assert_refused(ManagersJudgement, lambda: released(bench, hold, actor=bench.ruan))
    assert released(bench, hold).seq


def test_a_release_that_is_sent_twice_is_signed_once(bench: Bench) -> None:
    hold, request = held(bench), Request.of("tablet-1", {"device": bench.device})
    first, again = (released(bench, hold, request=request) for _ in range(2))
    assert again == first._replace(repeated=True)


def test_a_release_that_is_taken_back_never_lifted_anything(bench: Bench) -> None:
    hold = held(bench)
    receipt = released(bench, hold)
    deed: dict[str, Any] = {"release": release_of(receipt), "at": AT}
    stranger = a_person("Per Aldous", Role.MANAGER, bench.stennet)
    assert_refused(NotAllowed, lambda: take_back_release(reason="Another table.", actor=bench.ruan, **deed))
    assert_refused(WrongSite, lambda: take_back_release(reason="Another table.", actor=stranger, **deed))
    assert_refused(ReasonMissing, lambda: take_back_release(reason=" ", actor=bench.odile, **deed))
    unknown = deed | {"release": 999_999}
    assert_refused(UnknownReference, lambda: take_back_release(reason="No.", actor=bench.odile, **unknown))
    size = head().size
    take_back_release(reason="Another table.", actor=bench.odile, **deed)
    assert [each.hold for each in in_force(bench, JUNE_10)] == [hold]
    assert in_force(bench, JUNE_10, known=size) == []
    assert_refused(AlreadyReplaced, lambda: take_back_release(reason="Again.", actor=bench.odile, **deed))
    assert released(bench, hold).seq
