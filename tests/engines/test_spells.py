"""Stretches of days in one state, by the plain reading: day after day, what held on it."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.spells import StateChange, departure_for, departures, seal_for, seals, standing_since
from pmcore.engines.vocabulary import ServiceStateKind

BEGINS = dt.date(2026, 1, 1)
LENGTH = 40
EVERY_DAY = [BEGINS + dt.timedelta(days=number) for number in range(LENGTH)]
DAYS = st.sampled_from(EVERY_DAY)
CHANGES = st.lists(
    st.builds(StateChange, DAYS, st.sampled_from(ServiceStateKind), DAYS, st.booleans()),
    max_size=8,
    unique_by=lambda change: change.from_on,
).map(lambda changes: sorted(changes, key=lambda change: change.from_on))


def state_on(changes, day):
    begun = [change for change in changes if change.from_on <= day]
    return begun[-1] if begun else None


def is_left(change):
    return change is not None and change.state == ServiceStateKind.LEFT


def is_sealed(change):
    return change is not None and change.state == ServiceStateKind.STORED and change.sealed_in_hand


def within(spells, day):
    return any(spell.from_on <= day and (spell.until_on is None or day < spell.until_on) for spell in spells)


@given(CHANGES)
def test_the_days_of_the_stretches_are_the_days_in_the_state(changes):
    assert [within(departures(changes), day) for day in EVERY_DAY] == [
        is_left(state_on(changes, day)) for day in EVERY_DAY
    ]
    assert [within(seals(changes), day) for day in EVERY_DAY] == [
        is_sealed(state_on(changes, day)) for day in EVERY_DAY
    ]


@given(CHANGES, DAYS)
def test_gone_on_the_due_date_is_the_absence_that_covers_it(changes, due_on):
    found = departure_for(departures(changes), due_on)
    assert (found is not None and found.from_on <= due_on) == is_left(state_on(changes, due_on))


@given(CHANGES, DAYS)
def test_sealed_on_the_opening_day_and_on_the_day_before(changes, opens_on):
    sealed = is_sealed(state_on(changes, opens_on)) and is_sealed(state_on(changes, opens_on - dt.timedelta(days=1)))
    assert (seal_for(seals(changes), opens_on) is not None) == sealed


@given(st.lists(st.tuples(DAYS, st.booleans()), max_size=6))
def test_a_yes_stands_since_the_first_after_the_last_no(changes):
    changes.sort(key=lambda change: change[0])
    last_no = max((place for place, (_, holds) in enumerate(changes) if not holds), default=-1)
    since = [day for day, _ in changes[last_no + 1 :]]
    assert standing_since(changes) == (since[0] if since else None)
