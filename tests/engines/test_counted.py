"""What each due inspection counts as on a day: its state by the plain reading, and whether it is explained."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.compliance import COUNTED, counted_on
from pmcore.engines.due_status import DueColumns, is_explained, state_on
from pmcore.engines.records import DueInspection
from pmcore.engines.vocabulary import Counted, DueState

DAYS = st.dates(dt.date(2026, 5, 1), dt.date(2026, 8, 31))


@st.composite
def due_inspections(draw):
    opens_on, due_on, closes_on = sorted(draw(st.tuples(DAYS, DAYS, DAYS)))
    told = {name: draw(st.none() | DAYS) for name in ("next_opens_on", "completed_on", "withdrawn_on", "reason_on")}
    left, sealed = draw(st.booleans()), draw(st.booleans())
    sealed_on = draw(DAYS) if sealed else None
    return DueInspection(
        opens_on, due_on, closes_on, **told,
        left_on=draw(DAYS) if left else None, left_recorded_on=draw(DAYS) if left else None,
        sealed_on=sealed_on, sealed_recorded_on=draw(DAYS) if sealed else None,
        unsealed_on=draw(st.none() | st.dates(sealed_on, dt.date(2026, 9, 30))) if sealed_on else None,
    )  # fmt: skip


def word(due, as_of):
    state = state_on(due, as_of)
    if state in {DueState.OVERDUE, DueState.NOT_MET}:
        return Counted.REASON_RECORDED if is_explained(due, as_of) else Counted.NO_REASON
    return Counted(state)


@given(st.lists(due_inspections(), max_size=6), DAYS)
def test_columns_count_as_one_by_one(dues, as_of):
    counted = counted_on(DueColumns.of(dues), as_of)
    assert [COUNTED[code] for code in counted.tolist()] == [word(due, as_of) for due in dues]


@given(due_inspections(), DAYS)
def test_a_reason_makes_nothing_met(due, as_of):
    without = DueInspection(**{**{name: getattr(due, name) for name in due.__slots__}, "reason_on": None})
    met = {Counted.MET, Counted.MET_LATE}
    codes = counted_on(DueColumns.of([due, without]), as_of)
    with_reason, plain = (COUNTED[code] for code in codes.tolist())
    assert (with_reason in met) == (plain in met)
    assert with_reason == plain or (with_reason, plain) == (Counted.REASON_RECORDED, Counted.NO_REASON)
