"""The next due date follows the last complete inspection: from the fixed anchor, or from the day it was performed."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.due_dates import DateOutOfRange, IntervalRule, Window, next_due, occurrences, window_of
from pmcore.engines.vocabulary import Basis, Unit

ANCHOR = date(2025, 6, 15)


def yearly(basis, window=None):
    return IntervalRule(12, Unit.MONTH, basis, window or Window.days(30, 30))


@pytest.mark.parametrize("basis", list(Basis))
def test_without_an_inspection_the_anchor_stands_for_it(basis):
    assert next_due(yearly(basis), ANCHOR, None) == date(2026, 6, 15)
    assert next_due(yearly(basis), ANCHOR, ANCHOR) == date(2026, 6, 15)


@pytest.mark.parametrize(
    ("last_met", "expected"),
    [
        (date(2026, 5, 15), date(2026, 6, 15)),  # the day before the window opened: no credit
        (date(2026, 5, 16), date(2027, 6, 15)),  # the day it opened
        (date(2026, 7, 15), date(2027, 6, 15)),
        (date(2026, 7, 16), date(2027, 6, 15)),  # late, and the anchor does not move
        (date(2027, 5, 15), date(2027, 6, 15)),  # so late that the next one is about to open
        (date(2027, 5, 16), date(2028, 6, 15)),  # it has opened: this one is credited instead
    ],
)
def test_anchored_is_the_first_window_that_opens_afterwards(last_met, expected):
    assert next_due(yearly(Basis.ANCHORED), ANCHOR, last_met) == expected


def test_anchored_by_calendar_month_asks_once_in_each():
    monthly = IntervalRule(1, Unit.MONTH, Basis.ANCHORED, Window.calendar_month())
    assert next_due(monthly, date(2026, 1, 31), date(2026, 1, 1)) == date(2026, 2, 28)
    assert next_due(monthly, date(2026, 1, 31), date(2026, 2, 28)) == date(2026, 3, 31)


def test_an_anchor_ahead_is_itself_the_first_due_date():
    assert next_due(yearly(Basis.ANCHORED), date(2027, 1, 10), date(2026, 3, 1)) == date(2027, 1, 10)


def test_floating_counts_from_the_day_it_was_performed():
    assert next_due(yearly(Basis.FLOATING), ANCHOR, date(2026, 5, 10)) == date(2027, 5, 10)
    assert next_due(yearly(Basis.FLOATING), ANCHOR, date(2026, 7, 16)) == date(2027, 7, 16)


def test_a_new_device_waits_for_the_first_window_that_opens_after_its_incoming_inspection():
    """Incoming 2026-06-01 lies in the window of 2026-06-15, which had opened before: first due 2027-06-15."""
    assert next_due(yearly(Basis.ANCHORED), ANCHOR, date(2026, 6, 1)) == date(2027, 6, 15)


@given(
    st.dates(date(2000, 1, 1), date(2030, 1, 1)),
    st.integers(-800, 4000),
    st.integers(1, 30),
    st.sampled_from(Unit),
    st.integers(0, 13),
)
def test_anchored_never_skips_nor_repeats_an_occurrence(anchor, offset, every, unit, before):
    window = Window.days(before, 0) if unit in (Unit.MONTH, Unit.YEAR) else Window.days(0, 0)
    rule = IntervalRule(every, unit, Basis.ANCHORED, window)
    last_met = anchor + timedelta(days=offset)
    due = next_due(rule, anchor, last_met)
    assert window_of(rule, due)[0] > last_met
    earlier = occurrences(rule, anchor, anchor, due)
    assert earlier[-1] == due
    assert all(window_of(rule, day)[0] <= last_met for day in earlier[:-1])


def test_a_due_date_after_the_year_9999_is_named():
    with pytest.raises(DateOutOfRange):
        next_due(yearly(Basis.FLOATING), ANCHOR, date(9999, 6, 1))
    with pytest.raises(DateOutOfRange):
        next_due(yearly(Basis.ANCHORED), ANCHOR, date(9999, 6, 1))
