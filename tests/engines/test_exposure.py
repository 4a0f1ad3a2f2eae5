"""Exposure, by the plain reading: day after day, was the device in service, and nothing that took it out?"""

import datetime as dt
from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.exposure import (
    ReversedSpell,
    ReversedWindow,
    Spells,
    SpellWithoutStart,
    StatesOutOfOrder,
    ValuedSpells,
    Window,
    days_by_value,
    days_of,
    days_within,
    exposed,
    states_to_spells,
    years,
)
from pmcore.engines.vocabulary import ServiceStateKind

BEGINS = dt.date(2026, 1, 1)
LENGTH = 45
NEVER = Spells.of([])
IN_SERVICE, STORED = ServiceStateKind.IN_SERVICE, ServiceStateKind.STORED
NOT_LOCATED, LEFT = ServiceStateKind.NOT_LOCATED, ServiceStateKind.LEFT


def day(number):
    return BEGINS + dt.timedelta(days=number)


EVERY_DAY = [day(number) for number in range(LENGTH)]
DAYS = st.integers(-5, LENGTH + 5).map(day)
DEVICES = st.sampled_from([3, 7, 2_000_000_000])
ROWS = st.lists(
    st.tuples(DEVICES, DAYS, st.none() | st.integers(0, 30)).map(
        lambda row: (row[0], row[1], None if row[2] is None else row[1] + dt.timedelta(days=row[2]))
    ),
    max_size=8,
)
WINDOWS = st.builds(
    Window,
    from_on=st.integers(0, 20).map(day),
    as_of=st.integers(-3, LENGTH - 1).map(day),
    to_on=st.none() | st.integers(20, LENGTH - 1).map(day),
    known_from=st.none() | DAYS,
)


def holds_on(rows, device, on):
    return any(row[0] == device and row[-2] <= on and (row[-1] is None or on < row[-1]) for row in rows)


def counts_on(window, on):
    return (
        window.from_on <= on <= window.as_of
        and (window.to_on is None or on <= window.to_on)
        and (window.known_from is None or window.known_from <= on)
    )


def exposed_days(serving, away, window):
    """Pairs of device and day."""
    devices = {row[0] for row in serving}
    return {
        (device, on)
        for device in devices
        for on in EVERY_DAY
        if counts_on(window, on) and holds_on(serving, device, on) and not holds_on(away, device, on)
    }


@given(serving=ROWS, holds=ROWS, missing=ROWS, window=WINDOWS)
def test_it_is_the_days_in_service_that_nothing_takes_away(serving, holds, missing, window):
    found = exposed(Spells.of(serving), [Spells.of(holds), Spells.of(missing)], window)
    expected = exposed_days(serving, [*holds, *missing], window)
    listed = [
        (int(device), on)
        for device, begin, end in zip(found.device, found.from_on.tolist(), found.until_on.tolist(), strict=True)
        for on in EVERY_DAY
        if begin <= on < end
    ]
    assert len(listed) == len(set(listed)) == int(found.days.sum())
    assert set(listed) == expected
    per_device = Counter(device for device, _ in expected)
    asked = [2_000_000_000, 5, 3, 7, 3]
    assert days_of(found, asked).tolist() == [per_device[device] for device in asked]


@given(serving=ROWS, away=ROWS, window=WINDOWS)
def test_stretches_are_whole_and_in_order(serving, away, window):
    found = exposed(Spells.of(serving), [Spells.of(away)], window)
    same = found.device[1:] == found.device[:-1]
    assert (found.device[1:] >= found.device[:-1]).all()
    assert (found.from_on < found.until_on).all()
    assert (found.from_on[1:][same] > found.until_on[:-1][same]).all()


@given(serving=ROWS, away=ROWS, window=WINDOWS, asked=ROWS)
def test_days_within_any_stretch(serving, away, window, asked):
    expected = exposed_days(serving, away, window)
    found = days_within(exposed(Spells.of(serving), [Spells.of(away)], window), Spells.of(asked))
    assert found.tolist() == [sum(holds_on([row], *pair) for pair in expected) for row in asked]


