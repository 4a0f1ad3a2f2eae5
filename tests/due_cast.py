"""Plans, sweeps and what they leave, for tests of generation. Written by `append` itself, so that a plan can have begun
in the past."""

import datetime as dt
from typing import Any

from pmcore.engines.records import SYSTEM
from pmcore.models import DueInspection, InspectionPlan, PlanTerms, Procedure, ProcedureDetails, Withdrawal
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.generate_due import generate_due
from tests.cast import AT, Hospital
from tests.history import day

START = day("2026-01-01")


def a_procedure(name: str = "Yearly check") -> int:
    procedure = Row(Procedure)
    details = Row(ProcedureDetails, procedure=procedure, from_on=START, name=name, withdrawn=False)
    return append("procedure_registered", procedure, [procedure, details], actor=SYSTEM, at=AT).subject


def terms(plan: Any, hospital: Hospital, procedure: int, **changed: Any) -> Row:
    values: dict[str, Any] = {
        "name": "Tables, yearly", "device_model": hospital.model, "procedure": procedure, "from_on": START,
        "every": 12, "unit": "month", "counts_from": "anchored", "anchor_on": day("2024-06-15"), "window": "days",
        "window_before": 30, "window_after": 30, "basis": "maker", "ended": False,
        "approved_by": hospital.odile.person,
    }  # fmt: skip
    return Row(PlanTerms, plan=plan, **{**values, **changed})


def a_plan(hospital: Hospital, procedure: int, **changed: Any) -> int:
    plan = Row(InspectionPlan)
    return append("plan_made", plan, [plan, terms(plan, hospital, procedure, **changed)], actor=SYSTEM, at=AT).subject


def swept(hospital: Hospital, as_of: str) -> tuple[int, int]:
    generated = generate_due(site=hospital.alderwick, as_of=day(as_of), at=AT)
    return generated.added, generated.withdrawn


def due_days(device: int, plan: int | None = None) -> list[str]:
    """What is due on the device (by one plan), but for what was withdrawn."""
    gone = Withdrawal.objects.current().on(dt.date.max).filter(withdrawn=True).values("due_inspection")
    rows = DueInspection.objects.filter(device=device).exclude(pk__in=gone).order_by("due_on")
    if plan is not None:
        rows = rows.filter(plan=plan)
    return [due.isoformat() for due in rows.values_list("due_on", flat=True)]
