"""Procedures: registered, written version by version, approved, withdrawn."""

import datetime as dt
from collections.abc import Collection, Sequence

from pmcore.engines.records import Actor
from pmcore.models import (
    Caution,
    CoveredProcedure,
    PlanTerms,
    Procedure,
    ProcedureDetails,
    ProcedureSheet,
    ProcedureVersion,
    VersionApproval,
)
from pmcore.models.rows import Row
from pmcore.services.append import append
from pmcore.services.lock import writing
from pmcore.services.permissions import check_role
from pmcore.services.refusals import RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request, answered
from pmcore.services.steps import StepLine, check_steps


class VersionTaken(RecordRefused):
    """The procedure has a version of this number."""


class EffortUnclear(RecordRefused):
    """A version takes at least a minute and one person."""


class CoversItself(RecordRefused):
    """A version that is done is done; it does not cover its own procedure besides."""


class ProcedureWithdrawn(RecordRefused):
    """The procedure is not in use on that day."""


class ProcedureInUse(RecordRefused):
    """Plans that have not ended call for the procedure on that day or later."""


class AlreadyApproved(RecordRefused):
    """The version is approved on that day."""


def register_procedure(
    *, name: str, from_on: dt.date, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """A procedure, whatever its versions will say."""
    check_role(actor, "write a procedure")
    procedure = Row(Procedure)
    details = Row(ProcedureDetails, procedure=procedure, from_on=from_on, name=name, withdrawn=False)
    return append("procedure_registered", procedure, [procedure, details], actor=actor, at=at, request=request)


def write_version(
    *,
    procedure: int,
    number: int,
    title: str,
    minutes: int,
    people: int,
    steps: Sequence[StepLine],
    actor: Actor,
    at: dt.datetime,
    cautions: Sequence[str] = (),
    covers: Collection[int] = (),
    source: str | None = None,
    request: Request | None = None,
) -> Receipt:
    """A version of a procedure with its whole sheet: steps and cautions in the order given, and the procedures that are
    done too when this version is. Nothing may count on it before it is approved.

    Raises StepRefused (its subclasses say why), NoMandatoryStep, VersionTaken, EffortUnclear, CoversItself.
    """
    check_role(actor, "write a procedure")
    if (earlier := answered(actor, request, "version_written")) is not None:
        return earlier
    check_steps(steps)
    if minutes < 1 or people < 1:
        raise EffortUnclear("A version takes at least a minute and one person.")
    if procedure in covers:
        raise CoversItself("A version does not cover its own procedure besides.")
    if ProcedureVersion.objects.filter(procedure=procedure, number=number).exists():
        raise VersionTaken(f"The procedure has a version {number}.")
    version = Row(ProcedureVersion, procedure=procedure, number=number)
    sheet = Row(ProcedureSheet, version=version, title=title, minutes=minutes, people=people, source=source)
    rows = [
        version,
        sheet,
        *(step.row(sheet, place) for place, step in enumerate(steps, 1)),
        *(Row(Caution, sheet=sheet, number=place, prompt=prompt) for place, prompt in enumerate(cautions, 1)),
        *(Row(CoveredProcedure, sheet=sheet, procedure=covered) for covered in sorted(set(covers))),
    ]
    return append("version_written", version, rows, actor=actor, at=at, request=request)


def approve_version(
    *,
    version: int,
    from_on: dt.date,
    approved_by: int,
    actor: Actor,
    at: dt.datetime,
    request: Request | None = None,
) -> Receipt:
    """From a day on the version is one to use, on a person's word. Raises ProcedureWithdrawn, AlreadyApproved."""
    check_role(actor, "approve a procedure")
    with writing():
        if (earlier := answered(actor, request, "version_approved")) is not None:
            return earlier
        check_not_withdrawn(_procedure_of(version), from_on)
        if VersionApproval.objects.current().on(from_on).filter(version=version, approved=True).exists():
            raise AlreadyApproved(f"The version {version} is approved on {from_on}.")
        row = Row(VersionApproval, version=version, from_on=from_on, approved=True, approved_by=approved_by)
        return append("version_approved", version, [row], actor=actor, at=at, request=request)


def withdraw_procedure(
    *, procedure: int, from_on: dt.date, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """From a day on no plan may call for it. Raises ProcedureWithdrawn (it is already), ProcedureInUse."""
    check_role(actor, "approve a procedure")
    with writing():
        if (earlier := answered(actor, request, "procedure_described")) is not None:
            return earlier
        name = check_not_withdrawn(procedure, from_on)
        terms = PlanTerms.objects.current()
        for there in (terms.on(from_on), terms.filter(from_on__gt=from_on)):
            if (plan := there.filter(procedure=procedure, ended=False).first()) is not None:
                raise ProcedureInUse(f"The plan {plan.name!r} calls for it; end or change the plan first.")
        row = Row(ProcedureDetails, procedure=procedure, from_on=from_on, name=name, withdrawn=True)
        return append("procedure_described", procedure, [row], actor=actor, at=at, request=request)


def check_not_withdrawn(procedure: int, on: dt.date) -> str:
    """The procedure is in use on the day; its name then. Raises UnknownReference, ProcedureWithdrawn."""
    details = ProcedureDetails.objects.current().on(on).filter(procedure=procedure).first()
    if details is None and not Procedure.objects.filter(pk=procedure).exists():
        raise UnknownReference("procedure", [procedure])
    if details is None or details.withdrawn:
        raise ProcedureWithdrawn(f"The procedure {procedure} is not in use on {on}.")
    return str(details.name)


def _procedure_of(version: int) -> int:
    found = ProcedureVersion.objects.filter(pk=version).values_list("procedure_id", flat=True).first()
    if found is None:
        raise UnknownReference("procedure_version", [version])
    return int(found)
