"""Devices that nobody can find, that are found again, or that are given up."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import AttemptOutcome, HoldReason, Role
from pmcore.models import DueInspection, ServiceState
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.holds import holds_in_force
from pmcore.queries.verification import verify
from pmcore.services.device_days import InTheFuture, NotYetInRecord
from pmcore.services.locating import (
    AlreadyNotLocated,
    NotLost,
    SearchedTooLittle,
    SeenLater,
    declare_lost,
    find_again,
    mark_not_located,
)
from pmcore.services.reasons import record_attempt
from pmcore.services.refusals import NotAllowed, UnknownReference, WrongSite
from pmcore.services.service_states import HasLeft, LaterStateStands
from tests.bench_cast import Bench, a_bench, a_plan, moment, recorded
from tests.cast import AT, JANUARY, a_person, check_refused
from tests.history import day, written
from tests.states import gone, in_role

pytestmark = pytest.mark.django_db

JUNE_1 = day("2026-06-01")
ONE_DAY = dt.timedelta(days=1)


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def missed(bench: Bench, from_on: dt.date = JUNE_1, **options: Any) -> None:
    mark_not_located(**{"device": bench.device, "from_on": from_on, "actor": bench.ruan, "at": AT} | options)


def found(bench: Bench, from_on: dt.date, **options: Any) -> None:
    find_again(**{"device": bench.device, "from_on": from_on, "actor": bench.ruan, "at": AT} | options)


def given_up(bench: Bench, at: dt.datetime = AT, **options: Any) -> None:
    declare_lost(**{"device": bench.device, "actor": bench.odile, "at": at} | options)


def state(bench: Bench, on: dt.date) -> str:
    return str(ServiceState.objects.current().on(on).get(device=bench.device).state)


def a_second_window(bench: Bench, plan: int | None = None) -> int:
    """From 08-01 to 09-30."""
    days = {"due_on": day("2026-09-01"), "opens_on": day("2026-08-01"), "closes_on": day("2026-09-30")}
    due = Row(DueInspection, device=bench.device, plan=plan or bench.plan, procedure=bench.procedure, **days)
    written("inspections_due", bench.device, due)
    assert due.id is not None
    return due.id


def searched(bench: Bench, due: int, *moments: dt.datetime, outcome: AttemptOutcome = AttemptOutcome.NOT_FOUND) -> None:
    for tried_at in moments:
        record_attempt(
            due_inspection=due, tried_at=tried_at, outcome=outcome, tried_by=bench.ruan.person or 0, actor=bench.ruan,
            at=tried_at,
        )  # fmt: skip


def searched_twice(bench: Bench, **options: Any) -> int:
    second = a_second_window(bench)
    searched(bench, bench.due, moment(6, 20), moment(7, 2), **options)
    searched(bench, second, moment(8, 20), moment(9, 2), **options)
    return second


def test_nobody_knows_where_it_is_from_a_day_on(bench: Bench) -> None:
    missed(bench, last_seen_on=day("2026-05-20"), note="Not in the theatre.")
    assert (state(bench, JUNE_1 - ONE_DAY), state(bench, JUNE_1)) == ("in_service", "not_located")
    assert ServiceState.objects.get(from_on=JUNE_1).last_seen_on == day("2026-05-20")


def test_it_is_missed_once_and_after_it_was_seen(bench: Bench) -> None:
    with check_refused(SeenLater):
        missed(bench, last_seen_on=JUNE_1 + ONE_DAY)
    missed(bench)
    with check_refused(AlreadyNotLocated):
        missed(bench, JUNE_1 + ONE_DAY)


def test_found_again_it_is_held_by_the_same_act(bench: Bench) -> None:
    missed(bench)
    found(bench, day("2026-06-10"))
    assert state(bench, day("2026-06-10")) == "in_service"
    (hold,) = holds_in_force(bench.device, day("2026-06-10"), head().size)
    assert (hold.reason, hold.placed_on) == (HoldReason.FOUND_AGAIN, day("2026-06-10"))
    assert verify().sound


def test_what_is_not_lost_is_not_found(bench: Bench) -> None:
    with check_refused(NotLost):
        found(bench, JUNE_1)
    gone(bench, JUNE_1)
    with check_refused(NotLost):  # scrapped, not given up
        found(bench, JUNE_1 + ONE_DAY)


def test_two_windows_searched_in_vain_let_a_manager_give_it_up_from_today_on(bench: Bench) -> None:
    searched_twice(bench)
    missed(bench)
    given_up(bench)
    lost = ServiceState.objects.current().get(device=bench.device, state="left")
    assert (lost.departure, lost.from_on) == ("declared_lost", AT.date())
    assert verify().sound


def test_today_is_the_day_at_the_site(bench: Bench) -> None:
    """23:30 in UTC on 10-24 is the 25th in London's summer, which ends that night."""
    searched_twice(bench)
    missed(bench)
    given_up(bench, dt.datetime(2026, 10, 24, 23, 30, tzinfo=dt.UTC))
    assert ServiceState.objects.current().get(device=bench.device, state="left").from_on == day("2026-10-25")


