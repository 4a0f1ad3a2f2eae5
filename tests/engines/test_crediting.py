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
    lambda rows: [
        Performed(key, on, anew, frozenset({0} if earns else ())) for key, (on, anew, earns) in enumerate(rows)
    ]
)
WINDOWS = st.tuples(DAYS, st.integers(0, 40), st.integers(0, 40), st.none() | DAYS)
OPENINGS = st.lists(WINDOWS, max_size=6, unique_by=lambda row: row[0]).map(
    lambda rows: [opening(key, *row) for key, row in enumerate(sorted(rows, key=lambda row: row[0]))]
)
RULES = st.builds(
    IntervalRule, st.sampled_from([1, 3, 12]), st.just(Unit.MONTH), st.sampled_from(Basis), st.just(Window.days(0, 0))
)


def opening(key, opens_on, before, after, until):
    due_on = opens_on + dt.timedelta(days=before)
    return Opening(key, opens_on, due_on, due_on + dt.timedelta(days=after), until)


def slowly(openings, performed, rule):
    """Day by day: the newest window still open and unmet; else the newest opened; else the next, early."""
    found = {}
    in_order = sorted(performed, key=lambda done: (done.on, done.key))
    for place, done in enumerate(in_order):
        since = in_order[place - 1].on if place else BEGINS
        there = [each for each in openings if each.until is None or each.until > done.on]
        opened = [each for each in there if each.opens_on <= done.on]
        unmet = [each for each in opened if each.closes_on >= done.on and each.key not in found]
        ahead = [each for each in there if each.opens_on > done.on][:1]
        moves = rule.basis is Basis.FLOATING or done.re_anchors
        due_again = add_interval(done.on, rule.every, rule.unit)
        early = moves and (done.on - since) * 2 >= add_interval(since, rule.every, rule.unit) - since
        if not done.does:
            continue
        if unmet:
            found[unmet[-1].key] = done.key
        elif opened and opened[-1].key not in found:
            found[opened[-1].key] = done.key
        elif early and ahead and ahead[0].key not in found and ahead[0].due_on < due_again:
            found[ahead[0].key] = done.key
    return found


@given(OPENINGS, PERFORMED, RULES)
def test_the_newest_that_has_opened_else_early_for_the_next(openings, performed, rule):
    found = credited(openings, performed, [(BEGINS, rule)], BEGINS)
    assert {key: credit.by for key, credit in found.items()} == slowly(openings, performed, rule)


@given(OPENINGS, PERFORMED, RULES)
def test_one_inspection_meets_at_most_one(openings, performed, rule):
    by = [credit.by for credit in credited(openings, performed, [(BEGINS, rule)], BEGINS).values()]
    assert len(by) == len(set(by))
    assert all(performed[key].does for key in by)


@given(OPENINGS, PERFORMED, RULES, st.randoms(use_true_random=False))
def test_the_order_in_which_they_are_given_says_nothing(openings, performed, rule, chance):
    expected = credited(openings, performed, [(BEGINS, rule)], BEGINS)
    chance.shuffle(openings)
    chance.shuffle(performed)
    assert credited(openings, performed, [(BEGINS, rule)], BEGINS) == expected


def test_after_a_change_of_procedure_one_inspection_of_both_meets_one_due_inspection():
    old = Opening(1, dt.date(2025, 5, 1), dt.date(2025, 5, 10), dt.date(2025, 5, 20), procedure=7)
    new = Opening(2, dt.date(2025, 8, 1), dt.date(2025, 8, 10), dt.date(2025, 8, 20), procedure=8)
    rule = IntervalRule(3, Unit.MONTH, Basis.ANCHORED, Window.days(0, 0))

    def met(does):
        done = Performed(5, dt.date(2025, 8, 5), does=frozenset(does), sets=frozenset(does))
        return set(credited([old, new], [done], [(BEGINS, rule)], BEGINS))

    assert met({7, 8}) == {2}
    assert met({7}) == {1}
    assert met({9}) == set()
