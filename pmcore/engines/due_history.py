"""What came due under one rule on one device, and which inspection is credited to which due inspection.

An inspection is credited to the newest due inspection whose window has opened, once: inside the window it is met, after
it late; older ones stay not met. When that one has its credit already, the inspection is early for the next: half an
interval after the inspection before, it is credited where it also moves the clock (floating, or re-anchored by the same
act); otherwise it earns nothing.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date
from itertools import count, pairwise

from pmcore.engines.due_dates import IntervalRule, add_interval, half_passed, next_due, window_of
from pmcore.engines.records import DueInspection, Inspected
from pmcore.engines.vocabulary import Basis


def due_history(
    rule: IntervalRule, anchor: date, last_met: date | None, inspected: Iterable[Inspected], until: date
) -> list[DueInspection]:
    """Every due inspection whose window opened by `until` or that was credited early, and the one that comes next.

    `last_met` is the last complete inspection before those in `inspected` (incoming, or carried over), or None; it sets
    the clock and earns no credit here. Inspections after `until` are left out. In order of due dates.
    """
    history: list[DueInspection] = []
    accruing = _accruing(rule, anchor, last_met)
    coming = next(accruing)
    last = last_met or anchor
    for done in sorted(inspected, key=lambda each: each.performed_on):
        day = done.performed_on
        if day > until:
            break
        coming = _open(history, coming, accruing, day)
        if _credit(rule, history, coming, last, done):
            accruing = _accruing(rule, day, day)
            coming = next(accruing)
        last = day
    coming = _open(history, coming, accruing, until)
    chain = [*history, coming, next(accruing)]
    return [replace(due, next_opens_on=following.opens_on) for due, following in pairwise(chain)]


def kept_until(rule: IntervalRule, previous_on: date) -> date:
    """The last day on which the next inspection keeps the interval: one interval and the days that its window leaves
    afterwards. Anchored windows allow two that are met to lie further apart."""
    return window_of(rule, add_interval(previous_on, rule.every, rule.unit))[1]


def _accruing(rule: IntervalRule, anchor: date, last_met: date | None) -> Iterator[DueInspection]:
    """One due inspection each interval, done or not, from the first that follows `last_met`."""
    first = next_due(rule, anchor, last_met)
    counted_from = anchor if rule.basis is Basis.ANCHORED else last_met or anchor
    for step in count():
        due_on = add_interval(counted_from, rule.every, rule.unit, step)
        if due_on >= first:
            opens_on, closes_on = window_of(rule, due_on)
            yield DueInspection(opens_on, due_on, closes_on)


def _open(
    history: list[DueInspection], coming: DueInspection, accruing: Iterator[DueInspection], day: date
) -> DueInspection:
    """Move what has opened by `day` into the history; returns what comes after it."""
    while coming.opens_on <= day:
        history.append(coming)
        coming = next(accruing)
    return coming


def _credit(
    rule: IntervalRule, history: list[DueInspection], coming: DueInspection, last: date, done: Inspected
) -> bool:
    """Credit the inspection where it belongs; returns whether the clock starts again on its day."""
    floating = rule.basis is Basis.FLOATING
    if history and history[-1].completed_on is None:
        history[-1] = replace(history[-1], completed_on=done.performed_on)
        return floating or done.re_anchors
    if (floating or done.re_anchors) and half_passed(rule, last, done.performed_on):
        history.append(replace(coming, completed_on=done.performed_on))
        return True
    return floating