def test_one_window_is_too_little(bench: Bench) -> None:
    searched(bench, bench.due, moment(6, 20), moment(7, 2))
    missed(bench)
    with check_refused(SearchedTooLittle):
        given_up(bench)
    a_second_window(bench)  # in which nobody searched
    with check_refused(SearchedTooLittle):
        given_up(bench)


def test_two_plans_whose_windows_closed_once_each_are_too_little(bench: Bench) -> None:
    other = a_second_window(bench, a_plan(bench, bench.procedure))
    searched(bench, bench.due, moment(6, 20), moment(7, 2))
    searched(bench, other, moment(8, 20), moment(9, 2))
    missed(bench)
    with check_refused(SearchedTooLittle):
        given_up(bench)


def test_other_attempts_are_no_search(bench: Bench) -> None:
    searched_twice(bench, outcome=AttemptOutcome.NO_ACCESS)
    missed(bench)
    with check_refused(SearchedTooLittle):
        given_up(bench)


def test_a_window_in_which_it_was_inspected_after_all_was_not_searched_in_vain(bench: Bench) -> None:
    searched_twice(bench)
    recorded(bench, moment(9, 10))
    missed(bench, day("2026-10-01"))
    with check_refused(SearchedTooLittle):
        given_up(bench)


def test_a_window_that_is_open_does_not_count_yet(bench: Bench) -> None:
    searched_twice(bench)
    missed(bench)
    with check_refused(SearchedTooLittle):
        given_up(bench, moment(9, 30))
    given_up(bench, moment(10, 1))
    assert state(bench, day("2026-10-01")) == "left"


def test_only_what_is_missed_is_given_up_and_only_once(bench: Bench) -> None:
    searched_twice(bench)
    with check_refused(NotLost):
        given_up(bench)
    with check_refused(UnknownReference):
        given_up(bench, device=404)
    missed(bench)
    given_up(bench, moment(10, 20))
    with check_refused(HasLeft):
        given_up(bench)


def test_what_was_given_up_can_be_found_and_is_held(bench: Bench) -> None:
    searched_twice(bench)
    missed(bench)
    given_up(bench, moment(10, 20))
    found(bench, day("2026-10-25"))
    assert state(bench, day("2026-10-25")) == "in_service"
    assert len(holds_in_force(bench.device, day("2026-10-25"), head().size)) == 1


@pytest.mark.parametrize("role", [role for role in Role if role not in (Role.MANAGER, Role.SYSTEM)])
def test_only_a_manager_gives_a_device_up(bench: Bench, role: Role) -> None:
    searched_twice(bench)
    missed(bench)
    with check_refused(NotAllowed):
        given_up(bench, actor=in_role(bench.odile, role))


def test_it_is_missed_and_found_on_days_that_have_come_at_ones_own_site(bench: Bench) -> None:
    stranger = a_person("Per Aldous", Role.TECHNICIAN, bench.stennet)
    for deed in (missed, found):
        with check_refused(InTheFuture):
            deed(bench, AT.date() + ONE_DAY)
        with check_refused(NotYetInRecord):
            deed(bench, JANUARY - ONE_DAY)
        with check_refused(WrongSite):
            deed(bench, JUNE_1, actor=stranger)
        with check_refused(NotAllowed):
            deed(bench, JUNE_1, actor=in_role(bench.ruan, Role.AUDITOR))
    missed(bench)
    with check_refused(LaterStateStands):
        missed(bench, JUNE_1 - ONE_DAY)
