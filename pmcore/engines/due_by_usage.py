"""Whichever comes first: a floating plan's next due date, or the day on which a meter reaches the plan's limit.

The projected day is the one known when due inspections are generated. It takes the place of the calendar's next due
date if it comes before it and that window has not opened; it is never earlier than the day of generation. Once its own
window has opened it stays, whatever later readings say; before, it is withdrawn and written anew. An inspection that is
complete before its window opens starts the meter again, and the day that was projected falls away.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from pmcore.engines.due_dates import IntervalRule, next_due, window_of
from pmcore.engines.records import DueInspection

_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Projected:
    """A due inspection that stands for the calendar's `instead_of`, counted from the inspection of `counted_from`."""

    instead_of: date
    due: DueInspection
    counted_from: date


def standing(
    rule: IntervalRule, due: DueInspection, counted_from: date, performed: Collection[date], as_of: date
) -> Projected | None:
    """A projected due inspection that is written and has opened by `as_of`, if nothing was done before it opened."""
    fell_away = any(counted_from < day < due.opens_on for day in performed)
    if due.opens_on > as_of or fell_away:
        return None
    return Projected(next_due(rule, counted_from, counted_from), due, counted_from)


def projected(
    rule: IntervalRule, counted_from: date, usage_day: date, as_of: date, taken: Collection[date]
) -> Projected | None:
    """The due inspection that the projected day calls for now; None where the calendar comes first.

    A day in `taken`, which a due inspection of another count has for good, is left for the one before it.
    """
    calendar = next_due(rule, counted_from, counted_from)
    due_on = max(usage_day, as_of, counted_from + _ONE_DAY)
    if window_of(rule, calendar)[0] <= as_of or due_on >= calendar:
        return None
    while due_on in taken:
        due_on -= _ONE_DAY
    if due_on <= counted_from:
        return None
    opens_on, closes_on = window_of(rule, due_on)
    due = DueInspection(max(opens_on, counted_from + _ONE_DAY), due_on, closes_on)
    return Projected(calendar, due, counted_from)
