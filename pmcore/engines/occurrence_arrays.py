"""Due dates of one rule shape for a million anchors.

Between two days a rule can make only as many different lists of due dates as it has phases (for months: month within
the interval × day of the month). Those lists are made once; every anchor then takes a stretch of one of them.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.vocabulary import Unit

Whole = NDArray[np.int64]

ROWS_AT_A_TIME = 4_096  # keeps each step's arrays in the processor's cache
LONGEST_TABLE = 1 << 17  # days between the first and last anchor up to which a table by day is worth making
LONGEST_STEP = date.max.toordinal()  # beyond the calendar: it never comes round again


@dataclass(frozen=True, slots=True)
class Phases:
    """All lists of due dates, one after another; the last one is empty. Days are counted from 1970-01-01."""

    base: Unit
    step: int  # in days or months
    start: int  # first day or month of the range
    dates: Whole
    offset: Whole
    count: Whole
    first: Whole  # the day or month in which each list begins

    def stretch(self, anchors: Whole) -> tuple[Whole, Whole]:
        """Where in `dates` each anchor's due dates begin, and how many they are."""
        if self.base is Unit.DAY:
            period = anchors
            phase = (anchors - self.start) % self.step
        else:
            period, day = _month_and_day(anchors)
            phase = (period - self.start) % self.step * 31 + day
        phase = np.minimum(phase, len(self.count) - 1)
        skipped = np.maximum((period - self.first[phase]) // self.step, 0)
        return self.offset[phase] + skipped, np.maximum(self.count[phase] - skipped, 0)


def phases_of_days(step: int, start: int, end: int) -> Phases:
    days = end - start + 1
    step = min(step, LONGEST_STEP)
    phase = np.arange(min(step, days))
    count = np.append((days - 1 - phase) // step + 1, 0)
    offset = np.cumsum(count) - count
    first = np.append(start + phase, 0)
    place = np.arange(days) - np.repeat(offset, count)
    return Phases(Unit.DAY, step, start, np.repeat(first, count) + step * place, offset, count, first)


def phases_of_months(step: int, start: int, end: int) -> Phases:
    step = min(step, LONGEST_STEP)
    months = np.arange(_month_of(start), _month_of(end) + 1)
    begins = np.append(months, months[-1] + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    dates = begins[:-1, None] + np.minimum(np.arange(31), np.diff(begins)[:, None] - 1)
    inside = (dates >= start) & (dates <= end)
    lists, counts, firsts = [], [], []
    for phase in range(min(step, len(months))):
        block, kept = dates[phase::step].T, inside[phase::step].T
        lists.append(block[kept])
        counts.append(kept.sum(axis=1))
        firsts.append(months[phase] + step * kept.argmax(axis=1))
    count = np.concatenate([*counts, [0]])
    first = np.concatenate([*firsts, [0]])
    return Phases(Unit.MONTH, step, int(months[0]), np.concatenate(lists), np.cumsum(count) - count, count, first)


def expand(phases: Phases, anchors: Whole) -> tuple[Whole, Whole]:
    """The row number and the day of every due date, by row, then by day."""
    offset, count = np.empty(len(anchors), np.int32), np.empty(len(anchors), np.int32)
    stretch = _by_table(phases, anchors)
    for rows in _chunks(len(anchors)):
        offset[rows], count[rows] = stretch(anchors[rows])
    total = int(count.sum(dtype=np.int64))
    row, day = np.empty(total, np.int64), np.empty(total, np.int64)
    done = 0
    for rows in _chunks(len(anchors)):
        counts = count[rows].astype(np.int64)
        ends = counts.cumsum()
        out = slice(done, done + int(ends[-1]))
        row[out] = np.repeat(np.arange(rows.start, rows.stop), counts)
        place: Whole = np.repeat(offset[rows] - (ends - counts), counts)
        place += np.arange(len(place))
        # No place is outside; but in any other mode numpy writes to a copy first.
        phases.dates.take(place, out=day[out], mode="clip")
        done = out.stop
    return row, day


def _by_table(phases: Phases, anchors: Whole) -> Callable[[Whole], tuple[Whole, Whole]]:
    """A stretch depends on the anchor's day alone: when the days are few, look them up."""
    low, high = int(anchors.min()), int(anchors.max())
    if high - low >= min(LONGEST_TABLE, len(anchors)):
        return phases.stretch
    offset, count = phases.stretch(np.arange(low, high + 1))

    def look_up(days: Whole) -> tuple[Whole, Whole]:
        place = days - low
        return offset[place], count[place]

    return look_up


def _chunks(length: int) -> Iterator[slice]:
    for begin in range(0, length, ROWS_AT_A_TIME):
        yield slice(begin, min(begin + ROWS_AT_A_TIME, length))


def _month_and_day(days: Whole) -> tuple[Whole, Whole]:
    """Months since 1970-01 and the day of the month, from 0."""
    month = days.astype("datetime64[D]").astype("datetime64[M]")
    return month.astype(np.int64), days - month.astype("datetime64[D]").astype(np.int64)


def _month_of(day: int) -> int:
    return int(np.datetime64(day, "D").astype("datetime64[M]").astype(np.int64))
