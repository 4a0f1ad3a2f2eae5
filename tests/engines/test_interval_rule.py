"""A rule that could never be kept, or that could be kept twice on one day, is refused by name."""

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.due_dates import (
    BadInterval,
    BadWindow,
    IntervalError,
    IntervalRule,
    Window,
    WindowTooLong,
    next_due,
    occurrences,
    shortest_days,
    window_of,
)
from pmcore.engines.vocabulary import Basis, Unit, WindowKind


def rule(every, unit, window, basis=Basis.ANCHORED):
    return IntervalRule(every, unit, basis, window)


@pytest.mark.parametrize("every", [0, -1, 1.5, "6", None, True])
def test_an_interval_is_a_whole_number_of_units(every):
    with pytest.raises(BadInterval):
        rule(every, Unit.MONTH, Window.days(0, 0))


def test_unit_and_basis_are_of_the_vocabulary():
    with pytest.raises(BadInterval):
        rule(1, "fortnight", Window.days(0, 0))
    with pytest.raises(BadInterval):
        rule(1, Unit.MONTH, Window.days(0, 0), basis="sometimes")


@pytest.mark.parametrize(("before", "after"), [(-1, 0), (0, -1), (1.5, 0), (None, 0), (True, 0)])
def test_a_window_counts_whole_days_before_and_after(before, after):
    with pytest.raises(BadWindow):
        Window.days(before, after)


def test_a_window_is_looked_up_before_it_enters_a_rule():
    with pytest.raises(BadWindow):
        Window(WindowKind.TABLE)
    with pytest.raises(BadWindow):
        rule(1, Unit.MONTH, None)


@pytest.mark.parametrize(
    ("every", "unit", "before", "after"),
    [(1, Unit.DAY, 0, 0), (1, Unit.WEEK, 3, 3), (1, Unit.MONTH, 13, 14), (1, Unit.YEAR, 182, 182)],
)
def test_a_window_may_be_as_long_as_the_shortest_interval_and_no_longer(every, unit, before, after):
    assert rule(every, unit, Window.days(before, after))
    with pytest.raises(WindowTooLong):
        rule(every, unit, Window.days(before, after + 1))
    with pytest.raises(WindowTooLong):
        rule(every, unit, Window.days(before + 1, after))


def test_a_calendar_month_needs_due_dates_that_never_share_one():
    assert rule(1, Unit.MONTH, Window.calendar_month())
    assert rule(31, Unit.DAY, Window.calendar_month())
    with pytest.raises(WindowTooLong):
        rule(30, Unit.DAY, Window.calendar_month())
    with pytest.raises(WindowTooLong):
        rule(4, Unit.WEEK, Window.calendar_month())


@pytest.mark.parametrize(("months", "days"), [(1, 28), (2, 59), (3, 89), (6, 181), (12, 365), (36, 1095), (48, 1460)])
def test_the_shortest_interval_in_days(months, days):
    """C, by hand: 31 January to 28 February, 31 December to 28 February, 31 January to 30 April, 31 August to
    28 February, a year without a leap day, three, and the four years around 1900 or 2100."""
    assert shortest_days(months) == days


def test_the_calendar_repeats_after_400_years():
    assert shortest_days(4_800) == 146_097
    assert shortest_days(4_801) == 146_097 + 28
    assert shortest_days(4_799) == 146_097 - 31


@given(st.dates(date(2000, 1, 1), date(2030, 1, 1)), st.integers(1, 30), st.sampled_from(Unit), st.data())
def test_no_day_lies_in_two_windows(anchor, every, unit, data):
    before, after = data.draw(st.integers(0, 400)), data.draw(st.integers(0, 400))
    try:
        accepted = rule(every, unit, Window.days(before, after))
    except WindowTooLong:
        accepted = rule(every, unit, Window.days(0, 0))
    windows = [window_of(accepted, day) for day in occurrences(accepted, anchor, anchor, date(2034, 1, 1))]
    assert all(closes_on < opens_on for (_, closes_on), (opens_on, _) in pairwise(windows))


@given(st.integers(1, 60), st.dates(date(1898, 1, 1), date(1904, 1, 1)))
def test_no_two_due_dates_are_closer_than_the_shortest_interval(months, anchor):
    due = occurrences(rule(months, Unit.MONTH, Window.days(0, 0)), anchor, anchor, date(1912, 1, 1))
    assert all((after - before).days >= shortest_days(months) for before, after in pairwise(due))


def test_stored_codes_make_the_same_rule_as_the_words():
    stored = IntervalRule(1, "month", "floating", Window("calendar_month"))
    assert stored == rule(1, Unit.MONTH, Window.calendar_month(), Basis.FLOATING)
    assert next_due(stored, date(2026, 1, 15), date(2026, 2, 3)) == date(2026, 3, 3)
    assert window_of(stored, date(2026, 3, 3)) == (date(2026, 3, 1), date(2026, 3, 31))


def test_every_refusal_is_one_family_of_errors():
    assert all(issubclass(error, IntervalError) for error in (BadInterval, BadWindow, WindowTooLong))
    assert issubclass(IntervalError, ValueError)
