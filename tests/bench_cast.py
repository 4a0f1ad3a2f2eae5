"""A workbench for the tests: one procedure with its sheet, a plan with one due inspection, two instruments; all of it
written by `append` itself. Due 2026-06-15, window 05-16 to 07-15. Nobody and nothing here exists."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest

from pmcore.engines.vocabulary import AreaKind, EnergySource, InspectionKind, Outcome, StepKind
from pmcore.models import (
    Area,
    AreaDetails,
    Calibration,
    DueInspection,
    Finding,
    FindingDetails,
    InspectionPlan,
    InspectionSession,
    InstrumentDetails,
    PlanTerms,
    Procedure,
    ProcedureDetails,
    ProcedureSheet,
    ProcedureVersion,
    Repair,
    RepairDetails,
    RepairedFinding,
    Site,
    SiteDetails,
    Step,
    TestInstrument,
    VersionApproval,
)
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.services.inspections import record_inspection
from pmcore.services.readings import ReadingLine
from pmcore.services.requests import Receipt
from tests.cast import AT, JANUARY, Hospital, a_device, a_hospital, a_person
from tests.history import written

OPENS, DUE, CLOSES = dt.date(2026, 5, 16), dt.date(2026, 6, 15), dt.date(2026, 7, 15)

BRAKES = ReadingLine(step="brakes", outcome=Outcome.PASSED)
RAISING = ReadingLine(step="raising", outcome=Outcome.PASSED, energy_source=EnergySource.MAINS)
LABELS = ReadingLine(step="labels", outcome=Outcome.PASSED)


@dataclass(frozen=True)
class Bench(Hospital):
    procedure: int
    version: int
    plan: int
    due: int
    meter: int
    old_meter: int

    def leakage(self, as_found: Any = "85", **values: Any) -> ReadingLine:
        """The step that measures, in microamperes, at most 500."""
        values = {"outcome": Outcome.PASSED, "unit": "µA", "instrument": self.meter} | values
        return ReadingLine(step="leakage", as_found=as_found, **values)

    @property
    def whole_sheet(self) -> list[ReadingLine]:
        return [BRAKES, RAISING, self.leakage()]


def moment(month: int, day: int, hour: int = 9, minute: int = 0) -> dt.datetime:
    return dt.datetime(2026, month, day, hour, minute, tzinfo=dt.UTC)


def work(bench: Bench, performed_at: dt.datetime, *readings: ReadingLine, **options: Any) -> dict[str, Any]:
    """What a technician hands in: half an hour of work that ends at `performed_at`; by default the whole sheet."""
    given = {
        "kind": InspectionKind.SCHEDULED,
        "version": bench.version,
        "person": bench.ruan.person,
        "started_at": performed_at - dt.timedelta(minutes=30),
        "performed_at": performed_at,
        "ended_at": performed_at,
        "readings": list(readings) or bench.whole_sheet,
        "actor": bench.odile,
        "at": AT,
    }
    return given | options


def recorded(bench: Bench, performed_at: dt.datetime, *readings: ReadingLine, **options: Any) -> Receipt:
    """An inspection of the bench's device, or a further session of one."""
    return record_inspection(**{"device": bench.device} | work(bench, performed_at, *readings, **options))


def session_of(receipt: Receipt) -> InspectionSession:
    found: InspectionSession = InspectionSession.objects.get(entry=receipt.seq)
    return found


def inspection_of(receipt: Receipt) -> int:
    return int(session_of(receipt).inspection_id)


def assert_refused(error: type[Exception], deed: Callable[[], object], says: str | None = None) -> None:
    """The deed is refused under this very name, and nothing is written."""
    size = head().size
    with pytest.raises(error, match=says) as caught:
        deed()
    assert type(caught.value) is error
    assert head().size == size


def a_bench() -> Bench:
    hospital = a_hospital()
    procedure = _a_procedure()
    version = a_version(procedure, 1, hospital)
    plan = a_plan(hospital, procedure)
    due = a_due(hospital.device, plan, procedure)
    meter = an_instrument(hospital.alderwick, "M-1", until=dt.date(2026, 12, 31))
    old_meter = an_instrument(hospital.alderwick, "M-2", until=dt.date(2026, 5, 31))
    return Bench(
        **vars(hospital), procedure=procedure, version=version, plan=plan, due=due, meter=meter, old_meter=old_meter
    )


def _a_procedure() -> int:
    procedure = Row(Procedure)
    details = Row(ProcedureDetails, procedure=procedure, from_on=JANUARY, name="Yearly check", withdrawn=False)
    return written("procedure_registered", procedure, procedure, details).subject


