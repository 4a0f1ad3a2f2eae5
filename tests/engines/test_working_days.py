"""Working days skip a site's weekend and holidays, one by one and for whole columns."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.working_days import (
    SATURDAY_AND_SUNDAY,
    BadCount,
    NoWorkingDays,
    is_working_day,
    working_days_after,
    working_days_after_many,
    working_days_between,
    working_days_between_many,
)

# Federal holidays of the United States as observed (M); 4 July 2026 is a Saturday.
FEDERAL = {
    *(date(2026, *day) for day in [(1, 1), (1, 19), (2, 16), (5, 25), (6, 19), (7, 3)]),
    *(date(2026, *day) for day in [(9, 7), (10, 12), (11, 11), (11, 26), (12, 25)]),
    date(2027, 1, 1),
}
FRIDAY_AND_SATURDAY = {4, 5}

DAYS = st.dates(date(2025, 12, 1), date(2027, 2, 1))
WEEKENDS = st.sets(st.integers(0, 6), max_size=6)
HOLIDAYS = st.sets(DAYS, max_size=12)


@pytest.mark.parametrize(
    ("aware", "due"),
    [
        (date(2026, 3, 2), date(2026, 3, 16)),
        (date(2026, 3, 7), date(2026, 3, 20)),  # aware on a Saturday
        (date(2026, 6, 29), date(2026, 7, 14)),  # 3 July observed
        (date(2026, 11, 11), date(2026, 11, 25)),  # aware on a holiday
        (date(2026, 12, 18), date(2027, 1, 5)),  # across the year's end
    ],
)
def test_ten_work_days_after_becoming_aware(aware, due):
    """21 CFR 803.30 with the work days of 803.3 (R); dates C."""
    assert working_days_after(aware, 10, holidays=FEDERAL) == due
    assert working_days_after_many(np.array([aware], "datetime64[D]"), 10, holidays=FEDERAL).tolist() == [due]
    assert working_days_between(aware, due, holidays=FEDERAL) == 10


def test_two_working_days_after_a_close_on_a_wednesday_are_its_friday():
    assert working_days_after(date(2026, 7, 15), 2) == date(2026, 7, 17)
    assert working_days_after(date(2026, 7, 15), 2, weekend=FRIDAY_AND_SATURDAY) == date(2026, 7, 19)


def test_no_working_days_after_a_day_is_the_day_itself():
    sunday = date(2026, 7, 19)
    assert working_days_after(sunday, 0) == sunday
    assert working_days_after_many(np.array([sunday], "datetime64[D]"), 0).tolist() == [sunday]


def test_more_than_three_working_days_after_it_was_performed():
    thursday = date(2026, 7, 16)
    assert working_days_between(thursday, date(2026, 7, 21)) == 3
    assert working_days_between(thursday, date(2026, 7, 22)) == 4


@given(DAYS, st.integers(0, 30), WEEKENDS, HOLIDAYS)
def test_exactly_so_many_working_days_lie_between(day, days, weekend, holidays):
    due = working_days_after(day, days, weekend, holidays)
    assert working_days_between(day, due, weekend, holidays) == days
    assert days == 0 or is_working_day(due, weekend, holidays)


@given(st.lists(DAYS, max_size=20), st.integers(0, 30), WEEKENDS, HOLIDAYS)
def test_columns_agree_with_each(start, days, weekend, holidays):
    column = np.array(start, "datetime64[D]")
    due = working_days_after_many(column, days, weekend, holidays)
    assert due.tolist() == [working_days_after(day, days, weekend, holidays) for day in start]


@given(st.lists(st.tuples(DAYS, DAYS), max_size=20), WEEKENDS, HOLIDAYS)
def test_counts_in_columns_agree_with_each(pairs, weekend, holidays):
    start = np.array([pair[0] for pair in pairs], "datetime64[D]")
    end = np.array([pair[1] for pair in pairs], "datetime64[D]")
    expected = [working_days_between(first, last, weekend, holidays) for first, last in pairs]
    assert working_days_between_many(start, end, weekend, holidays).tolist() == expected


@pytest.mark.parametrize("days", [-1, 1.0, True])
def test_a_count_is_whole_and_not_negative(days):
    with pytest.raises(BadCount):
        working_days_after(date(2026, 7, 15), days)
    with pytest.raises(BadCount):
        working_days_after_many(np.array(["2026-07-15"], "datetime64[D]"), days)


def test_a_week_without_working_days_is_named():
    with pytest.raises(NoWorkingDays):
        working_days_after(date(2026, 7, 15), 1, weekend=range(7))
    with pytest.raises(NoWorkingDays):
        working_days_after_many(np.array(["2026-07-15"], "datetime64[D]"), 1, weekend=range(7))
    with pytest.raises(NoWorkingDays):
        working_days_after(date.max - timedelta(days=1), 5, weekend=SATURDAY_AND_SUNDAY)
