"""Fault reports, findings, holds and releases, page by page. Each has a fixed number of statements. A page raises
KnownBeyond and OutsideYourSites; sites are those at which the devices stand on the day asked for."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import OuterRef, Subquery

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import (
    Cause,
    Discovery,
    FailureKind,
    HoldReason,
    Role,
    Severity,
    Subsystem,
)
from pmcore.models import (
    Area,
    Entry,
    FaultDetails,
    FindingDetails,
    HoldDetails,
    Placement,
    ReleasedHold,
    ReleaseStatement,
)
from pmcore.models.base import RecordedQuerySet
from pmcore.queries.asked import check_known, sites_allowed
from pmcore.queries.assigned import names_of
from pmcore.queries.device_labels import DeviceLabel, labels_of
from pmcore.queries.holds import lifted_by
from pmcore.queries.pages import Page


@dataclass(frozen=True, slots=True)
class FaultsFilter:
    """None: all of them. `ids`: of the reports, findings, holds or releases themselves. `since`, `until`: the days on
    which they were seen, discovered, placed or signed. `unsettled`: reports that no finding answers, holds in force.
    `stood_since`, `stood_until`: holds that stood on one of these days; the day of its release is a hold's last."""

    sites: frozenset[int] | None = None
    devices: frozenset[int] | None = None
    ids: frozenset[int] | None = None
    since: dt.date | None = None
    until: dt.date | None = None
    unsettled: bool | None = None
    subsystems: frozenset[Subsystem] | None = None
    severities: frozenset[Severity] | None = None
    reasons: frozenset[HoldReason] | None = None
    stood_since: dt.date | None = None
    stood_until: dt.date | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """Who asks what, as of which day, as known at which size, and where the page begins."""

    what: FaultsFilter
    as_of: dt.date
    known: int
    actor: Actor
    after: int | None = None
    limit: int = 100


@dataclass(frozen=True, slots=True)
class FaultReportListed:
    """`could_harm`: whoever reported it said so, and it was held. `findings`: those that answer it; none: it is open.
    `account` null: the words were redacted."""

    fault_report: int
    entry: int
    device: DeviceLabel
    seen_at: dt.datetime
    seen_on: dt.date
    area: int | None
    reported_by: int | None
    reported_by_name: str
    during_use: bool | None
    could_harm: bool
    account: str | None
    findings: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class FindingListed:
    """What is thought of it on the day, since `from_on`. `mode` null: the words were redacted."""

    finding: int
    entry: int
    device: DeviceLabel
    discovered_on: dt.date
    from_on: dt.date
    discovery: Discovery
    subsystem: Subsystem
    cause: Cause
    failure: FailureKind
    severity: Severity
    inspection: int | None
    step: str | None
    fault_report: int | None
    position: int | None
    area: int | None
    same_root_as: int | None
    training_on: dt.date | None
    second_person: int | None
    mode: str | None
    note: str | None


@dataclass(frozen=True, slots=True)
class HoldListed:
    """`placed_on`: its first day; `released_on`: the day from which it counts no more, and the release that says so."""

    hold: int
    entry: int
    device: DeviceLabel
    reason: HoldReason
    placed_on: dt.date
    finding: int | None
    placed_by: int | None
    placed_by_name: str
    note: str | None
    released_on: dt.date | None
    release: int | None


@dataclass(frozen=True, slots=True)
class ReleaseListed:
    """`holds`: those that it lifts. `restriction`: what remains."""

    release: int
    entry: int
    device: DeviceLabel
    signed_at: dt.datetime
    signed_on: dt.date
    signed_by: int
    signed_by_name: str
    inspection: int | None
    restriction: str | None
    note: str | None
    holds: tuple[int, ...]


_CODES = (Discovery, Subsystem, Cause, FailureKind, Severity)


