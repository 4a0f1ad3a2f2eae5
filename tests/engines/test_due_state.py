"""What a due inspection is on a date: worked examples, all invented, and the days on which a state changes.

Due 2026-06-15, window 05-16 to 07-15, the next opens 2027-05-16.
"""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from pmcore.engines.due_status import is_explained, state_on
from pmcore.engines.records import ContradictoryRecord, DueInspection
from pmcore.engines.site_days import local_day
from pmcore.engines.vocabulary import DueState

DUE = DueInspection(date(2026, 5, 16), date(2026, 6, 15), date(2026, 7, 15), next_opens_on=date(2027, 5, 16))
JULY = date(2026, 7, 31)
IN_TEN_YEARS = date(2036, 1, 1)


def left(left_on, recorded_on=None):
    return replace(DUE, left_on=left_on, left_recorded_on=recorded_on or left_on)


def sealed(sealed_on, unsealed_on=None, recorded_on=None, **others):
    recorded_on = recorded_on or sealed_on
    return replace(DUE, sealed_on=sealed_on, sealed_recorded_on=recorded_on, unsealed_on=unsealed_on, **others)


def done(day, due=DUE):
    return replace(due, completed_on=day)


@pytest.mark.parametrize(
    ("as_of", "state"),
    [
        (date(2026, 5, 15), DueState.AHEAD),
        (date(2026, 5, 16), DueState.OPEN),
        (date(2026, 7, 15), DueState.OPEN),
        (date(2026, 7, 16), DueState.OVERDUE),
        (date(2027, 5, 15), DueState.OVERDUE),
        (date(2027, 5, 16), DueState.NOT_MET),
    ],
)
def test_undone_it_goes_from_ahead_to_not_met(as_of, state):
    assert state_on(DUE, as_of) is state


def test_undone_with_nothing_to_follow_it_stays_overdue():
    assert state_on(replace(DUE, next_opens_on=None), IN_TEN_YEARS) is DueState.OVERDUE


@pytest.mark.parametrize(
    ("completed_on", "state"),
    [
        (date(2026, 5, 16), DueState.MET),
        (date(2026, 7, 15), DueState.MET),
        (date(2026, 7, 16), DueState.MET_LATE),
        (date(2026, 7, 31), DueState.MET_LATE),
        (date(2026, 8, 1), DueState.OVERDUE),
    ],
)
def test_done_inside_the_window_is_met_and_after_it_late_and_after_as_of_nothing_yet(completed_on, state):
    assert state_on(done(completed_on), JULY) is state


def test_the_last_evening_at_the_site_is_inside_the_window_whatever_utc_says():
    """Done 07-15 at 23:50 local time, five hours behind UTC, where it is already 07-16."""
    day = local_day(datetime(2026, 7, 16, 4, 50, tzinfo=UTC), "America/Chicago")
    assert state_on(done(day), JULY) is DueState.MET


def test_a_credited_early_inspection_is_met_before_the_window_opens():
    early = done(date(2026, 5, 10))
    assert state_on(early, date(2026, 5, 10)) is DueState.MET
    assert state_on(early, date(2026, 5, 9)) is DueState.AHEAD


@pytest.mark.parametrize("completed_on", [None, date(2026, 5, 20)])
def test_leaving_by_the_due_date_ends_it_done_or_not(completed_on):
    assert state_on(done(completed_on, left(date(2026, 6, 10))), JULY) is DueState.ENDED
    assert state_on(done(completed_on, left(date(2026, 6, 15))), JULY) is DueState.ENDED


def test_it_ends_on_the_day_the_device_leaves_and_not_before():
    assert state_on(left(date(2026, 5, 1)), date(2026, 4, 30)) is DueState.AHEAD
    assert state_on(left(date(2026, 5, 1)), date(2026, 5, 1)) is DueState.ENDED


def test_leaving_after_the_due_date_leaves_it_not_met_without_a_reason():
    gone = left(date(2026, 6, 20))
    assert state_on(gone, date(2026, 7, 15)) is DueState.OPEN
    assert state_on(gone, JULY) is DueState.NOT_MET
    assert not is_explained(gone, JULY)


