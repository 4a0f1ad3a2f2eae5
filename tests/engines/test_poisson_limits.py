"""Limits of a failure rate are Garwood's, by published tables, by peers, and by how often they cover the truth.

R: read in the published page; M: from memory; C: computed with a general-purpose library.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2, poisson
from statsmodels.stats.rates import confint_poisson

from pmcore.engines.rates import dispersion, poisson_limits

# Garwood, Biometrika 28 (1936), 437-442, table of 95 % limits. M; the same by R 4.2.2 and statsmodels (C).
GARWOOD = {
    0: (0.0, 3.689),
    1: (0.0253, 5.572),
    2: (0.2422, 7.225),
    5: (1.6235, 11.668),
    10: (4.7954, 18.39),
    20: (12.2165, 30.888),
    100: (81.364, 121.627),
}

# MIL-HDBK-781A (1996), fixed-duration test plans: duration ÷ the lower MTBF, failures at which one still accepts,
# discrimination ratio, true producer's and consumer's risk in percent. M.
TEST_PLANS = {
    "IX-D": (45.0, 36, 1.5, 12.0, 9.9),
    "X-D": (29.9, 25, 1.5, 10.9, 21.4),
    "XI-D": (21.5, 17, 1.5, 19.7, 19.6),
    "XII-D": (18.8, 13, 2.0, 9.6, 10.6),
    "XIII-D": (12.4, 9, 2.0, 9.8, 20.9),
    "XIV-D": (7.8, 5, 2.0, 19.9, 21.0),
    "XV-D": (9.3, 5, 3.0, 9.4, 9.9),
    "XVI-D": (5.4, 3, 3.0, 10.9, 21.3),
    "XVII-D": (4.3, 2, 3.0, 17.5, 19.7),
}
ROUNDED = 0.06  # percent; the table gives one decimal


@pytest.mark.parametrize("events", GARWOOD)
def test_garwoods_table(events):
    lower, upper = poisson_limits(events, 1)
    assert lower == pytest.approx(GARWOOD[events][0], abs=6e-5)
    assert upper == pytest.approx(GARWOOD[events][1], abs=6e-4)


def test_the_rate_of_the_welsh_nickel_workers():
    """137 in 24.19893 expected. Source: the example of R's poisson.test (R 4.2.2), input R, output C."""
    assert pytest.approx(5.661407, abs=1e-6) == 137 / 24.19893
    assert poisson_limits(137, 24.19893) == pytest.approx((4.753125, 6.692709), abs=1e-6)


def test_the_time_between_two_failures_in_800_hours():
    """NIST/SEMATECH e-Handbook (2012), 8.4.5.1: MTBF 400, limits of 90 % 127 and 2251, factors .3177 and 5.6281.
    The formula R, the figures M."""
    lower, upper = poisson_limits(2, 800, level=0.9)
    assert (1 / upper, 1 / lower) == pytest.approx((127, 2251), abs=0.5)
    assert (1 / upper / 400, 1 / lower / 400) == pytest.approx((0.3177, 5.6281), abs=5e-5)


def test_no_failure_leaves_a_rate_of_three_at_most():
    """NIST/SEMATECH e-Handbook (2012), 8.4.5.1, no failures: one-sided 95 % limit -ln 0.05. R."""
    assert poisson_limits(0, 1, level=0.9)[1] == pytest.approx(2.995732, abs=1e-6)


@pytest.mark.parametrize("name", TEST_PLANS)
def test_the_risks_of_published_test_plans(name):
    """One-sided upper limits at the consumer's risk, lower ones at the producer's, are the plan's duration."""
    duration, accept, discrimination, producer, consumer = TEST_PLANS[name]

    def limits(failures, percent):
        return poisson_limits(failures, 1, level=1 - 2 * percent / 100)

    assert limits(accept, consumer + ROUNDED)[1] <= duration <= limits(accept, consumer - ROUNDED)[1]
    at_first = duration / discrimination
    assert limits(accept + 1, producer - ROUNDED)[0] <= at_first <= limits(accept + 1, producer + ROUNDED)[0]


