"""A reason not done stands on evidence. Due 2026-06-15, window 05-16 to Wednesday 07-15."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import AttemptOutcome, Departure, HoldReason, ReasonCode, Role
from pmcore.models import Attempt, HoldDetails, Placement, ReasonNotDone, SiteHoliday
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.corrections import ReasonMissing
from pmcore.services.departures import leave_inventory
from pmcore.services.device_days import InTheFuture
from pmcore.services.holds import place_hold
from pmcore.services.reasons import (
    AttemptsMissing,
    BeforeTheWindow,
    DepartureMissing,
    NotOnHold,
    record_attempt,
    record_reason,
    take_back_reason,
)
from pmcore.services.refusals import AlreadyReplaced, Conflict, NotAllowed, UnknownReference, WrongSite
from pmcore.services.requests import Receipt, Request
from tests.bench_cast import CLOSES, DUE, OPENS, Bench, a_bench, assert_refused, moment
from tests.cast import AT, a_device, a_person
from tests.history import day, written

pytestmark = pytest.mark.django_db

JUNE_20, JULY_2 = moment(6, 20), moment(7, 2)
SECOND_OF_JULY = JULY_2.date()
ONE_DAY = dt.timedelta(days=1)


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def tried(bench: Bench, tried_at: dt.datetime, outcome: AttemptOutcome, **options: Any) -> Receipt:
    """Recorded on the spot, unless said otherwise."""
    given = {"due_inspection": bench.due, "tried_by": bench.ruan.person, "actor": bench.ruan, "at": tried_at} | options
    return record_attempt(tried_at=tried_at, outcome=outcome, **given)


def reason(bench: Bench, code: ReasonCode, from_on: dt.date = SECOND_OF_JULY, **options: Any) -> Receipt:
    given = {"due_inspection": bench.due, "actor": bench.ruan, "at": AT} | options
    return record_reason(reason=code, from_on=from_on, **given)


def held(bench: Bench, from_on: dt.date, why: HoldReason, device: int | None = None) -> int:
    receipt = place_hold(device=device or bench.device, reason=why, from_on=from_on, actor=bench.odile, at=AT)
    return int(HoldDetails.objects.get(entry=receipt.seq).hold_id)


def only_reason() -> ReasonNotDone:
    found: ReasonNotDone = ReasonNotDone.objects.current().get()
    return found


# Attempts


def test_an_attempt_has_the_day_of_the_devices_site(bench: Bench) -> None:
    """23:30 in UTC is the next day in London's summer."""
    receipt = tried(bench, moment(6, 20, 23, 30), AttemptOutcome.NOT_FOUND, area=bench.theatre, note="Not there.")
    attempt = Attempt.objects.current().get(due_inspection=bench.due)
    assert (attempt.tried_on, attempt.tried_by_id) == (day("2026-06-21"), bench.ruan.person)
    assert receipt.subject == bench.device
    assert verify().sound


def test_an_attempt_was_made_by_somebody_of_the_site_and_not_in_the_future(bench: Bench) -> None:
    stranger = a_person("Per Aldous", Role.TECHNICIAN, bench.stennet)
    provider = a_person("Wim Ostrava-Keel", Role.PROVIDER, bench.alderwick)
    for error, options in (
        (WrongSite, {"actor": stranger}),
        (NotAllowed, {"actor": provider}),
        (InTheFuture, {"at": JUNE_20 - dt.timedelta(minutes=1)}),
        (UnknownReference, {"due_inspection": 999_999}),
        (UnknownReference, {"tried_by": 999_999}),
        (UnknownReference, {"area": 999_999}),
    ):
        assert_refused(error, lambda options=options: tried(bench, JUNE_20, AttemptOutcome.NOT_FOUND, **options))


def test_an_attempt_that_is_sent_twice_counts_once(bench: Bench) -> None:
    request = Request.of("tablet-1", {"due": bench.due})
    first, again = (tried(bench, JUNE_20, AttemptOutcome.NOT_FOUND, request=request) for _ in range(2))
    assert (again.seq, again.repeated) == (first.seq, True)
    assert Attempt.objects.count() == 1


# Reasons that stand on attempts


@pytest.mark.parametrize(
    ("code", "outcome"),
    [
        (ReasonCode.WITH_A_PATIENT, AttemptOutcome.WITH_A_PATIENT),
        (ReasonCode.NOT_FOUND, AttemptOutcome.NOT_FOUND),
    ],
)
def test_two_attempts_on_two_days_of_the_window_are_wanted(
    bench: Bench, code: ReasonCode, outcome: AttemptOutcome
) -> None:
    tried(bench, JUNE_20, outcome)
    tried(bench, moment(6, 20, 15), outcome)
    tried(bench, moment(6, 25), AttemptOutcome.NO_ACCESS)
    assert_refused(AttemptsMissing, lambda: reason(bench, code))
    tried(bench, JULY_2, outcome)
    assert_refused(AttemptsMissing, lambda: reason(bench, code, SECOND_OF_JULY - ONE_DAY))
    receipt = reason(bench, code, note="Twice in vain.")
    assert (only_reason().due_inspection_id, only_reason().reason) == (bench.due, code)
    assert receipt.subject == bench.device
    assert verify().sound


