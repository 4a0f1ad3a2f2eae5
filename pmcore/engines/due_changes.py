"""A plan that was changed may not put off what its own interval asks for.

Under the changed terms the first window closes no later than one interval and its after-window, both by the new terms,
after the last complete inspection. A due date that the former terms called for too is no work of the change and stays
as it is: anchored windows may lie further apart than that.
"""

from dataclasses import dataclass, replace
from datetime import date, timedelta

from pmcore.engines.due_dates import IntervalRule, add_interval, occurrences, window_of
from pmcore.engines.records import DueInspection

_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Former:
    """What the plan said of the device before it was changed."""

    rule: IntervalRule
    anchor: date


def kept_in_time(
    rule: IntervalRule, former: Former, last_met: date, changed_on: date, dues: list[DueInspection]
) -> list[DueInspection]:
    """The due inspections of an anchored plan since it was changed, the first of them in time: its window closes
    earlier, or another one comes before it. None of them opens before the change."""
    interval_on = add_interval(last_met, rule.every, rule.unit)
    opens_on, latest = window_of(rule, interval_on)
    first = dues[0]
    if first.closes_on <= latest or occurrences(former.rule, former.anchor, first.due_on, first.due_on):
        return dues
    latest = max(latest, changed_on + _ONE_DAY)  # it has run out already: due at once
    if first.opens_on <= latest:
        return [replace(first, due_on=min(first.due_on, latest), closes_on=min(first.closes_on, latest)), *dues[1:]]
    opens_on = max(opens_on, changed_on + _ONE_DAY)
    due_on = max(interval_on, opens_on)
    return [DueInspection(opens_on, due_on, max(latest, due_on)), *dues]
