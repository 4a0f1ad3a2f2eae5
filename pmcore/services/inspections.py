"""Inspections: what was done on a device and read, in one entry; and sheets that were wrong written again.

A session is checked and written under the lock: two people who record the same inspection at once cannot both succeed.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Discovery, HoldReason, InspectionKind, Outcome
from pmcore.models import (
    Inspection,
    InspectionSession,
    PlanAnchor,
    ProcedureVersion,
    Reading,
    RepairDetails,
    VersionApproval,
)
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.holds import holds_in_force
from pmcore.queries.inspections import completed
from pmcore.queries.site_days import SiteDay
from pmcore.services.append import append
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import check_device, check_happened, check_in_record, place_of
from pmcore.services.findings import FindingLine, MadeFinding, findings_made, holds_called_for
from pmcore.services.holds import hold_rows
from pmcore.services.lock import writing
from pmcore.services.permissions import check_given, check_role, check_site
from pmcore.services.re_anchoring import anchor_row, check_re_anchoring
from pmcore.services.readings import ReadingLine, check_readings
from pmcore.services.refusals import RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request, answered

KIND = "inspection_recorded"


class VersionNotApproved(RecordRefused):
    """The version of the procedure was not approved on the day."""


class AlreadyRecorded(RecordRefused):
    """The same inspection of the device stands in the record for that day; look at it first."""


class AnotherInspection(RecordRefused):
    """The session belongs to an inspection of another device, procedure or kind, or to one that was taken back."""


class FindingOfNoStep(RecordRefused):
    """A finding names a step that this session does not answer."""


class AlreadyComplete(RecordRefused):
    """Every mandatory step of the inspection is answered; what is done now is another inspection."""


@dataclass(frozen=True, slots=True)
class _Work:
    """One stretch of work, as it was given."""

    device: int
    kind: InspectionKind
    version: int
    person: int
    started_at: dt.datetime
    ended_at: dt.datetime
    performed_at: dt.datetime
    readings: Sequence[ReadingLine]
    site: int | None
    decontaminated: bool | None
    note: str | None
    re_anchor_plan: int | None

    def rows(self, inspection: int | Row, place: SiteDay) -> list[Row]:
        session = Row(
            InspectionSession,
            inspection=inspection,
            kind=self.kind,
            version=self.version,
            person=self.person,
            site=place.site,
            started_at=self.started_at,
            ended_at=self.ended_at,
            performed_at=self.performed_at,
            performed_on=place.day,
            decontaminated=self.decontaminated,
            note=self.note,
        )
        rows = [session, *(line.row(session) for line in self.readings)]
        if self.re_anchor_plan is not None:
            rows.append(anchor_row(self.re_anchor_plan, self.device, place.day))
        return rows


def record_inspection(
    *,
    device: int,
    kind: InspectionKind,
    version: int,
    person: int,
    started_at: dt.datetime,
    ended_at: dt.datetime,
    performed_at: dt.datetime,
    readings: Sequence[ReadingLine],
    actor: Actor,
    at: dt.datetime,
    site: int | None = None,
    inspection: int | None = None,
    decontaminated: bool | None = None,
    note: str | None = None,
    re_anchor_plan: int | None = None,
    findings: Sequence[FindingLine] = (),
    request: Request | None = None,
) -> Receipt:
    """A new inspection of the device with its first session; or, with `inspection`, a further session of that one.
    Where a step failed, the same act places a hold. `findings` are made in it too: the hold names the one of a failed
    step, and each further one that could harm or stops use opens its own.

    The day is the calendar's at the device's site; `site` is needed only where no placement says which. With
    `re_anchor_plan` that plan counts for the device from this day on: the session must complete the inspection.

    Raises NotAllowed, WrongSite, UnknownReference, BadValue; MomentsOutOfOrder, InTheFuture, PlaceUnknown,
    PlacedElsewhere, NotYetInRecord; VersionNotApproved, ReadingRefused and NothingAnswered; AlreadyRecorded,
    AnotherInspection, AlreadyComplete; CannotReAnchor, TooEarlyToReAnchor, NothingToAnchorTo; FindingOfNoStep, and what
    `make_finding` raises of a finding. Nothing is written then.
    """
    check_role(actor, "record an inspection")
    if findings:
        check_role(actor, "make a finding")
    check_given(actor, device)
    work = _Work(
        device, kind, version, person, started_at, ended_at, performed_at, readings, site, decontaminated, note,
        re_anchor_plan,
    )  # fmt: skip
    with writing():
        if (earlier := answered(actor, request, KIND)) is not None:
            return earlier
        known = head().size
        place = _checked(work, actor, at, known)
        if inspection is not None:
            _check_unfinished(inspection, work, known)
        _check_new(work, place.day, inspection, known)
        target = Row(Inspection, device=device) if inspection is None else inspection
        opened = [target] if isinstance(target, Row) else []
        made = _found(work, findings, place.day, target, actor=actor, at=at)
        held = _holds(work, place.day, actor, known, made)
        rows = [*opened, *work.rows(target, place), *(row for each in made for row in each.rows), *held]
        receipt = append(KIND, device, rows, actor=actor, at=at, request=request)
        _check_anchor(work, target.id if isinstance(target, Row) else target, place.day)
    return receipt


def correct_session(
    *,
    wrong: InspectionSession,
    reason: str,
    kind: InspectionKind,
    version: int,
    person: int,
    started_at: dt.datetime,
    ended_at: dt.datetime,
    performed_at: dt.datetime,
    readings: Sequence[ReadingLine],
    actor: Actor,
    at: dt.datetime,
    site: int | None = None,
    decontaminated: bool | None = None,
    note: str | None = None,
    re_anchor_plan: int | None = None,
    request: Request | None = None,
) -> Receipt:
    """The sheet was wrong; here it is again, whole. What the wrong one re-anchored is taken back, unless it is said
    again.

    Raises ReasonMissing, AlreadyReplaced, and what `record_inspection` raises.
    """
    check_role(actor, "correct an inspection")
    work = _Work(
        wrong.inspection.device_id, kind, version, person, started_at, ended_at, performed_at, readings, site,
        decontaminated, note, re_anchor_plan,
    )  # fmt: skip
    with writing():
        if (earlier := answered(actor, request, KIND)) is not None:
            return earlier
        _check_correction(wrong, reason, actor)
        known = head().size
        place = _checked(work, actor, at, known)
        others = InspectionSession.objects.known(known).filter(inspection=wrong.inspection_id).exclude(pk=wrong.pk)
        if others.exists():
            _check_belongs(wrong.inspection_id, work, known)
        _check_new(work, place.day, wrong.inspection_id, known, wrong=wrong.pk)
        rows = [*work.rows(wrong.inspection_id, place), *_holds(work, place.day, actor, known)]
        replaced = [wrong, *_anchored_by(wrong)]
        receipt = append(KIND, work.device, rows, replaces=replaced, note=reason, actor=actor, at=at, request=request)
        _check_anchor(work, wrong.inspection_id, place.day)
    return receipt


def take_back_session(
    *, wrong: InspectionSession, reason: str, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """It was never done, and nothing stands in its place; a plan that it re-anchored counts as before.

    Raises ReasonMissing, AlreadyReplaced, NotAllowed, WrongSite.
    """
    check_role(actor, "correct an inspection")
    with writing():
        if (earlier := answered(actor, request, KIND)) is not None:
            return earlier
        _check_correction(wrong, reason, actor)
        replaced = [wrong, *_anchored_by(wrong)]
        device = wrong.inspection.device_id
        return append(KIND, device, replaces=replaced, note=reason, actor=actor, at=at, request=request)


_CAME_TO_LIGHT = {
    InspectionKind.INCOMING: Discovery.INCOMING,
    InspectionKind.AFTER_REPAIR: Discovery.REPAIR,
}  # at any other kind: at the inspection


def _found(
    work: _Work, lines: Sequence[FindingLine], day: dt.date, inspection: int | Row, *, actor: Actor, at: dt.datetime
) -> list[MadeFinding]:
    answered_steps = {line.step for line in work.readings}
    for line in lines:
        if line.step is not None and line.step not in answered_steps:
            raise FindingOfNoStep(f"{line.step}: this session does not answer it.")
    discovery = _CAME_TO_LIGHT.get(work.kind, Discovery.INSPECTION)
    return findings_made(lines, work.device, day, inspection, actor=actor, at=at, discovery=discovery)


def _holds(work: _Work, day: dt.date, actor: Actor, known: int, made: Sequence[MadeFinding] = ()) -> list[Row]:
    """A device that fails is held from that day on, once, whoever corrects the sheet later; what is found holds it too.
    The hold for the failed inspection names the finding of a failed step, one that holds by itself before others."""
    failed = {line.step for line in work.readings if line.outcome == Outcome.FAILED}
    reason = HoldReason.INSPECTION_FAILED
    if not failed or any(held.reason == reason for held in holds_in_force(work.device, day, known)):
        return holds_called_for(made, work.device, day, actor)
    of_failed = sorted((each for each in made if each.line.step in failed), key=lambda each: not each.grave)
    named = of_failed[0] if of_failed else None
    rows = hold_rows(work.device, reason, day, actor, finding=None if named is None else named.finding)
    return [*rows, *holds_called_for([each for each in made if each is not named], work.device, day, actor)]


def _checked(work: _Work, actor: Actor, at: dt.datetime, known: int) -> SiteDay:
    """Everything that can be told of the work alone; gives back where and on which day it was done."""
    check_device(work.device)
    check_happened(at, started_at=work.started_at, performed_at=work.performed_at, ended_at=work.ended_at)
    place = place_of(work.device, work.performed_at, known, work.site)
    check_site(actor, place.site)
    check_in_record(work.device, place.day, known)
    _check_approved(work.version, place.day, known)
    check_readings(work.readings, version=work.version, on=place.day, known=known)
    return place


def _check_approved(version: int, day: dt.date, known: int) -> None:
    procedure_of(version)
    if not VersionApproval.objects.known(known).on(day).filter(version=version, approved=True).exists():
        raise VersionNotApproved(f"The version {version} of the procedure was not approved on {day}.")


def procedure_of(version: int) -> int:
    found = ProcedureVersion.objects.filter(pk=version).values_list("procedure_id", flat=True).first()
    if found is None:
        raise UnknownReference("procedure_version", [version])
    return int(found)


def _check_unfinished(inspection: int, work: _Work, known: int) -> None:
    if not Inspection.objects.filter(pk=inspection).exists():
        raise UnknownReference("inspection", [inspection])
    _check_belongs(inspection, work, known)
    if any(done.inspection == inspection for done in completed([work.device], known)):
        raise AlreadyComplete(f"The inspection {inspection} is complete.")


def _check_belongs(inspection: int, work: _Work, known: int) -> None:
    begun = InspectionSession.objects.known(known).filter(inspection=inspection).order_by("id")
    as_begun = begun.values_list("inspection__device_id", "version__procedure_id", "kind").first()
    if as_begun != (work.device, procedure_of(work.version), work.kind):
        raise AnotherInspection(f"The inspection {inspection} is none of this device, procedure and kind.")


def _check_new(work: _Work, day: dt.date, inspection: int | None, known: int, wrong: int | None = None) -> None:
    """Nobody recorded it before: neither the inspection, nor within it the same steps."""
    sessions = InspectionSession.objects.known(known)
    if wrong is not None:
        sessions = sessions.exclude(pk=wrong)
    same = sessions.filter(
        inspection__device=work.device, version=work.version, kind=work.kind, performed_on=day
    ).exclude(inspection=inspection)
    if work.kind != InspectionKind.SCHEDULED:  # what failed was put right, and is tested anew
        failed = Reading.objects.known(known).filter(session__in=same.order_by(), outcome=Outcome.FAILED)
        same = same.exclude(inspection__in=list(failed.values_list("session__inspection_id", flat=True)))
    if same.exists():
        raise AlreadyRecorded(f"This inspection of the device {work.device} was recorded for {day} before.")
    if inspection is None or _repaired_on(work.device, day, known):
        return
    lines = Reading.objects.known(known).filter(session__in=sessions.filter(inspection=inspection, performed_on=day))
    lines = lines.exclude(outcome=Outcome.NOT_TESTED)  # which is no answer yet
    again = {(line.step, line.energy_source) for line in work.readings} & set(
        lines.values_list("step", "energy_source")
    )
    if again:
        raise AlreadyRecorded(f"The inspection {inspection} has the step {min(again)[0]} on {day} already.")


def _repaired_on(device: int, day: dt.date, known: int) -> bool:
    """After a repair, steps are done again on the same day."""
    return bool(RepairDetails.objects.known(known).filter(repair__device=device, performed_on=day).exists())


def _check_anchor(work: _Work, inspection: int | None, day: dt.date) -> None:
    """With the session written: only then it shows whether it completed the inspection. A refusal undoes all."""
    if work.re_anchor_plan is None:
        return
    known = head().size
    found = completed([work.device], known)
    done = next((each for each in found if each.inspection == inspection), None)
    earlier = [each for each in found if each.inspection != inspection]
    check_re_anchoring(work.re_anchor_plan, done, earlier, day, known)


def _check_correction(wrong: InspectionSession, reason: str, actor: Actor) -> None:
    check_site(actor, wrong.site_id)
    if not reason.strip():
        raise ReasonMissing("Say why the record was wrong.")


def _anchored_by(wrong: InspectionSession) -> list[PlanAnchor]:
    """What the entry of the sheet re-anchored."""
    return list(PlanAnchor.objects.current().filter(entry=wrong.entry, device=wrong.inspection.device_id))
