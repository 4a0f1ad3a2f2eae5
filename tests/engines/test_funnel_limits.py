"""Where the shares of groups lie that differ from a target by chance alone: exact binomial quantiles."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from pmcore.engines.rates import NotACount, NotAProbability, funnel_limits


def test_ten_coins_by_hand():
    """P(X ≤ 1) = 11/1024 = 0.011, P(X ≤ 2) = 56/1024 = 0.055; so 2.5 % is first reached at 2, and 97.5 % at 8."""
    assert funnel_limits(10, 0.5, [0.025, 0.975]).tolist() == [0.2, 0.8]


@given(
    trials=st.integers(1, 400),
    target=st.floats(0.001, 0.999),
    probability=st.sampled_from([0.001, 0.025, 0.5, 0.975, 0.999]),
)
def test_each_is_the_first_count_by_which_enough_chance_has_gone(trials, target, probability):
    limit = funnel_limits(trials, target, probability)
    assert limit == pytest.approx(binom.ppf(probability, trials, target) / trials)
    reached = np.cumsum(binom.pmf(np.arange(trials + 1), trials, target))
    count = round(float(limit) * trials)
    assert reached[count] >= probability - 1e-9
    assert count == 0 or reached[count - 1] < probability + 1e-9


def test_a_row_for_each_probability():
    limits = funnel_limits(np.array([20, 50, 400]), 0.96, [0.001, 0.025, 0.975, 0.999])
    assert limits.shape == (4, 3)
    assert (np.diff(limits, axis=0) >= 0).all()
    assert (np.diff(limits[:2], axis=1) > 0).all()  # lower limits rise towards the target
    assert funnel_limits(20, 0.96, 0.5).shape == ()


def test_at_none_and_all_there_is_no_funnel():
    assert funnel_limits(30, 0.0, [0.025, 0.975]).tolist() == [0, 0]
    assert funnel_limits(30, 1.0, [0.025, 0.975]).tolist() == [1, 1]


def test_a_group_without_trials_has_no_share():
    assert np.isnan(funnel_limits([0, 9], 0.5, [0.025, 0.975])).tolist() == [[True, False], [True, False]]


@pytest.mark.parametrize(("target", "probability"), [(1.1, 0.5), (np.nan, 0.5), (0.5, 0), (0.5, 1), (0.5, np.nan)])
def test_what_is_no_probability_is_refused(target, probability):
    with pytest.raises(NotAProbability):
        funnel_limits(10, target, probability)


def test_what_is_no_count_is_refused():
    with pytest.raises(NotACount):
        funnel_limits(-1, 0.5, 0.5)