def fault_reports_page(asked: Asked) -> Page[FaultReportListed]:
    rows = _asked_of(asked, FaultDetails.objects.known(asked.known), "fault_report", "seen_on")
    answered = FindingDetails.objects.known(asked.known).filter(discovered_on__lte=asked.as_of)
    answered = answered.filter(fault_report__isnull=False)
    if asked.what.unsettled is not None:
        named = {"fault_report__in": answered.values("fault_report")}
        rows = rows.exclude(**named) if asked.what.unsettled else rows.filter(**named)
    columns = ("seen_at", "seen_on", "area_id", "reported_by_id", "during_use", "account__words")
    found = _page(asked, rows, "fault_report", columns)
    findings = _gathered(
        answered.filter(fault_report__among=[row[0] for row in found]).values_list("fault_report_id", "finding_id")
    )
    opened = HoldDetails.objects.filter(entry__in=[row[1] for row in found], reason=HoldReason.FAULT_REPORTED)
    grave = set(opened.values_list("entry", flat=True))
    tell = _Tell(asked, [row[2] for row in found], [row[6] for row in found])
    records = [
        FaultReportListed(
            key,
            entry,
            tell.label(device),
            at,
            on,
            area,
            person,
            tell.name(person),
            in_use,
            entry in grave,
            account,
            findings[key],
        )
        for key, entry, device, at, on, area, person, in_use, account in found
    ]
    return Page.of(records, asked.limit, lambda each: each.fault_report)


def findings_page(asked: Asked) -> Page[FindingListed]:
    """Of a provider, those that they made themselves."""
    known = asked.known
    rows = _asked_of(asked, FindingDetails.objects.known(known).on(asked.as_of), "finding", "discovered_on")
    if asked.what.subsystems is not None:
        rows = rows.filter(subsystem__in=asked.what.subsystems)
    if asked.what.severities is not None:
        rows = rows.filter(severity__in=asked.what.severities)
    if asked.actor.role is Role.PROVIDER:
        rows = rows.filter(finding__entry__in=Entry.objects.filter(person=asked.actor.person or 0).values("seq"))
    columns = (
        "discovered_on", "from_on", "discovery", "subsystem", "cause", "failure", "severity", "inspection_id", "step",
        "fault_report_id", "position_id", "area_id", "same_root_as_id", "training_on", "second_person_id",
        "mode__words", "note__words",
    )  # fmt: skip
    found = _page(asked, rows, "finding", columns)
    tell = _Tell(asked, [row[2] for row in found], [])
    records = []
    for key, entry, device, discovered_on, from_on, *rest in found:
        codes: list[Any] = [word_of(word) for word_of, word in zip(_CODES, rest, strict=False)]
        others = rest[len(_CODES) :]
        records.append(FindingListed(key, entry, tell.label(device), discovered_on, from_on, *codes, *others))
    return Page.of(records, asked.limit, lambda each: each.finding)


def holds_page(asked: Asked) -> Page[HoldListed]:
    facts = HoldDetails.objects.known(asked.known)
    rows = _asked_of(asked, facts.on(asked.as_of), "hold", "from_on")
    lifted = lifted_by(asked.as_of, asked.known)
    if asked.what.unsettled is not None:
        named = {"hold__in": lifted.values("hold")}
        rows = rows.exclude(**named) if asked.what.unsettled else rows.filter(**named)
    if asked.what.reasons is not None:
        rows = rows.filter(reason__in=asked.what.reasons)
    if asked.what.stood_since is not None:
        rows = rows.exclude(hold__in=lifted.filter(statement__signed_on__lt=asked.what.stood_since).values("hold"))
    if asked.what.stood_until is not None:
        rows = rows.filter(hold__in=facts.filter(from_on__lte=asked.what.stood_until).values("hold"))
    found = _page(asked, rows, "hold", ("reason", "finding_id", "placed_by_id", "note__words"))
    keys = [row[0] for row in found]
    first = dict(facts.filter(hold__among=keys).order_by("-from_on").values_list("hold_id", "from_on"))
    columns = ("hold_id", "statement__signed_on", "statement__release_id")
    released = {hold: rest for hold, *rest in lifted.filter(hold__among=keys).values_list(*columns)}
    tell = _Tell(asked, [row[2] for row in found], [row[5] for row in found])
    records = [
        HoldListed(
            key, entry, tell.label(device), HoldReason(reason), first[key], finding, person, tell.name(person), note,
            *released.get(key, (None, None)),
        )
        for key, entry, device, reason, finding, person, note in found
    ]  # fmt: skip
    return Page.of(records, asked.limit, lambda each: each.hold)


