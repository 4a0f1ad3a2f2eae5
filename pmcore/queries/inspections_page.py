"""What was inspected, page by page, and one inspection with its readings."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import InspectionKind, Outcome, Role
from pmcore.models import InspectionSession, ProcedureDetails, Reading
from pmcore.models.base import RecordedQuerySet
from pmcore.queries.asked import check_known, sites_allowed
from pmcore.queries.assigned import names_of
from pmcore.queries.device_labels import DeviceLabel, labels_of
from pmcore.queries.inspections import completed


@dataclass(frozen=True, slots=True)
class InspectionsFilter:
    """None: all of them. `performed_from`, `performed_to`: days of any session. Sites are those where it was done."""

    sites: frozenset[int] | None = None
    devices: frozenset[int] | None = None
    procedures: frozenset[int] | None = None
    kinds: frozenset[InspectionKind] | None = None
    performed_from: dt.date | None = None
    performed_to: dt.date | None = None


@dataclass(frozen=True, slots=True)
class SessionListed:
    """One stretch of work. `person`: null where nobody of the record did it."""

    session: int
    entry: int
    version: int
    site: int
    person: int | None
    person_name: str
    performed_on: dt.date
    started_at: dt.datetime
    ended_at: dt.datetime


@dataclass(frozen=True, slots=True)
class InspectionListed:
    """`completed_on`: the day of its last mandatory step; null: something is still to be done. `failed`: some step
    failed in the end."""

    inspection: int
    device: DeviceLabel
    kind: InspectionKind
    procedure: int
    procedure_name: str
    completed_on: dt.date | None
    failed: bool
    sessions: tuple[SessionListed, ...]


@dataclass(frozen=True, slots=True)
class InspectionsPage:
    records: tuple[InspectionListed, ...]
    after: int | None


@dataclass(frozen=True, slots=True)
class ReadingTold:
    """How a step was answered. Numbers are decimal strings."""

    session: int
    step: str
    outcome: Outcome
    energy_source: str | None
    as_found: str | None
    as_found_second: str | None
    as_left: str | None
    as_left_second: str | None
    unit: str | None
    instrument: int | None


@dataclass(frozen=True, slots=True)
class InspectionTold:
    inspection: InspectionListed
    readings: tuple[ReadingTold, ...]


def inspections_page(
    asked: InspectionsFilter, *, as_of: dt.date, known: int, actor: Actor, after: int | None, limit: int
) -> InspectionsPage:
    """Those with a session by the day, in order of ids; of a provider their own. A fixed number of statements. Raises
    KnownBeyond, OutsideYourSites."""
    check_known(known)
    sessions = _seen(InspectionSession.objects.known(known), sites_allowed(actor, asked.sites), as_of, actor)
    if asked.devices is not None:
        sessions = sessions.filter(inspection__device__among=asked.devices)
    if asked.procedures is not None:
        sessions = sessions.filter(version__procedure__among=asked.procedures)
    if asked.kinds is not None:
        sessions = sessions.filter(kind__in=asked.kinds)
    if asked.performed_from is not None:
        sessions = sessions.filter(performed_on__gte=asked.performed_from)
    if asked.performed_to is not None:
        sessions = sessions.filter(performed_on__lte=asked.performed_to)
    ids = sessions.filter(inspection__gt=after or 0).order_by("inspection").values_list("inspection_id", flat=True)
    found = list(ids.distinct()[: limit + 1])
    records = _told(found[:limit], as_of, known)
    return InspectionsPage(records, found[limit - 1] if len(found) > limit else None)


def one_inspection(inspection: int, *, as_of: dt.date, known: int, actor: Actor) -> InspectionTold | None:
    """None: there is none, or not for the actor. Raises KnownBeyond."""
    check_known(known)
    sessions = _seen(InspectionSession.objects.known(known), sites_allowed(actor, None), as_of, actor)
    if not sessions.filter(inspection=inspection).exists():
        return None
    rows = Reading.objects.known(known).filter(
        session__inspection=inspection, session__performed_on__lte=as_of
    ).order_by("session", "id")  # fmt: skip
    columns = (
        "session_id", "step", "outcome", "energy_source", "as_found", "as_found_second", "as_left", "as_left_second",
        "unit", "instrument_id",
    )  # fmt: skip
    readings = tuple(
        ReadingTold(session, step, Outcome(outcome), *rest)
        for session, step, outcome, *rest in rows.values_list(*columns)
    )
    return InspectionTold(_told([inspection], as_of, known)[0], readings)


def inspection_of_entry(entry: int) -> int:
    """The inspection whose session the entry wrote."""
    found = InspectionSession.objects.filter(entry=entry).values_list("inspection_id", flat=True).first()
    assert found is not None
    return int(found)


def _seen(
    sessions: RecordedQuerySet[Any], sites: frozenset[int] | None, as_of: dt.date, actor: Actor
) -> RecordedQuerySet[Any]:
    sessions = sessions.filter(performed_on__lte=as_of)
    if sites is not None:
        sessions = sessions.filter(site__among=sites)
    return sessions.filter(person=actor.person) if actor.role is Role.PROVIDER else sessions


def _told(ids: Collection[int], as_of: dt.date, known: int) -> tuple[InspectionListed, ...]:
    """About twenty statements, however many."""
    rows = InspectionSession.objects.known(known).filter(inspection__among=ids, performed_on__lte=as_of)
    columns = (
        "inspection_id", "inspection__device_id", "kind", "version__procedure_id", "id", "entry", "version_id",
        "site_id", "person_id", "performed_on", "started_at", "ended_at",
    )  # fmt: skip
    told = list(rows.order_by("performed_at", "id").values_list(*columns))
    devices = {row[1] for row in told}
    labels = labels_of(devices, on=as_of, known=known)
    names = names_of({row[8] for row in told if row[8] is not None}, known)
    procedures = dict(
        ProcedureDetails.objects.known(known).order_by("from_on", "id").values_list("procedure_id", "name")
    )
    done = {each.inspection: each for each in completed(sorted(devices), known)}
    sessions: dict[int, list[SessionListed]] = defaultdict(list)
    heads: dict[int, tuple[int, str, int]] = {}
    for inspection, device, kind, procedure, key, entry, version, site, person, *times in told:
        heads.setdefault(inspection, (device, kind, procedure))
        name = names.get(person, "") if person is not None else ""
        sessions[inspection].append(SessionListed(key, entry, version, site, person, name, *times))
    found = []
    for inspection in ids:
        device, kind, procedure = heads[inspection]
        complete = done.get(inspection)
        on = complete.performed_on if complete and complete.performed_on <= as_of else None
        found.append(
            InspectionListed(
                inspection, labels[device], InspectionKind(kind), procedure, procedures.get(procedure, ""), on,
                bool(complete and on and complete.failed), tuple(sessions[inspection]),
            )
        )  # fmt: skip
    return tuple(found)
