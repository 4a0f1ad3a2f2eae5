"""Two failure rates compared within strata (models, sites, years), beside the comparison that ignores them.

Where one side has more of its exposure in strata in which everything fails oftener, the crude ratio says so and nothing
else. Sources: N. Mantel and W. Haenszel, Journal of the National Cancer Institute 22 (1959), 719-748; the variance for
rates: S. Greenland and J. M. Robins, Biometrics 41 (1985), 55-68.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from pmcore.engines.counts import events_in_exposure, tail
from pmcore.engines.rate_comparisons import RateRatio, rate_ratio


@dataclass(frozen=True, slots=True)
class StratifiedRatio:
    """The ratio within strata with two-sided limits, and the crude one; `opposed`: one says more failures, the other
    fewer, so neither may be shown without the other."""

    ratio: float
    lower: float
    upper: float
    crude: RateRatio
    opposed: bool


def stratified_ratio(
    events: ArrayLike,
    exposure: ArrayLike,
    reference_events: ArrayLike,
    reference_exposure: ArrayLike,
    level: float = 0.95,
) -> StratifiedRatio:
    """The common ratio of rates by Mantel and Haenszel; four columns of one length, a row for each stratum.

    With x in T against x₀ in T₀ and N = T + T₀ in each stratum: R = Σ x T₀/N, S = Σ x₀ T/N, ratio = R / S, limits
    exp(ln ratio ± z √V), V = Σ (x + x₀) T T₀/N² / (R S). A stratum in which one side was never watched compares nothing
    and counts for the crude ratio alone.

    The limits are approximate, unlike the crude one's. Where R or S is 0 they cannot be told and are 0 and infinity;
    where both are, the ratio is nan. Raises NotACount, NotAnExposure, EventsWithoutExposure, NotALevel.
    """
    reach = -float(ndtri(tail(level)))
    first, time = events_in_exposure(np.atleast_1d(events), np.atleast_1d(exposure))
    second, other_time = events_in_exposure(np.atleast_1d(reference_events), np.atleast_1d(reference_exposure))
    crude = rate_ratio(first.sum(), time.sum(), second.sum(), other_time.sum(), level)
    both = np.where(time + other_time > 0, time + other_time, 1.0)
    here, there = float((first * (other_time / both)).sum()), float((second * (time / both)).sum())
    if not here or not there:
        ratio = np.nan if not here and not there else np.inf if here else 0.0
        return StratifiedRatio(ratio, 0.0, np.inf, crude, _opposed(ratio, float(crude.ratio)))
    variance = float(((first + second) * (time / both) * (other_time / both)).sum()) / (here * there)
    ratio, factor = here / there, float(np.exp(reach * np.sqrt(variance)))
    return StratifiedRatio(ratio, ratio / factor, ratio * factor, crude, _opposed(ratio, float(crude.ratio)))


def _opposed(ratio: float, crude: float) -> bool:
    return ratio < 1 < crude or crude < 1 < ratio  # False where one of them is nan