def releases_page(asked: Asked) -> Page[ReleaseListed]:
    rows = _asked_of(asked, ReleaseStatement.objects.known(asked.known), "release", "signed_on")
    columns = ("signed_at", "signed_on", "signed_by_id", "inspection_id", "restriction__words", "note__words", "id")
    found = _page(asked, rows, "release", columns)
    parts = ReleasedHold.objects.known(asked.known).filter(statement__among=[row[-1] for row in found])
    holds = _gathered(parts.values_list("statement_id", "hold_id"))
    tell = _Tell(asked, [row[2] for row in found], [row[5] for row in found])
    records = [
        ReleaseListed(
            key, entry, tell.label(device), at, on, person, tell.name(person), inspection, restriction, note,
            holds[statement],
        )
        for key, entry, device, at, on, person, inspection, restriction, note, statement in found
    ]  # fmt: skip
    return Page.of(records, asked.limit, lambda each: each.release)


def _asked_of(asked: Asked, rows: RecordedQuerySet[Any], thing: str, day: str) -> RecordedQuerySet[Any]:
    """Those that the filter names, on devices that stand at the actor's sites."""
    check_known(asked.known)
    what, sites = asked.what, sites_allowed(asked.actor, asked.what.sites)
    rows = rows.filter(**{f"{day}__lte": asked.as_of})
    if what.since is not None:
        rows = rows.filter(**{f"{day}__gte": what.since})
    if what.until is not None:
        rows = rows.filter(**{f"{day}__lte": what.until})
    if what.ids is not None:
        rows = rows.filter(**{f"{thing}__among": what.ids})
    if what.devices is not None:
        rows = rows.filter(**{f"{thing}__device__among": what.devices})
    if sites is None:
        return rows
    stood = Placement.objects.known(asked.known).filter(device=OuterRef(f"{thing}__device"), from_on__lte=asked.as_of)
    here = Area.objects.filter(site__in=sites).values("pk")
    return rows.annotate(stands_in=Subquery(stood.order_by("-from_on", "-id").values("area")[:1])).filter(
        stands_in__in=here
    )


def _page(asked: Asked, rows: RecordedQuerySet[Any], thing: str, columns: Iterable[str]) -> list[tuple[Any, ...]]:
    """Thing, entry and device, then the columns; one row more than the page has where it goes on."""
    rows = rows.filter(**{f"{thing}__gt": asked.after or 0}).order_by(thing)
    return list(rows.values_list(f"{thing}_id", "entry", f"{thing}__device_id", *columns)[: asked.limit + 1])


def _gathered(pairs: Iterable[tuple[int, int]]) -> dict[int, tuple[int, ...]]:
    found: dict[int, list[int]] = defaultdict(list)
    for key, value in pairs:
        found[key].append(value)
    gathered: dict[int, tuple[int, ...]] = defaultdict(tuple)
    gathered.update((key, tuple(sorted(set(values)))) for key, values in found.items())
    return gathered


class _Tell:
    """What devices and people are called."""

    def __init__(self, asked: Asked, devices: Iterable[int], people: Iterable[int | None]) -> None:
        self._labels = labels_of(set(devices), on=asked.as_of, known=asked.known)
        self._names = names_of({person for person in people if person is not None}, asked.known)

    def label(self, device: int) -> DeviceLabel:
        return self._labels[device]

    def name(self, person: int | None) -> str:
        return "" if person is None else self._names.get(person, "")
