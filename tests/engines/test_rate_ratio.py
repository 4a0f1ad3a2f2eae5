"""One failure rate ÷ another, by the exact conditional test.

M: from memory; C: computed with a general-purpose library.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest
from statsmodels.stats.rates import confint_poisson_2indep

from pmcore.engines.rates import rate_ratio

FLUOROSCOPY = (41, 28_010, 15, 19_017)


def figures(found):
    return found.ratio, found.lower, found.upper, found.p_value


def test_breast_cancer_after_fluoroscopy_exactly():
    """41 in 28,010 against 15 in 19,017 person-years (Rothman and Greenland, Modern Epidemiology, 2nd edition, 1998,
    M); figures of poisson.test, R 4.2.2 (C)."""
    assert figures(rate_ratio(*FLUOROSCOPY)) == pytest.approx((1.855759, 1.005684, 3.6093, 0.040852), abs=1e-5)


def test_the_textbooks_approximate_limits_lie_near():
    """Rothman and Greenland, the same example: 1.86, Wald's limits of the logarithm 1.03 to 3.35 (M). Approximate, so
    they are near ours and narrower. (statsmodels' `sqrtcc` gives 1.53 to 5.07 here: it ignores the exposure.)"""
    found = rate_ratio(*FLUOROSCOPY)
    wald = confint_poisson_2indep(*FLUOROSCOPY, method="wald-log", compare="ratio")
    assert (found.ratio, *wald) == pytest.approx((1.86, 1.03, 3.35), abs=5e-3)
    assert found.lower < wald[0] < found.ratio < wald[1] < found.upper
    assert np.log([found.lower, found.upper]) == pytest.approx(np.log(wald), abs=0.1)


COUNT = st.integers(0, 200)
# Round exposures make splits that are exactly as likely as one another: those, too, belong to the p-value.
EXPOSURE = st.floats(1e-2, 1e4) | st.integers(1, 6).map(float)


@given(events=COUNT, exposure=EXPOSURE, others=COUNT, other_exposure=EXPOSURE, level=st.floats(0.6, 0.99))
def test_it_is_scipys_exact_binomial_test_of_the_split(events, exposure, others, other_exposure, level):
    found = rate_ratio(events, exposure, others, other_exposure, level)
    if events + others == 0:
        assert np.isnan(found.ratio)
        return
    peer = binomtest(events, events + others, exposure / (exposure + other_exposure))
    assert found.p_value == pytest.approx(peer.pvalue, rel=1e-7, abs=1e-12)
    share = np.array(peer.proportion_ci(level, "exact"))
    with np.errstate(divide="ignore"):
        odds = share / (1 - share) * other_exposure / exposure
    assert (found.lower, found.upper) == pytest.approx(tuple(odds), rel=1e-7)


@given(seed=st.integers(0, 10_000))
def test_many_groups_at_once_are_each_by_itself(seed):
    rng = np.random.default_rng(seed)
    events, others = rng.poisson(rng.gamma(0.4, 30, (2, 25)))
    exposure, other_exposure = rng.uniform(0.1, 90, (2, 25))
    together = rate_ratio(events, exposure, others, other_exposure)
    for at in range(25):
        alone = rate_ratio(events[at], exposure[at], others[at], other_exposure[at])
        assert np.array_equal(figures(alone), [column[at] for column in figures(together)], equal_nan=True)


@given(events=COUNT, exposure=EXPOSURE, others=COUNT, other_exposure=EXPOSURE)
def test_the_other_way_round_it_is_the_inverse(events, exposure, others, other_exposure):
    found, turned = (
        rate_ratio(events, exposure, others, other_exposure),
        rate_ratio(others, other_exposure, events, exposure),
    )
    assert turned.p_value == pytest.approx(found.p_value, rel=1e-6)
    if events and others:
        assert turned.ratio == pytest.approx(1 / found.ratio)
        assert (turned.lower, turned.upper) == pytest.approx((1 / found.upper, 1 / found.lower))


def test_the_p_value_is_no_smaller_than_it_says():
    """Exact: where the rates are equal, a p-value of at most a happens with probability a at most."""
    from scipy.stats import poisson

    events, others = (grid.ravel() for grid in np.meshgrid(np.arange(60), np.arange(60)))
    for exposure, rate in ((1.0, 3.0), (2.5, 4.0), (0.4, 11.0)):
        chances = poisson.pmf(events, rate * exposure) * poisson.pmf(others, rate)
        p_values = rate_ratio(events, exposure, others, 1.0).p_value
        for level in (0.01, 0.05, 0.2):
            assert chances[p_values <= level].sum() <= level


def test_nothing_to_compare_is_said_so():
    for silent in (rate_ratio(0, 3, 0, 4), rate_ratio(0, 0, 5, 4), rate_ratio(5, 4, 0, 0), rate_ratio(0, 0, 0, 0)):
        assert np.isnan(silent.ratio)
        assert (silent.lower, silent.upper, silent.p_value) == (0, np.inf, 1)


def test_a_side_without_events():
    only_here, only_there = rate_ratio(7, 3, 0, 4), rate_ratio(0, 4, 7, 3)
    assert (only_here.ratio, only_here.upper) == (np.inf, np.inf)
    assert (only_there.ratio, only_there.lower) == (0, 0)
    assert only_here.lower == pytest.approx(1 / only_there.upper)
    assert only_here.p_value == pytest.approx(only_there.p_value)


def test_a_million_events_are_no_matter():
    found = rate_ratio(1_000_000, 1.0, 1_003_000, 1.0)
    assert found.p_value == pytest.approx(binomtest(1_000_000, 2_003_000).pvalue, rel=1e-6)
