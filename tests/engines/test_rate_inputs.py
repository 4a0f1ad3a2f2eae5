"""What is no count, no exposure or no level is refused by name, wherever it is handed in."""

import math
from decimal import Decimal

import numpy as np
import pytest

from pmcore.engines import rates

NO_COUNTS = [-1, 1.5, math.nan, math.inf, 1e300, "3", None, True, np.array([1, -2]), [1.0, math.nan]]
NO_EXPOSURES = [-0.1, math.nan, math.inf, "a year", None, [1.0, -1.0]]

OF_EVENTS = {
    "poisson_limits": rates.poisson_limits,
    "shrink": rates.shrink,
    "dispersion": rates.dispersion,
    "rate_ratio": lambda events, exposure: rates.rate_ratio(events, exposure, 3, 2),
    "its reference": lambda events, exposure: rates.rate_ratio(3, 2, events, exposure),
    "not_worse": lambda events, exposure: rates.not_worse(events, exposure, 3, 2, 1.5),
    "reference of not_worse": lambda events, exposure: rates.not_worse(3, 2, events, exposure, 1.5),
}


@pytest.fixture(params=list(OF_EVENTS))
def function(request):
    return OF_EVENTS[request.param]


@pytest.mark.parametrize("wrong", NO_COUNTS, ids=str)
def test_no_count(function, wrong):
    with pytest.raises(rates.NotACount):
        function(wrong, 1.0)


@pytest.mark.parametrize("wrong", NO_EXPOSURES, ids=str)
def test_no_exposure(function, wrong):
    with pytest.raises(rates.NotAnExposure):
        function(1, wrong)


def test_events_in_no_time(function):
    with pytest.raises(rates.EventsWithoutExposure):
        function(1, 0)


@pytest.mark.parametrize("level", [0, 1, -0.5, 95, math.nan])
def test_no_level(level):
    for function in (rates.poisson_limits, rates.binomial_limits, rates.shrink):
        with pytest.raises(rates.NotALevel):
            function(1, 2, level)
    with pytest.raises(rates.NotALevel):
        rates.rate_ratio(1, 2, 3, 4, level)
    with pytest.raises(rates.NotALevel):
        rates.not_worse(1, 2, 3, 4, 1.5, level)


@pytest.mark.parametrize(("hits", "trials"), [(3, 2), (-1, 2), (1, -2), (0.5, 2), (1, math.nan), ([1, 3], 2)])
def test_no_share(hits, trials):
    with pytest.raises(rates.NotACount):
        rates.binomial_limits(hits, trials)


def test_exposures_may_be_decimals():
    assert rates.poisson_limits(3, Decimal("2.5")) == rates.poisson_limits(3, 2.5)


def test_every_error_is_one_of_rates():
    errors = [getattr(rates, name) for name in rates.__all__ if name.startswith(("Not", "No", "Events"))]
    assert all(issubclass(error, rates.RateError) for error in errors if issubclass(error, Exception))
    assert len(errors) == 9  # with NotWorse, which is a result
