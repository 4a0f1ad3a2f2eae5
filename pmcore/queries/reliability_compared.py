"""Two groups against each other: the ratio of their failure rates, its exact limits, and how likely such a difference
is by chance alone."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.exposure import years
from pmcore.engines.rates import rate_ratio, stratified_ratio
from pmcore.engines.records import Actor
from pmcore.engines.strata import Ids
from pmcore.engines.vocabulary import FailureKind, RateGrouping
from pmcore.queries.parameters import BadParameters
from pmcore.queries.reliability import counts_by, observe
from pmcore.queries.reliability_filter import ReliabilityFilter
from pmcore.queries.reliability_names import Names, names_known
from pmcore.queries.reliability_scope import Observed

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Side:
    """Failures and device-years of one of the two. `key` None: everything else that the question is about."""

    key: int | str | None
    label: str
    events: int
    exposure_years: float

    @property
    def rate(self) -> float | None:
        return self.events / self.exposure_years if self.exposure_years > 0 else None


@dataclass(frozen=True, slots=True)
class Ratio:
    """Rate of the group ÷ rate of the reference, two-sided 95 % limits and the exact p-value. None: not to be had,
    because nothing failed on one side (`ratio`, one limit), or on neither, or there is no exposure (all)."""

    ratio: float | None
    lower: float | None
    upper: float | None
    p_value: float | None

    @classmethod
    def of(cls, ratio: float, lower: float, upper: float, p_value: float) -> Self:
        """From what the engine says, which knows infinite ratios and ones that are no number."""
        if np.isnan(ratio):
            return cls(None, None, None, None)
        return cls(*(float(value) if np.isfinite(value) else None for value in (ratio, lower, upper, p_value)))


@dataclass(frozen=True, slots=True)
class Within:
    """The ratio within each of the `strata` (`by`: what they are), by Mantel and Haenszel. `opposed`: it points in the
    other direction than the crude one."""

    by: str
    strata: int
    ratio: float | None
    lower: float | None
    upper: float | None
    opposed: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """`within` None: there are no two strata in which both were watched."""

    kind: FailureKind
    group: Side
    reference: Side
    crude: Ratio
    within: Within | None


@dataclass(frozen=True, slots=True)
class Pair:
    """Which two groups; `reference` None: all others that the filter leaves."""

    group_by: RateGrouping
    group: int | str
    reference: int | str | None = None


@dataclass(frozen=True, slots=True)
class ComparisonReport:
    """One comparison for each kind of failure asked for."""

    asked: ReliabilityFilter
    pair: Pair
    as_of: dt.date
    known: int
    comparisons: tuple[Comparison, ...]


def compare(
    asked: ReliabilityFilter, pair: Pair, *, as_of: dt.date, known: int, today: dt.date, actor: Actor
) -> ComparisonReport:
    """A fixed number of statements. Raises BadParameters for a group that there is not, AsOfAhead, KnownBeyond,
    OutsideYourSites."""
    seen = observe(asked, as_of=as_of, known=known, today=today, actor=actor)
    return comparison_of(seen, pair, names_known(known))


def comparison_of(seen: Observed, pair: Pair, names: Names) -> ComparisonReport:
    _check(pair, names)
    found = tuple(_compared(seen, kind, pair, names) for kind in seen.kinds)
    return ComparisonReport(seen.asked, pair, seen.as_of, seen.known, found)


def _check(pair: Pair, names: Names) -> None:
    errors = {}
    for name, key in (("group", pair.group), ("reference", pair.reference)):
        if isinstance(key, int) and key and not names.known_in(pair.group_by, key):
            errors[name] = f"There is no {pair.group_by} {key}."
    if pair.group == pair.reference:
        errors["reference"] = "It is compared with itself; choose another."
    if errors:
        raise BadParameters(errors)


def _compared(seen: Observed, kind: FailureKind, pair: Pair, names: Names) -> Comparison:
    keys, events, exposure = counts_by(seen, kind, pair.group_by)
    counts = {key: (int(n), float(t)) for key, n, t in zip(keys, events, exposure, strict=True)}
    group = Side(pair.group, names.of(pair.group_by, pair.group), *counts.get(pair.group, (0, 0.0)))
    if pair.reference is None:
        reference = Side(None, "all others", *_others(pair, counts))
    else:
        label = names.of(pair.group_by, pair.reference)
        reference = Side(pair.reference, label, *counts.get(pair.reference, (0, 0.0)))
    return Comparison(kind, group, reference, _ratio(group, reference), _within(seen, kind, pair))


def _others(pair: Pair, counts: Mapping[int | str, tuple[int, float]]) -> tuple[int, float]:
    """Subsystems all have the same exposure, so theirs is not added up."""
    others = [count for key, count in counts.items() if key != pair.group]
    exposures = [years for _, years in others]
    together = max(exposures, default=0.0) if pair.group_by is RateGrouping.SUBSYSTEM else sum(exposures)
    return sum(events for events, _ in others), together


def _ratio(group: Side, reference: Side) -> Ratio:
    if not group.exposure_years or not reference.exposure_years:
        return Ratio(None, None, None, None)
    found = rate_ratio(group.events, group.exposure_years, reference.events, reference.exposure_years)
    return Ratio.of(*(float(each) for each in (found.ratio, found.lower, found.upper, found.p_value)))


_STRATA = {
    RateGrouping.MODEL: ("site", ("site",)),
    RateGrouping.REVISION: ("site", ("site",)),
    RateGrouping.SITE: ("model and revision", ("model", "revision")),
    RateGrouping.AREA: ("model and revision", ("model", "revision")),
}


def _within(seen: Observed, kind: FailureKind, pair: Pair) -> Within | None:
    """Revisions and models within sites; sites and areas within what stands there. Subsystems share their exposure."""
    if pair.group_by not in _STRATA:
        return None
    by, columns = _STRATA[pair.group_by]
    (events, exposure), (others, other_exposure) = _in_strata(seen, kind, pair, columns)
    told = ((events == 0) | (exposure > 0)) & ((others == 0) | (other_exposure > 0))
    watched = told & (exposure > 0) & (other_exposure > 0)
    if watched.sum() < 2:
        return None
    found = stratified_ratio(events[told], exposure[told], others[told], other_exposure[told])
    ratio, lower, upper = (
        float(each) if np.isfinite(each) else None for each in (found.ratio, found.lower, found.upper)
    )
    return Within(by, int(watched.sum()), ratio, lower, upper, found.opposed)


def _in_strata(seen: Observed, kind: FailureKind, pair: Pair, columns: Sequence[str]) -> list[tuple[Ids, Floats]]:
    """Failures and device-years of the group and of the reference, stratum by stratum."""
    exposed, failed = seen.exposure, seen.of_kind(kind)
    together = [np.concatenate([getattr(exposed, name), getattr(failed, name)]) for name in columns]
    strata, place = np.unique(np.stack(together, 1), axis=0, return_inverse=True)
    of_exposed, of_failed = np.split(place.ravel(), [len(exposed.device)])
    found = []
    for key in (pair.group, pair.reference):
        here, there = (_of_side(column.by(pair.group_by), pair, key) for column in (exposed, failed))
        days = np.bincount(of_exposed[here], exposed.days[here], minlength=len(strata))
        found.append((np.bincount(of_failed[there], minlength=len(strata)), years(days)))
    return found


def _of_side(column: Ids, pair: Pair, key: int | str | None) -> NDArray[np.bool_]:
    return np.asarray(column != pair.group if key is None else column == key)
