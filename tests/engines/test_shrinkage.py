"""Rates of small groups are drawn towards what all have in common: gamma-Poisson empirical Bayes.

R: read in a published page; M: from memory; C: computed with a general-purpose library.
"""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.stats import gamma, nbinom, poisson

from pmcore.engines.rates import NoExposure, NotAPrior, poisson_limits, posterior, shrink

PUMPS = (
    np.array([5, 1, 5, 14, 3, 19, 1, 1, 4, 22]),
    np.array([94.32, 15.72, 62.88, 125.76, 5.24, 31.44, 1.048, 1.048, 2.096, 10.48]),
)


def likelihood(events, exposure, shape, rate):
    """The marginal one, with scipy's negative binomial: written without any of what the engine does."""
    return nbinom.logpmf(events, shape, 1 / (1 + exposure / rate)).sum()


def test_ten_pumps():
    """Data: Gaver and O'Muircheartaigh, Technometrics 29 (1987), 1-15 (R, in public packages). α 0.82227 (0.82 M), mean
    0.65314, β 1.25895 by MASS::glm.nb with the offset ln T, R 4.2.2 (C)."""
    found = shrink(*PUMPS)
    assert (found.shape, found.shape / found.rate, found.rate) == pytest.approx((0.82227, 0.65314, 1.25895), abs=2e-4)


def test_statsmodels_finds_the_same_prior():
    """Its Newton fit can come back with nan and say that it converged, so it starts near and is looked at."""
    from statsmodels.discrete.discrete_model import NegativeBinomial

    events, exposure = PUMPS
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = NegativeBinomial(events, np.ones((10, 1)), offset=np.log(exposure))
        fit = model.fit(start_params=[-0.5, 1.0], method="bfgs", maxiter=500, disp=False)
    assert np.isfinite(fit.params).all()
    found = shrink(events, exposure)
    assert (np.exp(fit.params[0]), 1 / fit.params[1]) == pytest.approx(
        (found.shape / found.rate, found.shape), abs=2e-4
    )


def test_a_posterior_of_the_handbook():
    """NIST/SEMATECH e-Handbook (2012), 8.4.6: prior α 2, β 1400; after 2 failures in 1909 hours the MTBF is 827 as
    1/mean, at least 600 by 80 %, 495 to 1897 by 80 % two-sided, 901 in the median. The formulas R, the figures M."""
    mean, lower, upper = posterior(2, 1909, 2, 1400, 0.8)
    highest, median = posterior(2, 1909, 2, 1400, 0.6)[2], posterior(2, 1909, 2, 1400, 1e-9)[1]
    between = [1 / rate for rate in (mean, upper, lower, highest, median)]
    assert between == pytest.approx([827, 495, 1897, 600, 901], abs=0.6)


def test_the_prior_by_moments_is_less_likely():
    """Gelfand and Smith, Journal of the American Statistical Association 85 (1990), 398-409: α 1.802 by the method of
    moments for the same pumps (R, in public code that reproduces the example). Ours is the most likely one."""
    events, exposure = PUMPS
    rates = events / exposure
    mean = rates.mean()
    shape = mean**2 / (rates.var() - mean * (1 / exposure).mean())
    assert shape == pytest.approx(1.802, abs=5e-4)
    found = shrink(events, exposure)
    gained = likelihood(*PUMPS, found.shape, found.rate) - likelihood(*PUMPS, shape, shape / mean)
    assert gained > 0


def test_the_prior_that_two_quantiles_give():
    """NIST/SEMATECH e-Handbook (2012), 8.2.5: from an MTBF of 600 by even odds and of 250 by 95 %, α 2.863055 and
    β 1522.506 (R). Of a group without failures that was hardly watched, limits are quantiles of the prior."""
    unseen = (0, 1e-9, 2.863055, 1522.506)
    between = [1 / rate for rate in (posterior(*unseen, 1e-9)[1], posterior(*unseen, 0.9)[2])]
    assert between == pytest.approx([600, 250], abs=0.01)


def drawn(seed):
    """Groups that differ, from a prior that differs from seed to seed; some of no exposure."""
    rng = np.random.default_rng(seed)
    exposure = rng.uniform(0.05, 20, rng.integers(2, 60)) * 10 ** rng.uniform(-2, 3)
    exposure[rng.random(len(exposure)) < 0.05] = 0
    rate = rng.gamma(10 ** rng.uniform(-1, 2), 1, len(exposure)) * 10 ** rng.uniform(-2, 1) / max(exposure.mean(), 1e-9)
    return rng.poisson(rate * exposure), exposure


@settings(max_examples=30)
@given(st.integers(0, 100_000))
def test_no_other_prior_is_more_likely(seed):
    events, exposure = drawn(seed)
    watched = exposure > 0
    if not watched.any() or not events.any():
        return
    found = shrink(events, exposure)
    ours = (events[watched], exposure[watched])
    mean = events.sum() / exposure.sum()
    if np.isinf(found.shape):  # all have the pool's rate, of which no negative binomial can tell
        best = poisson.logpmf(ours[0], mean * ours[1]).sum()
    else:
        best = likelihood(*ours, found.shape, found.rate)
    for start in (0.1, 1.0, 30.0):
        # scipy's likelihood is not to be trusted where the shape is beyond 1e6.
        other = minimize(
            lambda at: -likelihood(*ours, np.exp(at[0]), np.exp(at[0] - at[1])),
            [np.log(start), np.log(mean)],
            method="Nelder-Mead",
            bounds=[(-12, 14), (np.log(mean) - 20, np.log(mean) + 20)],
        )
        assert best >= -other.fun - 1e-5 * max(1, abs(best))


