"""What came of a record of work: met or not yet, what failed, what holds the device, and when it is due next."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass, replace

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import HoldReason, InspectionKind, Outcome
from pmcore.models import DueInspection, FindingDetails, HoldDetails, InspectionSession, Reading, Step, Withdrawal
from pmcore.queries.due_list import DueItem, due_items
from pmcore.queries.holds import holds_in_force
from pmcore.queries.inspections import completed
from pmcore.queries.sheets import steps_of
from pmcore.queries.unplanned import UNPLANNED, inspectable
from pmcore.queries.would_meet import DueMet, has_met


@dataclass(frozen=True, slots=True)
class NextDue:
    due_on: dt.date
    opens_on: dt.date
    closes_on: dt.date


@dataclass(frozen=True, slots=True)
class FailedStep:
    """Its prompt, and the number that was found, if one was."""

    prompt: str
    as_found: str | None
    unit: str | None


@dataclass(frozen=True, slots=True)
class FindingRecorded:
    """`mode`: what is wrong; empty where the words were taken out."""

    mode: str
    subsystem: str
    severity: str
    cause: str


@dataclass(frozen=True, slots=True)
class RecordedWork:
    """`name`: what the device is called. `item`: the due inspection as it stands on the day asked for; None: none was
    chosen, and `met` tells what it was credited to. `following`: the next one of their plan. `standing`: why the device
    is held on that day. `complete`: nothing mandatory is left open in the inspection that the entry wrote to; else
    `still_open` names it. `failed`: the steps that failed in the entry; `findings`: what was found wrong in it;
    `holds`: why the entry holds the device, a reason for each hold. Steps are told by their prompts."""

    name: str
    item: DueItem | None
    kind: InspectionKind
    procedure: int
    inspection: int
    entry: int
    performed_on: dt.date
    complete: bool
    failed: tuple[FailedStep, ...]
    still_open: tuple[str, ...]
    findings: tuple[FindingRecorded, ...]
    holds: tuple[HoldReason, ...]
    standing: tuple[HoldReason, ...]
    following: NextDue | None
    met: tuple[DueMet, ...] = ()


def recorded_work(due_inspection: int, entry: int, *, as_of: dt.date, known: int, actor: Actor) -> RecordedWork | None:
    """None: the actor sees no such due inspection, or the entry recorded no work on its device. A fixed number of
    statements. Raises KnownBeyond."""
    found = due_items([due_inspection], as_of=as_of, known=known, actor=actor)
    if not found:
        return None
    item = found[0]
    name = f"{item.device_class_name} {item.device.tag or item.device.serial}"
    return _told(item.device.device, name, item, entry, as_of=as_of, known=known)


def recorded_unplanned(device: int, entry: int, *, as_of: dt.date, known: int, actor: Actor) -> RecordedWork | None:
    """None: the actor sees no such device, or the entry recorded no such work on it. Raises KnownBeyond."""
    found = inspectable(device, as_of=as_of, known=known, actor=actor)
    if found is None:
        return None
    listed = found.device
    called = listed.device_class.name if listed.device_class else "The device"
    told = _told(device, f"{called} {listed.tag or listed.serial}", None, entry, as_of=as_of, known=known)
    if told is None or told.kind not in UNPLANNED:
        return None
    met = has_met(device, told.inspection, as_of=as_of, known=known, actor=actor)
    following = [_following(device, each.plan, each.due_on, as_of, known) for each in met]
    days = (each for each in following if each is not None)
    return replace(told, met=met, following=min(days, key=lambda each: each.due_on, default=None))


def _told(
    device: int, name: str, item: DueItem | None, entry: int, *, as_of: dt.date, known: int
) -> RecordedWork | None:
    sessions = InspectionSession.objects.known(known).filter(entry=entry, inspection__device=device)
    session = sessions.select_related("version").first()
    if session is None:
        return None
    prompts = _prompts(session.version_id, known)
    failed = Reading.objects.known(known).filter(session=session.pk, outcome=Outcome.FAILED).order_by("id")
    done = {each.inspection for each in completed([device], known)}
    complete = session.inspection_id in done
    holds = HoldDetails.objects.known(known).filter(entry=entry).order_by("id").values_list("reason", flat=True)
    return RecordedWork(
        name=name,
        item=item,
        kind=InspectionKind(session.kind),
        procedure=session.version.procedure_id,
        inspection=session.inspection_id,
        entry=entry,
        performed_on=session.performed_on,
        complete=complete,
        failed=tuple(
            FailedStep(prompts.get(key, key), *read) for key, *read in failed.values_list("step", "as_found", "unit")
        ),
        still_open=() if complete else _open(session, prompts, known),
        findings=_findings(entry, known),
        holds=tuple(HoldReason(reason) for reason in holds),
        standing=tuple(HoldReason(each.reason) for each in holds_in_force(device, as_of, known)),
        following=None if item is None else _following(device, item.plan, item.due_on, as_of, known),
    )


def _prompts(version: int, known: int) -> dict[str, str]:
    return dict(Step.objects.known(known).filter(sheet__version=version).values_list("key", "prompt"))


def _findings(entry: int, known: int) -> tuple[FindingRecorded, ...]:
    rows = FindingDetails.objects.known(known).filter(entry=entry).order_by("id")
    columns = ("mode__words", "subsystem", "severity", "cause")
    return tuple(FindingRecorded(mode or "", *rest) for mode, *rest in rows.values_list(*columns))


def _open(session: InspectionSession, prompts: dict[str, str], known: int) -> tuple[str, ...]:
    steps = steps_of([session.version_id], known).get(session.version_id, ())
    lines = Reading.objects.known(known).filter(session__inspection=session.inspection_id)
    answers: Collection[tuple[str, str | None, str]] = list(lines.values_list("step", "energy_source", "outcome"))
    return tuple(
        prompts[step.key]
        for step in steps
        if step.mandatory
        and not any(step.is_asked_by(key, source) and step.is_answered_by(outcome) for key, source, outcome in answers)
    )


def _following(device: int, plan: int, after: dt.date, as_of: dt.date, known: int) -> NextDue | None:
    """The next one that the plan calls for on the device, withdrawn ones left out."""
    gone = Withdrawal.objects.known(known).on(as_of).filter(withdrawn=True, due_inspection__device=device)
    rows = DueInspection.objects.known(known).filter(device=device, plan=plan, due_on__gt=after)
    left = rows.exclude(pk__in=list(gone.values_list("due_inspection_id", flat=True))).order_by("due_on", "id")
    days = left.values_list("due_on", "opens_on", "closes_on").first()
    return None if days is None else NextDue(*days)
