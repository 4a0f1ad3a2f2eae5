"""Which inspection is credited to which due inspection: worked examples, all invented.

Every 12 months, window 30 days before and after; due 2026-06-15, previous inspection 2025-06-15 unless said.
"""

from collections import Counter
from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.due_dates import IntervalRule, Window, add_interval, half_passed
from pmcore.engines.due_history import due_history, kept_until
from pmcore.engines.due_status import state_on
from pmcore.engines.records import Inspected
from pmcore.engines.vocabulary import Basis, DueState, Unit

PREVIOUS = date(2025, 6, 15)
JULY = date(2026, 7, 31)
CLOSED = (DueState.MET, DueState.MET_LATE, DueState.NOT_MET, DueState.OVERDUE)


def yearly(basis):
    return IntervalRule(12, Unit.MONTH, basis, Window.days(30, 30))


def history_of(basis, *inspected, previous=PREVIOUS, until=JULY, anchor=PREVIOUS):
    inspected = [each if isinstance(each, Inspected) else Inspected(each) for each in inspected]
    return due_history(yearly(basis), anchor, previous, inspected, until)


def due_and_met(history, as_of=JULY):
    states = Counter(state_on(due, as_of) for due in history)
    return sum(states[state] for state in CLOSED), states[DueState.MET]


def next_due_of(history):
    return history[-1].due_on


def test_floating_and_early_is_met_and_moves_the_clock():
    history = history_of(Basis.FLOATING, date(2026, 5, 10))
    assert due_and_met(history) == (1, 1)
    assert history[0].completed_on < history[0].opens_on
    assert history[0].closes_on == date(2026, 7, 15)
    assert next_due_of(history) == date(2027, 5, 10)


def test_anchored_and_early_earns_nothing():
    history = history_of(Basis.ANCHORED, date(2026, 5, 10))
    assert due_and_met(history) == (1, 0)
    assert next_due_of(history) == date(2027, 6, 15)


def test_anchored_early_and_re_anchored_by_the_same_act_is_met():
    history = history_of(Basis.ANCHORED, Inspected(date(2026, 5, 10), re_anchors=True))
    assert due_and_met(history) == (1, 1)
    assert history[0].completed_on < history[0].opens_on
    assert next_due_of(history) == date(2027, 5, 10)


@pytest.mark.parametrize(
    ("basis", "expected"), [(Basis.ANCHORED, date(2027, 6, 15)), (Basis.FLOATING, date(2027, 7, 16))]
)
def test_a_day_after_the_close_is_late(basis, expected):
    history = history_of(basis, date(2026, 7, 16))
    assert due_and_met(history) == (1, 0)
    assert state_on(history[0], JULY) is DueState.MET_LATE
    assert next_due_of(history) == expected


def test_anchored_windows_allow_a_gap_that_is_listed():
    history = history_of(Basis.ANCHORED, date(2026, 7, 10), previous=date(2025, 5, 20))
    assert due_and_met(history) == (1, 1)
    latest = kept_until(yearly(Basis.ANCHORED), date(2025, 5, 20))
    assert latest == date(2026, 6, 19)
    assert (latest - date(2025, 5, 20)).days == 395


def test_a_calendar_month_keeps_the_interval_to_its_last_day():
    rule = IntervalRule(3, Unit.MONTH, Basis.ANCHORED, Window.calendar_month())
    assert kept_until(rule, date(2026, 3, 20)) == date(2026, 6, 30)


def test_a_floating_plan_accrues_one_a_year_while_nobody_comes():
    history = history_of(Basis.FLOATING, date(2026, 6, 20), previous=date(2023, 6, 15), anchor=date(2020, 1, 1))
    assert [due.due_on for due in history[:3]] == [date(2024, 6, 15), date(2025, 6, 15), date(2026, 6, 15)]
    assert [state_on(due, JULY) for due in history[:3]] == [DueState.NOT_MET, DueState.NOT_MET, DueState.MET]
    assert due_and_met(history) == (3, 1)
    assert next_due_of(history) == date(2027, 6, 20)


def test_a_new_device_owes_nothing_for_the_window_it_arrived_in():
    history = history_of(Basis.ANCHORED, previous=date(2026, 6, 1))
    assert due_and_met(history) == (0, 0)
    assert next_due_of(history) == date(2027, 6, 15)


def test_a_very_late_inspection_meets_the_newest_that_has_opened():
    history = history_of(Basis.ANCHORED, date(2027, 5, 20), until=date(2027, 7, 31))
    assert [state_on(due, date(2027, 7, 31)) for due in history[:2]] == [DueState.NOT_MET, DueState.MET]


