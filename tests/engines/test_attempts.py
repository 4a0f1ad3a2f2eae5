"""Attempts explain a due inspection when they were made on two days of the window and written down in time.

Due 2026-06-15, window 05-16 to Wednesday 07-15; invented.
"""

from datetime import date

import pytest

from pmcore.engines.attempts import may_be_declared_lost, reason_stands_from
from pmcore.engines.records import Attempt

OPENS, CLOSES = date(2026, 5, 16), date(2026, 7, 15)
FRIDAY = date(2026, 7, 17)


def stands(*attempts, **options):
    return reason_stands_from([Attempt(*days) for days in attempts], OPENS, CLOSES, **options)


def tried(month, day, recorded_on=None):
    return date(2026, month, day), recorded_on or date(2026, month, day)


def test_searched_on_two_days_and_recorded_then():
    assert stands(tried(6, 20), tried(7, 2)) == date(2026, 7, 2)


def test_the_same_searches_recorded_in_august_are_no_reason():
    recorded_on = date(2026, 8, 1)
    assert stands(tried(6, 20, recorded_on), tried(7, 2, recorded_on)) is None


def test_two_working_days_after_the_close_are_left_to_record_them():
    assert stands(tried(6, 20), tried(7, 2, FRIDAY)) == FRIDAY
    assert stands(tried(6, 20), tried(7, 2, date(2026, 7, 18))) is None
    assert stands(tried(6, 20), tried(7, 2, date(2026, 7, 20)), holidays={FRIDAY}) == date(2026, 7, 20)


def test_twice_on_one_day_is_one_attempt():
    assert stands(tried(7, 2), tried(7, 2, date(2026, 7, 3))) is None


@pytest.mark.parametrize("outside", [date(2026, 5, 15), date(2026, 7, 16)])
def test_attempts_outside_the_window_do_not_count(outside):
    assert stands(tried(7, 2), (outside, FRIDAY)) is None


@pytest.mark.parametrize("edge", [OPENS, CLOSES])
def test_the_first_and_the_last_day_of_the_window_count(edge):
    assert stands(tried(7, 2), (edge, edge)) is not None


def test_it_stands_from_the_second_record_whatever_the_order_of_the_attempts():
    assert stands(tried(7, 2), tried(6, 20, date(2026, 7, 6))) == date(2026, 7, 6)


def test_a_department_may_ask_for_three_days():
    assert stands(tried(6, 20), tried(7, 2), days_needed=3) is None
    assert stands(tried(6, 20), tried(7, 2), tried(7, 9), days_needed=3) == date(2026, 7, 9)


def test_lost_is_declared_only_after_two_windows_in_a_row_in_vain():
    reason = date(2026, 7, 2)
    assert may_be_declared_lost([reason, reason])
    assert may_be_declared_lost([None, reason, reason])
    assert not may_be_declared_lost([reason])
    assert not may_be_declared_lost([reason, None])
    assert not may_be_declared_lost([reason, None, reason])
    assert not may_be_declared_lost([])
