"""From a rule and an anchor to due dates and windows.

An occurrence is always the anchor plus a whole number of intervals, never the previous occurrence plus one: a day that
a month does not have becomes that month's last day, and the next occurrence is on the anchor's day again.
"""

from calendar import monthrange
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from itertools import count
from typing import Self

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.occurrence_arrays import expand, phases_of_days, phases_of_months
from pmcore.engines.vocabulary import Basis, Unit, WindowKind

Days = NDArray[np.datetime64]
Whole = NDArray[np.int64]

MONTHS_IN_CYCLE, DAYS_IN_CYCLE = 4_800, 146_097  # the Gregorian calendar repeats after 400 years


class IntervalError(ValueError):
    """Something about a rule, a window or a day that makes due dates impossible."""


class BadInterval(IntervalError):
    """The interval is not a whole number of days, weeks, months or years, at least one."""


class BadWindow(IntervalError):
    """The window is not a count of days before and after, nor a calendar month."""


class WindowTooLong(IntervalError):
    """The window is longer than the shortest interval: one day could lie in two windows."""


class NoWindowForInterval(IntervalError):
    """The table of windows has no row, or more than one, for this length of interval."""


class DateOutOfRange(IntervalError):
    """The day lies outside the years 1 to 9999."""


class NotADay(IntervalError):
    """A day was needed: a moment has to be brought to the site's calendar first; missing is not a day."""


@dataclass(frozen=True, slots=True)
class Window:
    """The days on which a due inspection counts as met: days around the due date, or its whole calendar month."""

    kind: WindowKind
    before: int = 0
    after: int = 0

    def __post_init__(self) -> None:
        if self.kind not in (WindowKind.DAYS, WindowKind.CALENDAR_MONTH):
            raise BadWindow(f"a window is made of days or of a calendar month, not of {self.kind!r}")
        if not all(_is_whole(days) and days >= 0 for days in (self.before, self.after)):
            raise BadWindow(f"days before and after must be whole and not negative: {self.before!r}, {self.after!r}")
        object.__setattr__(self, "kind", WindowKind(self.kind))

    @classmethod
    def days(cls, before: int, after: int) -> Self:
        """Opens `before` days before the due date, closes `after` days after it; both days belong to it."""
        return cls(WindowKind.DAYS, before, after)

    @classmethod
    def calendar_month(cls) -> Self:
        """Opens on the first and closes on the last day of the due date's month."""
        return cls(WindowKind.CALENDAR_MONTH)

    @classmethod
    def from_table(cls, table: Iterable[tuple[int, Unit, "Window"]], every: int, unit: Unit) -> "Window":
        """The window which an editable table gives an interval; 12 months and 1 year are one length.

        Raises NoWindowForInterval when the length is missing, or stands there twice with different windows.
        """
        wanted = base_length(every, unit)
        found = {window for row_every, row_unit, window in table if base_length(row_every, row_unit) == wanted}
        if len(found) != 1:
            what = "no row" if not found else "contradicting rows"
            raise NoWindowForInterval(f"the table of windows has {what} for every {every} {unit}")
        return found.pop()


@dataclass(frozen=True, slots=True)
class IntervalRule:
    """How often, counted from what, and how early or late it may be done."""

    every: int
    unit: Unit
    basis: Basis
    window: Window

    def __post_init__(self) -> None:
        length, base = base_length(self.every, self.unit)
        if self.basis not in tuple(Basis):
            raise BadInterval(f"an interval is anchored or floating, not {self.basis!r}")
        # A stored code is a plain string: equal to the word, but not the same object.
        object.__setattr__(self, "unit", Unit(self.unit))
        object.__setattr__(self, "basis", Basis(self.basis))
        if not isinstance(self.window, Window):
            raise BadWindow(f"not a window: {self.window!r}")
        shortest = length if base is Unit.DAY else shortest_days(length)
        if _window_days(self.window, base, shortest) > shortest:
            raise WindowTooLong(f"{self.window} does not fit into every {self.every} {self.unit}: {shortest} days")


def base_length(every: int, unit: Unit) -> tuple[int, Unit]:
    """The same length in days or in months. Raises BadInterval."""
    if not _is_whole(every) or every < 1:
        raise BadInterval(f"an interval is a whole number, at least 1, not {every!r}")
    match unit:
        case Unit.DAY:
            return every, Unit.DAY
        case Unit.WEEK:
            return every * 7, Unit.DAY
        case Unit.MONTH:
            return every, Unit.MONTH
        case Unit.YEAR:
            return every * 12, Unit.MONTH
    raise BadInterval(f"an interval is counted in days, weeks, months or years, not in {unit!r}")


def add_interval(day: date, every: int, unit: Unit, times: int = 1) -> date:
    """`day` plus `times` intervals at once; a day that the month does not have becomes its last.

    Raises DateOutOfRange.
    """
    length, base = base_length(every, unit)
    try:
        if base is Unit.DAY:
            return day + timedelta(days=length * times)
        year, month = divmod(_month_number(day) + length * times, 12)
        return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
    except (OverflowError, ValueError) as error:
        raise DateOutOfRange(f"{day} plus {times} times {every} {unit} is outside the calendar") from error