@given(
    serving=ROWS,
    away=ROWS,
    window=WINDOWS,
    attribute=st.lists(st.tuples(st.integers(-2, 3), ROWS.filter(bool).map(lambda rows: rows[0])), max_size=10),
)
def test_every_day_belongs_to_the_value_of_that_day(serving, away, window, attribute):
    rows = [(device, value, begin, end) for value, (device, begin, end) in attribute]
    expected = Counter(
        (device, value)
        for device, on in exposed_days(serving, away, window)
        for value in {row[1] for row in rows if holds_on([row], device, on)}
    )
    found = days_by_value(exposed(Spells.of(serving), [Spells.of(away)], window), ValuedSpells.of(rows))
    columns = (found.device.tolist(), found.value.tolist(), found.days.tolist())
    assert {(device, value): days for device, value, days in zip(*columns, strict=True)} == dict(expected)
    assert list(zip(*columns[:2], strict=True)) == sorted(expected)


STATES = st.lists(
    st.tuples(DEVICES, DAYS, st.sampled_from(ServiceStateKind), st.none() | DAYS), max_size=14
).map(lambda rows: sorted(rows, key=lambda row: row[:2]))  # fmt: skip


@given(STATES)
def test_states_say_when_a_device_is_in_service_and_when_it_is_missing(rows):
    serving, missing = states_to_spells(*([row[at] for row in rows] for at in range(4)))
    in_service = list(zip(serving.device.tolist(), serving.from_on.tolist(), serving.until_on.tolist(), strict=True))
    lost = list(zip(missing.device.tolist(), missing.from_on.tolist(), missing.until_on.tolist(), strict=True))
    for device in {row[0] for row in rows}:
        of_device = [row for row in rows if row[0] == device]
        for on in EVERY_DAY:
            begun = [row for row in of_device if row[1] <= on]
            last = begun[-1] if begun else None
            assert holds_on(in_service, device, on) == (last is not None and last[2] == IN_SERVICE)
            gone = any(
                row[2] == NOT_LOCATED
                and min(row[3] or row[1], row[1]) <= on
                and (at + 1 == len(of_device) or on < of_device[at + 1][1])
                for at, row in enumerate(of_device)
            )
            assert holds_on(lost, device, on) == gone


def test_131_days_of_181():
    """In service 01-01 to 07-01 (end excluded), 20 days held, 30 days lost, apart: 131 days = 0.359 device-years."""
    year = 2026
    serving = Spells.of([(1, dt.date(year, 1, 1), dt.date(year, 7, 1))])
    held = Spells.of([(1, dt.date(year, 2, 1), dt.date(year, 2, 21))])
    lost = Spells.of([(1, dt.date(year, 4, 1), dt.date(year, 5, 1))])
    found = exposed(serving, [held, lost], Window(dt.date(year, 1, 1), as_of=dt.date(year, 12, 31)))
    assert days_of(found, [1]).tolist() == [131]
    assert years(days_of(found, [1])).round(3).tolist() == [0.359]


def test_the_same_from_service_states():
    states = [
        (1, dt.date(2026, 1, 1), IN_SERVICE, None),
        (1, dt.date(2026, 4, 20), NOT_LOCATED, dt.date(2026, 4, 1)),
        (1, dt.date(2026, 5, 1), IN_SERVICE, None),
        (1, dt.date(2026, 7, 1), LEFT, None),
    ]
    serving, missing = states_to_spells(*([row[at] for row in states] for at in range(4)))
    held = Spells.of([(1, dt.date(2026, 2, 1), dt.date(2026, 2, 21))])
    found = exposed(serving, [held, missing], Window(dt.date(2026, 1, 1), as_of=dt.date(2026, 12, 31)))
    assert days_of(found, [1]).tolist() == [131]


