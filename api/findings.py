"""Findings: what is wrong with devices, and making one."""

import datetime as dt
from dataclasses import asdict, dataclass

from api.fault_asked import asked_with, filters_of, read_filter, words_of
from api.serializers import serializer_of
from api.views import Found, ListView, When
from api.writing import Writes, body_of
from pmcore.engines.vocabulary import Cause, Discovery, FailureKind, Severity, Subsystem
from pmcore.queries.fault_pages import FaultsFilter, FindingListed, findings_page
from pmcore.queries.parameters import BadParameters, Parameters, a_word_of
from pmcore.services.findings import FindingLine, make_finding
from pmcore.services.requests import Receipt, Request

_WORDS = {
    "subsystem": Subsystem,
    "cause": Cause,
    "failure": FailureKind,
    "severity": Severity,
    "discovery": Discovery,
}


@dataclass(frozen=True)
class LineSent:
    """Something wrong. `mode`: what, in words; `discovery`: how it came to light, where neither a report nor an
    inspection says so. A severity of could_harm or stops_use holds the device at once. A use error takes the day of a
    training and a second person."""

    subsystem: str
    mode: str
    cause: str
    failure: str
    severity: str
    position: int | None = None
    step: str | None = None
    discovery: str | None = None
    same_root_as: int | None = None
    fault_report: int | None = None
    area: int | None = None
    training_on: dt.date | None = None
    second_person: int | None = None
    note: str | None = None


@dataclass(frozen=True)
class FindingSent:
    """What you found wrong with a device on a day, perhaps at an inspection."""

    device: int
    discovered_on: dt.date
    finding: LineSent
    inspection: int | None = None


class Findings(Writes, ListView):
    resource = "findings"
    period = ("discovered_from", "discovered_to")
    says = {
        "GET": "Lists what was found by a day on devices at your sites, in order of ids; a provider's own alone.",
        "POST": "Records what you found wrong with a device, and holds it at once where it is grave.",
    }
    serializer = serializer_of(FindingListed)
    body = body_of(FindingSent)
    filters = filters_of(
        "finding",
        "discovered",
        words_of("subsystem", "Only in these subsystems.", Subsystem),
        words_of("severity", "Only of these severities.", Severity),
    )

    def read(self, asked: Parameters) -> FaultsFilter:
        return read_filter(asked, "finding", "discovered")

    def page(self, chosen: FaultsFilter, when: When, after: int | None, limit: int) -> Found:
        found = findings_page(asked_with(chosen, when, self.actor, after, limit))
        return found.records, found.after

    def write(self, asked: FindingSent, request: Request, **key: int) -> Receipt:
        return make_finding(
            device=asked.device, discovered_on=asked.discovered_on, finding=line_of(asked.finding, "finding"),
            inspection=asked.inspection, actor=self.actor, at=self.at, request=request,
        )  # fmt: skip

    def where(self, receipt: Receipt) -> str:
        return f"/api/v1/findings/?finding={receipt.first_id}"


def line_of(sent: LineSent, path: str) -> FindingLine:
    """Raises BadParameters, by the path of the field."""
    values = asdict(sent)
    for name, vocabulary in _WORDS.items():
        if values[name] is not None:
            try:
                values[name] = a_word_of(vocabulary)(values[name])
            except ValueError as wrong:
                raise BadParameters({f"{path}.{name}": f"{path}.{name}: {wrong}"}) from wrong
    return FindingLine(**values)
