"""Which due inspections one plan calls for on one device, and which of those already written it calls for no more.

Anchored plans look thirteen months ahead; floating ones name the next, and one more each interval that passes undone.
Nothing is written twice, whatever was missed: the answer is always the difference between what should be there and what
is.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from pmcore.engines.crediting import Opening, Performed, credited
from pmcore.engines.due_by_usage import Projected, projected, standing
from pmcore.engines.due_changes import Former, kept_in_time
from pmcore.engines.due_dates import IntervalRule, add_interval, next_due, occurrences, window_of
from pmcore.engines.due_history import due_history
from pmcore.engines.records import DueInspection, Inspected
from pmcore.engines.vocabulary import Basis, Unit

MONTHS_AHEAD = 13


@dataclass(frozen=True, slots=True)
class Written:
    """A due inspection that is in the record; `key` is the caller's. A withdrawn one can be called for again, unless it
    was struck out: a person withdrew it for good. `counted_from`: the inspection from which usage was projected.
    `procedure`: what it asks for; none where that plays no part."""

    key: int
    due_on: date
    opens_on: date
    closes_on: date | None = None
    withdrawn: bool = False
    struck_out: bool = False
    counted_from: date | None = None
    procedure: int | None = None


@dataclass(frozen=True, slots=True)
class Covered:
    """One plan on one device.

    `anchor`: the day from which an anchored rule counts, and a floating one without any inspection.
    `last_met`: the last complete inspection before `starts_on` (incoming, or carried over); it sets the clock.
    `starts_on`: the day from which the plan's terms count for this device: windows that open after it are called for.
    `inspected`: complete inspections that count for the plan's procedure since then.
    `at_once`: found already in use: due on `starts_on` itself, whatever the anchor says.
    `former`: what the plan said before it was changed; none where it begins with the device.
    `told_on`: when the shortness of its stay was recorded: what had opened by then stays due, whatever day was said.
    `usage_day`: the day on which a meter is projected to reach the plan's limit.
    `performed`: where an inspection moved the anchor, all that count for the procedure; `begins_on`: the device's first
    day. What such an inspection is credited to, though its window had not opened, is called for as before.
    """

    rule: IntervalRule
    anchor: date
    starts_on: date
    last_met: date | None = None
    inspected: Sequence[Inspected] = ()
    at_once: bool = False
    ended_on: date | None = None
    told_on: date = date.min
    former: Former | None = None
    usage_day: date | None = None
    performed: Sequence[Performed] = ()
    begins_on: date = date.min
    procedure: int | None = None


@dataclass(frozen=True, slots=True)
class Difference:
    """What is to be appended (in order of due dates), and the keys of what is to be withdrawn, or called for again.
    `counted_from`: of due dates in `add` that a meter set, the inspection from which it counted."""

    add: tuple[DueInspection, ...] = ()
    withdraw: tuple[int, ...] = ()
    restore: tuple[int, ...] = ()
    counted_from: Mapping[date, date] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.add or self.withdraw or self.restore)


def difference(covered: Covered, written: Iterable[Written], as_of: date) -> Difference:
    """What `as_of` calls for against what is written. Only windows that open after `starts_on` (or after the plan's
    end) are withdrawn: what had opened before a change stays due. What lies further ahead than `as_of` looks is no
    reason: a clock that was wrong for a day may have written it, and it will be wanted."""
    there = list(written)
    by_usage = _by_usage(covered, there, as_of)
    wanted = {due.due_on: due for due in _called_for(covered, as_of, there, by_usage)}
    ahead = max([as_of, *(due.opens_on for due in there)])
    some_day = {due.due_on: due for due in _called_for(covered, ahead, there, by_usage)} | wanted
    some_day |= {each.due.due_on: each.due for each in by_usage}
    earned = _earned(covered, there)
    open_to_change = [due for due in there if _may_change(due, covered) and due.key not in earned]
    outdated = {due.key for due in open_to_change if _is_outdated(due, covered, some_day.get(due.due_on))}
    gone = [due for due in open_to_change if due.due_on not in some_day or due.key in outdated]
    as_wanted = [due for due in there if due.key not in outdated]
    again = [due for due in as_wanted if due.due_on in wanted and due.withdrawn and not due.struck_out]
    known = {due.due_on for due in as_wanted}
    return Difference(
        add=tuple(due for day, due in wanted.items() if day not in known),
        withdraw=tuple(due.key for due in gone if not due.withdrawn),
        restore=tuple(due.key for due in again),
        counted_from={each.due.due_on: each.counted_from for each in by_usage},
    )


def _may_change(due: Written, covered: Covered) -> bool:
    """Had it opened before the plan's terms, or its end, it stays due; had it closed before the device was inspected
    for the first time, it stays missed."""
    missed = due.closes_on is not None and due.closes_on < (covered.last_met or date.min)
    return due.opens_on > max(covered.ended_on or covered.starts_on, covered.told_on) and not missed


def _is_outdated(due: Written, covered: Covered, called_for: DueInspection | None) -> bool:
    """Of the right day, but with the procedure or the window of former terms: it is withdrawn and written anew."""
    if called_for is None or due.struck_out:
        return False
    other_procedure = None not in (due.procedure, covered.procedure) and due.procedure != covered.procedure
    anchored = covered.rule.basis is Basis.ANCHORED and due.closes_on is not None
    window = (due.opens_on, due.closes_on)
    return other_procedure or (anchored and window != (called_for.opens_on, called_for.closes_on))


def _earned(covered: Covered, there: Iterable[Written]) -> set[int]:
    """The keys of what an inspection that moved the anchor is credited to."""
    if not covered.performed:
        return set()
    openings = [
        Opening(due.key, due.opens_on, due.due_on, due.closes_on or due.due_on) for due in there if not due.withdrawn
    ]
    return set(credited(openings, covered.performed, [(date.min, covered.rule)], covered.begins_on))


def called_for(covered: Covered, as_of: date, written: Iterable[Written] = ()) -> list[DueInspection]:
    """Every due inspection that the plan calls for by `as_of`, in order of due dates."""
    there = list(written)
    return _called_for(covered, as_of, there, _by_usage(covered, there, as_of))


def _called_for(
    covered: Covered, as_of: date, there: list[Written], by_usage: Sequence[Projected]
) -> list[DueInspection]:
    undone = _undone(covered, there)
    if covered.rule.basis is Basis.ANCHORED:
        dues = _anchored(covered, as_of, undone)
    else:
        instead = {each.instead_of: each.due for each in by_usage}
        dues = [instead.get(due.due_on, due) for due in _floating(covered, as_of)]
    if covered.at_once and not any(due.opens_on <= covered.starts_on for due in dues):
        dues.insert(0, _at_once(covered))
    if covered.ended_on is not None:
        dues = [due for due in dues if due.opens_on <= covered.ended_on]
    return dues


def _undone(covered: Covered, there: Iterable[Written]) -> bool:
    """Had a window opened before the plan's terms began, that nobody has met since?"""
    done = covered.last_met or date.min
    return any(done < due.opens_on <= covered.starts_on and not due.withdrawn for due in there)


