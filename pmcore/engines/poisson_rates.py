"""Failures per time: exact limits of a Poisson rate, and how much rates vary beyond chance.

Source of the limits: F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28 (1936), 437-442.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincinv

from pmcore.engines.counts import Floats, NoExposure, events_in_exposure, tail

_LONGEST_TABLE = 1 << 20


def poisson_limits(events: ArrayLike, exposure: ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
    """Two-sided exact limits (lower, upper) of the rate `events` / `exposure`, per unit of exposure.

    With x events, time T and a = (1 - level) / 2: lower = G⁻¹(a; x) / T, upper = G⁻¹(1 - a; x + 1) / T, where G⁻¹(p; k)
    is the quantile of the gamma distribution of shape k and scale 1; at x = 0 the lower limit is 0. A one-sided upper
    limit of 95 % is the upper one at level 0.90.

    `events` and `exposure` broadcast; the limits have their common shape. Without events and without exposure nothing
    is known, and the limits are 0 and infinity: "no data". Raises NotACount, NotAnExposure, EventsWithoutExposure,
    NotALevel.
    """
    outside = tail(level)
    counts, time = events_in_exposure(events, exposure)
    most = int(counts.max(initial=0))
    if most < _LONGEST_TABLE and most <= 4 * counts.size + 64:
        lowers, uppers = _table(_power_of_two_above(most), outside)
        lower, upper = lowers.take(counts), uppers.take(counts)
    else:  # few cells with large counts: a table would hold mostly what nobody asks for
        lower, upper = _factors(counts.astype(np.float64), outside)
    unwatched = time == 0
    if unwatched.any():
        time = np.where(unwatched, 1.0, time)
        upper = np.where(unwatched, np.inf, upper)
    with np.errstate(over="ignore"):  # a tiny exposure lets the upper limit grow beyond any number
        return lower / time, upper / time


def dispersion(events: ArrayLike, exposure: ArrayLike) -> float:
    """Pearson's dispersion of k Poisson rates: Σ (xᵢ - mᵢ)² / mᵢ / (k - 1), mᵢ the pooled rate times the exposure.

    About 1 where groups differ by chance alone; limits around a common rate are widened by its root where it is above
    1 (D. J. Spiegelhalter, Funnel plots for comparing institutional performance, Statistics in Medicine 24 (2005),
    1185-1202). Groups without exposure say nothing and are passed over. With fewer than two groups, or no events, there
    is nothing to compare: 1. Raises NotACount, NotAnExposure, EventsWithoutExposure, NoExposure.
    """
    counts, time = events_in_exposure(events, exposure)
    counts, time = counts[time > 0], time[time > 0]
    if not len(counts):
        raise NoExposure("no group was watched for any time")
    if len(counts) == 1 or not counts.any():
        return 1.0
    expected = time * (counts.sum() / time.sum())
    return float(((counts - expected) ** 2 / expected).sum() / (len(counts) - 1))


@lru_cache(maxsize=16)
def _table(length: int, outside: float) -> tuple[Floats, Floats]:
    """The limits of a count depend on nothing but the count, so a million cells are a million look-ups."""
    lower, upper = _factors(np.arange(length, dtype=np.float64), outside)
    lower.setflags(write=False)
    upper.setflags(write=False)
    return lower, upper


def _factors(counts: Floats, outside: float) -> tuple[Floats, Floats]:
    lower = np.where(counts > 0, gammaincinv(np.maximum(counts, 1), outside), 0.0)
    return lower, np.asarray(gammaincinv(counts + 1, 1 - outside))


def _power_of_two_above(count: int) -> int:
    return 1 << max(count.bit_length(), 6)
