"""When will a meter of hours or cycles reach its limit?

Projection: the meter goes on at the mean rate between its latest reading and the earliest reading of the 180 days
before it (the reading before it, when those days have none). A meter adds up, so this mean is exact for the time it
covers, and readings in between cannot change it. The projected day is the one during which the limit is reached.
"""

from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

Number = int | float | Decimal | Fraction

LOOK_BACK = timedelta(days=180)


class UsageError(ValueError):
    """The readings of a meter cannot be used."""


class MeterFell(UsageError):
    """The value fell, so the meter was reset or changed: pass the readings since then, and a limit on their scale."""


class BadReading(UsageError):
    """A reading or a limit is not a number, or an interval of usage is not above zero."""


class NoReadingThen(UsageError):
    """The day does not lie between two readings, so nobody knows where the meter stood."""


class Reading(NamedTuple):
    on: date
    value: Fraction


def projected_due(readings: Iterable[tuple[date, Number]], limit_value: Number) -> date | None:
    """The day on which the meter reaches `limit_value`, by the projection that this module describes.

    `readings` are (day, value) in any order. Once a reading stands at the limit, it is the first day that had one. None
    when fewer than two days have readings, when the meter stands still, or when the day is beyond the year 9999.
    Raises MeterFell, BadReading.
    """
    limit = _number(limit_value)
    known = _in_order(readings)
    reached = next((reading.on for reading in known if reading.value >= limit), None)
    earlier = [reading for reading in known if reading.on < known[-1].on]
    if reached or not earlier:
        return reached
    last = known[-1]
    first = next((reading for reading in earlier if last.on - reading.on <= LOOK_BACK), earlier[-1])
    if first.value == last.value:
        return None
    days = (limit - last.value) * (last.on - first.on).days / (last.value - first.value)
    try:
        return last.on + timedelta(days=int(days))
    except OverflowError:
        return None


def usage_due_on(readings: Iterable[tuple[date, Number]], every: Number, last_done_value: Number) -> date | None:
    """The day on which `every` more hours or cycles have been used since the meter stood at `last_done_value`."""
    if _number(every) <= 0:
        raise BadReading(f"an interval of usage is above zero: {every}")
    return projected_due(readings, _number(last_done_value) + _number(every))


def value_on(readings: Iterable[tuple[date, Number]], day: date) -> Fraction:
    """Where the meter stood on `day`: a reading of that day (its highest), or a straight line between its neighbours.

    Raises NoReadingThen, MeterFell, BadReading.
    """
    known = _in_order(readings)
    before = [reading for reading in known if reading.on <= day]
    after = [reading for reading in known if reading.on > day]
    if before and before[-1].on == day:
        return before[-1].value
    if not before or not after:
        raise NoReadingThen(f"{day} does not lie between two readings")
    (began, low), (ended, high) = before[-1], after[0]
    return low + (high - low) * (day - began).days / (ended - began).days


def _in_order(readings: Iterable[tuple[date, Number]]) -> list[Reading]:
    known = sorted((Reading(on, _number(value)) for on, value in readings))
    for before, after in pairwise(known):
        if after.value < before.value:
            raise MeterFell(f"the meter fell between {before.on} and {after.on}")
    return known


def _number(value: Number) -> Fraction:
    try:
        return Fraction(str(value))  # by its printed digits: 0.1 is a tenth
    except ValueError as error:
        raise BadReading(f"not a number: {value!r}") from error
