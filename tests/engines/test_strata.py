"""Stretches cut where something changed, against a loop over days."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.strata import Held, Pieces, cut

DAYS = 40
changes = st.lists(st.tuples(st.integers(1, 3), st.integers(-5, DAYS + 5), st.integers(1, 4)), max_size=12)
lengths = st.lists(st.tuples(st.integers(1, 3), st.integers(1, 9), st.integers(0, 5)), max_size=9)


def held(rows) -> Held:
    table = np.array(rows, np.int64).reshape(-1, 3)
    return Held.of(table[:, 0], table[:, 1], table[:, 2], np.arange(len(table)))


def stretches(rows) -> Pieces:
    """Of each device one after the other, with gaps between."""
    ends = dict.fromkeys((1, 2, 3), 0)
    found = []
    for device, days, gap in rows:
        begins = ends[device] + gap + 1
        found.append((device, begins, begins + days))
        ends[device] = begins + days
    return Pieces(*np.array(found, np.int64).reshape(-1, 3).T)


def value_on(rows, device: int, day: int) -> int:
    """The last that was said by the day; of one day's the later row."""
    said = [(from_on, at, value) for at, (of, from_on, value) in enumerate(rows) if of == device and from_on <= day]
    return max(said)[2] if said else 0


@given(changes, st.integers(1, 3), st.integers(-9, DAYS + 9))
def test_what_holds_on_a_day(rows, device, day):
    assert held(rows).on(np.array([device]), np.array([day])).tolist() == [value_on(rows, device, day)]


@given(lengths, changes, changes)
def test_within_a_piece_everything_holds_throughout(rows, one, other):
    whole = stretches(rows)
    pieces = cut(whole, [held(one), held(other)])
    days = [
        (device, day)
        for device, first, end in zip(pieces.device.tolist(), pieces.from_on, pieces.until_on, strict=True)
        for day in range(first, end)
    ]
    assert len(days) == len(set(days)) == whole.days.sum()
    assert (pieces.days > 0).all()
    for changed in (one, other):
        values = held(changed).on(pieces.device, pieces.from_on)
        for at, value in enumerate(values.tolist()):
            for day in range(pieces.from_on[at], pieces.until_on[at]):
                assert value == value_on(changed, int(pieces.device[at]), day)
