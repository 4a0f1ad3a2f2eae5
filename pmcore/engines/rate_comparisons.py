"""Two failure rates against each other. Given how many failures there were together, how many fell to one side is
binomial; so the comparison needs no assumption about either rate.

Source: J. Przyborowski and H. Wilenski, Homogeneity of results in testing samples from Poisson series, Biometrika 31
(1940), 313-323.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr, gammaln, xlog1py, xlogy

from pmcore.engines.counts import Counts, Floats, NotAMargin, events_in_exposure, one_tail, tail
from pmcore.engines.proportions import clopper_pearson

_AS_LIKELY = 1e-7  # probabilities nearer than this, relatively, are equal: rounding must not decide


@dataclass(frozen=True, slots=True)
class RateRatio:
    """One rate ÷ another with two-sided limits, and the probability of so unlikely a split if both were equal."""

    ratio: Floats
    lower: Floats
    upper: Floats
    p_value: Floats


@dataclass(frozen=True, slots=True)
class NotWorse:
    """The probability of so few events if the rate were `margin` times the other's, and the ratio's one-sided upper
    limit."""

    p_value: Floats
    upper: Floats


@dataclass(frozen=True, slots=True)
class _Split:
    """Events on one side of those on both, and the weight of its exposure; `idle`: one side was never watched."""

    events: Counts
    both: Counts
    exposure: Floats
    reference_exposure: Floats
    idle: np.ndarray

    def ratio_of(self, share: Floats) -> Floats:
        """The ratio of rates at which this share of all events falls to the first side."""
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = share / (1 - share) * self.reference_exposure / self.exposure
        return np.asarray(ratio)

    def share_at(self, ratio: float) -> Floats:
        """The first side's share of all events if its rate is `ratio` times the other's."""
        expected = ratio * self.exposure
        return np.asarray(expected / np.where(self.idle, 1.0, expected + self.reference_exposure))


def rate_ratio(
    events: ArrayLike,
    exposure: ArrayLike,
    reference_events: ArrayLike,
    reference_exposure: ArrayLike,
    level: float = 0.95,
) -> RateRatio:
    """The rate `events` / `exposure` ÷ the rate of the reference, by the exact conditional test. All four broadcast.

    Of n events together, x is binomial(n, T / (T + T₀)) if the rates are equal. The p-value is two-sided: the
    probability of all splits that are as likely as the one seen or less. Limits: those of Clopper and Pearson of x / n,
    as odds, times T₀ / T. The limits come from two one-sided tests of (1 - level) / 2, so near 5 % they may include 1
    where the p-value lies below, or the reverse.

    Without reference events ratio and upper limit are infinite. With no events at all, or one side without exposure,
    there is nothing to compare: ratio nan, limits 0 and infinity, p-value 1. Raises NotACount, NotAnExposure,
    EventsWithoutExposure, NotALevel.
    """
    outside = tail(level)
    split = _split(events, exposure, reference_events, reference_exposure)
    low, high = clopper_pearson(split.events, split.both, outside)
    silent = split.idle | (split.both == 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = split.ratio_of(split.events / split.both)
    return RateRatio(
        ratio=np.where(silent, np.nan, ratio)[()],
        lower=np.where(silent, 0.0, split.ratio_of(low))[()],
        upper=np.where(silent, np.inf, split.ratio_of(high))[()],
        p_value=np.where(silent, 1.0, _as_or_less_likely(split.events, split.both, split.share_at(1.0)))[()],
    )


def not_worse(  # noqa: PLR0917 (two rates, then what is asked of them)
    events: ArrayLike,
    exposure: ArrayLike,
    reference_events: ArrayLike,
    reference_exposure: ArrayLike,
    margin: float,
    level: float = 0.95,
) -> NotWorse:
    """Is the rate below `margin` times the reference's? One-sided and exact. All four broadcast.

    `margin` is the largest ratio that one would put up with, fixed before anybody saw the counts. The p-value is
    P(X ≤ x) for X binomial(n, margin T / (margin T + T₀)); `upper` is the one-sided upper limit of the ratio at
    `level`, below the margin exactly where the p-value is below 1 - level. With nothing to compare: p-value 1, upper
    infinite. Raises NotACount, NotAnExposure, EventsWithoutExposure, NotALevel, NotAMargin.
    """
    outside = one_tail(level)
    if not 0 < margin < np.inf:
        raise NotAMargin(f"{margin!r} is no margin")
    split = _split(events, exposure, reference_events, reference_exposure)
    _, high = clopper_pearson(split.events, split.both, outside)
    at_most = bdtr(split.events, split.both, split.share_at(margin))
    silent = split.idle | (split.both == 0)
    return NotWorse(
        p_value=np.where(silent, 1.0, at_most)[()], upper=np.where(silent, np.inf, split.ratio_of(high))[()]
    )


def _split(events: ArrayLike, exposure: ArrayLike, others: ArrayLike, other_exposure: ArrayLike) -> _Split:
    first, time = events_in_exposure(events, exposure)
    second, other_time = events_in_exposure(others, other_exposure)
    first, time, second, other_time = np.broadcast_arrays(first, time, second, other_time)
    return _Split(first, first + second, time, other_time, (time == 0) | (other_time == 0))


def _as_or_less_likely(hits: Counts, trials: Counts, share: Floats) -> Floats:
    """P(X is a value as likely as `hits` or less) for X binomial. From the mode probabilities fall on both sides, so
    the values on the other side form a tail, whose end is found by halving."""
    seen = _log_probability(hits, trials, share) + np.log1p(_AS_LIKELY)
    mode = np.floor((trials + 1) * share).astype(np.int64)
    left = hits < mode  # what was seen lies left of the mode; else the other tail is the left one
    near, far = np.where(left, mode - 1, -1), np.where(left, trials + 1, mode + 1)  # both outside what is searched
    while (far - near > 1).any():
        middle = (near + far) // 2
        unlikely = _log_probability(np.clip(middle, 0, trials), trials, share) <= seen
        moves_far = unlikely == left
        far = np.where(moves_far & (far - near > 1), middle, far)
        near = np.where(~moves_far & (far - near > 1), middle, near)
    upper_from = np.where(left, far, hits)  # the first value of the right tail
    lower_to = np.where(left, hits, near)  # the last value of the left tail
    both = _at_most(lower_to, trials, share) + _at_most(trials - upper_from, trials, 1 - share)
    return np.minimum(np.where(hits == mode, 1.0, both), 1.0)


def _at_most(hits: Counts, trials: Counts, share: Floats) -> Floats:
    """P(X ≤ hits), 0 below 0."""
    return np.where(hits < 0, 0.0, bdtr(np.maximum(hits, 0), trials, share))


def _log_probability(hits: Counts, trials: Counts, share: Floats) -> Floats:
    ways = gammaln(trials + 1.0) - gammaln(hits + 1.0) - gammaln(trials - hits + 1.0)
    return np.asarray(ways + xlogy(hits, share) + xlog1py(trials - hits, -share))