def a_step(sheet: Row, number: int, key: str, kind: StepKind, **values: Any) -> Row:
    values = {"mandatory": True, "not_applicable_allowed": False, "prompt": f"Check: {key}."} | values
    return Row(Step, sheet=sheet, number=number, key=key, kind=kind, **values)


def a_version(procedure: int, number: int, hospital: Hospital, approved_from: dt.date | None = JANUARY) -> int:
    """Brakes, raising (on mains), leakage current; labels, which are not mandatory and may be left out."""
    version = Row(ProcedureVersion, procedure=procedure, number=number)
    sheet = Row(ProcedureSheet, version=version, title="Surgical table, yearly", minutes=40, people=1)
    steps = [
        a_step(sheet, 1, "brakes", StepKind.FUNCTION, subsystem="brakes_and_mobility"),
        a_step(sheet, 2, "raising", StepKind.FUNCTION, subsystem="drive", energy_source=EnergySource.MAINS),
        a_step(
            sheet, 3, "leakage", StepKind.MEASURE, subsystem="electrical_safety", unit="µA", high="500",
            instrument_wanted=True,
        ),
        a_step(sheet, 4, "labels", StepKind.LOOK, mandatory=False, not_applicable_allowed=True),
    ]  # fmt: skip
    thing = written("version_written", version, version, sheet, *steps).subject
    if approved_from is not None:
        values = {"version": thing, "from_on": approved_from, "approved": True, "approved_by": hospital.odile.person}
        written("version_approved", thing, Row(VersionApproval, **values))
    return thing


def a_plan(hospital: Hospital, procedure: int, **terms: Any) -> int:
    plan = Row(InspectionPlan)
    values = {
        "name": "Tables, yearly", "device_model": hospital.model, "procedure": procedure, "every": 12, "unit": "month",
        "counts_from": "anchored", "window": "days", "window_before": 30, "window_after": 30, "basis": "maker",
        "ended": False, "approved_by": hospital.odile.person, "from_on": JANUARY,
    } | terms  # fmt: skip
    return written("plan_made", plan, plan, Row(PlanTerms, plan=plan, **values)).subject


def a_due(device: int, plan: int, procedure: int) -> int:
    days = {"due_on": DUE, "opens_on": OPENS, "closes_on": CLOSES}
    due = Row(DueInspection, device=device, plan=plan, procedure=procedure, **days)
    written("inspections_due", device, due)
    assert due.id is not None
    return due.id


def an_instrument(site: int, label: str, until: dt.date) -> int:
    meter = Row(TestInstrument)
    details = Row(
        InstrumentDetails, instrument=meter, from_on=JANUARY, site=site, label=label, maker="Tessick", model="Lark",
        serial=label, retired=False,
    )  # fmt: skip
    good = Row(Calibration, instrument=meter, performed_on=JANUARY, good_until_on=until, outcome="in_tolerance")
    return written("instrument_registered", meter, meter, details, good).subject


def a_repair(device: int, ended_at: dt.datetime, subsystem: str | None = None) -> Receipt:
    """A repair of what was found in the subsystem; without one, nobody said what it was about."""
    repair = Row(Repair, device=device)
    details = Row(
        RepairDetails, repair=repair, started_at=ended_at - dt.timedelta(hours=1), ended_at=ended_at,
        performed_on=ended_at.date(), account="Adjusted.",
    )  # fmt: skip
    mended = []
    if subsystem is not None:
        mended = [Row(RepairedFinding, details=details, finding=a_finding(device, ended_at.date(), subsystem))]
    return written("repair_done", device, repair, details, *mended)


def a_finding(device: int, on: dt.date, subsystem: str) -> int:
    finding = Row(Finding, device=device)
    details = Row(
        FindingDetails, finding=finding, from_on=on, discovered_on=on, discovery="reported_in_use", subsystem=subsystem,
        mode="Does not hold.", cause="wear", failure="functional", severity="stops_use",
    )  # fmt: skip
    written("finding_made", device, finding, details)
    assert finding.id is not None
    return finding.id


def a_device_in(zone: str, bench: Bench) -> int:
    """A device in the one area of a third site that lies in this zone."""
    site = Row(Site)
    details = Row(SiteDetails, site=site, from_on=JANUARY, label="FL", name="Fallow Lane", time_zone=zone)
    written("site_opened", site, site, details)
    area = Row(Area, site=site.id)
    named = Row(AreaDetails, area=area, from_on=JANUARY, name="Clinic 2", kind=AreaKind.CLINIC, closed=False)
    written("area_opened", area, area, named)
    assert area.id is not None and site.id is not None
    manager = a_person("Tove Halvard-Quist", bench.odile.role, site.id)
    return a_device(manager, bench.model, "OM-77", area.id)
