"""A rate of a small group drawn towards what all groups have in common: empirical Bayes, gamma-Poisson.

A group's rate is taken to be drawn from a gamma distribution of shape α and rate β, its events to be Poisson. α and β
are those that make what was seen in all groups together most likely (the marginal, negative-binomial likelihood).
Source of the model: D. P. Gaver and I. G. O'Muircheartaigh, Robust empirical Bayes analyses of event rates,
Technometrics 29 (1987), 1-15.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq, minimize_scalar
from scipy.special import gammaincinv

from pmcore.engines.counts import Counts, Floats, NoExposure, NotAPrior, events_in_exposure, tail
from pmcore.engines.poisson_rates import poisson_limits

_LOG_SHAPES = np.linspace(np.log(1e-5), np.log(1e8), 31)


@dataclass(frozen=True, slots=True)
class Shrunk:
    """The prior (`shape`, and `rate` in units of exposure), and of each group posterior mean and limits."""

    shape: float
    rate: float
    mean: Floats
    lower: Floats
    upper: Floats


def shrink(events: ArrayLike, exposure: ArrayLike, level: float = 0.95) -> Shrunk:
    """Draw the rates of all groups (two arrays of one dimension) towards each other, as far as chance explains them.

    With the prior's α and β, a group of x events in time T has the posterior gamma(α + x, β + T): mean
    (α + x) / (β + T), limits its quantiles at (1 - level) / 2 on both sides. They take α and β as known. A group
    without exposure has the prior itself.

    Where groups vary no more than chance explains (one group alone, no events, less variation than Poisson's), α and β
    are infinite: every group gets the pooled rate and the pool's exact limits, since nothing tells the groups apart.
    Raises NoExposure where no group was watched at all, NotACount, NotAnExposure, EventsWithoutExposure, NotALevel.
    """
    tail(level)
    counts, time = events_in_exposure(np.atleast_1d(events), np.atleast_1d(exposure))
    watched = time > 0
    if not watched.any():
        raise NoExposure("no group was watched for any time")
    # Exposures in units of their mean: what is computed does not depend on hours or years.
    unit = float(time[watched].mean())
    shape, prior_mean = _most_likely_prior(counts[watched], time[watched] / unit)
    if np.isinf(shape):
        pooled = counts.sum() / time.sum()
        low, high = poisson_limits(counts.sum(), time.sum(), level)
        return Shrunk(np.inf, np.inf, *(np.full(counts.shape, value) for value in (pooled, low, high)))
    rate = shape / prior_mean * unit
    return Shrunk(shape, rate, *posterior(counts, time, shape, rate, level))


def posterior(
    events: ArrayLike, exposure: ArrayLike, shape: float, rate: float, level: float = 0.95
) -> tuple[Floats, Floats, Floats]:
    """Mean and two-sided limits of rates of which a gamma prior of this shape and rate (in units of exposure) was
    believed before: gamma(shape + x, rate + T). Raises NotAPrior, NotACount, NotAnExposure, EventsWithoutExposure,
    NotALevel."""
    outside = tail(level)
    if not (0 < shape < np.inf and 0 < rate < np.inf):
        raise NotAPrior(f"no gamma distribution has shape {shape!r} and rate {rate!r}")
    counts, time = events_in_exposure(events, exposure)
    shapes, rates = shape + counts, rate + time
    low, high = (gammaincinv(shapes, at) / rates for at in (outside, 1 - outside))
    return shapes / rates, low, high


def _most_likely_prior(counts: Counts, time: Floats) -> tuple[float, float]:
    """Shape and mean of the prior. The likelihood is searched along the shape, with the best mean for each; it is
    compared with that of one common rate, so a flat or rising end cannot be taken for a summit."""
    if len(counts) == 1 or not counts.any():
        return np.inf, counts.sum() / time.sum()
    more_than = _groups_with_more_than_each_count(counts)

    def loss(log_shape: float) -> float:
        return -_log_likelihood(counts, time, more_than, float(np.exp(log_shape)))

    losses = [loss(at) for at in _LOG_SHAPES]
    best = int(np.argmin(losses))
    low, high = _LOG_SHAPES[max(best - 1, 0)], _LOG_SHAPES[min(best + 1, len(_LOG_SHAPES) - 1)]
    found = minimize_scalar(loss, bounds=(low, high), method="bounded", options={"xatol": 1e-9})
    # A gain below rounding is none: one common rate explains as much.
    if found.fun >= -_log_likelihood_of_one_rate(counts, time) - 1e-9 * counts.sum():
        return np.inf, counts.sum() / time.sum()
    shape = float(np.exp(found.x))
    return shape, _best_mean(counts, time, shape)


def _log_likelihood(counts: Counts, time: Floats, more_than: Counts, shape: float) -> float:
    """The marginal likelihood at the best mean m for `shape` α, but for what depends on neither:
    Σⱼ Nⱼ ln(1 + j/α) + Σ xᵢ ln m - Σ (α + xᵢ) ln(1 + m Tᵢ/α), Nⱼ the groups with more than j events.
    So written nothing cancels where α is large, and its limit is the likelihood of one common rate."""
    mean = _best_mean(counts, time, shape)
    steps = float(more_than @ np.log1p(np.arange(len(more_than)) / shape))
    return steps + float(counts.sum()) * float(np.log(mean)) - float((shape + counts) @ np.log1p(mean * time / shape))


def _log_likelihood_of_one_rate(counts: Counts, time: Floats) -> float:
    total = float(counts.sum())
    return total * float(np.log(total / time.sum())) - total


def _best_mean(counts: Counts, time: Floats, shape: float) -> float:
    """Where Σ (xᵢ - m Tᵢ) / (α + m Tᵢ) = 0: it falls in m, and lies between the lowest and the highest raw rate."""
    raw = counts / time
    low, high = max(float(raw.min()), float(counts.sum() / time.sum()) * 1e-9), float(raw.max())

    def slope(mean: float) -> float:
        expected = mean * time
        return float(((counts - expected) / (shape + expected)).sum())

    if low >= high or slope(low) <= 0:
        return low
    return float(brentq(slope, low, high, xtol=1e-14 * high, rtol=1e-13)) if slope(high) < 0 else high


def _groups_with_more_than_each_count(counts: Counts) -> Counts:
    return len(counts) - np.cumsum(np.bincount(counts))[:-1]
