"""What a technician records at a device, for a due inspection or because no plan calls for it: one act, from which the
next due date follows at once."""

import datetime as dt
from collections.abc import Sequence

from pmcore.engines.due_dates import NoWindowForInterval
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import DueState, InspectionKind, Role
from pmcore.models import DueInspection, InspectionSession
from pmcore.queries.assigned import names_of
from pmcore.queries.due_list import TO_DO, DueItem, due_items
from pmcore.queries.head import head
from pmcore.queries.site_days import Zones, site_on
from pmcore.queries.unplanned import UNPLANNED, procedures_for
from pmcore.services.device_days import check_device
from pmcore.services.findings import FindingLine
from pmcore.services.generate_due import generate_due_of
from pmcore.services.inspections import KIND, procedure_of, record_inspection
from pmcore.services.lock import writing
from pmcore.services.permissions import check_role
from pmcore.services.readings import ReadingLine
from pmcore.services.refusals import NotAllowed, RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request, answered
from pmcore.services.service_states import check_still_here


class NothingToInspect(RecordRefused):
    """It was withdrawn, suspended, has ended or can no longer be made up for."""


class InspectedAlready(RecordRefused):
    """Somebody recorded it; look at what they did."""


class AnotherSheet(RecordRefused):
    """The version belongs to another procedure than the due inspection asks for, or to none that applies to the
    device."""


class OfADueInspection(RecordRefused):
    """A scheduled inspection is one that a plan called for."""


def record_due_inspection(
    *,
    due_inspection: int,
    version: int,
    started_at: dt.datetime,
    ended_at: dt.datetime,
    readings: Sequence[ReadingLine],
    actor: Actor,
    at: dt.datetime,
    inspection: int | None = None,
    decontaminated: bool | None = None,
    note: str | None = None,
    re_anchor: bool = False,
    findings: Sequence[FindingLine] = (),
    request: Request | None = None,
) -> Receipt:
    """The actor's work on the device; with `inspection`, a further session of one that was begun. In the same
    transaction the plans of the device are looked at anew: a floating one names its next day. `re_anchor`: the plan of
    the due inspection, an anchored one, counts for the device from this day on, and names its next day too. `findings`
    are made by the same act.

    Raises NotAllowed, UnknownReference, NothingToInspect, InspectedAlready, AnotherSheet, and what `record_inspection`
    raises. Nothing is written then.
    """
    person = _whose_work(actor)
    with writing():
        if (earlier := answered(actor, request, KIND)) is not None:
            return earlier
        item = _item(due_inspection, actor, at)
        _check(item, version, head().size)
        receipt = record_inspection(
            device=item.device.device, kind=InspectionKind.SCHEDULED, version=version, person=person,
            started_at=started_at, ended_at=ended_at, performed_at=ended_at, readings=readings, actor=actor, at=at,
            inspection=inspection, decontaminated=decontaminated, note=note,
            re_anchor_plan=item.plan if re_anchor else None, findings=findings, request=request,
        )  # fmt: skip
        _generate(item.device.device, at, item.plan if re_anchor else None)
    return receipt


def record_unplanned_inspection(
    *,
    device: int,
    kind: InspectionKind,
    version: int,
    started_at: dt.datetime,
    ended_at: dt.datetime,
    readings: Sequence[ReadingLine],
    actor: Actor,
    at: dt.datetime,
    inspection: int | None = None,
    decontaminated: bool | None = None,
    note: str | None = None,
    findings: Sequence[FindingLine] = (),
    request: Request | None = None,
) -> Receipt:
    """The actor's work on a device that no plan called for: after a repair, on request, or when it came. It counts for
    the plans as any other by the procedure, and floating ones name their next day in the same transaction.

    Raises NotAllowed, UnknownReference, HasLeft, OfADueInspection, AnotherSheet, and what `record_inspection` raises.
    Nothing is written then.
    """
    person = _whose_work(actor)
    if kind not in UNPLANNED:
        raise OfADueInspection("A scheduled inspection is recorded for its due inspection.")
    if actor.role is Role.PROVIDER and kind is InspectionKind.INCOMING:
        raise NotAllowed("Incoming inspections are the department's own.")
    with writing():
        if (earlier := answered(actor, request, KIND)) is not None:
            return earlier
        check_device(device)
        check_still_here(device, _place(device, ended_at)[1])
        _check_applies(device, version, at)
        receipt = record_inspection(
            device=device, kind=kind, version=version, person=person, started_at=started_at, ended_at=ended_at,
            performed_at=ended_at, readings=readings, actor=actor, at=at, inspection=inspection,
            decontaminated=decontaminated, note=note, findings=findings, request=request,
        )  # fmt: skip
        _generate(device, at, None)
    return receipt


def _whose_work(actor: Actor) -> int:
    """Raises NotAllowed."""
    check_role(actor, "record an inspection")
    if actor.person is None:
        raise NotAllowed("An inspection is somebody's work.")
    return actor.person


def _check_applies(device: int, version: int, at: dt.datetime) -> None:
    """Today: whether the version was approved on the day of the work is looked at with the work."""
    _, today = _place(device, at)
    procedure = procedure_of(version)
    if all(each.procedure != procedure for each in procedures_for(device, on=today, known=head().size)):
        raise AnotherSheet("The sheet belongs to a procedure that does not apply to this device.")


def _item(due_inspection: int, actor: Actor, at: dt.datetime) -> DueItem:
    """As it stands on the day of the device's site."""
    device = DueInspection.objects.filter(pk=due_inspection).values_list("device_id", flat=True).first()
    _, today = _place(device or 0, at)
    found = due_items([due_inspection], as_of=today, known=head().size, actor=actor)
    if not found:
        raise UnknownReference("due_inspection", [due_inspection])
    return found[0]


def _place(device: int, at: dt.datetime) -> tuple[int | None, dt.date]:
    """Where it stands, and the day there; in UTC where nobody said."""
    known, day = head().size, at.astimezone(dt.UTC).date()
    site = site_on(device, day, known)
    return site, (None if site is None else Zones(known).day_at(site, at)) or day


def _check(item: DueItem, version: int, known: int) -> None:
    if item.state in {DueState.MET, DueState.MET_LATE}:
        raise InspectedAlready(f"{item.device} was inspected on {item.completed_on}{_by(item, known)}.")
    if item.state not in TO_DO:
        raise NothingToInspect(f"The inspection of {item.device} is {item.state.replace('_', ' ')}.")
    if procedure_of(version) != item.procedure:
        raise AnotherSheet("The sheet belongs to another procedure. Load the page again.")


def _by(item: DueItem, known: int) -> str:
    """Whose session completed it."""
    sessions = InspectionSession.objects.known(known).filter(inspection__device=item.device.device)
    of_day = sessions.filter(performed_on=item.completed_on or dt.date.min, person__isnull=False)
    people = set(of_day.values_list("person_id", flat=True))
    names = names_of(people, known)
    return f" by {', '.join(sorted(names.values()))}" if names else ""


def _generate(device: int, at: dt.datetime, moved: int | None) -> None:
    """A table of windows that has none for some interval stops no record of work; the nightly work says so."""
    site, today = _place(device, at)
    if site is None:
        return
    try:
        generate_due_of(device=device, site=site, as_of=today, at=at, moved=moved)
    except NoWindowForInterval:
        return
