"""Which inspections are complete, since when, and on which day they were performed.

All that it takes is read in a fixed number of statements; `engines.completion` decides.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db.models import QuerySet
from django.db.models.functions import Coalesce

from pmcore.engines.completion import Answered, Repaired, performed_on
from pmcore.engines.vocabulary import Outcome
from pmcore.models import Entry, FindingDetails, InspectionSession, Reading, RepairDetails, RepairedFinding
from pmcore.queries.calibrations import Calibrated, calibrations, good_on
from pmcore.queries.figure_settings import FigureSettings
from pmcore.queries.sheets import SheetStep, StepName, steps_of
from pmcore.queries.site_days import Zones

_MOST_NAMED = 1_000  # beyond so many devices, all are read and the rest is left out


@dataclass(frozen=True, slots=True)
class CompletedInspection:
    """A complete inspection.

    `performed_on`: the site's day of the last mandatory step, `performed_at`: its moment. `version`, `site`: those of
    the session that completed it. `entry`: the first entry at which its sheets stood as they are; `recorded_on`: the
    site's day of that entry. `failed`: a step's last answer was that it failed.
    """

    inspection: int
    device: int
    kind: str
    procedure: int
    version: int
    site: int
    performed_on: dt.date
    performed_at: dt.datetime
    entry: int
    recorded_on: dt.date
    failed: bool


@dataclass(frozen=True, slots=True)
class _Session:
    id: int
    inspection: int
    device: int
    kind: str
    procedure: int
    version: int
    site: int
    performed_on: dt.date
    performed_at: dt.datetime
    entry: int


@dataclass(frozen=True, slots=True)
class _Reading:
    step: str
    energy_source: str | None
    outcome: str
    instrument: int | None


@dataclass(frozen=True, slots=True)
class _Repair:
    """What it touched: subsystems and steps; neither: nobody said, so everything."""

    at: dt.datetime
    subsystems: frozenset[str]
    steps: frozenset[str]

    def touches(self, step: SheetStep) -> bool:
        unsaid = not self.subsystems and not self.steps
        return unsaid or step.subsystem in self.subsystems or step.key in self.steps


@dataclass(frozen=True, slots=True)
class _Facts:
    """Everything that was read."""

    sessions: list[_Session]
    readings: dict[int, list[_Reading]]
    sheets: dict[int, tuple[SheetStep, ...]]
    repairs: dict[int, list[_Repair]]
    instruments: dict[int, list[Calibrated]]
    recorded_at: dict[int, dt.datetime]
    zones: Zones
    settings: FigureSettings


def completed(devices: Collection[int] | None, known: int) -> list[CompletedInspection]:
    """The complete inspections of the devices (None: of all), as known at a size of the history.

    In order of device, performed moment and inspection.
    """
    facts = _read(devices, known)
    found = []
    for _, sessions in groupby(facts.sessions, key=lambda session: session.inspection):
        done = _completion(list(sessions), facts)
        if done is not None:
            found.append(done)
    return sorted(found, key=lambda done: (done.device, done.performed_at, done.inspection))


# Deciding


def _completion(sessions: Sequence[_Session], facts: _Facts) -> CompletedInspection | None:
    """The first session (in order of time) that left nothing open by the sheet that it followed."""
    for count, session in enumerate(sessions, start=1):
        mandatory = [step for step in facts.sheets.get(session.version, ()) if step.mandatory]
        day = _performed_on(mandatory, sessions[:count], facts)
        if day is not None:
            return _told(session, sessions[:count], day, facts)
    return None


def _told(session: _Session, sessions: Sequence[_Session], day: dt.date, facts: _Facts) -> CompletedInspection:
    last = next(each for each in reversed(sessions) if each.performed_on == day)
    entry = max(each.entry for each in sessions)
    recorded_at = facts.recorded_at[entry]
    return CompletedInspection(
        inspection=session.inspection,
        device=session.device,
        kind=session.kind,
        procedure=session.procedure,
        version=session.version,
        site=session.site,
        performed_on=day,
        performed_at=last.performed_at,
        entry=entry,
        recorded_on=facts.zones.day_at(session.site, recorded_at) or recorded_at.date(),
        failed=_failed(sessions, facts),
    )


def _failed(sessions: Iterable[_Session], facts: _Facts) -> bool:
    last: dict[StepName, str] = {}
    for session in sessions:
        for reading in facts.readings.get(session.id, ()):
            last[reading.step, reading.energy_source] = reading.outcome
    return Outcome.FAILED in last.values()


def _performed_on(mandatory: Sequence[SheetStep], sessions: Sequence[_Session], facts: _Facts) -> dt.date | None:
    """The engine is given each session's day as it was recorded, whatever zone data says by now: its moments here are
    that day and a place in the order of events."""
    repairs = [repair for repair in facts.repairs.get(sessions[0].device, ()) if repair.at > sessions[0].performed_at]
    events: list[_Session | _Repair] = sorted([*repairs, *sessions], key=_moment)
    answers: list[Answered] = []
    touched: list[Repaired] = []
    day = sessions[0].performed_on
    for place, event in enumerate(events):
        if isinstance(event, _Session):
            day = event.performed_on
        at = dt.datetime.combine(day, dt.time.min, dt.UTC) + dt.timedelta(microseconds=place)
        if isinstance(event, _Session):
            answers += [Answered(_label(step), at) for step in _answered(mandatory, event, facts)]
        else:
            touched.append(Repaired(frozenset(_label(step) for step in mandatory if event.touches(step)), at))
    apart = facts.settings.on("restart_days", sessions[-1].performed_on)
    return performed_on([_label(step) for step in mandatory], answers, touched, "UTC", most_days_apart=apart)


def _moment(event: _Session | _Repair) -> dt.datetime:
    return event.at if isinstance(event, _Repair) else event.performed_at


def _label(step: SheetStep) -> str:
    return f"{step.key} / {step.energy_source or ''}"


def _answered(mandatory: Iterable[SheetStep], session: _Session, facts: _Facts) -> Iterator[SheetStep]:
    readings = facts.readings.get(session.id, ())
    for step in mandatory:
        if any(_answers(reading, step, session.performed_on, facts) for reading in readings):
            yield step


def _answers(reading: _Reading, step: SheetStep, day: dt.date, facts: _Facts) -> bool:
    if not step.is_asked_by(reading.step, reading.energy_source) or not step.is_answered_by(reading.outcome):
        return False
    return reading.instrument is None or good_on(facts.instruments.get(reading.instrument, ()), day)


# Reading: ten statements


def _read(devices: Collection[int] | None, known: int) -> _Facts:
    sessions = _of(devices, InspectionSession.objects.known(known), "inspection__device")
    rows = sessions.order_by("inspection", "performed_at", "id").values_list(
        "id",
        "inspection_id",
        "inspection__device_id",
        "kind",
        "version__procedure_id",
        "version_id",
        "site_id",
        "performed_on",
        "performed_at",
        "entry",
    )
    wanted = None if devices is None else set(devices)
    found = [_Session(*row) for row in rows if wanted is None or row[2] in wanted]
    entries = Entry.objects.filter(seq__in=sessions.order_by().values("entry"))
    return _Facts(
        sessions=found,
        readings=_readings([session.id for session in found], known),
        sheets=steps_of({session.version for session in found}, known),
        repairs=_repairs(devices, known),
        instruments=calibrations(known),
        recorded_at=dict(entries.values_list("seq", "at")),
        zones=Zones(known),
        settings=FigureSettings(known),
    )


def _of(devices: Collection[int] | None, rows: QuerySet[Any], column: str) -> QuerySet[Any]:
    if devices is None or len(devices) > _MOST_NAMED:
        return rows
    return rows.filter(**{f"{column}__in": devices})


def _readings(sessions: Collection[int], known: int) -> dict[int, list[_Reading]]:
    rows = Reading.objects.known(known).filter(session__among=sessions).order_by("id")
    found: dict[int, list[_Reading]] = defaultdict(list)
    for session, *values in rows.values_list("session_id", "step", "energy_source", "outcome", "instrument_id"):
        found[session].append(_Reading(*values))
    return found


def _repairs(devices: Collection[int] | None, known: int) -> dict[int, list[_Repair]]:
    """Of each device its repairs; one that goes on yet counts from its beginning."""
    views = _of(devices, FindingDetails.objects.known(known), "finding__device").order_by("from_on")
    seen = {finding: (part, step) for finding, part, step in views.values_list("finding_id", "subsystem", "step")}
    links = _of(devices, RepairedFinding.objects.known(known), "details__repair__device")
    mended: dict[int, list[tuple[str, str | None]]] = defaultdict(list)
    for details, finding in links.values_list("details_id", "finding_id"):
        if finding in seen:
            mended[details].append(seen[finding])
    rows = _of(devices, RepairDetails.objects.known(known), "repair__device")
    found: dict[int, list[_Repair]] = defaultdict(list)
    for details, device, at in rows.values_list("id", "repair__device_id", Coalesce("ended_at", "started_at")):
        subsystems = frozenset(part for part, _ in mended[details])
        steps = frozenset(step for _, step in mended[details] if step is not None)
        found[device].append(_Repair(at, subsystems, steps))
    return found