def _by_usage(covered: Covered, there: Iterable[Written], as_of: date) -> list[Projected]:
    """The due inspections that a meter set: those that have opened and stay, and the next."""
    rule = covered.rule
    performed = [each.performed_on for each in covered.inspected if each.performed_on <= as_of]
    counted_from = max([*performed, covered.last_met or covered.anchor])
    opened = [
        stands
        for due in there
        if due.counted_from is not None and not due.withdrawn
        if (stands := standing(rule, _as_due(rule, due), due.counted_from, performed, as_of))
    ]
    settled = any(due.counted_from == counted_from and due.struck_out for due in there)
    if covered.usage_day is None or settled or any(each.counted_from == counted_from for each in opened):
        return opened
    if next_due(rule, counted_from, counted_from) <= covered.starts_on:
        return opened  # overdue as the plan begins
    taken = {due.due_on for due in there if due.counted_from != counted_from}
    coming = projected(rule, counted_from, covered.usage_day, as_of, taken)
    return opened if coming is None else [*opened, coming]


def _as_due(rule: IntervalRule, due: Written) -> DueInspection:
    return DueInspection(due.opens_on, due.due_on, due.closes_on or window_of(rule, due.due_on)[1])


def _anchored(covered: Covered, as_of: date, undone: bool) -> list[DueInspection]:
    """`undone`: a window that opened under the former terms keeps the time since the last inspection in bounds."""
    rule = covered.rule
    since = max(covered.starts_on, covered.last_met or covered.starts_on)
    first = next_due(rule, covered.anchor, since)
    until = add_interval(as_of, MONTHS_AHEAD, Unit.MONTH)
    if covered.former is None or covered.last_met is None or undone:
        return [_due(rule, day) for day in occurrences(rule, covered.anchor, first, until)]
    dues = [_due(rule, day) for day in occurrences(rule, covered.anchor, first, max(first, until))]
    dues = kept_in_time(rule, covered.former, covered.last_met, covered.starts_on, dues)
    return [due for due in dues if due.due_on <= until]


def _floating(covered: Covered, as_of: date) -> list[DueInspection]:
    """The clock runs from the last complete inspection. Where that has long run out when the plan begins, or a device
    without any would be due before it came, it is due on the first day of the plan, and the clock runs from there."""
    rule, last_met = covered.rule, covered.last_met
    first = _due(rule, next_due(rule, covered.anchor, last_met))
    before_it_came = last_met is None and first.due_on < covered.begins_on
    if before_it_came or first.closes_on < covered.starts_on:
        late = _at_once(covered)
        done = [each for each in covered.inspected if each.performed_on <= as_of]
        if not done:
            return [late, *_accrued(rule, covered.starts_on, as_of)]
        cleared = min(done, key=lambda each: each.performed_on)
        later = [each for each in done if each is not cleared]
        accrued = [due for due in _accrued(rule, covered.starts_on, cleared.performed_on) if _opened(due, cleared)]
        return [late, *accrued, *due_history(rule, covered.anchor, cleared.performed_on, later, as_of)]
    return due_history(rule, covered.anchor, last_met, covered.inspected, as_of)


def _opened(due: DueInspection, done: Inspected) -> bool:
    return due.opens_on <= done.performed_on


def _accrued(rule: IntervalRule, since: date, as_of: date) -> list[DueInspection]:
    """One more each interval after `since`: those whose window has opened, and the next."""
    dues: list[DueInspection] = []
    while not dues or dues[-1].opens_on <= as_of:
        dues.append(_due(rule, add_interval(since, rule.every, rule.unit, len(dues) + 1)))
    return dues


def _at_once(covered: Covered) -> DueInspection:
    day = covered.starts_on
    return replace(_due(covered.rule, day), opens_on=day)


def _due(rule: IntervalRule, due_on: date) -> DueInspection:
    opens_on, closes_on = window_of(rule, due_on)
    return DueInspection(opens_on, due_on, closes_on)
