"""The answers for columns of due inspections are the answers for each."""

from datetime import date, timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pmcore.engines.due_status import STATES, are_explained, is_explained, state_on, states_on
from pmcore.engines.records import DueColumns, DueInspection
from pmcore.engines.vocabulary import DueState

# A calendar of three weeks makes every pair of days meet, so that each comparison is tried at its edge.
ORIGIN = date(2026, 6, 1)
DAY = st.integers(0, 20).map(lambda days: ORIGIN + timedelta(days=days))
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
        withdrawn_on=draw(st.none() | st.none() | DAY),
        left_on=left_on,
        left_recorded_on=left_on and draw(DAY),
        sealed_on=sealed_on,
        sealed_recorded_on=sealed_on and draw(DAY),
        unsealed_on=sealed_on and draw(st.none() | DAY.filter(lambda day: day >= sealed_on)),
        reason_on=draw(MAYBE),
    )


@settings(max_examples=400)
@given(st.lists(due_inspections(), max_size=20), DAY)
def test_columns_agree_with_the_plain_reading(dues, as_of):
    columns = DueColumns.of(dues)
    assert [STATES[code] for code in states_on(columns, as_of)] == [state_on(due, as_of) for due in dues]
    assert are_explained(columns, as_of).tolist() == [is_explained(due, as_of) for due in dues]


def test_every_state_occurs_among_drawn_ones():
    """Otherwise the agreement above would be about some states only."""
    rng = np.random.default_rng(20261031)
    seen = set()
    for _ in range(3_000):
        days = [ORIGIN + timedelta(days=int(offset)) for offset in rng.integers(0, 20, 10)]
        kept = [day if keep else None for day, keep in zip(days, rng.random(10) < 0.4, strict=True)]
        opens_on, due_on, closes_on = sorted(days[:3])
        due = DueInspection(
            opens_on,
            due_on,
            closes_on,
            next_opens_on=kept[3],
            completed_on=kept[4],
            withdrawn_on=kept[5],
            left_on=kept[6],
            left_recorded_on=kept[6] and days[7],
            sealed_on=kept[8],
            sealed_recorded_on=kept[8] and days[9],
        )
        as_of = ORIGIN + timedelta(days=int(rng.integers(0, 20)))
        seen.add(STATES[states_on(DueColumns.of([due]), as_of)[0]])
    assert seen == set(DueState)


def test_no_due_inspections_have_no_states():
    assert states_on(DueColumns.of([]), ORIGIN).tolist() == []