@given(
    events=st.lists(st.integers(0, 5_000), min_size=1, max_size=30),
    exposure=st.floats(1e-3, 1e5),
    level=st.floats(0.5, 0.999),
)
def test_limits_are_scipys_and_statsmodels(events, exposure, level):
    counts = np.array(events)
    lower, upper = poisson_limits(counts, exposure, level)
    half = (1 - level) / 2
    assert np.allclose(lower * exposure, np.where(counts > 0, chi2.ppf(half, np.maximum(2 * counts, 1)) / 2, 0))
    assert np.allclose(upper * exposure, chi2.ppf(1 - half, 2 * counts + 2) / 2)
    peer = confint_poisson(counts[counts > 0], exposure, method="exact-c", alpha=1 - level)
    assert np.allclose((lower[counts > 0], upper[counts > 0]), peer)


def test_few_large_counts_are_computed_as_many_small_ones_are_looked_up():
    alone = [poisson_limits(count, 2.5) for count in (0, 7, 1_999, 2_500_000)]
    together = poisson_limits(np.array([0, 7, 1_999, 2_500_000]), 2.5)
    looked_up = poisson_limits(np.arange(3_000), 2.5)
    assert np.array_equal(np.transpose(alone), together)
    assert np.array_equal([looked_up[0][[0, 7, 1_999]], looked_up[1][[0, 7, 1_999]]], np.transpose(alone[:3]))


@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_they_cover_the_truth_at_least_as_often_as_they_say(level):
    """Exact: over every count that can happen, not over draws."""
    counts = np.arange(400)
    lower, upper = poisson_limits(counts, 1, level)
    for mean in np.concatenate([np.linspace(0.01, 30, 1_500), [75.5, 150.0]]):
        chances = poisson.pmf(counts, mean)
        assert chances[mean < lower].sum() <= (1 - level) / 2 + 1e-12
        assert chances[mean > upper].sum() <= (1 - level) / 2 + 1e-12
        assert chances[(lower <= mean) & (mean <= upper)].sum() >= level - 1e-9


def test_nothing_watched_is_nothing_known():
    assert poisson_limits(0, 0) == (0.0, np.inf)
    lower, upper = poisson_limits([0, 0, 3], [0, 2, 2])
    assert lower[:2].tolist() == [0, 0]
    assert upper[0] == np.inf
    assert np.isfinite(upper[1:]).all()


def test_the_answer_has_the_shape_of_the_question():
    lower, upper = poisson_limits([[1], [2]], [1.0, 2.0, 4.0])
    assert lower.shape == upper.shape == (2, 3)
    assert np.array_equal(lower[:, 0], lower[:, 2] * 4)
    assert [each.shape for each in poisson_limits([], [])] == [(0,), (0,)]
    assert all(isinstance(limit, float) for limit in poisson_limits(3, 2))


def test_whole_numbers_may_come_as_floats():
    assert poisson_limits(3.0, 2) == poisson_limits(3, 2)
    assert poisson_limits(np.uint8(200), 2) == poisson_limits(200, 2)


def test_the_tiniest_exposure_allows_any_rate():
    lower, upper = poisson_limits(0, 5e-324)
    assert (lower, upper) == (0.0, np.inf)


PUMPS = ([5, 1, 5, 14, 3, 19, 1, 1, 4, 22], [94.32, 15.72, 62.88, 125.76, 5.24, 31.44, 1.048, 1.048, 2.096, 10.48])


def test_ten_pumps_vary_far_beyond_chance():
    """Data: Gaver and O'Muircheartaigh, Technometrics 29 (1987), 1-15 (R, in public packages); 28.5936 by the
    quasi-Poisson fit of R 4.2.2 (C); method: Spiegelhalter, Statistics in Medicine 24 (2005), 1185-1202."""
    assert dispersion(*PUMPS) == pytest.approx(28.5936, abs=1e-4)


def test_groups_that_were_never_watched_vary_nothing():
    assert dispersion([*PUMPS[0], 0], [*PUMPS[1], 0]) == dispersion(*PUMPS)
    assert dispersion([3, 0], [2, 0]) == dispersion([0, 0], [2, 9]) == 1
