"""Failure rates: exact limits, comparison, shrinkage, standouts, funnel limits. Each lives in a file of its own."""

from pmcore.engines.counts import (
    EventsWithoutExposure,
    NoExposure,
    NotACount,
    NotALevel,
    NotAMargin,
    NotAnExposure,
    NotAPrior,
    NotAProbability,
    RateError,
)
from pmcore.engines.discoveries import discoveries
from pmcore.engines.poisson_rates import dispersion, poisson_limits
from pmcore.engines.proportions import UnknownMethod, binomial_limits, funnel_limits
from pmcore.engines.rate_comparisons import NotWorse, RateRatio, not_worse, rate_ratio
from pmcore.engines.shrinkage import Shrunk, posterior, shrink
from pmcore.engines.stratified_rates import StratifiedRatio, stratified_ratio

__all__ = [
    "EventsWithoutExposure",
    "NoExposure",
    "NotACount",
    "NotALevel",
    "NotAMargin",
    "NotAPrior",
    "NotAProbability",
    "NotAnExposure",
    "NotWorse",
    "RateError",
    "RateRatio",
    "Shrunk",
    "StratifiedRatio",
    "UnknownMethod",
    "binomial_limits",
    "discoveries",
    "dispersion",
    "funnel_limits",
    "not_worse",
    "poisson_limits",
    "posterior",
    "rate_ratio",
    "shrink",
    "stratified_ratio",
]
