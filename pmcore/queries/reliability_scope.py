"""The days in service and the failures that a question is about, each with the model, revision and place of its day."""

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from pmcore.engines.exposure import Spells, Window, exposed, states_to_spells
from pmcore.engines.failures import Failure, Finding, count_failures
from pmcore.engines.strata import Held, Ids, Pieces, cut
from pmcore.engines.vocabulary import (
    Cause,
    Discovery,
    FailureEvidence,
    FailureKind,
    RateGrouping,
    ServiceStateKind,
    Severity,
    Subsystem,
)
from pmcore.queries.reliability_facts import NEVER, STATES, FindingSaid, ReliabilityFacts, Times
from pmcore.queries.reliability_filter import ReliabilityFilter

SUBSYSTEMS = tuple(Subsystem)
KINDS = (FailureKind.FUNCTIONAL, FailureKind.POTENTIAL)
NO_EVIDENCE, ANOTHER_KIND, SAME_ROOT = "no_evidence_for_intervals", "counted_apart", "same_root"
_SUBSYSTEM_AT = {str(word): at for at, word in enumerate(SUBSYSTEMS)}
_KIND_AT = {str(word): at for at, word in enumerate(KINDS)}
_FIRST_DAY = dt.date.min
_DAY_0 = dt.date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Strata:
    """Columns of one length, ids of what each device was on a day; 0: nobody said."""

    device: Ids
    device_class: Ids
    model: Ids
    revision: Ids
    site: Ids
    area: Ids

    def where(self, chosen: NDArray[np.bool_]) -> Self:
        return type(self)(*(getattr(self, each.name)[chosen] for each in fields(self)))

    def by(self, group_by: RateGrouping) -> Ids:
        column: Ids = getattr(self, group_by.value)
        return column


@dataclass(frozen=True, slots=True)
class Exposed(Strata):
    """Stretches of days in service, in order of devices and days; `days`: how many each has."""

    from_on: Ids
    days: Ids


