"""The answers for columns of due inspections are the answers for each."""

from datetime import date, timedelta

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.due_status import STATES, DueColumns, are_explained, is_explained, state_on, states_on
from pmcore.engines.records import DueInspection
from pmcore.engines.vocabulary import DueState

# In a calendar of one week every pair of days meets, so that each comparison is tried at its edge.
WEEK = [date(2026, 6, 1) + timedelta(days=number) for number in range(7)]
DAY = st.sampled_from(WEEK)
MAYBE = st.none() | DAY


@st.composite
def due_inspections(draw):
    opens_on, due_on, closes_on = sorted(draw(DAY) for _ in range(3))
    left_on, sealed_on = draw(MAYBE), draw(MAYBE)
    return DueInspection(
        opens_on=opens_on,
        due_on=due_on,
        closes_on=closes_on,
        next_opens_on=draw(MAYBE),
        completed_on=draw(MAYBE),
        withdrawn_on=draw(MAYBE),
        left_on=left_on,
        left_recorded_on=left_on and draw(DAY),
        sealed_on=sealed_on,
        sealed_recorded_on=sealed_on and draw(DAY),
        unsealed_on=sealed_on and draw(st.none() | DAY.filter(lambda day: day >= sealed_on)),
        reason_on=draw(MAYBE),
    )


def drawn_at_random(rng):
    opens_on, due_on, closes_on = sorted(rng.choice(WEEK, 3))

    def maybe(chance):
        return rng.choice(WEEK) if rng.random() < chance else None

    left_on, sealed_on = maybe(0.3), maybe(0.4)
    unsealed_on = sealed_on and maybe(0.4)
    return DueInspection(
        opens_on,
        due_on,
        closes_on,
        next_opens_on=maybe(0.5),
        completed_on=maybe(0.3),
        withdrawn_on=maybe(0.1),
        left_on=left_on,
        left_recorded_on=left_on and rng.choice(WEEK),
        sealed_on=sealed_on,
        sealed_recorded_on=sealed_on and rng.choice(WEEK),
        unsealed_on=unsealed_on and max(unsealed_on, sealed_on),
        reason_on=maybe(0.3),
    )


@given(st.lists(due_inspections(), max_size=20), DAY)
def test_columns_agree_with_the_plain_reading(dues, as_of):
    columns = DueColumns.of(dues)
    assert [STATES[code] for code in states_on(columns, as_of)] == [state_on(due, as_of) for due in dues]
    assert are_explained(columns, as_of).tolist() == [is_explained(due, as_of) for due in dues]


def test_they_agree_on_every_day_for_thousands_among_which_every_state_occurs():
    """Random search seldom meets the rare states at their edges; numbers make up for it."""
    rng = np.random.default_rng(20261031)
    dues = [drawn_at_random(rng) for _ in range(5_000)]
    columns, seen = DueColumns.of(dues), set()
    for as_of in WEEK:
        states = [state_on(due, as_of) for due in dues]
        assert [STATES[code] for code in states_on(columns, as_of)] == states
        assert are_explained(columns, as_of).tolist() == [is_explained(due, as_of) for due in dues]
        seen |= set(states)
    assert seen == set(DueState)


def test_no_due_inspections_have_no_states():
    assert states_on(DueColumns.of([]), WEEK[0]).tolist() == []