@pytest.mark.parametrize("outside", [dt.date(2026, 5, 15), dt.date(2026, 7, 16)])
def test_attempts_outside_the_window_are_no_evidence(bench: Bench, outside: dt.date) -> None:
    tried(bench, JULY_2, AttemptOutcome.NOT_FOUND)
    tried(bench, dt.datetime.combine(outside, dt.time(9), dt.UTC), AttemptOutcome.NOT_FOUND)
    assert_refused(AttemptsMissing, lambda: reason(bench, ReasonCode.NOT_FOUND, day("2026-07-20")))


def test_searches_that_were_recorded_in_august_are_no_evidence(bench: Bench) -> None:
    """Searched 06-20 and 07-02, recorded 08-01: no reason."""
    august = {"at": moment(8, 1)}
    tried(bench, JUNE_20, AttemptOutcome.NOT_FOUND, **august)
    tried(bench, JULY_2, AttemptOutcome.NOT_FOUND, **august)
    assert_refused(AttemptsMissing, lambda: reason(bench, ReasonCode.NOT_FOUND, day("2026-08-01")))


def test_the_sites_holidays_leave_more_days_to_record_an_attempt(bench: Bench) -> None:
    """The close is a Wednesday: Friday is the last day, unless it is a holiday."""
    tried(bench, JUNE_20, AttemptOutcome.NOT_FOUND)
    tried(bench, JULY_2, AttemptOutcome.NOT_FOUND, at=moment(7, 20))
    assert_refused(AttemptsMissing, lambda: reason(bench, ReasonCode.NOT_FOUND, day("2026-07-20")))
    friday = Row(SiteHoliday, site=bench.alderwick, from_on=day("2026-07-17"), name="Founders' day", working=False)
    written("holidays_set", bench.alderwick, friday)
    reason(bench, ReasonCode.NOT_FOUND, day("2026-07-20"))
    assert only_reason().from_on == day("2026-07-20")


def test_no_access_stands_on_one_attempt(bench: Bench) -> None:
    tried(bench, JUNE_20, AttemptOutcome.NOT_FOUND)
    assert_refused(AttemptsMissing, lambda: reason(bench, ReasonCode.NO_ACCESS))
    tried(bench, JULY_2, AttemptOutcome.NO_ACCESS)
    reason(bench, ReasonCode.NO_ACCESS)
    assert only_reason().hold_id is None


# Reasons that stand on a hold


@pytest.mark.parametrize("code", [ReasonCode.WAITING_FOR_PART, ReasonCode.NO_USABLE_CONTROL])
def test_without_a_hold_the_device_was_in_use_and_the_reason_is_refused(bench: Bench, code: ReasonCode) -> None:
    assert_refused(NotOnHold, lambda: reason(bench, code))
    hold = held(bench, SECOND_OF_JULY + ONE_DAY, HoldReason.WAITING_FOR_PART)
    assert_refused(NotOnHold, lambda: reason(bench, code))
    reason(bench, code, SECOND_OF_JULY + ONE_DAY)
    assert only_reason().hold_id == hold


def test_the_hold_that_says_the_same_is_taken(bench: Bench) -> None:
    held(bench, OPENS, HoldReason.FINDING)
    waiting = held(bench, SECOND_OF_JULY, HoldReason.WAITING_FOR_PART)
    reason(bench, ReasonCode.WAITING_FOR_PART)
    assert only_reason().hold_id == waiting


def test_a_hold_that_is_named_is_the_devices_own_and_in_force(bench: Bench) -> None:
    other = a_device(bench.odile, bench.model, "OM-2", bench.theatre)
    own, foreign = held(bench, OPENS, HoldReason.FINDING), held(bench, OPENS, HoldReason.FINDING, other)
    assert_refused(NotOnHold, lambda: reason(bench, ReasonCode.WAITING_FOR_PART, hold=foreign))
    tried(bench, JULY_2, AttemptOutcome.NO_ACCESS)
    assert_refused(NotOnHold, lambda: reason(bench, ReasonCode.NO_ACCESS, hold=foreign))
    reason(bench, ReasonCode.NO_ACCESS, hold=own)
    assert only_reason().hold_id == own


def test_a_hold_placed_after_the_close_explains_nothing(bench: Bench) -> None:
    held(bench, CLOSES + ONE_DAY, HoldReason.WAITING_FOR_PART)
    assert_refused(NotOnHold, lambda: reason(bench, ReasonCode.WAITING_FOR_PART, CLOSES + ONE_DAY))


