"""Two rates within strata, beside the comparison that ignores them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.api import GLM, families

from pmcore.engines.rates import rate_ratio, stratified_ratio

# Deaths from coronary disease and person-years by ten years of age, smokers and others: R. Doll and A. B. Hill's
# study of doctors, as in N. E. Breslow and N. E. Day, Statistical Methods in Cancer Research II (1987), and in many
# manuals of statistics packages: crude 1.719823, stratified 1.424682 (1.154703 to 1.757784). All from memory.
SMOKERS = ([32, 104, 206, 186, 102], [52_407, 43_248, 28_612, 12_663, 5_317])
OTHERS = ([2, 12, 28, 28, 31], [18_790, 10_673, 5_710, 2_585, 1_462])


def test_british_doctors():
    found = stratified_ratio(*SMOKERS, *OTHERS)
    assert float(found.crude.ratio) == pytest.approx(1.719823, abs=1e-6)
    assert (found.ratio, found.lower, found.upper) == pytest.approx((1.424682, 1.154703, 1.757784), abs=1e-6)
    assert not found.opposed


def test_kidney_stones_turn_round():
    """C. R. Charig and others, BMJ 292 (1986), 879: treatment A succeeds in 81 of 87 small and 192 of 263 large stones,
    B in 234 of 270 and 55 of 80; all together 78 % and 82.57 % (from memory). Within each size A fails less often."""
    found = stratified_ratio([6, 71], [87, 263], [36, 25], [270, 80])
    assert pytest.approx((0.78, 0.8257), abs=5e-4) == (1 - 77 / 350, 1 - 61 / 350)
    assert float(found.crude.ratio) == pytest.approx(77 / 61)
    by_hand = (6 * 270 / 357 + 71 * 80 / 343) / (36 * 87 / 357 + 25 * 263 / 343)
    assert found.ratio == pytest.approx(by_hand)
    assert found.ratio < 1 < found.crude.ratio
    assert found.opposed


COUNTS = st.integers(0, 60)
TIMES = st.floats(0.5, 500)
STRATA = st.lists(st.tuples(COUNTS, TIMES, COUNTS, TIMES), min_size=1, max_size=8)


def columns(strata):
    return [np.array(column) for column in zip(*strata, strict=True)]


@given(STRATA)
def test_it_is_a_weighted_mean_of_the_strata(strata):
    first, time, second, other_time = columns(strata)
    found = stratified_ratio(first, time, second, other_time)
    if (second > 0).all():
        ratios = (first / time) / (second / other_time)
        assert ratios.min() * (1 - 1e-9) <= found.ratio <= ratios.max() * (1 + 1e-9)
    if first.any() and second.any():
        assert found.lower < found.ratio < found.upper


@given(st.tuples(COUNTS, TIMES, COUNTS, TIMES))
def test_in_one_stratum_it_is_the_crude_ratio(stratum):
    found = stratified_ratio(*stratum)
    assert np.allclose(found.ratio, found.crude.ratio, equal_nan=True)
    assert not found.opposed or abs(found.ratio - 1) < 1e-9


@given(st.lists(st.tuples(COUNTS, TIMES, COUNTS), min_size=1, max_size=8), st.floats(0.2, 5))
def test_where_every_stratum_is_shared_alike_it_is_the_crude_ratio(strata, share):
    first, time, second = columns(strata)
    found = stratified_ratio(first, time, second, time * share)
    assert np.allclose(found.ratio, found.crude.ratio, equal_nan=True)


def test_it_lies_near_a_poisson_regression_with_a_level_for_each_stratum():
    """statsmodels' likelihood is another estimate of the same ratio; where counts are large both agree."""
    rng = np.random.default_rng(20261031)
    time, other_time = rng.uniform(200, 900, (2, 12))
    base = rng.uniform(0.2, 2, 12)
    first, second = rng.poisson(1.6 * base * time), rng.poisson(base * other_time)
    found = stratified_ratio(first, time, second, other_time)
    levels = np.vstack([np.eye(12), np.eye(12)])
    design = np.column_stack([np.repeat([1, 0], 12), levels])
    exposure = np.append(time, other_time)
    fit = GLM(np.append(first, second), design, families.Poisson(), exposure=exposure).fit()
    assert np.log(found.ratio) == pytest.approx(fit.params[0], abs=0.005)
    assert np.log([found.lower, found.upper]) == pytest.approx(fit.conf_int()[0], abs=0.005)


def test_the_other_way_round_it_is_the_inverse():
    found, turned = stratified_ratio(*SMOKERS, *OTHERS), stratified_ratio(*OTHERS, *SMOKERS)
    assert (turned.ratio, turned.lower, turned.upper) == pytest.approx(
        (1 / found.ratio, 1 / found.upper, 1 / found.lower)
    )


def test_a_stratum_that_only_one_side_was_in_compares_nothing():
    with_it = stratified_ratio([*SMOKERS[0], 9], [*SMOKERS[1], 70], [*OTHERS[0], 0], [*OTHERS[1], 0])
    without = stratified_ratio(*SMOKERS, *OTHERS)
    assert (with_it.ratio, with_it.lower, with_it.upper) == (without.ratio, without.lower, without.upper)
    assert with_it.crude == rate_ratio(639, 142_317, 101, 39_220)


@pytest.mark.parametrize(
    ("strata", "ratio"),
    [
        (([0, 0], [1, 2], [0, 0], [3, 4]), np.nan),
        (([2, 1], [1, 2], [0, 0], [3, 4]), np.inf),
        (([0, 0], [1, 2], [2, 1], [3, 4]), 0),
        (([3, 0], [1, 0], [0, 2], [0, 4]), np.nan),  # nothing to compare within any stratum
        (([], [], [], []), np.nan),
    ],
)
def test_where_nothing_can_be_told_nothing_is(strata, ratio):
    found = stratified_ratio(*strata)
    assert np.array_equal(found.ratio, ratio, equal_nan=True)
    assert (found.lower, found.upper, found.opposed) == (0, np.inf, False)


def test_limits_cover_the_common_ratio_about_as_often_as_they_say():
    rng = np.random.default_rng(20261031)
    time, other_time = np.array([10.0, 40, 25]), np.array([30.0, 15, 25])
    base = np.array([0.3, 1.0, 2.0])
    covered = []
    for first, second in zip(
        rng.poisson(2 * base * time, (2_000, 3)), rng.poisson(base * other_time, (2_000, 3)), strict=True
    ):
        found = stratified_ratio(first, time, second, other_time)
        covered.append(found.lower <= 2 <= found.upper)
    assert np.mean(covered) == pytest.approx(0.95, abs=0.015)
