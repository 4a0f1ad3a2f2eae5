"""Hits among trials: limits of a share, and where shares lie that differ from a target by chance alone."""

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, ndtri
from scipy.stats import binom

from pmcore.engines.counts import Counts, Floats, NotACount, NotAProbability, as_counts, as_probabilities, tail

Method = Literal["wilson", "exact"]


class UnknownMethod(ValueError):
    """Limits of a share are Wilson's or exact."""


def binomial_limits(
    hits: ArrayLike, trials: ArrayLike, level: float = 0.95, method: Method = "wilson"
) -> tuple[Floats, Floats]:
    """Two-sided limits (lower, upper) of the share `hits` / `trials`, which broadcast.

    "wilson", with p = x / n and z the normal quantile: (p + z²/2n ± z √(p(1 - p)/n + z²/4n²)) / (1 + z²/n)
    (E. B. Wilson, JASA 22 (1927), 209-212). "exact": B⁻¹(a; x, n - x + 1) and B⁻¹(1 - a; x + 1, n - x), the beta
    quantiles (C. J. Clopper and E. S. Pearson, Biometrika 26 (1934), 404-413); they cover at least as often as they
    say. Without trials nothing is known, and the limits are 0 and 1. Raises NotACount, NotALevel, UnknownMethod.
    """
    outside = tail(level)
    counts, of = np.broadcast_arrays(as_counts(hits), as_counts(trials))
    if (counts > of).any():
        raise NotACount("there are more hits than trials")
    if method == "exact":
        return clopper_pearson(counts, of, outside)
    if method == "wilson":
        return _wilson(counts, of, outside)
    raise UnknownMethod(f"limits are 'wilson' or 'exact', not {method!r}")


def clopper_pearson(hits: Counts, trials: Counts, outside: float) -> tuple[Floats, Floats]:
    """Exact limits of counts that are known to be such; `outside`: the probability beyond each of them."""
    misses = trials - hits
    lower = np.where(hits > 0, betaincinv(np.maximum(hits, 1), misses + 1, outside), 0.0)
    upper = np.where(misses > 0, betaincinv(hits + 1, np.maximum(misses, 1), 1 - outside), 1.0)
    return lower[()], upper[()]


def _wilson(hits: Counts, trials: Counts, outside: float) -> tuple[Floats, Floats]:
    square = ndtri(outside) ** 2
    of = np.maximum(trials, 1)
    share = hits / of
    middle = share + square / (2 * of)
    reach = np.sqrt(square * (share * (1 - share) / of + square / (4 * of * of)))
    whole = 1 + square / of
    # At the ends the formula gives 0 and 1 but for rounding; without trials it does not hold.
    lower = np.where(hits == 0, 0.0, (middle - reach) / whole)
    upper = np.where(hits == trials, 1.0, (middle + reach) / whole)
    return lower[()], upper[()]


def funnel_limits(trials: ArrayLike, target: float, probabilities: ArrayLike) -> Floats:
    """The shares below which groups of these sizes stay with the given probabilities, if all have the share `target`.

    For each probability p and number of trials n: the smallest count k with P(X ≤ k) ≥ p for X binomial(n, target),
    divided by n (the exact binomial quantile). One row for each probability, so `low, high = funnel_limits(n, 0.96,
    [0.025, 0.975])`; shape: that of `probabilities`, then that of `trials`. A group without trials has no share: nan.
    Probabilities lie between 0 and 1, both excluded. Raises NotACount, NotAProbability.
    """
    of = as_counts(trials)
    quantiles = as_probabilities(probabilities)
    share = float(as_probabilities(target))
    if ((quantiles == 0) | (quantiles == 1)).any():
        raise NotAProbability("a limit that all or none stay below is none")
    counts = binom.ppf(quantiles.reshape(quantiles.shape + (1,) * of.ndim), of, share)
    return np.asarray(np.where(of > 0, counts, np.nan) / np.maximum(of, 1))
