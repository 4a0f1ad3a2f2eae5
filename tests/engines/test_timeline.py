"""What holds on a day, by the plain reading: the last of the changes up to it."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.timeline import Timeline, timelines

DAYS = st.dates(dt.date(2026, 1, 1), dt.date(2026, 2, 15))
CHANGES = st.lists(st.tuples(DAYS, st.integers()), max_size=8).map(lambda rows: sorted(rows, key=lambda row: row[0]))


@given(CHANGES, DAYS)
def test_the_last_change_up_to_the_day_holds(changes, day):
    begun = [value for from_on, value in changes if from_on <= day]
    first = changes[0][1] if changes else None
    timeline = Timeline(changes)
    assert timeline.on(day) == (begun[-1] if begun else None)
    assert timeline.from_the_first_on(day) == (begun[-1] if begun else first)
    assert list(timeline) == changes


@given(st.lists(st.tuples(st.integers(0, 3), DAYS, st.integers()), max_size=12))
def test_each_key_has_its_own(rows):
    rows.sort(key=lambda row: row[1])
    found = timelines(rows)
    assert set(found) == {key for key, _, _ in rows}
    assert all(list(line) == [row[1:] for row in rows if row[0] == key] for key, line in found.items())
