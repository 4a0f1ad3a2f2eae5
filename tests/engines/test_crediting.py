"""Which inspection meets which due inspection, against a second, slower telling of the same rules."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.crediting import Opening, Performed, credited
from pmcore.engines.due_dates import IntervalRule, Window, add_interval
from pmcore.engines.vocabulary import Basis, Unit

BEGINS = dt.date(2025, 1, 1)
DAYS = st.dates(BEGINS, dt.date(2026, 12, 31))
PERFORMED = st.lists(st.tuples(DAYS, st.booleans(), st.booleans()), max_size=8).map(
    lambda rows: [Performed(key, *row) for key, row in enumerate(rows)]
)
AHEAD = st.integers(0, 60).map(lambda days: dt.timedelta(days=days))
OPENINGS = st.lists(st.tuples(DAYS, AHEAD, st.none() | DAYS), max_size=6, unique_by=lambda row: row[0]).map(
    lambda rows: [
        Opening(key, on, on + ahead, until)
        for key, (on, ahead, until) in enumerate(sorted(rows, key=lambda row: row[0]))
    ]
)
RULES = st.builds(
    IntervalRule, st.sampled_from([1, 3, 12]), st.just(Unit.MONTH), st.sampled_from(Basis), st.just(Window.days(0, 0))
)


def slowly(openings, performed, rule):
    """Day after day: the newest window opened by the day; else the next, early."""
    found = {}
    in_order = sorted(performed, key=lambda done: (done.on, done.key))
    for place, done in enumerate(in_order):
        since = in_order[place - 1].on if place else BEGINS
        there = [each for each in openings if each.until is None or each.until > done.on]
        opened = [each.key for each in there if each.opens_on <= done.on]
        ahead = [each.key for each in there if each.opens_on > done.on]
        next_on = add_interval(done.on, rule.every, rule.unit)
        counted_from_it = [each.key for each in there if each.due_on >= next_on]
        moves = rule.basis is Basis.FLOATING or done.re_anchors
        early = moves and (done.on - since) * 2 >= add_interval(since, rule.every, rule.unit) - since
        if not done.credits:
            continue
        if opened and opened[-1] not in found:
            found[opened[-1]] = done.key
        elif early and ahead and ahead[0] not in found and ahead[0] not in counted_from_it:
            found[ahead[0]] = done.key
    return found


@given(OPENINGS, PERFORMED, RULES)
def test_the_newest_that_has_opened_else_early_for_the_next(openings, performed, rule):
    found = credited(openings, performed, [(BEGINS, rule)], BEGINS)
    assert {key: credit.by for key, credit in found.items()} == slowly(openings, performed, rule)


@given(OPENINGS, PERFORMED, RULES)
def test_one_inspection_meets_at_most_one(openings, performed, rule):
    by = [credit.by for credit in credited(openings, performed, [(BEGINS, rule)], BEGINS).values()]
    assert len(by) == len(set(by))
    assert all(performed[key].credits for key in by)


@given(OPENINGS, PERFORMED, RULES, st.randoms(use_true_random=False))
def test_the_order_in_which_they_are_given_says_nothing(openings, performed, rule, chance):
    expected = credited(openings, performed, [(BEGINS, rule)], BEGINS)
    chance.shuffle(openings)
    chance.shuffle(performed)
    assert credited(openings, performed, [(BEGINS, rule)], BEGINS) == expected