def occurrences(rule: IntervalRule, anchor: date, start: date, end: date) -> list[date]:
    """Due dates from `start` to `end`, both included. The anchor is the first of them; nothing lies before it.

    The basis plays no part: these are the dates that accrue while nothing moves the anchor.
    """
    _require_days(anchor, start, end)
    steps = range(max(0, _whole_steps(rule, anchor, start)), _whole_steps(rule, anchor, end) + 1)
    dates = (add_interval(anchor, rule.every, rule.unit, step) for step in steps)
    return [day for day in dates if start <= day <= end]


def occurrences_many(every: int, unit: Unit, anchors: Days, start: date, end: date) -> tuple[Whole, Days]:
    """What `occurrences` gives for each of many anchors (datetime64[D], shape n, no NaT), in one pass.

    Returns the row number in `anchors` (int64) and the due date (datetime64[D]) of every occurrence, sorted by row,
    then by date. `start` and `end` may also be datetime64[D]. Beside the result it needs about 8 bytes a row.
    """
    length, base = base_length(every, unit)
    days = np.asarray(anchors, "datetime64[D]")
    if days.ndim != 1 or np.isnat(days).any():
        raise NotADay("anchors are one row of days, none of them missing")
    first, last = (int(np.datetime64(day, "D").astype(np.int64)) for day in (start, end))
    if first > last or not len(days):
        return np.empty(0, np.int64), np.empty(0, "datetime64[D]")
    phases = (phases_of_days if base is Unit.DAY else phases_of_months)(length, first, last)
    row, due_on = expand(phases, days.view(np.int64))
    return row, due_on.view("datetime64[D]")


def next_due(rule: IntervalRule, anchor: date, last_met: date | None) -> date:
    """The due date that follows the last complete inspection, or the anchor when there was none.

    Floating: one interval after it. Anchored: the first occurrence whose window opens after it, so that one inspection
    is never credited twice, and one that came before its window opened is not credited at all.
    """
    since = anchor if last_met is None else last_met
    _require_days(anchor, since)
    if rule.basis is Basis.FLOATING:
        return add_interval(since, rule.every, rule.unit)
    for step in count(max(0, _whole_steps(rule, anchor, since))):
        due_on = add_interval(anchor, rule.every, rule.unit, step)
        if window_of(rule, due_on)[0] > since:
            return due_on
    raise AssertionError("steps never end")


def window_of(rule: IntervalRule, due_on: date) -> tuple[date, date]:
    """The first and the last day of the window around a due date. Raises DateOutOfRange."""
    _require_days(due_on)
    window = rule.window
    if window.kind is WindowKind.CALENDAR_MONTH:
        return due_on.replace(day=1), due_on.replace(day=monthrange(due_on.year, due_on.month)[1])
    try:
        return due_on - timedelta(days=window.before), due_on + timedelta(days=window.after)
    except OverflowError as error:
        raise DateOutOfRange(f"the window around {due_on} is outside the calendar") from error


def windows_many(window: Window, due_on: Days) -> tuple[Days, Days]:
    """First and last days of many windows; datetime64[D] in and out."""
    if window.kind is WindowKind.CALENDAR_MONTH:
        month = due_on.astype("datetime64[M]")
        return month.astype("datetime64[D]"), (month + 1).astype("datetime64[D]") - 1
    return due_on - window.before, due_on + window.after


def half_passed(rule: IntervalRule, since: date, day: date) -> bool:
    """Has at least half of the interval that began on `since` passed by `day`?"""
    return 2 * (day - since) >= add_interval(since, rule.every, rule.unit) - since


@lru_cache(maxsize=256)
def shortest_days(months: int) -> int:
    """The fewest days between neighbouring occurrences of a rule in months, whatever its anchor."""
    cycles, rest = divmod(months, MONTHS_IN_CYCLE)
    starts = np.arange(2 * MONTHS_IN_CYCLE + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    lengths = np.diff(starts)
    gaps = []
    for day in (28, 29, 30, 31):
        dates = starts[:-1] + np.minimum(day, lengths)
        gaps.append(int((dates[rest : rest + MONTHS_IN_CYCLE] - dates[:MONTHS_IN_CYCLE]).min()))
    return cycles * DAYS_IN_CYCLE + min(gaps)


def _window_days(window: Window, base: Unit, shortest: int) -> int:
    if window.kind is WindowKind.DAYS:
        return window.before + 1 + window.after
    # Due dates that lie whole months apart never share a month; those counted in days need 31 between them.
    return shortest if base is Unit.MONTH else 31


def _whole_steps(rule: IntervalRule, anchor: date, day: date) -> int:
    """The number of the last step that is not beyond `day` (beyond its month, for rules in months)."""
    length, base = base_length(rule.every, rule.unit)
    apart = (day - anchor).days if base is Unit.DAY else _month_number(day) - _month_number(anchor)
    return apart // length


def _month_number(day: date) -> int:
    return day.year * 12 + day.month - 1


def _is_whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _require_days(*days: date) -> None:
    for day in days:
        if isinstance(day, datetime) or not isinstance(day, date):
            raise NotADay(f"not a day: {day!r}")
