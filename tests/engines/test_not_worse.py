"""A longer interval is not worse than a shorter one by more than a margin fixed beforehand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, poisson
from statsmodels.stats.rates import test_poisson_2indep as peer_test

from pmcore.engines.rates import NotAMargin, not_worse, rate_ratio


def test_nine_in_300_years_against_twenty_in_400():
    """Invented counts; p-value and limit by poisson.test(r=1.5, alternative="less"), R 4.2.2 (computed). Method:
    Przyborowski and Wilenski, Biometrika 31 (1940), 313-323."""
    found = not_worse(9, 300, 20, 400, margin=1.5)
    assert (found.p_value, found.upper) == pytest.approx((0.014352, 1.225906), abs=1e-6)


COUNT = st.integers(0, 150)
EXPOSURE = st.floats(1e-1, 1e4)
MARGIN = st.floats(0.5, 4)


@given(events=COUNT, exposure=EXPOSURE, others=st.integers(1, 150), other_exposure=EXPOSURE, margin=MARGIN)
def test_it_is_the_exact_test_of_scipy_and_statsmodels(events, exposure, others, other_exposure, margin):
    found = not_worse(events, exposure, others, other_exposure, margin)
    share = margin * exposure / (margin * exposure + other_exposure)
    assert found.p_value == pytest.approx(binom.cdf(events, events + others, share), rel=1e-7, abs=1e-14)
    peer = peer_test(events, exposure, others, other_exposure, value=margin, method="exact-cond", alternative="smaller")
    assert found.p_value == pytest.approx(peer.pvalue, rel=1e-6, abs=1e-12)


@given(counts=st.tuples(COUNT, EXPOSURE, COUNT, EXPOSURE), margin=MARGIN, level=st.floats(0.6, 0.99))
def test_limit_and_p_value_never_disagree(counts, margin, level):
    found = not_worse(*counts, margin, level)
    if abs(found.p_value - (1 - level)) > 1e-9:
        assert (found.upper < margin) == (found.p_value < 1 - level)


def test_the_one_sided_limit_is_the_upper_of_two_sided_ones_at_twice_the_risk():
    assert not_worse(9, 300, 20, 400, 1.5, 0.95).upper == rate_ratio(9, 300, 20, 400, 0.9).upper


def test_it_passes_what_is_as_bad_as_the_margin_no_oftener_than_it_says():
    events, others = (grid.ravel() for grid in np.meshgrid(np.arange(80), np.arange(80)))
    for exposure, rate, margin in ((1.0, 6.0, 1.5), (3.0, 4.0, 2.0)):
        chances = poisson.pmf(events, margin * rate * exposure) * poisson.pmf(others, rate)
        assert chances[not_worse(events, exposure, others, 1.0, margin).p_value <= 0.05].sum() <= 0.05


def test_without_evidence_nothing_is_shown():
    for silent in (not_worse(0, 3, 0, 4, 1.5), not_worse(0, 0, 9, 4, 1.5), not_worse(2, 3, 0, 0, 1.5)):
        assert (silent.p_value, silent.upper) == (1, np.inf)


@pytest.mark.parametrize("margin", [0, -1, np.inf, np.nan])
def test_what_is_no_margin_is_refused(margin):
    with pytest.raises(NotAMargin):
        not_worse(1, 1, 1, 1, margin)