def test_one_inspection_is_credited_once():
    history = history_of(Basis.ANCHORED, date(2026, 6, 1), date(2026, 6, 2), date(2026, 7, 20), until=date(2027, 7, 31))
    assert [due.completed_on for due in history] == [date(2026, 6, 1), None, None]


def test_floating_before_half_the_interval_resets_the_clock_without_credit():
    history = history_of(Basis.FLOATING, date(2025, 12, 14))
    assert [(due.due_on, due.completed_on) for due in history] == [(date(2026, 12, 14), None)]


def test_the_day_on_which_the_window_opens_is_inside_it():
    history = history_of(Basis.ANCHORED, date(2026, 5, 16), until=date(2026, 5, 16))
    assert [(due.due_on, due.completed_on) for due in history] == [
        (date(2026, 6, 15), date(2026, 5, 16)),
        (date(2027, 6, 15), None),
    ]


def test_half_the_interval_is_counted_from_the_last_inspection_and_not_from_the_anchor():
    history = history_of(Basis.FLOATING, date(2026, 6, 1), previous=date(2026, 3, 1))
    assert [(due.due_on, due.completed_on) for due in history] == [(date(2027, 6, 1), None)]


def test_half_the_interval_is_enough():
    """C: 365 days from 2025-06-15; 182 are less than half, 183 are more. Of ten days, five are half."""
    ten_days = IntervalRule(10, Unit.DAY, Basis.FLOATING, Window.days(0, 0))
    assert half_passed(ten_days, PREVIOUS, date(2025, 6, 20))
    assert not half_passed(ten_days, PREVIOUS, date(2025, 6, 19))
    rule = yearly(Basis.FLOATING)
    assert not half_passed(rule, PREVIOUS, date(2025, 12, 14))
    assert half_passed(rule, PREVIOUS, date(2025, 12, 15))


def test_re_anchoring_before_half_the_interval_changes_nothing():
    history = history_of(Basis.ANCHORED, Inspected(date(2025, 9, 1), re_anchors=True))
    assert history == history_of(Basis.ANCHORED)


def test_re_anchoring_inside_the_window_moves_what_follows():
    history = history_of(Basis.ANCHORED, Inspected(date(2026, 7, 1), re_anchors=True))
    assert due_and_met(history) == (1, 1)
    assert next_due_of(history) == date(2027, 7, 1)


def test_an_inspection_after_the_day_asked_for_is_not_known_yet():
    assert history_of(Basis.FLOATING, date(2026, 8, 1)) == history_of(Basis.FLOATING)


def test_each_knows_when_the_next_window_opens():
    history = history_of(Basis.ANCHORED)
    assert [due.next_opens_on for due in history] == [date(2027, 5, 16), date(2028, 5, 16)]


PERFORMED = st.lists(st.dates(date(2025, 6, 16), date(2032, 1, 1)), max_size=12, unique=True)


@given(st.sampled_from(Basis), PERFORMED)
def test_no_inspection_is_credited_twice_and_none_to_a_window_that_had_passed_unopened(basis, performed):
    history = history_of(basis, *performed, until=date(2032, 1, 1))
    credited = [due.completed_on for due in history if due.completed_on]
    assert len(set(credited)) == len(credited)
    assert set(credited) <= set(performed)
    assert [due.due_on for due in history] == sorted({due.due_on for due in history})
    if basis is Basis.ANCHORED:
        assert not any(due.completed_on and due.completed_on < due.opens_on for due in history)


@given(PERFORMED)
def test_anchored_due_dates_do_not_depend_on_what_was_done(performed):
    done = history_of(Basis.ANCHORED, *performed, until=date(2032, 1, 1))
    assert [due.due_on for due in done] == [due.due_on for due in history_of(Basis.ANCHORED, until=date(2032, 1, 1))]


@given(PERFORMED)
def test_a_floating_plan_that_kept_every_window_left_no_long_gap(performed):
    until = max(performed, default=PREVIOUS)
    history = history_of(Basis.FLOATING, *performed, until=until)
    if all(state_on(due, until) is DueState.MET for due in history[:-1]):
        for previous, following in pairwise(sorted([PREVIOUS, *performed])):
            assert following <= kept_until(yearly(Basis.FLOATING), previous)


@given(PERFORMED.filter(bool))
def test_a_floating_clock_runs_from_the_last_inspection(performed):
    last = max(performed)
    history = history_of(Basis.FLOATING, *performed, until=last)
    assert history[-1].due_on == add_interval(last, 12, Unit.MONTH)
