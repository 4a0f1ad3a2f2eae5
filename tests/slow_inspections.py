"""Which inspections are complete, and on which day: once more and slowly, for `slow_loop.py`."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pmcore import models

TOGETHER = dt.timedelta(days=14)  # parts of one inspection further apart begin anew
ANSWERED = {"passed", "failed", "protective_function_operated"}


@dataclass(frozen=True)
class Done:
    """A complete inspection."""

    inspection: int
    day: dt.date
    kind: str
    does: frozenset[int]  # the procedure of its version, and those that the sheet covers


def completed(facts: Any, parts: Sequence[Any]) -> Done | None:
    """The inspection when every mandatory step is answered; its day is that of the last of them."""
    answered: dict[tuple[str, str | None], dt.date] = {}
    last_day: dt.date | None = None
    for part in parts:
        day = part.performed_on
        sheet = facts.of(models.ProcedureSheet, version_id=part.version_id)[-1]
        steps = facts.of(models.Step, sheet_id=sheet.pk)
        again = last_day is not None and repaired(facts, part, last_day)
        answered = {step: on for step, on in answered.items() if day - on <= TOGETHER and not again}
        last_day = day
        for reading in facts.of(models.Reading, session_id=part.pk):
            if is_answer(facts, reading, steps, day):
                answered[reading.step, reading.energy_source] = day
        if {(step.key, step.energy_source) for step in steps if step.mandatory} <= answered.keys():
            covered = {each.procedure_id for each in facts.of(models.CoveredProcedure, sheet_id=sheet.pk)}
            does = frozenset({part.version.procedure_id, *covered})
            return Done(part.inspection_id, day, part.kind, does)
    return None


def repaired(facts: Any, part: Any, since: dt.date) -> bool:
    repairs = [each for each in facts.all(models.RepairDetails) if each.repair.device_id == part.inspection.device_id]
    return any(since <= each.performed_on <= part.performed_on for each in repairs)


def is_answer(facts: Any, reading: Any, steps: Sequence[Any], day: dt.date) -> bool:
    if reading.instrument_id is not None and not is_good(facts, reading.instrument_id, day):
        return False
    if reading.outcome == "not_applicable":
        return any(step.key == reading.step and step.not_applicable_allowed for step in steps)
    return reading.outcome in ANSWERED


def is_good(facts: Any, instrument: int, day: dt.date) -> bool:
    checks = [each for each in facts.of(models.Calibration, instrument_id=instrument) if each.performed_on <= day]
    if not checks:
        return False
    last = max(checks, key=lambda check: (check.performed_on, check.pk))
    return bool(last.outcome != "out_of_tolerance" and day <= last.good_until_on)
