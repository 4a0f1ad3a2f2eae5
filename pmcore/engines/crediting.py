"""Which complete inspection is credited to which due inspection of one plan on one device.

An inspection belongs to the newest due inspection whose window has opened: inside the window it is met, after it late;
older ones stay not met. (Where windows overlap, as a meter may lay them, one that is still open goes first.) When that
one has its credit already, the inspection is early for the next: half an interval after the inspection before, it is
credited there if it also moves the clock (floating, or re-anchored by the same act); otherwise it earns nothing.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from pmcore.engines.due_dates import IntervalRule, add_interval, half_passed
from pmcore.engines.vocabulary import Basis


@dataclass(frozen=True, slots=True)
class Opening:
    """A written due inspection: `key` is the caller's, `until` the day from which it is withdrawn,
    `procedure` what it asks for (one and the same unless the plan has changed it)."""

    key: int
    opens_on: date
    due_on: date
    closes_on: date
    until: date | None = None
    procedure: int = 0

    def stands_on(self, day: date) -> bool:
        return self.until is None or day < self.until


_THE_ONE = frozenset({0})


@dataclass(frozen=True, slots=True)
class Performed:
    """A complete inspection: `key` is the caller's. `does`: the procedures that it completes; `sets`: those whose clock
    it sets (None: every one, as an incoming inspection). What does none only sets clocks, as a day carried over."""

    key: int
    on: date
    re_anchors: bool = False
    does: frozenset[int] = _THE_ONE
    sets: frozenset[int] | None = _THE_ONE


@dataclass(frozen=True, slots=True)
class Credit:
    """`by`: the key of the inspection; `previous_on`: the day of the one before it."""

    by: int
    on: date
    previous_on: date | None


def credited(
    openings: Iterable[Opening],
    performed: Iterable[Performed],
    rules: Sequence[tuple[date, IntervalRule]],
    begins_on: date,
) -> dict[int, Credit]:
    """The credit of each due inspection that has one, by its key.

    `rules`: the plan's rules in order, each with its first day. `begins_on`: the device's own beginning; half an
    interval is counted from there where nothing was done before.
    """
    due = sorted(openings, key=lambda each: (each.opens_on, each.key))
    found: dict[int, Credit] = {}
    previous: dict[int, date] = {}
    for done in sorted(performed, key=lambda each: (each.on, each.key)):
        asked = [each for each in due if each.procedure in done.does and each.stands_on(done.on)]
        opened = [each for each in asked if each.opens_on <= done.on]
        still_open = [each for each in opened if each.closes_on >= done.on and each.key not in found]
        coming = next((each for each in asked if each.opens_on > done.on), None)
        met: Opening | None = None
        if still_open or (opened and opened[-1].key not in found):
            met = (still_open or opened)[-1]
        elif coming and coming.key not in found:
            since = previous.get(coming.procedure, begins_on)
            met = coming if _counts_early(coming, done, _rule_on(rules, done.on), since) else None
        if met is not None:
            found[met.key] = Credit(done.key, done.on, previous.get(met.procedure))
        for procedure in {each.procedure for each in due} if done.sets is None else done.sets:
            previous[procedure] = done.on
    return found


def _counts_early(coming: Opening, done: Performed, rule: IntervalRule | None, since: date) -> bool:
    """What is counted from an inspection is not met by it."""
    if rule is None or not (rule.basis is Basis.FLOATING or done.re_anchors):
        return False
    counted_from_it = coming.due_on >= add_interval(done.on, rule.every, rule.unit)
    return not counted_from_it and half_passed(rule, since, done.on)


def _rule_on(rules: Sequence[tuple[date, IntervalRule]], day: date) -> IntervalRule | None:
    """The rule of the day; before the first, the first."""
    in_force = [rule for from_on, rule in rules if from_on <= day]
    return in_force[-1] if in_force else next((rule for _, rule in rules), None)