@dataclass(frozen=True, slots=True)
class Failed(Strata):
    """Failures, as on the day of their discovery. `subsystem` and `kind`: places in SUBSYSTEMS and KINDS (-1: none);
    `finding`: the first of each."""

    subsystem: Ids
    kind: Ids
    discovered_on: Ids
    finding: Ids


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Findings that are no failures of this figure, and why."""

    reason: str
    findings: int


@dataclass(frozen=True, slots=True)
class Observed:
    """`starts_on`, `ends_on`: the first and last day that count; `left_out`: findings at the places and on the devices
    asked for."""

    asked: ReliabilityFilter
    as_of: dt.date
    known: int
    starts_on: dt.date | None
    ends_on: dt.date
    exposure: Exposed
    failures: Failed
    left_out: tuple[LeftOut, ...]

    @property
    def kinds(self) -> tuple[FailureKind, ...]:
        return tuple(kind for kind in KINDS if kind in self.asked.kinds)

    def of_kind(self, kind: FailureKind) -> Failed:
        return self.failures.where(self.failures.kind == KINDS.index(kind))


def observed(
    asked: ReliabilityFilter, facts: ReliabilityFacts, *, as_of: dt.date, known: int, sites: frozenset[int] | None
) -> Observed:
    """From the facts; `sites`: those allowed, None: every site."""
    ends_on = min(asked.ends_on or as_of, as_of)
    pieces = _in_service(facts, asked.starts_on or _FIRST_DAY, ends_on)
    exposure = Exposed(*[*_strata(facts, pieces.device, pieces.from_on), pieces.from_on, pieces.days])
    exposure = exposure.where(_chosen(exposure, asked, sites))
    told = list(_told(facts, asked, as_of))
    failures = _failed(facts, told)
    inside = _chosen(failures, asked, sites) & _in_period(failures, facts, asked.starts_on or _FIRST_DAY, ends_on)
    reasons = [each.left_out for each in told]
    counts = inside & np.array([not reason for reason in reasons], np.bool_)
    left_out = Counter(reason for reason, wanted in zip(reasons, inside, strict=True) if wanted and reason)
    first = min(exposure.from_on.tolist(), default=None)
    return Observed(
        asked, as_of, known, None if first is None else _DAY_0 + dt.timedelta(days=first), ends_on, exposure,
        failures.where(counts), tuple(LeftOut(reason, number) for reason, number in sorted(left_out.items())),
    )  # fmt: skip


# Days in service


def _in_service(facts: ReliabilityFacts, starts_on: dt.date, ends_on: dt.date) -> Pieces:
    """Rule 27: each stretch in the inventory and in service, not on hold, not missing, within the days asked for, cut
    where place or revision changed."""
    nothing = np.zeros(0, np.int64)
    if starts_on > ends_on:
        return Pieces(nothing, nothing, nothing)
    device, known_from = facts.known_from
    serving, missing = _spells(facts)
    unknown = _as_spells(Times(device, np.full(len(device), _number(_FIRST_DAY)), known_from))
    window = Window(starts_on, ends_on)
    found = exposed(serving, [missing, unknown, _as_spells(facts.holds)], window)
    stretches = Pieces(found.device, _days(found.from_on), _days(found.until_on))
    return cut(stretches, [facts.areas, facts.revisions])


def _spells(facts: ReliabilityFacts) -> tuple[Spells, Spells]:
    """In service and missing. A device that nothing is said of is in service, from before its history on."""
    said, (begun, _) = facts.states, facts.known_from
    mine = np.isin(said.device, begun)
    first = np.full(len(begun), _number(_FIRST_DAY))
    device = np.concatenate([begun, said.device[mine]])
    from_on = np.concatenate([first, said.from_on[mine]])
    order = np.concatenate([np.zeros(len(begun), np.int64), said.order[mine]])
    state = np.concatenate([np.full(len(begun), STATES.index(ServiceStateKind.IN_SERVICE)), said.state[mine]])
    seen_on = np.concatenate([first, said.last_seen_on[mine]])
    by = np.lexsort((order, from_on, device))
    words = np.array([str(word) for word in STATES])[state[by]]
    return states_to_spells(device[by], _dates(from_on[by]), words, _dates(seen_on[by]))


def _as_spells(times: Times) -> Spells:
    until_on = _dates(times.until_on.copy())
    until_on[times.until_on >= NEVER] = np.datetime64("NaT")
    filled = times.from_on < times.until_on
    return Spells(times.device[filled], _dates(times.from_on[filled]), until_on[filled])


# Failures


@dataclass(frozen=True, slots=True)
class _Told:
    """A failure, or a finding that is none here; `left_out`: why, empty for a failure that counts."""

    finding: int
    device: int
    subsystem: str
    kind: str
    discovered_on: dt.date
    left_out: str = ""


def _told(facts: ReliabilityFacts, asked: ReliabilityFilter, as_of: dt.date) -> Iterator[_Told]:
    """Rule 26. Of the subsystems and ways of discovery that are asked for."""
    said = {each.finding: each for each in facts.findings}
    count = count_failures([_finding(each) for each in facts.findings], as_of)
    for failure in count.failures:
        first, *others = (said[finding] for finding in failure.findings)
        if _wanted(first, asked):
            yield _as_told(first, failure.kind, _apart(failure, asked))
        yield from (_as_told(each, failure.kind, SAME_ROOT) for each in others if _wanted(each, asked))
    for omitted in count.left_out:
        if _wanted(said[omitted.finding], asked):
            yield _as_told(said[omitted.finding], said[omitted.finding].failure, str(omitted.why))


def _wanted(finding: FindingSaid, asked: ReliabilityFilter) -> bool:
    discovered = asked.discoveries is None or finding.discovery in asked.discoveries
    return discovered and asked.counts(Subsystem(finding.subsystem))


def _as_told(finding: FindingSaid, kind: str, left_out: str) -> _Told:
    return _Told(finding.finding, finding.device, finding.subsystem, kind, finding.discovered_on, left_out)


def _apart(failure: Failure, asked: ReliabilityFilter) -> str:
    """Why a failure is not counted here; empty where it is."""
    if failure.kind not in asked.kinds:
        return ANOTHER_KIND
    no_evidence = asked.evidence is FailureEvidence.FOR_INTERVALS and not failure.interval_evidence
    return NO_EVIDENCE if no_evidence else ""


def _finding(said: FindingSaid) -> Finding:
    return Finding(
        finding=said.finding, device=said.device, subsystem=Subsystem(said.subsystem), root=said.same_root_as,
        cause=Cause(said.cause), kind=FailureKind(said.failure), discovery=Discovery(said.discovery),
        discovered_on=said.discovered_on, severity=Severity(said.severity), released_on=said.released_on,
    )  # fmt: skip


def _failed(facts: ReliabilityFacts, told: Sequence[_Told]) -> Failed:
    rows = [
        (each.device, _SUBSYSTEM_AT[each.subsystem], _KIND_AT.get(each.kind, -1), _number(each.discovered_on),
         each.finding)
        for each in told
    ]  # fmt: skip
    device, subsystem, kind, day, finding = np.array(rows, np.int64).reshape(-1, 5).T
    return Failed(*[*_strata(facts, device, day), subsystem, kind, day, finding])


def _in_period(failures: Failed, facts: ReliabilityFacts, starts_on: dt.date, ends_on: dt.date) -> NDArray[np.bool_]:
    """Inside the days asked for, and not before the device's history is known."""
    device, known_from = facts.known_from
    begun = Held.of(device, np.full(len(device), _number(_FIRST_DAY)), known_from, device)
    day = failures.discovered_on
    there = np.isin(failures.device, device) & (begun.on(failures.device, day) <= day)
    inside: NDArray[np.bool_] = there & (_number(starts_on) <= day) & (day <= _number(ends_on))
    return inside


# What held on a day


def _strata(facts: ReliabilityFacts, device: Ids, day: Ids) -> tuple[Ids, ...]:
    model, area = facts.models.on(device, day), facts.areas.on(device, day)
    return (
        device,
        _mapped(facts.classes, model),
        model,
        facts.revisions.on(device, day),
        _mapped(facts.sites, area),
        area,
    )


def _mapped(of: Mapping[int, int], ids: Ids) -> Ids:
    there, place = np.unique(ids, return_inverse=True)
    found: Ids = np.array([of.get(int(each), 0) for each in there], np.int64)[place.ravel()]
    return found


def _chosen(strata: Strata, asked: ReliabilityFilter, sites: frozenset[int] | None) -> NDArray[np.bool_]:
    chosen: NDArray[np.bool_] = np.ones(len(strata.device), np.bool_)
    for column, wanted in (
        (strata.device_class, asked.device_classes), (strata.model, asked.device_models),
        (strata.revision, asked.revisions), (strata.site, sites), (strata.area, asked.areas),
    ):  # fmt: skip
        if wanted is not None:
            chosen &= np.isin(column, list(wanted))
    return chosen


def _number(day: dt.date) -> int:
    return day.toordinal() - _DAY_0.toordinal()


def _days(dates: Any) -> Ids:
    days: Ids = dates.astype("datetime64[D]").astype(np.int64)
    return days


def _dates(days: Ids) -> Any:
    return days.astype("datetime64[D]")
