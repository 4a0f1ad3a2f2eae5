"""Which differences stand out: every revision, site and model against the others of its kind, with the share of false
alarms among what is told held at 5 %."""

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.exposure import years
from pmcore.engines.rates import discoveries, rate_ratio
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import FailureKind, StandoutFamily, Subsystem
from pmcore.queries.reliability import observe
from pmcore.queries.reliability_compared import Ratio
from pmcore.queries.reliability_filter import ReliabilityFilter
from pmcore.queries.reliability_names import Names, names_known
from pmcore.queries.reliability_scope import SUBSYSTEMS, Observed

LEVEL = 0.05
ENOUGH = 5  # failures on both sides together; how they fell to the sides plays no part, so the level still holds


@dataclass(frozen=True, slots=True)
class Difference:
    """One group against the others of its kind, of one subsystem: `key` is the id of the revision, site or model, and
    `against` that of the only other one, None where there are several. `ratio`, `upper` None: nothing failed on one
    side. `at_stake`: failures more (or fewer) than at the others' rate, at the cautious end of the interval."""

    family: StandoutFamily
    kind: FailureKind
    subsystem: Subsystem
    device_class: int
    device_model: int
    key: int
    against: int | None
    events: int
    exposure_years: float
    other_events: int
    other_exposure_years: float
    ratio: float | None
    lower: float | None
    upper: float | None
    p_value: float
    at_stake: float
    more_often: bool


@dataclass(frozen=True, slots=True)
class Standout(Difference):
    """`beside`: what else stands out on the same model and subsystem, most of which this one explains."""

    beside: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class StandoutsReport:
    """`compared`: how many comparisons were made, whatever came of them; `too_few`: how many were not, for fewer than
    five failures on both sides together. The standouts with the most at stake first."""

    asked: ReliabilityFilter
    as_of: dt.date
    known: int
    compared: int
    too_few: int
    standouts: tuple[Standout, ...]


def standouts(asked: ReliabilityFilter, *, as_of: dt.date, known: int, today: dt.date, actor: Actor) -> StandoutsReport:
    """A fixed number of statements. Raises AsOfAhead, KnownBeyond, OutsideYourSites."""
    seen = observe(asked, as_of=as_of, known=known, today=today, actor=actor)
    return standouts_of(seen, names_known(known))


def standouts_of(seen: Observed, names: Names) -> StandoutsReport:
    pairs = list(_pairs(seen))
    enough = [pair for pair in pairs if pair.counts[0] + pair.counts[2] >= ENOUGH]
    differences = _differences(enough, names)
    told = discoveries(np.array([each.p_value for each in differences]), LEVEL)
    found = [each for each, stands_out in zip(differences, told, strict=True) if stands_out]
    return StandoutsReport(
        seen.asked, seen.as_of, seen.known, len(enough), len(pairs) - len(enough), tuple(_arranged(found))
    )


@dataclass(frozen=True, slots=True)
class _Counts:
    """Of groups: the kind that each belongs to, its own id, device-years, and failures by subsystem."""

    parent: NDArray[np.int64]
    key: NDArray[np.int64]
    exposure: NDArray[np.float64]
    events: NDArray[np.int64]


_COLUMNS = {
    StandoutFamily.REVISION: ("model", "revision"),
    StandoutFamily.SITE: ("model", "site"),
    StandoutFamily.MODEL: ("device_class", "model"),
}


def _counts(seen: Observed, kind: FailureKind, family: StandoutFamily) -> _Counts:
    """Groups that nobody recorded stand in no comparison."""
    exposed, failed = seen.exposure, seen.of_kind(kind)
    parent, key = (np.concatenate([getattr(exposed, name), getattr(failed, name)]) for name in _COLUMNS[family])
    days = np.concatenate([exposed.days, np.zeros(len(failed.device), np.int64)])
    subsystem = np.concatenate([np.full(len(exposed.device), len(SUBSYSTEMS)), failed.subsystem])
    named = (parent > 0) & (key > 0)
    parent, key, days, subsystem = parent[named], key[named], days[named], subsystem[named]
    _, of_parent = np.unique(parent, return_inverse=True)
    keys, of_key = np.unique(key, return_inverse=True)
    _, first, place = np.unique(of_parent * len(keys) + of_key, return_index=True, return_inverse=True)
    width = len(SUBSYSTEMS) + 1  # the last column holds the stretches of exposure, which are no failures
    cells = np.bincount(place * width + subsystem, minlength=len(first) * width).reshape(-1, width)
    exposure = years(np.bincount(place, weights=days, minlength=len(first)))
    return _Counts(parent[first], key[first], exposure, cells[:, :-1])


