"""Due dates stand a whole number of intervals from the anchor, so that no month's end and no leap day makes them drift.

(R) read in the source named, (C) computed with the library named.
"""

from datetime import date, datetime, timedelta
from itertools import pairwise

import pytest
from dateutil.relativedelta import relativedelta
from dateutil.rrule import DAILY, MONTHLY, WEEKLY, rrule
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.due_dates import DateOutOfRange, IntervalRule, NotADay, Window, add_interval, occurrences
from pmcore.engines.vocabulary import Basis, Unit

DAYS = st.dates(date(1990, 1, 1), date(2040, 12, 31))
EVERY = st.integers(1, 40)


def rule(every, unit, basis=Basis.ANCHORED):
    return IntervalRule(every, unit, basis, Window.days(0, 0))


def at_midnight(day):
    return datetime(day.year, day.month, day.day)  # noqa: DTZ001 - the oracle knows moments only


def test_a_clamped_month_end_comes_back_to_its_own_day():
    """C, dateutil relativedelta from the anchor."""
    due = occurrences(rule(6, Unit.MONTH), date(2025, 8, 31), date(2025, 9, 1), date(2026, 12, 31))
    assert due == [date(2026, 2, 28), date(2026, 8, 31)]


def test_iterating_from_each_result_drifts_as_a_floating_clock_does():
    """C, dateutil relativedelta iterated."""
    first = add_interval(date(2025, 8, 31), 6, Unit.MONTH)
    assert [first, add_interval(first, 6, Unit.MONTH)] == [date(2026, 2, 28), date(2026, 8, 28)]


@pytest.mark.parametrize(("every", "unit"), [(12, Unit.MONTH), (1, Unit.YEAR)])
def test_a_leap_day_is_clamped_until_the_next_leap_year(every, unit):
    """C, dateutil relativedelta from the anchor; the first is also ISO 8601's P12M from 2024-02-29."""
    due = occurrences(rule(every, unit), date(2024, 2, 29), date(2024, 3, 1), date(2028, 12, 31))
    assert due == [date(2025, 2, 28), date(2026, 2, 28), date(2027, 2, 28), date(2028, 2, 29)]


def test_a_month_without_the_day_is_not_skipped_as_a_recurrence_rule_would():
    """C, dateutil rrule: RFC 5545 drops dates that do not exist, which would leave twelve months without inspection."""
    anchor = date(2025, 8, 31)
    skipping = rrule(MONTHLY, interval=6, dtstart=at_midnight(anchor), count=2)[1].date()
    assert skipping == date(2026, 8, 31)
    assert occurrences(rule(6, Unit.MONTH), anchor, date(2025, 9, 1), skipping)[0] == date(2026, 2, 28)


def test_both_ends_and_the_anchor_are_included():
    monthly = rule(1, Unit.MONTH)
    due = occurrences(monthly, date(2026, 1, 15), date(2026, 1, 15), date(2026, 3, 15))
    assert due == [date(2026, 1, 15), date(2026, 2, 15), date(2026, 3, 15)]
    assert occurrences(monthly, date(2026, 1, 15), date(2026, 1, 16), date(2026, 3, 14)) == [date(2026, 2, 15)]


def test_nothing_is_due_before_the_anchor_nor_in_an_empty_range():
    assert occurrences(rule(1, Unit.DAY), date(2026, 1, 15), date(2026, 1, 1), date(2026, 1, 14)) == []
    assert occurrences(rule(1, Unit.DAY), date(2026, 1, 15), date(2026, 2, 2), date(2026, 2, 1)) == []


@given(DAYS, EVERY, DAYS, DAYS)
def test_months_agree_with_relativedelta_from_the_anchor(anchor, every, start, end):
    expected = [anchor + relativedelta(months=every * step) for step in range(51 * 12 // every + 1)]
    expected = [day for day in expected if start <= day <= end]
    assert occurrences(rule(every, Unit.MONTH), anchor, start, end) == expected


@given(DAYS, st.integers(1, 5), DAYS, DAYS)
def test_years_agree_with_relativedelta_from_the_anchor(anchor, every, start, end):
    expected = [anchor + relativedelta(years=every * step) for step in range(52)]
    expected = [day for day in expected if start <= day <= end]
    assert occurrences(rule(every, Unit.YEAR), anchor, start, end) == expected


@given(st.sampled_from([(Unit.DAY, DAILY), (Unit.WEEK, WEEKLY)]), DAYS, EVERY, DAYS, st.integers(0, 400))
def test_days_and_weeks_agree_with_recurrence_rules(units, anchor, every, start, length):
    unit, frequency = units
    end = start + timedelta(days=length)
    expected = rrule(frequency, interval=every, dtstart=at_midnight(anchor), until=at_midnight(end))
    expected = [moment.date() for moment in expected if moment.date() >= start]
    assert occurrences(rule(every, unit), anchor, start, end) == expected


@given(DAYS, EVERY)
def test_every_interval_of_months_has_exactly_one_due_date(anchor, every):
    due = occurrences(rule(every, Unit.MONTH), anchor, anchor, date(2045, 1, 1))
    months = [day.year * 12 + day.month for day in due]
    assert all(after - before == every for before, after in pairwise(months))


@given(DAYS, EVERY, st.sampled_from(Unit), DAYS, DAYS)
def test_the_basis_changes_no_date(anchor, every, unit, start, end):
    anchored = occurrences(rule(every, unit), anchor, start, end)
    assert occurrences(rule(every, unit, Basis.FLOATING), anchor, start, end) == anchored


@given(DAYS, EVERY, st.sampled_from(Unit), st.dates(date(2000, 1, 1), date(2030, 1, 1)), st.integers(0, 900))
def test_cutting_a_range_in_two_loses_and_repeats_nothing(anchor, every, unit, start, length):
    middle, end = start + timedelta(days=length // 2), start + timedelta(days=length)
    halves = occurrences(rule(every, unit), anchor, start, middle)
    halves += occurrences(rule(every, unit), anchor, middle + timedelta(days=1), end)
    assert halves == occurrences(rule(every, unit), anchor, start, end)


def test_due_dates_reach_the_last_day_of_the_calendar_and_stop():
    due = occurrences(rule(1, Unit.YEAR), date(9990, 12, 31), date(9998, 1, 1), date.max)
    assert due == [date(9998, 12, 31), date(9999, 12, 31)]
    with pytest.raises(DateOutOfRange):
        add_interval(date(9999, 12, 31), 1, Unit.MONTH)
    with pytest.raises(DateOutOfRange):
        add_interval(date(9999, 12, 31), 10**12, Unit.DAY)


def test_a_moment_is_refused_because_its_day_depends_on_the_site():
    with pytest.raises(NotADay):
        occurrences(rule(1, Unit.DAY), at_midnight(date(2026, 1, 1)), date(2026, 1, 1), date(2026, 1, 2))
