"""One device under a yearly plan, told day by day through the services: due 2026-06-15, window 05-16 to 07-15,
inspected last on 2025-06-15. The sites lie five hours behind UTC. Nobody and nothing here exists."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from pmcore.engines.due_dates import Window
from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import (
    AreaKind,
    AttemptOutcome,
    Basis,
    EnergySource,
    InspectionKind,
    Outcome,
    PlanBasis,
    Role,
    StepKind,
    Unit,
)
from pmcore.models import DueInspection
from pmcore.queries.compliance import ComplianceFilter, ComplianceReport, compliance
from pmcore.queries.head import head
from pmcore.services.catalogue import register_class, register_model
from pmcore.services.devices import register_device
from pmcore.services.generate_due import generate_due
from pmcore.services.inspections import record_inspection
from pmcore.services.people import register_person
from pmcore.services.plans import make_plan
from pmcore.services.procedures import approve_version, register_procedure, write_version
from pmcore.services.readings import ReadingLine
from pmcore.services.reasons import record_attempt
from pmcore.services.requests import Receipt
from pmcore.services.sites import open_area, open_site
from pmcore.services.steps import StepLine

ZONE = "America/Bogota"
STEPS = ("frame", "brakes")
LAST_DONE = dt.date(2025, 6, 15)
JULY = (dt.date(2026, 7, 1), dt.date(2026, 7, 31))
FAR = dt.date(2030, 12, 31)


def day(month: int, number: int, year: int = 2026) -> dt.date:
    return dt.date(year, month, number)


def moment(on: dt.date, hour: int = 10, minute: int = 0) -> dt.datetime:
    """A moment of the sites' own clocks."""
    return dt.datetime.combine(on, dt.time(hour, minute), dt.UTC) + dt.timedelta(hours=5)


def numbers(report: ComplianceReport) -> tuple[int, int]:
    """Due and met."""
    return report.tally.due, report.tally.met


@dataclass
class Story:
    """Sites A and B with an area in each, a manager who may do everything, one procedure with two mandatory steps."""

    begins_on: dt.date
    sites: list[int] = field(default_factory=list)
    areas: list[int] = field(default_factory=list)
    manager: Actor = SYSTEM
    table: int = 0
    model: int = 0
    procedure: int = 0
    version: int = 0
    device: int = 0
    plan: int = 0

    @property
    def person(self) -> int:
        assert self.manager.person is not None
        return self.manager.person

    def by(self, on: dt.date, hour: int = 18) -> dict[str, Any]:
        """Written by the manager on that day."""
        return {"actor": self.manager, "at": moment(on, hour)}

    def add_device(self, serial: str, on: dt.date | None = None, **options: Any) -> int:
        on = on or self.begins_on
        given = {"device_model": self.model, "serial": serial, "tag": None, "area": self.areas[0], "from_on": on}
        return register_device(**{**given, **options}, **self.by(on)).subject

    def add_model(self, name: str) -> int:
        return register_model(
            maker="Orvane", name=name, device_class=self.table, energy_sources=[EnergySource.MANUAL],
            from_on=self.begins_on, **self.by(self.begins_on),
        ).subject  # fmt: skip

    def add_plan(self, on: dt.date | None = None, **terms: Any) -> int:
        on = on or self.begins_on
        given: dict[str, Any] = {
            "name": "Tables, yearly", "device_model": self.model, "procedure": self.procedure, "every": 12,
            "unit": Unit.MONTH, "counts_from": Basis.ANCHORED, "window": Window.days(30, 30),
            "basis": PlanBasis.MAKER, "approved_by": self.person, "from_on": on,
        }  # fmt: skip
        return make_plan(**{**given, **terms}, **self.by(on, hour=8)).subject

    def add_procedure(self, name: str, covers: Sequence[int] = ()) -> tuple[int, int]:
        """The procedure and its version, approved from the beginning."""
        on = self.begins_on
        procedure = register_procedure(name=name, from_on=on, **self.by(on)).subject
        steps = [StepLine(key=key, kind=StepKind.LOOK, prompt=f"Is the {key} sound?") for key in STEPS]
        version = write_version(
            procedure=procedure, number=1, title=name, minutes=40, people=1, steps=steps, covers=list(covers),
            **self.by(on),
        ).subject  # fmt: skip
        approve_version(version=version, from_on=on, approved_by=self.person, **self.by(on))
        return procedure, version

    def sweep(self, *days: dt.date) -> None:
        """What the nightly work does on each of the days."""
        for on in days:
            for site in self.sites:
                generate_due(site=site, as_of=on, at=moment(on, hour=1))

    def inspect(self, on: dt.date, *, recorded: dt.date | None = None, **options: Any) -> Receipt:
        """The whole sheet at ten o'clock, entered the same evening unless said otherwise."""
        done_at = options.pop("done_at", moment(on))
        steps = options.pop("steps", STEPS)
        outcome = options.pop("outcome", Outcome.PASSED)
        given = {
            "device": self.device, "kind": InspectionKind.SCHEDULED, "version": self.version, "person": self.person,
            "started_at": done_at - dt.timedelta(minutes=40), "performed_at": done_at, "ended_at": done_at,
            "readings": [ReadingLine(step=step, outcome=outcome) for step in steps],
            "actor": self.manager, "at": max(done_at, moment(recorded or on, hour=18)),
        }  # fmt: skip
        return record_inspection(**{**given, **options})

    def search(self, on: dt.date, *, recorded: dt.date | None = None, outcome: str = AttemptOutcome.NOT_FOUND) -> None:
        record_attempt(
            due_inspection=self.due().pk, tried_at=moment(on), outcome=AttemptOutcome(outcome), tried_by=self.person,
            **self.by(recorded or on),
        )  # fmt: skip

    def due(self, due_on: dt.date | None = None, device: int | None = None) -> DueInspection:
        found: DueInspection = DueInspection.objects.get(
            device=device or self.device, plan=self.plan, due_on=due_on or day(6, 15)
        )
        return found

    def next_due_after(self, on: dt.date) -> dt.date | None:
        """The first due date after that day which still stands."""
        report = self.report(on, FAR, as_of=on)
        withdrawn = {each.due_inspection for each in self.withdrawn(report)}
        rows = DueInspection.objects.filter(device=self.device, plan=self.plan, due_on__gt=on).order_by("due_on")
        return next((row.due_on for row in rows if row.pk not in withdrawn), None)

    def withdrawn(self, report: ComplianceReport) -> Sequence[Any]:
        return report.lists.withdrawn

    def report(
        self, starts_on: dt.date = JULY[0], ends_on: dt.date = JULY[1], *, as_of: dt.date = JULY[1], **options: Any
    ) -> ComplianceReport:
        given = {"known": head().size, "today": FAR, "actor": self.manager, "group_by": None}
        asked = {name: options.pop(name) for name in list(options) if name not in given}
        return compliance(ComplianceFilter(starts_on, ends_on, **asked), as_of=as_of, **{**given, **options})