@dataclass(frozen=True, slots=True)
class _Pair:
    """One comparison that is to be made: what it is of, and its counts on both sides."""

    family: StandoutFamily
    kind: FailureKind
    subsystem: int
    parent: int
    key: int
    against: int | None
    counts: tuple[int, float, int, float]


def _pairs(seen: Observed) -> Iterator[_Pair]:
    """Each group with exposure against the others of its parent, of every subsystem in which anything failed there."""
    for kind, family in product(seen.kinds, StandoutFamily):
        counts = _counts(seen, kind, family)
        for parent in np.unique(counts.parent):
            among = np.flatnonzero((counts.parent == parent) & (counts.exposure > 0))
            if len(among) > 1:
                for subsystem in np.flatnonzero(counts.events[among].sum(axis=0)):
                    yield from _of_parent(counts, among, int(subsystem), family, kind)


def _of_parent(
    counts: _Counts, among: NDArray[np.intp], subsystem: int, family: StandoutFamily, kind: FailureKind
) -> Iterator[_Pair]:
    """Of two groups only the one that fails more often, for the other would say the same."""
    exposure, events, keys = counts.exposure[among], counts.events[among, subsystem], counts.key[among]
    of_two = len(among) == 2
    for at in [int(np.argmax(events / exposure))] if of_two else range(len(among)):
        against = int(keys[1 - at]) if of_two else None
        others = int(events.sum() - events[at]), float(exposure.sum() - exposure[at])
        counted = (int(events[at]), float(exposure[at]), *others)
        yield _Pair(family, kind, subsystem, int(counts.parent[among[at]]), int(keys[at]), against, counted)


def _differences(pairs: Sequence[_Pair], names: Names) -> list[Difference]:
    if not pairs:
        return []
    columns = np.array([pair.counts for pair in pairs])
    found = rate_ratio(columns[:, 0], columns[:, 1], columns[:, 2], columns[:, 3])
    compared = zip(pairs, found.ratio, found.lower, found.upper, found.p_value, strict=True)
    return [_difference(pair, Ratio.of(*numbers), names) for pair, *numbers in compared]


def _difference(pair: _Pair, found: Ratio, names: Names) -> Difference:
    events, exposure, others, other_exposure = pair.counts
    by_class = pair.family is StandoutFamily.MODEL
    more = events / exposure > others / other_exposure
    return Difference(
        family=pair.family, kind=pair.kind, subsystem=SUBSYSTEMS[pair.subsystem],
        device_class=pair.parent if by_class else names.class_of.get(pair.parent, 0),
        device_model=pair.key if by_class else pair.parent, key=pair.key, against=pair.against,
        events=events, exposure_years=exposure, other_events=others, other_exposure_years=other_exposure,
        ratio=found.ratio, lower=found.lower, upper=found.upper,
        p_value=1.0 if found.p_value is None else found.p_value, more_often=more,
        at_stake=_at_stake(events, found.lower if more else found.upper),
    )  # fmt: skip


def _at_stake(events: int, limit: float | None) -> float:
    return events * abs(1 - 1 / limit) if limit else 0.0


def _arranged(found: Iterable[Difference]) -> list[Standout]:
    """One standout for each model and subsystem: the revision or the site with most at stake, else the model as a
    whole. What fails less often, as the others of a bad one do, stands beside it."""
    heads: dict[tuple[Any, ...], Difference] = {}
    ordered = sorted(found, key=lambda each: (not each.more_often, each.family is StandoutFamily.MODEL, -each.at_stake))
    beside: dict[tuple[Any, ...], list[Difference]] = {}
    for each in ordered:
        cluster = _cluster(each, heads)
        if cluster in heads:
            beside[cluster].append(each)
        else:
            heads[cluster], beside[cluster] = each, []
    arranged = [_standout(head, beside[cluster]) for cluster, head in heads.items()]
    return sorted(arranged, key=lambda each: (not each.more_often, -each.at_stake))


def _cluster(each: Difference, heads: dict[tuple[Any, ...], Difference]) -> tuple[Any, ...]:
    own = (each.kind, each.device_class, each.subsystem, each.device_model)
    if each.more_often or own in heads:
        return own
    return next((cluster for cluster in heads if cluster[:3] == own[:3]), own)


def _standout(head: Difference, beside: list[Difference]) -> Standout:
    return Standout(*[*(getattr(head, each.name) for each in fields(Difference)), tuple(beside)])