def test_a_departure_recorded_after_the_close_is_a_reason_and_no_ending():
    gone = left(date(2026, 6, 10), recorded_on=date(2026, 7, 20))
    assert state_on(gone, JULY) is DueState.NOT_MET
    assert is_explained(gone, JULY)
    assert not is_explained(gone, date(2026, 7, 19))
    assert state_on(left(date(2026, 6, 10), recorded_on=date(2026, 7, 15)), JULY) is DueState.ENDED


def test_a_departure_after_the_due_date_is_no_reason_however_late_it_is_recorded():
    assert not is_explained(left(date(2026, 6, 20), recorded_on=date(2026, 7, 20)), JULY)


def test_sealed_through_the_window_is_suspended_for_good():
    stored = sealed(date(2026, 5, 1), date(2026, 8, 1))
    assert state_on(stored, date(2026, 5, 15)) is DueState.AHEAD
    assert state_on(stored, date(2026, 5, 16)) is DueState.SUSPENDED
    assert state_on(stored, JULY) is DueState.SUSPENDED
    assert state_on(stored, IN_TEN_YEARS) is DueState.SUSPENDED


def test_the_inspection_before_release_from_storage_does_not_make_a_suspended_one_late():
    assert state_on(sealed(date(2026, 5, 1), date(2026, 8, 1), completed_on=date(2026, 8, 1)), IN_TEN_YEARS) is (
        DueState.SUSPENDED
    )


def test_unsealed_while_the_window_is_open_it_is_due_again():
    stored = sealed(date(2026, 5, 1), date(2026, 7, 15))
    assert state_on(stored, date(2026, 7, 14)) is DueState.SUSPENDED
    assert state_on(stored, date(2026, 7, 15)) is DueState.OPEN
    assert state_on(stored, JULY) is DueState.OVERDUE


def test_inspected_in_storage_it_is_counted_apart_all_the_same():
    assert state_on(sealed(date(2026, 5, 1), completed_on=date(2026, 7, 1)), JULY) is DueState.SUSPENDED


def test_inspected_and_then_unsealed_inside_the_window_it_is_met():
    taken_out = sealed(date(2026, 5, 1), completed_on=date(2026, 7, 1), unsealed_on=date(2026, 7, 3))
    assert state_on(taken_out, JULY) is DueState.MET


@pytest.mark.parametrize(
    "stored",
    [
        sealed(date(2026, 5, 16)),
        sealed(date(2026, 5, 1), recorded_on=date(2026, 5, 16)),
        sealed(date(2026, 5, 1), unsealed_on=date(2026, 5, 10)),
    ],
)
def test_a_seal_counts_only_when_recorded_before_the_window_opened_and_still_in_force(stored):
    assert state_on(stored, date(2026, 6, 1)) is DueState.OPEN


def test_withdrawn_is_the_last_word_from_its_day_on():
    withdrawn = done(date(2026, 6, 1), replace(DUE, withdrawn_on=date(2026, 6, 3)))
    assert state_on(withdrawn, date(2026, 6, 2)) is DueState.MET
    assert state_on(withdrawn, date(2026, 6, 3)) is DueState.WITHDRAWN


def test_a_reason_explains_only_what_is_closed_and_undone():
    excused = replace(DUE, reason_on=date(2026, 7, 2))
    assert is_explained(excused, JULY)
    assert not is_explained(excused, date(2026, 7, 15))
    assert not is_explained(done(date(2026, 7, 20), excused), JULY)
    assert not is_explained(replace(DUE, reason_on=date(2026, 8, 1)), JULY)


@pytest.mark.parametrize(
    "contradiction",
    [
        {"due_on": date(2026, 7, 16)},
        {"opens_on": date(2026, 6, 16)},
        {"left_on": date(2026, 6, 1)},
        {"sealed_on": date(2026, 6, 1)},
        {"unsealed_on": date(2026, 6, 1)},
        {"sealed_on": date(2026, 6, 2), "sealed_recorded_on": date(2026, 6, 2), "unsealed_on": date(2026, 6, 1)},
    ],
)
def test_days_that_exclude_one_another_are_refused(contradiction):
    with pytest.raises(ContradictoryRecord):
        replace(DUE, **contradiction)