def test_as_of_is_a_whole_day():
    serving = Spells.of([(1, day(0), None)])
    assert days_of(exposed(serving, [], Window(day(0), as_of=day(0))), [1]).tolist() == [1]
    assert days_of(exposed(serving, [], Window(day(0), as_of=day(9), to_on=day(30))), [1]).tolist() == [10]
    assert days_of(exposed(serving, [], Window(day(0), as_of=day(30), to_on=day(9))), [1]).tolist() == [10]


def test_nothing_counts_before_the_history_begins():
    serving = Spells.of([(1, day(0), None), (2, day(0), None)])
    window = Window(day(0), as_of=day(9), known_from=day(4))
    assert days_of(exposed(serving, [], window), [1, 2]).tolist() == [6, 6]
    each = serving.clipped([day(4), day(20)])  # known from a day of its own
    assert days_of(exposed(each, [], Window(day(0), as_of=day(9))), [1, 2]).tolist() == [6, 0]


def test_a_window_before_everything_is_empty():
    serving = Spells.of([(1, day(0), None)])
    for window in (Window(day(5), as_of=day(2)), Window(day(0), as_of=day(5), known_from=day(9))):
        assert len(exposed(serving, [], window)) == 0


def test_held_and_released_on_one_day_takes_nothing_away():
    serving = Spells.of([(1, day(0), day(10))])
    held = Spells.of([(1, day(4), day(4))])
    assert days_of(exposed(serving, [held], Window(day(0), as_of=day(20))), [1]).tolist() == [10]


def test_no_devices_at_all():
    found = exposed(NEVER, [], Window(day(0), as_of=day(9)))
    assert days_of(found, [1, 2]).tolist() == [0, 0]
    assert days_within(found, Spells.of([(1, day(0), None)])).tolist() == [0]
    assert days_by_value(found, ValuedSpells.of([(1, 5, day(0), None)])).days.tolist() == []
    assert [len(spells) for spells in states_to_spells([], [], [], [])] == [0, 0]


def test_a_reversed_spell_is_refused():
    with pytest.raises(ReversedSpell, match="device 8"):
        Spells.of([(7, day(1), day(2)), (8, day(3), day(2))])


def test_a_spell_without_a_first_day_is_refused():
    with pytest.raises(SpellWithoutStart, match="device 8"):
        Spells.of([(7, day(1), day(2)), (8, None, day(2))])


def test_a_reversed_window_is_refused():
    with pytest.raises(ReversedWindow):
        Window(day(5), as_of=day(9), to_on=day(4))


@pytest.mark.parametrize("rows", [[(2, 0), (1, 5)], [(1, 5), (1, 4)]])
def test_states_out_of_order_are_refused(rows):
    with pytest.raises(StatesOutOfOrder):
        states_to_spells([row[0] for row in rows], [day(row[1]) for row in rows], [STORED] * 2, [None] * 2)


def test_columns_of_different_lengths_are_refused():
    with pytest.raises(ValueError, match="length"):
        Spells(np.array([1, 2]), np.array([day(0)]), np.array([day(1)]))
    with pytest.raises(ValueError, match="one value"):
        ValuedSpells(Spells.of([(1, day(0), None)]), np.array([1, 2]))


def test_many_devices_at_once_are_each_by_itself():
    """Ten thousand devices in one call, a sample of them one by one."""
    rng = np.random.default_rng(20261031)
    count = 10_000
    begins = np.datetime64(BEGINS) + rng.integers(0, 900, count * 4)
    spells = Spells(rng.integers(0, count, count * 4), begins, begins + rng.integers(0, 200, count * 4))
    serving = Spells(np.arange(count), np.full(count, np.datetime64(BEGINS)), np.full(count, np.datetime64("NaT")))
    window = Window(day(100), as_of=day(700))
    together = days_of(exposed(serving, [spells], window), np.arange(count))
    assert together.min() < 300 < together.max() == 601
    for device in range(0, count, 501):
        own = spells.device == device
        held = Spells(spells.device[own], spells.from_on[own], spells.until_on[own])
        alone = exposed(Spells.of([(device, BEGINS, None)]), [held], window)
        assert days_of(alone, [device]).tolist() == [together[device]]
