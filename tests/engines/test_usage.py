"""A meter of hours or cycles is projected to its limit; the calendar or the usage comes first. Values invented."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.usage import (
    BadReading,
    MeterFell,
    NoReadingThen,
    projected_due,
    usage_due_on,
    value_on,
)

JANUARY = date(2026, 1, 1)


def after(days):
    return JANUARY + timedelta(days=days)


def test_ten_hours_a_day_reach_the_limit_after_the_days_that_are_left():
    """100 hours in 10 days, 250 left: day 25 after the last reading."""
    assert projected_due([(JANUARY, 400), (after(10), 500)], 750) == after(35)


def test_a_limit_reached_during_a_day_is_due_on_that_day():
    assert projected_due([(JANUARY, 400), (after(10), 500)], 759) == after(35)
    assert projected_due([(JANUARY, 400), (after(10), 500)], 760) == after(36)


def test_readings_in_between_change_nothing():
    ends = [(JANUARY, 400), (after(10), 500)]
    assert projected_due([*ends, (after(3), 490)], 750) == projected_due(ends, 750)


def test_what_is_older_than_180_days_does_not_count():
    """20 hours in the last 20 days, 30 left; the slow half-year before that is forgotten."""
    readings = [(after(-400), 0), (JANUARY, 0), (after(170), 80), (after(190), 100)]
    assert projected_due(readings, 130) == after(190 + 30)


def test_a_reading_180_days_old_still_counts():
    assert projected_due([(JANUARY, 0), (after(170), 80), (after(180), 90)], 100) == after(180 + 20)


def test_a_meter_read_once_a_year_goes_by_its_last_two_readings():
    assert projected_due([(after(-900), 0), (JANUARY, 100), (after(365), 465)], 500) == after(365 + 35)


def test_a_limit_already_passed_is_due_on_the_first_day_that_showed_it():
    assert projected_due([(JANUARY, 400), (after(10), 500), (after(20), 600)], 450) == after(10)
    assert projected_due([(JANUARY, 400)], 400) == JANUARY


@pytest.mark.parametrize(
    "readings",
    [[], [(JANUARY, 400)], [(JANUARY, 400), (JANUARY, 410)], [(JANUARY, 400), (after(10), 400)]],
)
def test_without_two_days_that_differ_nothing_is_projected(readings):
    assert projected_due(readings, 750) is None


def test_a_limit_beyond_the_calendar_is_never():
    assert projected_due([(JANUARY, 0), (after(180), 1)], 10**9) is None


def test_decimals_are_exact():
    """0.1 a day: three tenths are left, and not a hair more."""
    assert projected_due([(JANUARY, Decimal("0.0")), (after(1), Decimal("0.1"))], Decimal("0.4")) == after(4)
    assert projected_due([(JANUARY, 0.0), (after(1), 0.1)], 0.1 + 0.3) == after(4)


def test_a_meter_that_fell_is_named_with_both_days():
    with pytest.raises(MeterFell, match="between 2026-01-11 and 2026-01-21"):
        projected_due([(JANUARY, 400), (after(10), 500), (after(20), 3)], 750)
    assert projected_due([(after(20), 3), (after(30), 103)], 253) == after(45)


@pytest.mark.parametrize("value", ["many", float("nan"), float("inf")])
def test_a_reading_that_is_no_number_is_named(value):
    with pytest.raises(BadReading):
        projected_due([(JANUARY, value)], 750)
    with pytest.raises(BadReading):
        projected_due([(JANUARY, 1)], value)


def test_usage_counts_from_where_the_meter_stood_when_it_was_done():
    readings = [(JANUARY, 400), (after(10), 500)]
    assert usage_due_on(readings, 300, 450) == after(35)
    assert usage_due_on(readings, 300, value_on(readings, after(5))) == after(35)
    with pytest.raises(BadReading):
        usage_due_on(readings, 0, 450)


def test_where_the_meter_stood_is_read_or_lies_on_the_line_between_two_readings():
    readings = [(JANUARY, 400), (after(3), 401), (after(3), 402)]
    assert value_on(readings, JANUARY) == 400
    assert value_on(readings, after(1)) == 400 + Fraction(1, 3)
    assert value_on(readings, after(3)) == 402
    for outside in (after(-1), after(4)):
        with pytest.raises(NoReadingThen):
            value_on(readings, outside)


@given(st.integers(1, 500), st.integers(1, 170), st.integers(1, 5_000))
def test_a_steady_meter_reaches_its_limit_on_the_projected_day_and_not_before(rate, read_after, left):
    readings = [(JANUARY, 0), (after(read_after), rate * read_after)]
    limit = rate * read_after + left
    due = projected_due(readings, limit)
    assert rate * ((due - JANUARY).days + 1) > limit >= rate * (due - JANUARY).days
