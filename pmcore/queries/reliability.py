"""Failure rates: failures per device-year by subsystem, model, revision, site or area, with exact limits and a value
pulled towards the whole. One function answers page, file and interface alike."""

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.exposure import years
from pmcore.engines.rates import poisson_limits, shrink
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import FailureKind, RateGrouping
from pmcore.queries.asked import check_asked, sites_allowed
from pmcore.queries.reliability_facts import reliability_facts
from pmcore.queries.reliability_filter import ReliabilityFilter
from pmcore.queries.reliability_names import Names, names_known
from pmcore.queries.reliability_scope import SUBSYSTEMS, LeftOut, Observed, observed


@dataclass(frozen=True, slots=True)
class RateGroup:
    """`key`: a subsystem's word, or the id of a model, revision, site or area (0: nobody said); `rate`: failures per
    device-year, with two-sided 95 % limits; `shrunk`: the rate pulled towards those of the other groups. None: there
    is no exposure, so there is no rate."""

    kind: FailureKind
    key: int | str
    label: str
    events: int
    exposure_years: float
    rate: float | None
    lower: float | None
    upper: float | None
    shrunk: float | None


@dataclass(frozen=True, slots=True)
class ReliabilityReport:
    """`starts_on`, `ends_on`: the days that are counted, both included; None: nothing was observed. `devices`: how many
    earned exposure; `groups`: of each kind of failure, those with exposure or failures."""

    asked: ReliabilityFilter
    group_by: RateGrouping
    as_of: dt.date
    known: int
    starts_on: dt.date | None
    ends_on: dt.date
    devices: int
    exposure_years: float
    events: int
    groups: tuple[RateGroup, ...]
    left_out: tuple[LeftOut, ...]


def failure_rates(
    asked: ReliabilityFilter, *, group_by: RateGrouping, as_of: dt.date, known: int, today: dt.date, actor: Actor
) -> ReliabilityReport:
    """The rates as of a day, as known at a size of the history: a fixed number of statements.

    Raises AsOfAhead, KnownBeyond, OutsideYourSites.
    """
    seen = observe(asked, as_of=as_of, known=known, today=today, actor=actor)
    return report_of(seen, names_known(known), group_by)


def observe(asked: ReliabilityFilter, *, as_of: dt.date, known: int, today: dt.date, actor: Actor) -> Observed:
    """The exposure and the failures that the question is about. Raises AsOfAhead, KnownBeyond, OutsideYourSites."""
    check_asked(as_of=as_of, known=known, today=today)
    sites = sites_allowed(actor, asked.sites)
    return observed(asked, reliability_facts(as_of=as_of, known=known), as_of=as_of, known=known, sites=sites)


def report_of(seen: Observed, names: Names, group_by: RateGrouping) -> ReliabilityReport:
    days = seen.exposure.days
    return ReliabilityReport(
        asked=seen.asked,
        group_by=group_by,
        as_of=seen.as_of,
        known=seen.known,
        starts_on=seen.starts_on,
        ends_on=seen.ends_on,
        devices=len(np.unique(seen.exposure.device)),
        exposure_years=float(years(days.sum())),
        events=len(seen.failures.device),
        groups=tuple(group for kind in seen.kinds for group in _groups(seen, kind, names, group_by)),
        left_out=seen.left_out,
    )


def _groups(seen: Observed, kind: FailureKind, names: Names, group_by: RateGrouping) -> list[RateGroup]:
    """The most frequent first; what has no exposure last."""
    keys, events, exposure = counts_by(seen, kind, group_by)
    rated = np.flatnonzero(exposure > 0)
    estimates: dict[int, tuple[float, ...]] = {}
    if len(rated):
        lower, upper = poisson_limits(events[rated], exposure[rated])
        shrunk = shrink(events[rated], exposure[rated]).mean
        rates = events[rated] / exposure[rated]
        columns = zip(rates.tolist(), lower.tolist(), upper.tolist(), shrunk.tolist(), strict=True)
        estimates = dict(zip(rated.tolist(), columns, strict=True))
    nothing = (None, None, None, None)
    groups = [
        RateGroup(kind, key, names.of(group_by, key), int(events[at]), float(exposure[at]), *estimates.get(at, nothing))
        for at, key in enumerate(keys)
    ]
    return sorted(groups, key=lambda each: (each.rate is None, -(each.rate or 0.0), each.label))


def counts_by(
    seen: Observed, kind: FailureKind, group_by: RateGrouping
) -> tuple[list[int | str], NDArray[np.int64], NDArray[np.float64]]:
    """Keys, failures and device-years of the groups. Every subsystem shares the whole exposure."""
    failures = seen.of_kind(kind)
    if group_by is RateGrouping.SUBSYSTEM:
        asked = [at for at, word in enumerate(SUBSYSTEMS) if seen.asked.counts(word)]
        events = np.bincount(failures.subsystem, minlength=len(SUBSYSTEMS))[asked]
        exposure = np.full(len(asked), years(seen.exposure.days.sum()))
        return [str(SUBSYSTEMS[at]) for at in asked], events, exposure
    exposed, failed = seen.exposure.by(group_by), failures.by(group_by)
    keys = np.union1d(exposed, failed)
    events = np.bincount(np.searchsorted(keys, failed), minlength=len(keys))
    days = np.bincount(np.searchsorted(keys, exposed), weights=seen.exposure.days, minlength=len(keys))
    return [int(key) for key in keys], events, years(days)