@settings(max_examples=50)
@given(st.integers(0, 100_000))
def test_the_unit_of_exposure_does_not_matter(seed):
    events, exposure = drawn(seed)
    if not exposure.any():
        return
    in_years, in_days = shrink(events, exposure), shrink(events, exposure * 365.25)
    assert np.allclose(in_years.mean, in_days.mean * 365.25, rtol=1e-5)
    assert np.allclose(in_years.upper, in_days.upper * 365.25, rtol=1e-5)


@given(st.integers(0, 100_000))
def test_each_lies_between_its_own_rate_and_the_common_one(seed):
    events, exposure = drawn(seed)
    if not exposure.any():
        return
    found = shrink(events, exposure)
    assert np.isfinite([found.mean, found.lower, found.upper]).all()
    assert ((found.lower <= found.mean) & (found.mean <= found.upper)).all()
    if np.isinf(found.shape):
        assert (found.mean == found.mean[0]).all()
        return
    common = found.shape / found.rate
    watched = exposure > 0
    raw = np.divide(events, exposure, where=watched, out=np.full(len(events), common))
    assert (found.mean >= np.minimum(raw, common) * (1 - 1e-9)).all()
    assert (found.mean <= np.maximum(raw, common) * (1 + 1e-9)).all()


def test_limits_are_quantiles_of_the_posterior():
    found = shrink(*PUMPS, level=0.8)
    peer = gamma(found.shape + PUMPS[0], scale=1 / (found.rate + PUMPS[1]))
    assert np.allclose(found.mean, peer.mean())
    assert np.allclose([found.lower, found.upper], [peer.ppf(0.1), peer.ppf(0.9)])


@pytest.mark.parametrize(
    ("events", "exposure"),
    [
        ([5, 5, 5, 5], [1, 1, 1, 1]),  # they vary less than Poisson would
        ([0, 0, 0], [2, 3, 4]),
        ([7], [3]),
        ([7, 0], [3, 0]),
        ([10, 20, 30], [1, 2, 3]),
    ],
)
def test_where_nothing_tells_groups_apart_all_have_the_pools_rate_and_limits(events, exposure):
    found = shrink(events, exposure)
    assert (found.shape, found.rate) == (np.inf, np.inf)
    assert found.mean.tolist() == [sum(events) / sum(exposure)] * len(events)
    limits = poisson_limits(sum(events), sum(exposure))
    assert [(low, high) for low, high in zip(found.lower, found.upper, strict=True)] == [limits] * len(events)


def test_a_tiny_group_is_drawn_further_than_a_large_one():
    """Two failures in 1.5 years beside groups of a rate of 0.2: it stands out raw, and hardly any more shrunk."""
    rng = np.random.default_rng(7)
    exposure = np.append(rng.uniform(40, 200, 30), 1.5)
    events = np.append(rng.poisson(rng.gamma(8, 0.025, 30) * exposure[:30]), 2)
    found, raw = shrink(events, exposure), events / exposure
    assert raw[-1] == raw.max()
    assert found.mean[-1] < 0.4
    large = int(np.argmax(exposure))
    assert abs(found.mean[large] - raw[large]) < 0.1 * raw[large]


def test_a_group_without_exposure_has_the_prior_itself():
    found = shrink([*PUMPS[0], 0], [*PUMPS[1], 0])
    assert found.shape == pytest.approx(shrink(*PUMPS).shape)
    assert found.mean[-1] == pytest.approx(found.shape / found.rate)


def test_the_limits_cover_rates_that_were_drawn_from_a_gamma_distribution():
    rng = np.random.default_rng(20261031)
    rate = rng.gamma(2.0, 0.15, 4_000)
    exposure = rng.uniform(0.5, 30, 4_000)
    found = shrink(rng.poisson(rate * exposure), exposure)
    assert found.shape == pytest.approx(2.0, rel=0.1)
    assert np.mean((found.lower <= rate) & (rate <= found.upper)) == pytest.approx(0.95, abs=0.01)


@pytest.mark.parametrize("nothing", [([], []), ([0], [0]), ([0, 0], [0, 0])])
def test_where_nothing_was_watched_nothing_can_be_said(nothing):
    with pytest.raises(NoExposure):
        shrink(*nothing)


@pytest.mark.parametrize("prior", [(0, 1), (1, 0), (-1, 1), (np.inf, 1), (np.nan, 1)])
def test_what_is_no_prior_is_refused(prior):
    with pytest.raises(NotAPrior):
        posterior(1, 1, *prior)


def test_one_group_of_a_thousand_that_ever_failed():
    events = np.zeros(1_000, int)
    events[3] = 40
    found = shrink(events, np.ones(1_000))
    assert np.isfinite(found.mean).all()
    assert found.mean[3] == pytest.approx(40, rel=0.05)


def test_huge_counts_are_no_matter():
    small = shrink([3, 9, 40], [1, 1, 1])
    huge = shrink([3_000_000_000, 9_000_000_000, 40_000_000_000], [1, 1, 1])
    assert np.allclose(huge.mean, [3e9, 9e9, 4e10])
    assert small.shape * 2 > huge.shape > 1
    mixed_in = shrink([2**20 - 1, 5, 7, 90], [1e4, 1, 1, 1]), shrink([2**20 + 1, 5, 7, 90], [1e4, 1, 1, 1])
    assert mixed_in[0].shape == pytest.approx(mixed_in[1].shape, rel=1e-4)