# The reason that stands on a departure


def left(bench: Bench, on: dt.date, recorded_at: dt.datetime) -> None:
    leave_inventory(device=bench.device, departure=Departure.SCRAPPED, from_on=on, actor=bench.odile, at=recorded_at)


def departed(bench: Bench) -> Receipt:
    return reason(bench, ReasonCode.LEFT_AFTER_CLOSE, day("2026-07-20"))


def test_a_departure_recorded_after_the_close_is_a_reason(bench: Bench) -> None:
    """Left 06-10, recorded 07-20."""
    assert_refused(DepartureMissing, lambda: departed(bench))
    left(bench, day("2026-06-10"), moment(7, 20))
    departed(bench)
    assert only_reason().reason == ReasonCode.LEFT_AFTER_CLOSE


def test_a_departure_recorded_in_time_is_none(bench: Bench) -> None:
    """Left 06-20, recorded then, not done: no reason."""
    left(bench, day("2026-06-20"), moment(6, 20))
    assert_refused(DepartureMissing, lambda: departed(bench))


def test_a_departure_after_the_close_is_none(bench: Bench) -> None:
    left(bench, CLOSES + ONE_DAY, moment(7, 20))
    assert_refused(DepartureMissing, lambda: departed(bench))


# Every reason


def test_a_reason_is_recorded_by_somebody_of_the_site_where_it_was_due(bench: Bench) -> None:
    held(bench, OPENS, HoldReason.WAITING_FOR_PART)
    moved = Row(Placement, device=bench.device, area=bench.ward, from_on=DUE + ONE_DAY)
    written("device_placed", bench.device, moved)
    stranger = a_person("Per Aldous", Role.TECHNICIAN, bench.stennet)
    auditor = a_person("Wim Ostrava-Keel", Role.AUDITOR, bench.alderwick)
    assert_refused(WrongSite, lambda: reason(bench, ReasonCode.WAITING_FOR_PART, actor=stranger))
    assert_refused(NotAllowed, lambda: reason(bench, ReasonCode.WAITING_FOR_PART, actor=auditor))
    reason(bench, ReasonCode.WAITING_FOR_PART)
    assert only_reason().due_inspection_id == bench.due


def test_a_reason_has_a_day_between_the_opening_and_today(bench: Bench) -> None:
    held(bench, OPENS - ONE_DAY, HoldReason.WAITING_FOR_PART)
    assert_refused(BeforeTheWindow, lambda: reason(bench, ReasonCode.WAITING_FOR_PART, OPENS - ONE_DAY))
    assert_refused(InTheFuture, lambda: reason(bench, ReasonCode.WAITING_FOR_PART, AT.date() + ONE_DAY))
    assert_refused(UnknownReference, lambda: reason(bench, ReasonCode.WAITING_FOR_PART, due_inspection=999_999))
    reason(bench, ReasonCode.WAITING_FOR_PART, OPENS)
    assert_refused(Conflict, lambda: reason(bench, ReasonCode.NO_USABLE_CONTROL, OPENS), "reasonnotdone_once_a_day")


def test_a_reason_that_was_none_is_taken_back(bench: Bench) -> None:
    held(bench, OPENS, HoldReason.WAITING_FOR_PART)
    receipt = reason(bench, ReasonCode.WAITING_FOR_PART)
    deed: dict[str, Any] = {"wrong": only_reason(), "at": AT}
    stranger = a_person("Per Aldous", Role.MANAGER, bench.stennet)
    assert_refused(NotAllowed, lambda: take_back_reason(reason="Not so.", actor=bench.ruan, **deed))
    assert_refused(WrongSite, lambda: take_back_reason(reason="Not so.", actor=stranger, **deed))
    assert_refused(ReasonMissing, lambda: take_back_reason(reason="", actor=bench.odile, **deed))
    take_back_reason(reason="The part was there.", actor=bench.odile, **deed)
    assert not ReasonNotDone.objects.current().exists()
    assert ReasonNotDone.objects.known(receipt.seq).count() == 1
    assert_refused(AlreadyReplaced, lambda: take_back_reason(reason="Again.", actor=bench.odile, **deed))
    reason(bench, ReasonCode.NO_USABLE_CONTROL)
    assert only_reason().reason == ReasonCode.NO_USABLE_CONTROL


def test_a_reason_that_is_sent_twice_is_written_once(bench: Bench) -> None:
    held(bench, OPENS, HoldReason.WAITING_FOR_PART)
    request = Request.of("desk-1", {"due": bench.due})
    size = head().size
    first, again = (reason(bench, ReasonCode.WAITING_FOR_PART, request=request) for _ in range(2))
    assert (again.seq, again.repeated, head().size) == (first.seq, True, size + 1)
