"""Inspections: what was done on devices, one of them with its readings, and recording one."""

import datetime as dt
from dataclasses import asdict, dataclass
from typing import Any

from api.documented import DAY, WHEN, Parameter, in_the_path, one_of, several
from api.findings import LineSent, line_of
from api.serializers import serializer_of
from api.views import Found, ListView, OneView, When
from api.writing import Writes, body_of
from pmcore.engines.vocabulary import DateCodeState, EnergySource, InspectionKind, Outcome
from pmcore.queries.inspections_page import (
    InspectionListed,
    InspectionsFilter,
    InspectionTold,
    inspection_of_entry,
    inspections_page,
    one_inspection,
)
from pmcore.queries.parameters import BadParameters, Parameters, a_day, a_number, a_word_of
from pmcore.queries.unplanned import UNPLANNED
from pmcore.services.bench import record_due_inspection, record_unplanned_inspection
from pmcore.services.readings import ReadingLine
from pmcore.services.requests import Receipt, Request


@dataclass(frozen=True)
class ReadingSent:
    """How one step of the sheet was answered. Numbers are decimal strings with a unit."""

    step: str
    outcome: str
    energy_source: str | None = None
    as_found: str | None = None
    as_found_second: str | None = None
    as_left: str | None = None
    as_left_second: str | None = None
    unit: str | None = None
    date_code: str | None = None
    date_code_state: str | None = None
    operable: bool | None = None
    attempts: int | None = None
    helper: int | None = None
    instrument: int | None = None
    note: str | None = None


@dataclass(frozen=True)
class WorkSent:
    """Your work by a version of a sheet, for a due inspection; or, where no plan calls for it, on a device, with the
    kind (after_repair, on_request or incoming). With `inspection`, a further part of one that was begun. `re_anchor`:
    the plan of the due inspection, an anchored one, counts for the device from this day on. `findings`: what was found
    wrong, recorded in the same entry."""

    version: int
    started_at: dt.datetime
    ended_at: dt.datetime
    readings: tuple[ReadingSent, ...]
    due_inspection: int | None = None
    device: int | None = None
    kind: str | None = None
    inspection: int | None = None
    decontaminated: bool | None = None
    note: str | None = None
    re_anchor: bool = False
    findings: tuple[LineSent, ...] = ()


class Inspections(Writes, ListView):
    resource = "inspections"
    says = {
        "GET": "Lists what was inspected at your sites by a day, in order of ids; a provider's own alone.",
        "POST": "Records your work for a due inspection, or on a device for which no plan calls for it, and with it "
        "the hold and the next due date that follow.",
    }
    serializer = serializer_of(InspectionListed)
    body = body_of(WorkSent)
    period = ("performed_from", "performed_to")
    filters = (
        several("site", "Only what was done at these sites, by id."),
        several("device", "Only on these devices, by id."),
        several("procedure", "Only by these procedures, by id."),
        several("kind", "Only of these kinds.", one_of(InspectionKind)),
        Parameter("performed_from", "The first day on which something of it was done.", DAY),
        Parameter("performed_to", "The last day on which something of it was done.", DAY),
    )

    def read(self, asked: Parameters) -> InspectionsFilter:
        sites, devices, procedures = (asked.many(name, a_number) for name in ("site", "device", "procedure"))
        kinds = asked.many("kind", a_word_of(InspectionKind))
        first, last = asked.one("performed_from", a_day), asked.one("performed_to", a_day)
        return InspectionsFilter(sites, devices, procedures, kinds, first, last)

    def page(self, chosen: InspectionsFilter, when: When, after: int | None, limit: int) -> Found:
        found = inspections_page(chosen, as_of=when.as_of, known=when.known, actor=self.actor, after=after, limit=limit)
        return found.records, found.after

    def write(self, asked: WorkSent, request: Request, **key: int) -> Receipt:
        findings = [line_of(each, f"findings.{at}") for at, each in enumerate(asked.findings)]
        done: dict[str, Any] = {
            "version": asked.version, "started_at": asked.started_at, "ended_at": asked.ended_at,
            "readings": [_line(at, each) for at, each in enumerate(asked.readings)], "inspection": asked.inspection,
            "decontaminated": asked.decontaminated, "note": asked.note, "findings": findings, "actor": self.actor,
            "at": self.at, "request": request,
        }  # fmt: skip
        kind = _unplanned(asked)
        if kind is not None:
            return record_unplanned_inspection(device=asked.device or 0, kind=kind, **done)
        return record_due_inspection(due_inspection=asked.due_inspection or 0, re_anchor=asked.re_anchor, **done)

    def where(self, receipt: Receipt) -> str:
        return f"/api/v1/inspections/{inspection_of_entry(receipt.seq)}/"


class Inspection(OneView):
    resource = "inspection"
    says = {"GET": "Tells of one inspection what was done when and by whom, with every reading."}
    serializer = serializer_of(InspectionTold)
    parameters = (in_the_path("inspection", "The id of the inspection."), *WHEN)

    def days_of(self, found: InspectionTold) -> list[dt.date]:
        return [session.performed_on for session in found.inspection.sessions]

    def find(self, when: When, **key: int) -> InspectionTold | None:
        return one_inspection(key["inspection"], as_of=when.as_of, known=when.known, actor=self.actor)


def _unplanned(asked: WorkSent) -> InspectionKind | None:
    """Why the device was inspected; None: for a due inspection. Raises BadParameters, by field."""
    if asked.due_inspection is not None:
        given = [name for name in ("device", "kind") if getattr(asked, name) is not None]
        _refuse({name: f"{name}: send a due inspection, or a device and a kind, not both." for name in given})
        return None
    if asked.device is None:
        _refuse({"due_inspection": "due_inspection: send a due inspection, or a device and a kind."})
    if asked.kind not in UNPLANNED:
        _refuse({"kind": f"kind: say why the device was inspected, as one of {', '.join(UNPLANNED)}."})
    if asked.re_anchor:
        _refuse({"re_anchor": "re_anchor: only the plan of a due inspection counts from another day."})
    return InspectionKind(asked.kind or "")


def _refuse(wrong: dict[str, str]) -> None:
    if wrong:
        raise BadParameters(wrong)


_WORDS = {"outcome": Outcome, "energy_source": EnergySource, "date_code_state": DateCodeState}


def _line(at: int, sent: ReadingSent) -> ReadingLine:
    """Raises BadParameters, by the path of the field."""
    values = asdict(sent)
    for name, vocabulary in _WORDS.items():
        if values[name] is not None:
            try:
                values[name] = a_word_of(vocabulary)(values[name])
            except ValueError as wrong:
                path = f"readings.{at}.{name}"
                raise BadParameters({path: f"{path}: {wrong}"}) from wrong
    return ReadingLine(**values)
