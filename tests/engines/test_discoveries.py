"""Of many comparisons, those that stand out: Benjamini and Hochberg's procedure."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import false_discovery_control
from statsmodels.stats.multitest import multipletests

from pmcore.engines.rates import NotALevel, NotAProbability, discoveries

# Benjamini and Hochberg, Journal of the Royal Statistical Society B 57 (1995), 289-300, section 3.2: fifteen p-values,
# of which the procedure names the first four at 0.05, where Bonferroni's names three. From memory.
THROMBOLYSIS = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
    0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000,
]  # fmt: skip


def test_the_authors_example():
    assert discoveries(THROMBOLYSIS).tolist() == [True] * 4 + [False] * 11


@given(st.lists(st.floats(0, 1) | st.sampled_from([0.01, 0.02, 0.05]), min_size=1, max_size=60), st.floats(0.01, 0.5))
def test_it_is_scipys_and_statsmodels(p_values, level):
    adjusted = false_discovery_control(p_values)
    found = discoveries(p_values, level)
    clear = np.abs(adjusted - level) > 1e-12
    assert np.array_equal(found[clear], (adjusted <= level)[clear])
    assert np.array_equal(found[clear], multipletests(p_values, alpha=level, method="fdr_bh")[0][clear])


def test_order_and_shape_stay():
    mixed = np.array([[0.9, 0.0001], [0.02, 0.6]])
    assert discoveries(mixed).tolist() == [[False, True], [True, False]]


def test_a_later_value_carries_an_earlier_one_that_is_too_large_for_its_own_place():
    assert discoveries([0.03, 0.031, 0.032]).all()
    assert not discoveries([0.03, 0.9, 0.9]).any()


def test_nothing_asked_nothing_found():
    assert discoveries([]).tolist() == []


@pytest.mark.parametrize("wrong", [np.nan, -0.1, 1.1, "0.5", None])
def test_what_is_no_probability_is_refused(wrong):
    with pytest.raises(NotAProbability):
        discoveries([0.1, wrong])


@pytest.mark.parametrize("level", [0, 1, -0.05, np.nan])
def test_what_is_no_level_is_refused(level):
    with pytest.raises(NotALevel):
        discoveries([0.1], level)


def test_of_null_comparisons_few_are_named():
    """Where nothing is behind any of them, a list with a false name in it comes about at most at the level."""
    rng = np.random.default_rng(20261031)
    named = [discoveries(rng.uniform(size=40), 0.1).any() for _ in range(4_000)]
    assert np.mean(named) == pytest.approx(0.1, abs=0.02)
