"""Each length of interval gets its window from a table that a department edits.

The table below is data: the 2014 manual of the main US accreditor, counted from the last event (R, trade press of
2014-10-28). Whether later manuals keep it is not verified.
"""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.due_dates import (
    DateOutOfRange,
    IntervalRule,
    NoWindowForInterval,
    Window,
    next_due,
    window_of,
    windows_many,
)
from pmcore.engines.vocabulary import Basis, Unit

MANUAL_OF_2014 = (
    (36, Unit.MONTH, Window.days(45, 45)),
    (12, Unit.MONTH, Window.days(30, 30)),
    (6, Unit.MONTH, Window.days(20, 20)),
    (3, Unit.MONTH, Window.days(10, 10)),
    (1, Unit.MONTH, Window.calendar_month()),
)


def floating(every, unit):
    return IntervalRule(every, unit, Basis.FLOATING, Window.from_table(MANUAL_OF_2014, every, unit))


@pytest.mark.parametrize(
    ("last", "months", "due_on", "opens_on", "closes_on"),
    [
        (date(2014, 3, 15), 3, date(2014, 6, 15), date(2014, 6, 5), date(2014, 6, 25)),  # R, as worked there
        (date(2026, 3, 15), 6, date(2026, 9, 15), date(2026, 8, 26), date(2026, 10, 5)),  # C
        (date(2026, 3, 15), 12, date(2027, 3, 15), date(2027, 2, 13), date(2027, 4, 14)),  # C
        (date(2026, 3, 15), 36, date(2029, 3, 15), date(2029, 1, 29), date(2029, 4, 29)),  # C
        (date(2026, 1, 31), 1, date(2026, 2, 28), date(2026, 2, 1), date(2026, 2, 28)),  # C
    ],
)
def test_worked_windows(last, months, due_on, opens_on, closes_on):
    rule = floating(months, Unit.MONTH)
    assert next_due(rule, last, last) == due_on
    assert window_of(rule, due_on) == (opens_on, closes_on)


def test_a_year_is_looked_up_as_twelve_months_and_a_week_as_seven_days():
    assert Window.from_table(MANUAL_OF_2014, 1, Unit.YEAR) == Window.days(30, 30)
    assert Window.from_table([(1, Unit.WEEK, Window.days(1, 1))], 7, Unit.DAY) == Window.days(1, 1)


def test_thirty_days_are_not_a_month():
    with pytest.raises(NoWindowForInterval, match="no row"):
        Window.from_table(MANUAL_OF_2014, 30, Unit.DAY)


def test_a_length_that_the_table_lacks_is_named():
    with pytest.raises(NoWindowForInterval, match="no row for every 18 month"):
        Window.from_table(MANUAL_OF_2014, 18, Unit.MONTH)


def test_rows_that_contradict_one_another_are_refused_and_repeated_ones_are_not():
    with pytest.raises(NoWindowForInterval, match="contradicting"):
        Window.from_table([*MANUAL_OF_2014, (1, Unit.YEAR, Window.days(7, 7))], 12, Unit.MONTH)
    assert Window.from_table([*MANUAL_OF_2014, (1, Unit.YEAR, Window.days(30, 30))], 12, Unit.MONTH)


def test_a_window_beyond_the_calendar_is_named():
    with pytest.raises(DateOutOfRange):
        window_of(floating(12, Unit.MONTH), date(9999, 12, 20))
    with pytest.raises(DateOutOfRange):
        window_of(floating(12, Unit.MONTH), date(1, 1, 20))


@given(st.lists(st.dates(date(1990, 1, 1), date(2060, 1, 1))), st.sampled_from([row[2] for row in MANUAL_OF_2014]))
def test_many_windows_are_those_of_each(due_on, window):
    rule = IntervalRule(36, Unit.MONTH, Basis.ANCHORED, window)
    opens_on, closes_on = windows_many(window, np.array(due_on, "datetime64[D]"))
    assert list(zip(opens_on.tolist(), closes_on.tolist(), strict=True)) == [window_of(rule, day) for day in due_on]
