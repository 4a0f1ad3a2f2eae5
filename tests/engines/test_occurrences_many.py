"""A million anchors at once give what each gives alone, in order, with little memory beside the result."""

import tracemalloc
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines import occurrence_arrays
from pmcore.engines.due_dates import BadInterval, IntervalRule, NotADay, Window, occurrences, occurrences_many
from pmcore.engines.vocabulary import Basis, Unit

START, END = date(2026, 1, 1), date(2027, 12, 31)
ANCHORS = st.lists(st.dates(date(1995, 1, 1), date(2032, 12, 31)), max_size=12)
NEAR_ANCHORS = st.lists(st.dates(date(2024, 2, 25), date(2024, 3, 5)), min_size=12, max_size=40)


def days(values):
    return np.array(values, dtype="datetime64[D]")


def one_by_one(every, unit, anchors, start, end):
    rule = IntervalRule(every, unit, Basis.ANCHORED, Window.days(0, 0))
    return [(row, day) for row, anchor in enumerate(anchors) for day in occurrences(rule, anchor, start, end)]


def many(every, unit, anchors, start, end):
    row, due_on = occurrences_many(every, unit, days(anchors), start, end)
    return list(zip(row.tolist(), due_on.tolist(), strict=True))


@given(ANCHORS | NEAR_ANCHORS, st.integers(1, 40), st.sampled_from(Unit), st.dates(START, END), st.integers(0, 900))
def test_it_gives_what_each_anchor_gives_alone(anchors, every, unit, start, length):
    end = start + timedelta(days=length)
    assert many(every, unit, anchors, start, end) == one_by_one(every, unit, anchors, start, end)


@pytest.mark.parametrize("unit", list(Unit))
def test_every_day_of_a_leap_cycle_as_anchor_gives_what_it_gives_alone(unit):
    anchors = [date(2023, 6, 1) + timedelta(days=n) for n in range(1461)]
    start, end = date(2026, 1, 17), date(2026, 9, 12)
    assert many(3, unit, anchors, start, end) == one_by_one(3, unit, anchors, start, end)
    assert many(1, unit, anchors, start, end) == one_by_one(1, unit, anchors, start, end)


def test_chunks_meet_without_a_seam():
    anchors = np.resize(days([date(2025, 1, 31), date(2026, 5, 2), date(2030, 1, 1)]), 10_000)
    assert len(anchors) > 2 * occurrence_arrays.ROWS_AT_A_TIME
    row, due_on = occurrences_many(1, Unit.MONTH, anchors, START, END)
    pattern_row, pattern_due = occurrences_many(1, Unit.MONTH, anchors[:3], START, END)
    assert row.tolist() == [3 * copy + r for copy in range(3_334) for r in pattern_row if 3 * copy + r < 10_000]
    assert (due_on == np.resize(pattern_due, len(due_on))).all()


def test_the_result_is_sorted_by_row_then_by_date():
    rng = np.random.default_rng(20261031)
    anchors = np.datetime64("2015-01-01") + rng.integers(0, 5000, 20_000)
    row, due_on = occurrences_many(2, Unit.WEEK, anchors, START, END)
    assert (np.lexsort((due_on, row)) == np.arange(len(row))).all()
    assert row.dtype == np.int64
    assert due_on.dtype == np.dtype("datetime64[D]")


@pytest.mark.parametrize(("every", "unit"), [(3, Unit.MONTH), (30, Unit.DAY), (10**15, Unit.YEAR)])
@pytest.mark.parametrize("spread", [3_000, 2_000_000])
def test_a_million_anchors_need_less_than_50_megabytes_beside_the_result(every, unit, spread):
    rng = np.random.default_rng(20261031)
    anchors = np.datetime64("0100-01-01", "D") + rng.integers(0, spread, 1_000_000)
    anchors += np.datetime64("2018-01-01", "D") - np.datetime64("0100-01-01", "D") if spread == 3_000 else 0
    tracemalloc.start()
    try:
        row, due_on = occurrences_many(every, unit, anchors, START, END)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak - row.nbytes - due_on.nbytes < 50e6


def test_no_anchors_and_an_empty_range_give_nothing():
    assert many(1, Unit.MONTH, [], START, END) == []
    assert many(1, Unit.MONTH, [START], END, START) == []


def test_the_anchors_are_left_as_they_were():
    anchors = days([date(2025, 1, 31), date(2026, 5, 2)])
    anchors.flags.writeable = False
    occurrences_many(1, Unit.MONTH, anchors, START, END)
    assert anchors.tolist() == [date(2025, 1, 31), date(2026, 5, 2)]


def test_a_missing_anchor_is_named_and_not_guessed():
    with pytest.raises(NotADay):
        occurrences_many(1, Unit.MONTH, np.array(["2026-01-01", "NaT"], "datetime64[D]"), START, END)
    with pytest.raises(BadInterval):
        occurrences_many(0, Unit.MONTH, days([START]), START, END)
