"""Exact limits of a million Poisson cells beside scipy's chi-squared quantiles, and the exposure of a hundred thousand
devices: python -m tests.benchmarks.bench_rates

Limits and quantiles are run in turn on the same cells, as a page of many small groups has them; medians, and the ratio.
The table of limits is made anew in every round, so that nothing of an earlier one is left.
"""

import argparse
import platform
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from scipy.stats import chi2

from pmcore.engines import poisson_rates
from pmcore.engines.exposure import Spells, ValuedSpells, Window, days_by_value, days_of, exposed
from pmcore.engines.rates import poisson_limits, rate_ratio, shrink
from tests.benchmarks.record import Line

ROUNDS = 5
SEED = 20261031
LEVEL = 0.95

Limits = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Measured:
    lines: list[Line]
    ours: Limits
    theirs: Limits


def cells(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Failures in device-years: most cells small, a few large."""
    rng = np.random.default_rng(SEED)
    exposure = rng.uniform(0.5, 60, count)
    return rng.poisson(rng.gamma(0.8, 0.25, count) * exposure), exposure


def by_table(events: np.ndarray, exposure: np.ndarray) -> Limits:
    poisson_rates._table.cache_clear()
    return poisson_limits(events, exposure, LEVEL)


def by_chi_squared(events: np.ndarray, exposure: np.ndarray) -> Limits:
    half = (1 - LEVEL) / 2
    lower = np.where(events > 0, chi2.ppf(half, np.maximum(2 * events, 1)), 0) / (2 * exposure)
    return lower, chi2.ppf(1 - half, 2 * events + 2) / (2 * exposure)


def timed(work: Callable[[], Limits]) -> tuple[float, Limits]:
    began = time.perf_counter()
    result = work()
    return time.perf_counter() - began, result


def measure(count: int, rounds: int = ROUNDS) -> Measured:
    events, exposure = cells(count)
    ours, theirs = [], []
    for _ in range(rounds):
        seconds, limits = timed(lambda: by_table(events, exposure))
        ours.append(seconds)
        seconds, peer = timed(lambda: by_chi_squared(events, exposure))
        theirs.append(seconds)
    here, there = statistics.median(ours), statistics.median(theirs)
    lines = [
        Line(f"limits of {count:,} Poisson cells", 1_000 * here, "ms", "scipy.stats.chi2", there / here),
        Line("  scipy.stats.chi2", 1_000 * there, "ms"),
        *measure_groups(min(count, 10_000)),
    ]
    return Measured(lines, limits, peer)


def measure_groups(count: int) -> list[Line]:
    """What else a page of as many groups needs."""
    events, exposure = cells(count)
    others, other_exposure = events.sum() - events, exposure.sum() - exposure
    began = time.perf_counter()
    rate_ratio(events, exposure, others, other_exposure)
    compared = time.perf_counter()
    shrink(events, exposure)
    return [
        Line(f"{count:,} groups each against the rest", 1_000 * (compared - began), "ms"),
        Line(f"{count:,} groups shrunk", 1_000 * (time.perf_counter() - compared), "ms"),
    ]


def measure_exposure(devices: int) -> list[Line]:
    """Three years of devices that come at some time and stay, with four holds and two searches each, which overlap, and
    three areas in turn."""
    rng = np.random.default_rng(SEED)
    begin, lasts = np.datetime64("2023-11-01"), np.datetime64("NaT")
    numbers = np.arange(devices)
    serving = Spells(numbers, begin + rng.integers(-400, 300, devices), np.full(devices, lasts))
    away = [_spells(rng, devices * each, devices, longest) for each, longest in ((4, 60), (2, 90))]
    moves = np.sort(begin + rng.integers(-400, 1_095, (devices, 3)), axis=1)
    moved = np.append(moves[:, 1:], np.full((devices, 1), lasts), axis=1)
    areas = ValuedSpells(Spells(numbers.repeat(3), moves.ravel(), moved.ravel()), rng.integers(0, 40, devices * 3))
    window = Window(begin.item(), as_of=(begin + 1_095).item())
    began = time.perf_counter()
    stretches = exposed(serving, away, window)
    days = days_of(stretches, numbers)
    told = time.perf_counter()
    days_by_value(stretches, areas)
    return [
        Line(f"exposure of {devices:,} devices", 1_000 * (told - began), "ms", f"{int(days.sum()):,} days"),
        Line("  split by area", 1_000 * (time.perf_counter() - told), "ms"),
    ]


def _spells(rng: np.random.Generator, count: int, devices: int, longest: int) -> Spells:
    begins = np.datetime64("2023-11-01") + rng.integers(-100, 1_095, count)
    return Spells(rng.integers(0, devices, count), begins, begins + rng.integers(0, longest, count))


def main(arguments: Sequence[str] | None = None) -> list[Line]:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cells", type=int, default=1_000_000)
    parser.add_argument("--devices", type=int, default=100_000)
    asked = parser.parse_args(arguments)
    print(f"medians of {ROUNDS} rounds in turn, seed {SEED}")
    print(
        f"Python {platform.python_version()}, numpy {np.__version__}, scipy {scipy.__version__}, {platform.machine()}"
    )
    lines = [*measure(asked.cells).lines, *measure_exposure(asked.devices)]
    for line in lines:
        print(line)
    return lines


if __name__ == "__main__":
    sys.exit(0 if main() else 1)
