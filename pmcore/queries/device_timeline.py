"""Everything that the record says happened to one device, newest first."""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from pmcore.engines.vocabulary import Outcome
from pmcore.models import (
    Attempt,
    DeviceOrigin,
    DueInspection,
    Entry,
    FaultDetails,
    FindingDetails,
    HoldDetails,
    InspectionSession,
    Lending,
    Ownership,
    PersonDetails,
    Placement,
    ProcedureDetails,
    Reading,
    ReasonNotDone,
    ReleaseStatement,
    RepairDetails,
    ServiceState,
    TagHeld,
    UseSeen,
)
from pmcore.queries.group_names import area_names
from pmcore.queries.taken_back import taken_back


class Happened(StrEnum):
    KNOWN = "known"
    TAGGED = "tagged"
    PLACED = "placed"
    OWNED = "owned"
    LENT = "lent"
    STATE = "state"
    INSPECTED = "inspected"
    ATTEMPTED = "attempted"
    REASON = "reason"
    REPORTED = "reported"
    FOUND = "found"
    SEEN_OTHERWISE = "seen_otherwise"
    HELD = "held"
    RELEASED = "released"
    REPAIRED = "repaired"
    USED = "used"
    TAKEN_BACK = "taken_back"


@dataclass(frozen=True, slots=True)
class DeviceEvent:
    """What happened on a day; `words`: codes and names that say it, as each kind has them; `entry` of the record wrote
    it, at `recorded_at`, by the person called `recorded_by` (none: the service itself)."""

    on: dt.date
    what: Happened
    words: tuple[str, ...]
    entry: int
    recorded_at: dt.datetime
    recorded_by: str | None


_Told = tuple[dt.date, Happened, tuple[str, ...], int]


def device_timeline(device: int, *, as_of: dt.date, known: int) -> list[DeviceEvent]:
    """What happened by `as_of`, as known at a size of the history: a fixed number of statements."""
    told = [each for each in _told(device, known) if each[0] <= as_of]
    entries = Entry.objects.filter(seq__in={entry for *_, entry in told})
    written = {seq: (at, person) for seq, at, person in entries.values_list("seq", "at", "person")}
    named = PersonDetails.objects.known(known).order_by("from_on", "id").values_list("person_id", "name__words")
    names = dict(named)
    events = [
        DeviceEvent(on, what, words, entry, written[entry][0], names.get(written[entry][1] or 0))
        for on, what, words, entry in told
    ]
    return sorted(events, key=lambda event: (event.on, event.entry), reverse=True)


def _told(device: int, known: int) -> Iterator[_Told]:
    yield from _of_the_device(device, known)
    yield from _inspected(device, known)
    yield from _not_done(device, known)
    yield from _wrong_and_mended(device, known)
    yield from _taken_back(device, known)


def _rows(table: Any, known: int, *columns: str, **where: Any) -> Iterable[tuple[Any, ...]]:
    rows: Iterable[tuple[Any, ...]] = table.objects.known(known).filter(**where).values_list("entry", *columns)
    return rows


def _of_the_device(device: int, known: int) -> Iterator[_Told]:
    areas = area_names(known)
    for entry, on, in_use in _rows(DeviceOrigin, known, "known_from_on", "found_in_use", device=device):
        yield on, Happened.KNOWN, ("in use",) if in_use else (), entry
    for entry, on, tag in _rows(TagHeld, known, "from_on", "tag", device=device):
        yield on, Happened.TAGGED, (tag,) if tag else (), entry
    for entry, on, area in _rows(Placement, known, "from_on", "area_id", device=device):
        yield on, Happened.PLACED, areas.get(area, ("", "")), entry
    for entry, on, kind in _rows(Ownership, known, "from_on", "kind", device=device):
        yield on, Happened.OWNED, (kind,), entry
    for entry, on, lent in _rows(Lending, known, "from_on", "lent", device=device):
        yield on, Happened.LENT, ("out" if lent else "back",), entry
    for entry, on, state in _rows(ServiceState, known, "from_on", "state", device=device):
        yield on, Happened.STATE, (state,), entry
    for entry, on in _rows(UseSeen, known, "from_on", device=device):
        yield on, Happened.USED, (), entry


def _inspected(device: int, known: int) -> Iterator[_Told]:
    """Words: the kind, the procedure, then each step that failed."""
    of_device = {"session__inspection__device": device}
    failed: dict[int, list[str]] = {}
    for _, session, step in _rows(Reading, known, "session_id", "step", outcome=Outcome.FAILED, **of_device):
        failed.setdefault(session, []).append(step)
    named = ProcedureDetails.objects.known(known).order_by("from_on", "id").values_list("procedure_id", "name")
    names = dict(named)
    columns = ("id", "performed_on", "kind", "version__procedure_id")
    for entry, key, on, kind, procedure in _rows(InspectionSession, known, *columns, inspection__device=device):
        yield on, Happened.INSPECTED, (kind, names.get(procedure, ""), *failed.get(key, ())), entry


def _not_done(device: int, known: int) -> Iterator[_Told]:
    dues = dict(DueInspection.objects.known(known).filter(device=device).values_list("id", "due_on"))
    for entry, on, outcome, due in _rows(
        Attempt, known, "tried_on", "outcome", "due_inspection_id", due_inspection__device=device
    ):
        yield on, Happened.ATTEMPTED, (outcome, dues[due].isoformat()), entry
    for entry, on, reason, due in _rows(
        ReasonNotDone, known, "from_on", "reason", "due_inspection_id", due_inspection__device=device
    ):
        yield on, Happened.REASON, (reason, dues[due].isoformat()), entry


def _wrong_and_mended(device: int, known: int) -> Iterator[_Told]:
    for entry, on, account in _rows(FaultDetails, known, "seen_on", "account__words", fault_report__device=device):
        yield on, Happened.REPORTED, (account,) if account else (), entry
    columns = ("from_on", "discovered_on", "subsystem", "severity", "cause", "mode__words")
    for entry, on, found_on, *words, mode in _rows(FindingDetails, known, *columns, finding__device=device):
        what = Happened.FOUND if on == found_on else Happened.SEEN_OTHERWISE
        yield on, what, (*words, mode or ""), entry
    for entry, on, reason in _rows(HoldDetails, known, "from_on", "reason", hold__device=device):
        yield on, Happened.HELD, (reason,), entry
    for entry, on, restriction in _rows(
        ReleaseStatement, known, "signed_on", "restriction__words", release__device=device
    ):
        yield on, Happened.RELEASED, (restriction,) if restriction else (), entry
    for entry, on in _rows(RepairDetails, known, "performed_on", repair__device=device):
        yield on, Happened.REPAIRED, (), entry


def _taken_back(device: int, known: int) -> Iterator[_Told]:
    """Words: what it was, of which day, what was said of it, and why it was taken back."""
    for each in taken_back(device, known):
        words = (each.thing, each.on.isoformat(), each.words, each.reason)
        yield each.at.date(), Happened.TAKEN_BACK, words, each.entry
