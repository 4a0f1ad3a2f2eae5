"""Devices put away and taken out again."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.vocabulary import HoldReason, Role
from pmcore.models import HoldDetails, ServiceState
from pmcore.queries.head import head
from pmcore.queries.holds import holds_in_force
from pmcore.queries.verification import verify
from pmcore.services.device_days import InTheFuture, NotYetInRecord
from pmcore.services.locating import mark_not_located
from pmcore.services.refusals import NotAllowed, UnknownReference, WrongSite
from pmcore.services.service_states import HasLeft, LaterStateStands
from pmcore.services.storage import AlreadyStored, NotInHand, NotStored, store_device, take_out_of_storage
from tests.bench_cast import Bench, a_bench, moment, recorded
from tests.cast import AT, JANUARY, a_person, check_refused
from tests.history import day
from tests.states import gone, in_role

pytestmark = pytest.mark.django_db

MAY_1, AUGUST_1 = day("2026-05-01"), day("2026-08-01")
ONE_DAY = dt.timedelta(days=1)


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def stored(bench: Bench, from_on: dt.date = MAY_1, **options: Any) -> None:
    given = {"device": bench.device, "sealed": True, "in_hand": True, "actor": bench.ruan, "at": AT} | options
    store_device(from_on=from_on, **given)


def taken_out(bench: Bench, from_on: dt.date = AUGUST_1, **options: Any) -> None:
    take_out_of_storage(**{"device": bench.device, "from_on": from_on, "actor": bench.ruan, "at": AT} | options)


def state(bench: Bench, on: dt.date) -> tuple[str, bool | None, bool | None]:
    found = ServiceState.objects.current().on(on).get(device=bench.device)
    return found.state, found.sealed, found.in_hand


def held_for(bench: Bench, on: dt.date) -> list[str]:
    return [hold.reason for hold in holds_in_force(bench.device, on, head().size)]


def test_it_is_put_away_from_a_day_on_and_says_how(bench: Bench) -> None:
    stored(bench)
    assert state(bench, MAY_1 - ONE_DAY)[0] == "in_service"
    assert state(bench, MAY_1) == ("stored", True, True)
    assert verify().sound


def test_a_seal_that_is_broken_stores_it_anew(bench: Bench) -> None:
    stored(bench)
    with check_refused(AlreadyStored):
        stored(bench, MAY_1 + ONE_DAY)
    stored(bench, MAY_1 + ONE_DAY, sealed=False)
    assert state(bench, MAY_1 + ONE_DAY) == ("stored", False, True)


def test_what_nobody_can_find_is_not_put_away(bench: Bench) -> None:
    mark_not_located(device=bench.device, from_on=MAY_1, actor=bench.ruan, at=AT)
    with check_refused(NotInHand):
        stored(bench, MAY_1 + ONE_DAY)


def test_what_has_left_is_neither_put_away_nor_taken_out(bench: Bench) -> None:
    gone(bench, MAY_1)
    with check_refused(HasLeft):
        stored(bench, AUGUST_1)
    with check_refused(HasLeft):
        taken_out(bench)


def test_only_what_is_stored_is_taken_out(bench: Bench) -> None:
    with check_refused(NotStored):
        taken_out(bench)
    stored(bench)
    taken_out(bench)
    assert state(bench, AUGUST_1)[0] == "in_service"
    with check_refused(NotStored):
        taken_out(bench, AUGUST_1 + ONE_DAY)


def test_what_came_due_in_storage_holds_the_device_when_it_comes_out(bench: Bench) -> None:
    """Worked example 20: the window opened on 05-16; stored until 08-01, it is not released without the inspection."""
    stored(bench)
    stored(bench, day("2026-06-01"), sealed=False)  # the same storage, whatever its seal
    taken_out(bench)
    assert held_for(bench, AUGUST_1) == [HoldReason.OTHER]
    assert HoldDetails.objects.get().entry == ServiceState.objects.latest("entry").entry
    assert verify().sound


def test_what_was_done_in_storage_or_opened_before_it_holds_nothing(bench: Bench) -> None:
    stored(bench)
    recorded(bench, moment(6, 15))
    taken_out(bench)
    assert held_for(bench, AUGUST_1) == []
    stored(bench, day("2026-08-10"))
    taken_out(bench, day("2026-08-20"))
    assert held_for(bench, day("2026-08-20")) == []


def test_taken_out_before_the_window_opens_it_is_free(bench: Bench) -> None:
    stored(bench)
    taken_out(bench, day("2026-05-15"))
    assert held_for(bench, day("2026-05-15")) == []


def test_it_is_said_of_a_day_that_has_come_and_of_nothing_before_a_later_state(bench: Bench) -> None:
    with check_refused(InTheFuture):
        stored(bench, AT.date() + ONE_DAY)
    with check_refused(NotYetInRecord):
        stored(bench, JANUARY - ONE_DAY)
    with check_refused(UnknownReference):
        stored(bench, device=404)
    stored(bench)
    with check_refused(LaterStateStands):
        stored(bench, MAY_1 - ONE_DAY)


def test_it_is_put_away_at_ones_own_site_by_those_who_work(bench: Bench) -> None:
    stranger = a_person("Per Aldous", Role.TECHNICIAN, bench.stennet)
    with check_refused(WrongSite):
        stored(bench, actor=stranger)
    with check_refused(NotAllowed):
        stored(bench, actor=in_role(bench.ruan, Role.AUDITOR))
