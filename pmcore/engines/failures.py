"""What counts as a failure: one per device, subsystem and root cause, from discovery until release; and which repairs
came back.

Functional failures (it could not do its work) and potential ones (found before) are counted apart. What is no failure
of ours is left out, with the reason.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from pmcore.engines.compliance import Share
from pmcore.engines.vocabulary import Cause, Discovery, FailureKind, Severity, Subsystem

OUTSIDE_INTERVAL_EVIDENCE = frozenset({Cause.IMPACT, Cause.ACCESSORY, Cause.ENVIRONMENT})
"""No interval of inspections could have prevented these: they stay among all failures and leave interval evidence."""

_GRAVEST_FIRST = (Severity.COULD_HARM, Severity.STOPS_USE, Severity.LIMITS_USE, Severity.MINOR)


class LeftOut(StrEnum):
    """Why a finding is no failure."""

    USE_ERROR = "use_error"
    NO_FAULT_FOUND = "no_fault_found"
    INCOMING = "found_at_incoming"
    COSMETIC = "cosmetic"
    NOT_A_FAILURE = "not_a_failure"  # a planned replacement, say
    NOT_YET_FOUND = "not_yet_found"


class ReleasedBeforeFound(ValueError):
    """The release that ended a finding was signed before anybody had found it."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something wrong, as it is judged by now. `root`: the finding that it shares its root cause with, None: none
    earlier. `released_on`: the day of the signed release that ended it, None: it has not been released. Days are the
    site's. Raises ReleasedBeforeFound."""

    finding: int
    device: int
    subsystem: Subsystem
    root: int | None
    cause: Cause
    kind: FailureKind
    discovery: Discovery
    discovered_on: date
    severity: Severity
    released_on: date | None

    def __post_init__(self) -> None:
        if self.released_on is not None and self.released_on < self.discovered_on:
            raise ReleasedBeforeFound(f"finding {self.finding} was released before {self.discovered_on}")


@dataclass(frozen=True, slots=True)
class Failure:
    """One failure. `findings` in order of discovery; cause and discovery are the first one's; it is functional if one
    of them is, and as severe as the gravest. `released_on` None: not over yet."""

    device: int
    subsystem: Subsystem
    root: int
    findings: tuple[int, ...]
    kind: FailureKind
    cause: Cause
    discovery: Discovery
    discovered_on: date
    severity: Severity
    released_on: date | None
    interval_evidence: bool


@dataclass(frozen=True, slots=True)
class Omitted:
    """A finding that was left out, and why."""

    finding: int
    why: LeftOut


@dataclass(frozen=True, slots=True)
class FailureCount:
    """Every finding is part of one failure or left out; failures in order of discovery."""

    failures: tuple[Failure, ...]
    left_out: tuple[Omitted, ...]

    @property
    def functional(self) -> int:
        return sum(failure.kind == FailureKind.FUNCTIONAL for failure in self.failures)

    @property
    def potential(self) -> int:
        return sum(failure.kind == FailureKind.POTENTIAL for failure in self.failures)


@dataclass(frozen=True, slots=True)
class Release:
    """A device was given back after something in this subsystem had been put right; `key`: the asker's, a provider."""

    device: int
    subsystem: Subsystem
    released_on: date
    key: int | None = None


@dataclass(frozen=True, slots=True)
class Returned:
    """Repairs that came back ÷ releases old enough to tell; those too young are in neither."""

    share: Share
    came_back: tuple[Release, ...]
    too_young: tuple[Release, ...]


def count_failures(findings: Iterable[Finding], as_of: date) -> FailureCount:
    """The failures that `findings` are, as of a day; releases after it have not happened.

    Findings of one device and subsystem that share a root are one failure until it is released; found again after
    that, it is another. On the day of the release itself a finding belongs to what is released if it was released that
    day with it, else it came afterwards.
    """
    everything = list(findings)
    roots = _roots({each.finding: each.root for each in everything})
    left_out: list[Omitted] = []
    alike: dict[tuple[int, Subsystem, int], list[Finding]] = defaultdict(list)
    for each in everything:
        why = _left_out(each, as_of)
        if why is not None:
            left_out.append(Omitted(each.finding, why))
        else:
            alike[each.device, each.subsystem, roots[each.finding]].append(each)
    failures = [
        _failure(root, members, as_of)
        for (_, _, root), group in alike.items()
        for members in _from_discovery_until_release(group, as_of)
    ]
    return FailureCount(tuple(sorted(failures, key=_in_order)), tuple(sorted(left_out, key=lambda each: each.finding)))


