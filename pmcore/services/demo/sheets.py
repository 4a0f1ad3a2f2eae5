"""A sheet as it was filled in, and what is found wrong at it."""

import datetime as dt
import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pmcore.engines.vocabulary import (
    Cause,
    Discovery,
    FailureKind,
    HoldReason,
    InspectionKind,
    Outcome,
    Severity,
    StepKind,
    Subsystem,
)
from pmcore.models import FindingDetails, HoldDetails, Inspection, InspectionSession, Reading
from pmcore.models.rows import Row
from pmcore.services.demo.diary import moment
from pmcore.services.demo.parameters import StepPlan

_MARGIN = 0.1  # of the room between usual value and limit, which a sound device keeps


@dataclass(frozen=True, slots=True)
class Filled:
    """One inspection as it will be recorded. `values`: what is read, by step; `fails`: the step that fails, if any."""

    day: dt.date
    minutes_after_seven: int
    minutes: int
    version: int
    steps: tuple[StepPlan, ...]
    values: Mapping[str, str]
    fails: str | None
    person: int
    site: int


@dataclass(frozen=True, slots=True)
class Failed:
    """What a failed step led to."""

    finding: Row
    hold: Row


def drawn_values(steps: tuple[StepPlan, ...], draws: random.Random) -> dict[str, str]:
    """Readings of a sound device."""
    values = {}
    for step in steps:
        if step.kind == StepKind.MEASURE:
            value = draws.gauss(step.usual, step.spread)
            if step.low is not None:
                value = max(value, _kept(step, step.low))
            if step.high is not None:
                value = min(value, _kept(step, step.high))
            values[step.key] = f"{max(value, 0):.{step.decimals}f}"
    return values


def _kept(step: StepPlan, limit: str) -> float:
    """As near to a limit as a sound device comes."""
    return float(limit) - (float(limit) - step.usual) * _MARGIN


def beyond(step: StepPlan, draws: random.Random) -> str:
    """A reading out of tolerance."""
    high = float(step.high or step.low or 0)
    room = abs(high - step.usual)
    return f"{high + room * draws.uniform(0.15, 0.8):.{step.decimals}f}"


def inspection_rows(device: int, filled: Filled, instrument: int) -> Iterator[Row]:
    """The inspection with its one session and its readings; the first row is the inspection, the second its session."""
    performed_at = moment(filled.day, 7) + dt.timedelta(minutes=filled.minutes_after_seven + filled.minutes)
    inspection = Row(Inspection, device=device)
    session = Row(
        InspectionSession,
        inspection=inspection,
        kind=InspectionKind.SCHEDULED,
        version=filled.version,
        person=filled.person,
        site=filled.site,
        started_at=performed_at - dt.timedelta(minutes=filled.minutes),
        ended_at=performed_at,
        performed_at=performed_at,
        performed_on=filled.day,
        decontaminated=True,
    )
    yield inspection
    yield session
    for step in filled.steps:
        yield _reading(session, step, filled, instrument)


def _reading(session: Row, step: StepPlan, filled: Filled, instrument: int) -> Row:
    failed = step.key == filled.fails
    outcome = Outcome.FAILED if failed else Outcome.PASSED
    if step.kind != StepKind.MEASURE:
        return Row(Reading, session=session, step=step.key, outcome=outcome)
    found = filled.values[step.key]
    left = f"{step.usual:.{step.decimals}f}" if failed else found
    return Row(
        Reading, session=session, step=step.key, outcome=outcome, as_found=found, as_left=left, unit=step.unit,
        instrument=instrument,
    )  # fmt: skip


def failed_rows(failed: Failed, inspection: Row, filled: Filled) -> list[Row]:
    """The finding and the hold that a failed step leads to."""
    step = next(each for each in filled.steps if each.key == filled.fails)
    details = Row(
        FindingDetails,
        finding=failed.finding,
        from_on=filled.day,
        discovered_on=filled.day,
        discovery=Discovery.INSPECTION,
        inspection=inspection,
        step=step.key,
        subsystem=Subsystem(step.subsystem or Subsystem.ACCESSORIES),
        mode=step.fault or "It did not do what it should.",
        cause=Cause.WEAR,
        failure=FailureKind.POTENTIAL,
        severity=Severity.LIMITS_USE,
    )
    held = Row(
        HoldDetails, hold=failed.hold, from_on=filled.day, reason=HoldReason.INSPECTION_FAILED,
        finding=failed.finding, placed_by=filled.person,
    )  # fmt: skip
    return [failed.finding, details, failed.hold, held]
