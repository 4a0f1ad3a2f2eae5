"""What goes into a rate: counts, exposures, levels. Whatever is none of these is refused by name."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]

_MOST = 2.0**53  # above it not every whole number can be told from its neighbours


class RateError(ValueError):
    """What was handed in has no rate."""


class NotACount(RateError):
    """Negative, broken, missing or unlimited; or more hits than trials."""


class NotAnExposure(RateError):
    """Negative, missing or unlimited."""


class EventsWithoutExposure(RateError):
    """Something happened in no time at all."""


class NoExposure(RateError):
    """No group was watched for any time, so nothing can be said of any."""


class NotALevel(RateError):
    """A level of confidence lies between 0 and 1, both excluded."""


class NotAProbability(RateError):
    """It does not lie between 0 and 1."""


class NotAPrior(RateError):
    """Shape and rate of a gamma distribution are above 0."""


class NotAMargin(RateError):
    """A margin is a ratio above 0."""


def as_counts(values: ArrayLike) -> Counts:
    """Whole numbers from 0 on, of any shape. Raises NotACount."""
    given = np.asarray(values)
    if given.dtype.kind in "iu":
        if given.size and given.min() < 0:
            raise NotACount("a count is never negative")
        return given.astype(np.int64, copy=False)
    numbers = _numbers(given, NotACount)
    if not ((numbers >= 0) & (numbers <= _MOST) & (numbers == np.floor(numbers))).all():
        raise NotACount("a count is a whole number from 0 on")
    return numbers.astype(np.int64)


def as_exposure(values: ArrayLike) -> Floats:
    """Time at risk, in any unit, from 0 on. Raises NotAnExposure."""
    exposure = _numbers(np.asarray(values), NotAnExposure)
    if exposure.size and not (exposure.min() >= 0 and exposure.max() < np.inf):  # nan fails both
        raise NotAnExposure("an exposure is a limited amount of time from 0 on")
    return exposure


def events_in_exposure(events: ArrayLike, exposure: ArrayLike) -> tuple[Counts, Floats]:
    """Both, broadcast to one shape. Raises NotACount, NotAnExposure, EventsWithoutExposure."""
    counts, time = np.broadcast_arrays(as_counts(events), as_exposure(exposure))
    if time.size and time.min() == 0 and (counts[time == 0] > 0).any():
        raise EventsWithoutExposure("there are events where nothing was watched")
    return counts, time


def tail(level: float) -> float:
    """The probability that two-sided limits of this level leave on each side. Raises NotALevel."""
    return one_tail(level) / 2


def one_tail(level: float) -> float:
    """The probability that a one-sided limit of this level leaves. Raises NotALevel."""
    if not 0 < level < 1:
        raise NotALevel(f"{level!r} is no level of confidence")
    return 1 - level


def as_probabilities(values: ArrayLike) -> Floats:
    """Numbers from 0 to 1. Raises NotAProbability."""
    numbers = _numbers(np.asarray(values), NotAProbability)
    if not ((numbers >= 0) & (numbers <= 1)).all():
        raise NotAProbability("a probability lies between 0 and 1")
    return numbers


def _numbers(given: NDArray[np.generic], refusal: type[RateError]) -> Floats:
    if given.dtype.kind not in "iufO" and given.size:
        raise refusal(f"{given.dtype} is no kind of number")
    try:
        return given.astype(np.float64)
    except (TypeError, ValueError) as error:
        raise refusal("not every value is a number") from error