def a_story(
    counts_from: Basis = Basis.ANCHORED,
    *,
    last_done: dt.date | None = LAST_DONE,
    begins_on: dt.date = dt.date(2025, 1, 2),
    swept: Sequence[dt.date] = (dt.date(2025, 6, 16), dt.date(2026, 5, 1)),
    with_device: bool = True,
) -> Story:
    """`last_done`: the inspection before, entered on its day. Swept after it, and two weeks before the window opens."""
    story = Story(begins_on)
    for label, name in (("AG", "Alderwick General"), ("SP", "Stennet Point")):
        site = open_site(
            label=label, name=name, time_zone=ZONE, from_on=begins_on, actor=SYSTEM, at=moment(begins_on, 6)
        ).subject
        story.sites.append(site)
    manager = register_person(
        name="Odile Brandt-Ferro", role=Role.MANAGER, sites=story.sites, from_on=begins_on, actor=SYSTEM,
        at=moment(begins_on, 6),
    ).subject  # fmt: skip
    story.manager = Actor(manager, Role.MANAGER, frozenset(story.sites))
    for site in story.sites:
        area = open_area(
            site=site, name="Theatre 1", kind=AreaKind.THEATRE, from_on=begins_on, actor=SYSTEM,
            at=moment(begins_on, 6),
        ).subject  # fmt: skip
        story.areas.append(area)
    by = story.by(begins_on, hour=7)
    story.table = register_class(name="Surgical table", from_on=begins_on, **by).subject
    story.model = register_model(
        maker="Orvane", name="Marl", device_class=story.table, energy_sources=[EnergySource.MAINS], from_on=begins_on,
        **by,
    ).subject  # fmt: skip
    story.procedure, story.version = story.add_procedure("Yearly check")
    story.plan = story.add_plan(counts_from=counts_from, anchor_on=dt.date(begins_on.year, 6, 15))
    if with_device:
        story.device = story.add_device("OM-1")
    if last_done is not None:
        story.inspect(last_done)
    story.sweep(*swept)
    return story
