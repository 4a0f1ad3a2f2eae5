"""Devices that fail: two models, two revisions, two sites, told fact by fact. Nobody and nothing here exists."""

import datetime as dt
from dataclasses import dataclass, field
from typing import Any

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import (
    AreaKind,
    Cause,
    Discovery,
    EnergySource,
    FailureKind,
    HoldReason,
    Role,
    Severity,
    Subsystem,
)
from pmcore.models import (
    DeviceRevision,
    Finding,
    FindingDetails,
    Hold,
    HoldDetails,
    Placement,
    Release,
    ReleasedHold,
    ReleaseStatement,
    ServiceState,
)
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.reliability import ReliabilityReport, failure_rates
from pmcore.queries.reliability_filter import ReliabilityFilter
from pmcore.services.append import append
from pmcore.services.catalogue import register_revision
from tests.cast import AT, a_device, a_hospital, a_model, a_person, an_area
from tests.cast import JANUARY as BEGINS

DECEMBER = dt.date(2026, 12, 31)


@dataclass
class Fleet:
    """Site, area and model by name; devices are known from 1 January 2026 and, unless said, in service. Facts are
    entered on 31 October."""

    manager: Actor
    sites: dict[str, int]
    areas: dict[str, int]
    device_class: int
    models: dict[str, int]
    revisions: dict[str, int] = field(default_factory=dict)
    made: int = 0

    def add(self, model: str = "Marl", area: str = "Theatre 1", revision: str | None = None) -> int:
        self.made += 1
        device = a_device(self.manager, self.models[model], f"R-{self.made}", self.areas[area], tag=f"R-{self.made}")
        if revision is not None:
            self.revise(device, revision, BEGINS)
        return device

    def write(self, kind: str, device: int, *rows: Row) -> int:
        return append(kind, device, rows, actor=self.manager, at=AT).first_id

    def revise(self, device: int, revision: str, on: dt.date) -> None:
        row = Row(DeviceRevision, device=device, from_on=on, revision=self.revisions[revision])
        self.write("revision_set", device, row)

    def move(self, device: int, area: str, on: dt.date) -> None:
        self.write("device_placed", device, Row(Placement, device=device, from_on=on, area=self.areas[area]))

    def say(self, device: int, state: str, on: dt.date, **said: Any) -> None:
        self.write("service_state_set", device, Row(ServiceState, device=device, from_on=on, state=state, **said))

    def find(self, device: int, on: dt.date, subsystem: Subsystem = Subsystem.CONTROLS, **said: Any) -> int:
        """Something found wrong: functional, by wear, in use, unless said otherwise."""
        finding = Row(Finding, device=device)
        given = {
            "discovery": Discovery.IN_USE, "mode": "It does not answer.", "cause": Cause.WEAR,
            "failure": FailureKind.FUNCTIONAL, "severity": Severity.STOPS_USE,
        }  # fmt: skip
        details = Row(
            FindingDetails, finding=finding, from_on=on, discovered_on=on, subsystem=subsystem, **{**given, **said}
        )
        return self.write("finding_made", device, finding, details)

    def hold(self, device: int, on: dt.date, until: dt.date | None = None) -> None:
        hold = Row(Hold, device=device)
        details = Row(HoldDetails, hold=hold, from_on=on, reason=HoldReason.OTHER, placed_by=self.manager.person)
        placed = self.write("hold_placed", device, hold, details)
        if until is not None:
            release = Row(Release, device=device)
            statement = Row(
                ReleaseStatement, release=release, signed_on=until, signed_by=self.manager.person,
                signed_at=dt.datetime.combine(until, dt.time(9), dt.UTC),
            )  # fmt: skip
            lifted = Row(ReleasedHold, statement=statement, hold=placed)
            self.write("release_signed", device, release, statement, lifted)

    def ask(self, as_of: dt.date = DECEMBER, **asked: Any) -> dict[str, Any]:
        """How a query is asked."""
        given = {"known": head().size, "today": DECEMBER, "actor": self.manager}
        return {"as_of": as_of, **{name: asked.get(name, value) for name, value in given.items()}}

    def rates(self, group_by: Any, as_of: dt.date = DECEMBER, *, when: Any = None, **asked: Any) -> ReliabilityReport:
        return failure_rates(ReliabilityFilter(**asked), group_by=group_by, **{**self.ask(as_of), **(when or {})})


def a_fleet() -> Fleet:
    hospital = a_hospital()
    manager = a_person("Petra Olund", Role.MANAGER, hospital.alderwick, hospital.stennet)
    other = an_area(hospital.wim, hospital.alderwick, "Theatre 2", AreaKind.THEATRE)
    chert = a_model(hospital.odile, "Orvane", "Chert", hospital.table, [EnergySource.MAINS])
    fleet = Fleet(
        manager, {"Alderwick": hospital.alderwick, "Stennet": hospital.stennet},
        {"Theatre 1": hospital.theatre, "Theatre 2": other, "Ward 6": hospital.ward}, hospital.table,
        {"Marl": hospital.model, "Chert": chert},
    )  # fmt: skip
    for label in ("A", "B"):
        fleet.revisions[label] = register_revision(
            device_model=hospital.model, label=label, from_on=BEGINS, actor=hospital.odile, at=AT
        ).subject
    return fleet
