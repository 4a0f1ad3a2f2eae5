"""Working days: the days that are neither the weekend of a site nor one of its holidays."""

from collections.abc import Collection
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

Days = NDArray[np.datetime64]

SATURDAY_AND_SUNDAY = frozenset({5, 6})


class WorkingDayError(ValueError):
    """Working days cannot be counted this way."""


class NoWorkingDays(WorkingDayError):
    """The whole week is weekend, or no working day is left before the calendar ends."""


class BadCount(WorkingDayError):
    """A number of working days is whole and not negative."""


def is_working_day(
    day: date, weekend: Collection[int] = SATURDAY_AND_SUNDAY, holidays: Collection[date] = frozenset()
) -> bool:
    """`weekend` holds days of the week, Monday being 0."""
    return day.weekday() not in weekend and day not in holidays


def working_days_after(
    day: date, days: int, weekend: Collection[int] = SATURDAY_AND_SUNDAY, holidays: Collection[date] = frozenset()
) -> date:
    """The working day number `days` after `day`, which is itself never counted; `day` when `days` is 0.

    Raises BadCount, NoWorkingDays.
    """
    _require(days, weekend)
    found = day
    for _ in range(days):
        try:
            found += timedelta(days=1)
            while not is_working_day(found, weekend, holidays):
                found += timedelta(days=1)
        except OverflowError as error:
            raise NoWorkingDays(f"no {days} working days after {day}") from error
    return found


def working_days_between(
    start: date, end: date, weekend: Collection[int] = SATURDAY_AND_SUNDAY, holidays: Collection[date] = frozenset()
) -> int:
    """Working days after `start` up to and including `end`; 0 when `end` is not later."""
    days = (start + timedelta(days=n) for n in range(1, (end - start).days + 1))
    return sum(is_working_day(day, weekend, holidays) for day in days)


def working_days_after_many(
    day: Days, days: int, weekend: Collection[int] = SATURDAY_AND_SUNDAY, holidays: Collection[date] = frozenset()
) -> Days:
    """`working_days_after` for an array of datetime64[D]."""
    _require(days, weekend)
    if days == 0:
        return day.copy()
    # Rolling back to the last working day first makes the next one number 1, whatever day it starts on.
    return np.busday_offset(day, days, roll="backward", busdaycal=_calendar(weekend, holidays))


def working_days_between_many(
    start: Days, end: Days, weekend: Collection[int] = SATURDAY_AND_SUNDAY, holidays: Collection[date] = frozenset()
) -> NDArray[np.int64]:
    """`working_days_between` for arrays of datetime64[D]."""
    _require(0, weekend)
    counted = np.busday_count(start + 1, end + 1, busdaycal=_calendar(weekend, holidays))
    return np.maximum(counted, 0)


def _calendar(weekend: Collection[int], holidays: Collection[date]) -> np.busdaycalendar:
    return np.busdaycalendar(
        weekmask=[weekday not in weekend for weekday in range(7)],
        holidays=np.array(sorted(holidays), dtype="datetime64[D]"),
    )


def _require(days: int, weekend: Collection[int]) -> None:
    if not isinstance(days, int) or isinstance(days, bool) or days < 0:
        raise BadCount(f"a number of working days is whole and not negative: {days!r}")
    if set(weekend) >= set(range(7)):
        raise NoWorkingDays("every day of the week is weekend")
