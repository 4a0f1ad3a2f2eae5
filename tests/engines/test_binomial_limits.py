"""Limits of a share: Wilson's and the exact ones, by published figures, by peers, by how often they cover the truth.

R: read in the published page; M: from memory; C: computed with a general-purpose library.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr
from scipy.stats import binom, binomtest
from statsmodels.stats.proportion import proportion_confint

from pmcore.engines.rates import UnknownMethod, binomial_limits


def test_a_lower_limit_of_wilson_in_the_handbook():
    """NIST/SEMATECH e-Handbook (2012), 7.2.4.1: 26 of 200, one-sided 95 % with z 1.645: 0.09577. R."""
    level = 1 - 2 * ndtr(-1.645)
    assert binomial_limits(26, 200, level)[0] == pytest.approx(0.09577, abs=6e-6)


def test_exact_limits_in_the_handbook():
    """NIST/SEMATECH e-Handbook (2012), 7.2.4.1: 4 of 20 at 90 %: 0.071354 and 0.401029. R."""
    assert binomial_limits(4, 20, 0.9, "exact") == pytest.approx((0.071354, 0.401029), abs=2e-6)


@pytest.mark.parametrize(
    ("hits", "trials", "method", "expected"),
    [
        (81, 263, "wilson", (0.2553, 0.3662)),
        (81, 263, "exact", (0.2527, 0.3676)),
        (0, 20, "wilson", (0.0, 0.1611)),
        (0, 20, "exact", (0.0, 0.1684)),
    ],
)
def test_newcombes_table(hits, trials, method, expected):
    """R. G. Newcombe, Statistics in Medicine 17 (1998), 857-872, table I. M; the same by R 4.2.2 (C)."""
    assert binomial_limits(hits, trials, method=method) == pytest.approx(expected, abs=6e-5)


@given(trials=st.integers(1, 5_000), share=st.floats(0, 1), level=st.floats(0.5, 0.999))
def test_limits_are_scipys_and_statsmodels(trials, share, level):
    hits = round(share * trials)
    for method, name in (("wilson", "wilson"), ("exact", "beta")):
        ours = binomial_limits(hits, trials, level, method)
        theirs = binomtest(hits, trials).proportion_ci(level, method)
        assert ours == pytest.approx((theirs.low, theirs.high), abs=1e-9)
        assert ours == pytest.approx(proportion_confint(hits, trials, alpha=1 - level, method=name), abs=1e-9)


@pytest.mark.parametrize("trials", [1, 2, 9, 40])
def test_exact_ones_cover_the_truth_at_least_as_often_as_they_say(trials):
    counts = np.arange(trials + 1)
    lower, upper = binomial_limits(counts, trials, 0.95, "exact")
    for share in np.linspace(0, 1, 501):
        chances = binom.pmf(counts, trials, share)
        assert chances[share < lower].sum() <= 0.025 + 1e-12
        assert chances[share > upper].sum() <= 0.025 + 1e-12


def test_wilsons_cover_it_about_as_often():
    counts = np.arange(51)
    lower, upper = binomial_limits(counts, 50)
    covered = [
        binom.pmf(counts, 50, share)[(lower <= share) & (share <= upper)].sum()
        for share in np.linspace(0.02, 0.98, 501)
    ]
    assert np.mean(covered) == pytest.approx(0.95, abs=0.01)
    assert min(covered) > 0.9


@pytest.mark.parametrize("method", ["wilson", "exact"])
def test_limits_stay_within_none_and_all(method):
    trials = np.arange(1, 300)
    assert (binomial_limits(0, trials, method=method)[0] == 0).all()
    assert (binomial_limits(trials, trials, method=method)[1] == 1).all()


@pytest.mark.parametrize("method", ["wilson", "exact"])
def test_without_trials_nothing_is_known(method):
    assert binomial_limits(0, 0, method=method) == (0, 1)
    lower, upper = binomial_limits([0, 3], [0, 4], method=method)
    assert (lower[0], upper[0]) == (0, 1)
    assert (lower[1], upper[1]) == binomial_limits(3, 4, method=method)


def test_another_method_is_refused():
    with pytest.raises(UnknownMethod, match="wald"):
        binomial_limits(1, 2, method="wald")