def between(failures: Iterable[Failure], from_on: date, to_on: date) -> list[Failure]:
    """Those discovered from `from_on` to `to_on`, both days included."""
    return [failure for failure in failures if from_on <= failure.discovered_on <= to_on]


def returned(releases: Iterable[Release], failures: Iterable[Failure], as_of: date, within: int = 30) -> Returned:
    """Which repairs came back: a failure of the same device and subsystem by day `within` after the release, that day
    included. Releases less than `within` days before `as_of` are too young to tell.

    A release comes back once at most. A failure found on the day of the release came afterwards, unless it was over
    that same day.
    """
    found: dict[tuple[int, Subsystem], list[Failure]] = defaultdict(list)
    for failure in failures:
        found[failure.device, failure.subsystem].append(failure)
    young: list[Release] = []
    told: list[Release] = []
    for release in releases:
        (young if as_of - release.released_on < timedelta(within) else told).append(release)
    back = [each for each in told if any(_came_of(each, one, within) for one in found[each.device, each.subsystem])]
    return Returned(Share(len(back), len(told)), tuple(back), tuple(young))


def _came_of(release: Release, failure: Failure, within: int) -> bool:
    days = (failure.discovered_on - release.released_on).days
    return days <= within and (days > 0 or (days == 0 and failure.released_on != release.released_on))


def _left_out(finding: Finding, as_of: date) -> LeftOut | None:
    if finding.discovered_on > as_of:
        return LeftOut.NOT_YET_FOUND
    if finding.discovery == Discovery.INCOMING:
        return LeftOut.INCOMING
    if finding.cause == Cause.USE_ERROR:
        return LeftOut.USE_ERROR
    if finding.cause == Cause.NO_FAULT_FOUND:
        return LeftOut.NO_FAULT_FOUND
    if finding.kind == FailureKind.COSMETIC:
        return LeftOut.COSMETIC
    return LeftOut.NOT_A_FAILURE if finding.kind == FailureKind.NONE else None


def _roots(pointers: dict[int, int | None]) -> dict[int, int]:
    """The last finding that each one's pointers lead to; of a ring of pointers, its lowest number."""
    roots: dict[int, int] = {}
    for finding in pointers:
        path = [finding]
        while (following := pointers.get(path[-1])) is not None and following not in path and following not in roots:
            path.append(following)
        if following is None:
            root = path[-1]
        elif following in roots:
            root = roots[following]
        else:
            root = min(path[path.index(following) :])
        roots.update(dict.fromkeys(path, root))
    return roots


def _from_discovery_until_release(group: Sequence[Finding], as_of: date) -> list[list[Finding]]:
    """Findings of one root, divided where a release lies between one and the next."""
    failures: list[list[Finding]] = []
    for each in sorted(group, key=lambda finding: (finding.discovered_on, finding.finding)):
        over_on = _over_on(failures[-1], as_of) if failures else None
        if failures and (over_on is None or each.discovered_on < over_on or each.released_on == over_on):
            failures[-1].append(each)
        else:
            failures.append([each])
    return failures


def _over_on(members: Sequence[Finding], as_of: date) -> date | None:
    """The day on which the last of them was released; None: one has not been."""
    days = [each.released_on for each in members if each.released_on is not None and each.released_on <= as_of]
    return max(days) if len(days) == len(members) else None


def _failure(root: int, members: Sequence[Finding], as_of: date) -> Failure:
    first = members[0]
    is_functional = any(each.kind == FailureKind.FUNCTIONAL for each in members)
    return Failure(
        device=first.device,
        subsystem=first.subsystem,
        root=root,
        findings=tuple(each.finding for each in members),
        kind=FailureKind.FUNCTIONAL if is_functional else FailureKind.POTENTIAL,
        cause=first.cause,
        discovery=first.discovery,
        discovered_on=first.discovered_on,
        severity=min((each.severity for each in members), key=_GRAVEST_FIRST.index),
        released_on=_over_on(members, as_of),
        interval_evidence=first.cause not in OUTSIDE_INTERVAL_EVIDENCE,
    )


def _in_order(failure: Failure) -> tuple[date, int]:
    return failure.discovered_on, failure.findings[0]
