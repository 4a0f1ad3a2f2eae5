"""Findings: what is wrong with a device, what is thought of it, and the hold that a grave one opens."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Cause, Discovery, FailureKind, HoldReason, Severity, Subsystem
from pmcore.models import (
    DeviceIdentity,
    FaultDetails,
    Finding,
    FindingDetails,
    InspectionSession,
    PartPosition,
    RepairedFinding,
)
from pmcore.models.base import Fact
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.holds import opened_by_finding
from pmcore.queries.site_days import site_on
from pmcore.services.append import append
from pmcore.services.corrections import ReasonMissing
from pmcore.services.device_days import InTheFuture, check_day_has_come, check_day_of
from pmcore.services.faults import OthersReferToIt, WordsMissing, check_taking_back, last_day, taken_along
from pmcore.services.holds import FindingOfAnother, hold_rows
from pmcore.services.permissions import check_area, check_given, use_case
from pmcore.services.refusals import AlreadyReplaced, RecordRefused, UnknownReference
from pmcore.services.requests import Receipt, Request

KIND = "finding_made"

HOLDS = frozenset({Severity.COULD_HARM, Severity.STOPS_USE})
"""The severities that hold the device in the same act; the others leave it in use."""

FIRST_TRAINING = dt.date(2000, 1, 1)
"""A day before is a slip of the keys."""


class PositionOfAnotherModel(RecordRefused):
    """The part position belongs to another device model than the device's."""


class OfAnotherDevice(RecordRefused):
    """The fault report or the inspection is about another device, or was taken back."""


class KindContradicts(RecordRefused):
    """What is cosmetic or no failure neither harms nor stops use, and where no fault was found there is no failure."""


class TrainingMissing(RecordRefused):
    """Nothing is called a use error without the day of a training and a second person who agrees."""


class TrainingDayImpossible(RecordRefused):
    """The training lies before the days that anybody can mean, or ahead."""


class SecondPersonIsYou(RecordRefused):
    """The second person is somebody else than who writes."""


class WasRepaired(RecordRefused):
    """A repair names the finding: something was there."""


class DiscoveryMissing(RecordRefused):
    """Nobody says how it came to light, neither in words nor by a fault report or an inspection."""


class LaterViewStands(RecordRefused):
    """What is thought of a finding changes from its newest view's day on, not before."""


class SameAsBefore(RecordRefused):
    """Nothing is said of the finding that did not stand so before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingLine:
    """Something wrong, as somebody says it. `step`: the key of the sheet's step that showed it. `discovery` None: at
    the inspection or by the report that it comes from."""

    subsystem: Subsystem
    mode: str
    cause: Cause
    failure: FailureKind
    severity: Severity
    position: int | None = None
    step: str | None = None
    discovery: Discovery | None = None
    same_root_as: int | None = None
    fault_report: int | None = None
    area: int | None = None
    training_on: dt.date | None = None
    second_person: int | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class MadeFinding:
    """The rows of one finding, and what it says."""

    line: FindingLine
    finding: Row
    details: Row

    @property
    def rows(self) -> tuple[Row, Row]:
        return self.finding, self.details

    @property
    def grave(self) -> bool:
        return self.line.severity in HOLDS


@use_case("make a finding", KIND)
def make_finding(
    *,
    device: int,
    finding: FindingLine,
    discovered_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    inspection: int | None = None,
    request: Request | None = None,
) -> Receipt:
    """Something wrong, found on a day. One that could harm or stops use holds the device in the same act, from that
    day on.

    Raises NotAllowed, WrongSite, UnknownReference, InTheFuture, NotYetInRecord; WordsMissing, KindContradicts,
    DiscoveryMissing, PositionOfAnotherModel, OfAnotherDevice, FindingOfAnother, TrainingMissing, TrainingDayImpossible,
    SecondPersonIsYou.
    """
    check_given(actor, device)
    check_day_of(actor, device, discovered_on, at)
    if inspection is not None:
        _check_known(InspectionSession, "inspection", inspection, device)
    discovery = None if inspection is None else Discovery.INSPECTION
    (made,) = findings_made([finding], device, discovered_on, inspection, actor=actor, at=at, discovery=discovery)
    rows = [*made.rows, *holds_called_for([made], device, discovered_on, actor)]
    return append(KIND, device, rows, actor=actor, at=at, request=request)


def findings_made(
    lines: Sequence[FindingLine],
    device: int,
    on: dt.date,
    inspection: int | Row | None,
    *,
    actor: Actor,
    at: dt.datetime,
    discovery: Discovery | None = None,
) -> list[MadeFinding]:
    """Each line checked, and its rows. `discovery`: of lines that say none and come from no report. Raises what
    `make_finding` raises of a finding."""
    found = []
    for given in lines:
        line = _complete(given, device, discovery)
        _check(line, device, actor, at, on)
        finding = Row(Finding, device=device)
        details = Row(
            FindingDetails, finding=finding, from_on=on, discovered_on=on, inspection=inspection, **asdict(line)
        )
        found.append(MadeFinding(line, finding, details))
    return found


def holds_called_for(made: Sequence[MadeFinding], device: int, on: dt.date, actor: Actor) -> list[Row]:
    """A hold for each that could harm or stops use."""
    return [
        row
        for each in made
        if each.grave
        for row in hold_rows(device, HoldReason.FINDING, on, actor, finding=each.finding)
    ]


@use_case("reclassify a finding", KIND)
def reclassify_finding(
    *,
    finding: int,
    from_on: dt.date,
    note: str,
    actor: Actor,
    at: dt.datetime,
    subsystem: Subsystem | None = None,
    position: int | None = None,
    mode: str | None = None,
    cause: Cause | None = None,
    failure: FailureKind | None = None,
    severity: Severity | None = None,
    same_root_as: int | None = None,
    training_on: dt.date | None = None,
    second_person: int | None = None,
    request: Request | None = None,
) -> Receipt:
    """From a day on the finding is seen otherwise, in what is given; figures of days before stay as they were. Of one
    day the last view counts: it replaces the one before. Where it turns grave, the device is held from that day on; no
    view lifts a hold.

    Raises ReasonMissing, LaterViewStands, SameAsBefore, and what `make_finding` raises of a finding.
    """
    newest = _newest_view(finding)
    device = newest.finding.device_id
    check_day_of(actor, device, from_on, at)
    if not note.strip():
        raise ReasonMissing("Say why it is seen otherwise.")
    if from_on < newest.from_on:
        raise LaterViewStands(f"The finding is seen so since {newest.from_on}.")
    before = _line_of(newest)
    given: dict[str, Any] = {
        "subsystem": subsystem, "position": position, "mode": mode, "cause": cause, "failure": failure,
        "severity": severity, "same_root_as": same_root_as, "training_on": training_on,
        "second_person": second_person,
    }  # fmt: skip
    line = replace(before, **{name: value for name, value in given.items() if value is not None})
    line = _complete(line, device, None)
    if line == before:
        raise SameAsBefore("Say what is seen otherwise.")
    if same_root_as == finding:
        raise FindingOfAnother("A finding is no root of itself.")
    _check(line, device, actor, at, from_on)
    details = Row(
        FindingDetails, **(asdict(line) | {"note": note}), finding=finding, from_on=from_on,
        discovered_on=newest.discovered_on, inspection=newest.inspection_id, item=newest.item_id,
    )  # fmt: skip
    turned = line.severity in HOLDS and before.severity not in HOLDS
    held = hold_rows(device, HoldReason.FINDING, from_on, actor, finding=finding) if turned else []
    replaced = [newest] if newest.from_on == from_on else []
    said = note if replaced else None
    return append(KIND, device, [details, *held], replaces=replaced, note=said, actor=actor, at=at, request=request)


@use_case("take back a finding", KIND)
def take_back_finding(
    *, finding: int, reason: str, actor: Actor, at: dt.datetime, request: Request | None = None
) -> Receipt:
    """It was never there; the hold that it opened is taken back with it, if that is in force. A hold for a failed
    inspection stays.

    Raises ReasonMissing, WasRepaired, OthersReferToIt, AlreadyReplaced, UnknownReference, NotAllowed, WrongSite.
    """
    device = _device_of(finding)
    check_taking_back(actor, device, reason, at)
    views = list(FindingDetails.objects.current().filter(finding=finding))
    if not views:
        raise AlreadyReplaced(f"The finding {finding} was taken back before.")
    if FindingDetails.objects.current().filter(same_root_as=finding).exists():
        raise OthersReferToIt(f"Another finding has its root in the finding {finding}.")
    if RepairedFinding.objects.current().filter(finding=finding).exists():
        raise WasRepaired(f"A repair names the finding {finding}.")
    opened = opened_by_finding(finding, device, last_day(at), head().size)
    replaced: list[Fact] = [*views, *taken_along(opened)]
    return append(KIND, device, replaces=replaced, note=reason, actor=actor, at=at, request=request)


def _complete(line: FindingLine, device: int, discovery: Discovery | None) -> FindingLine:
    """With how it came to light, and with the first of the findings that have its root."""
    if line.discovery is None:
        line = replace(line, discovery=discovery if line.fault_report is None else Discovery.IN_USE)
    if line.discovery is None:
        raise DiscoveryMissing("Say how it came to light.")
    if line.same_root_as is not None:
        root = _newest_view(line.same_root_as)
        if root.finding.device_id != device:
            raise FindingOfAnother(f"The finding {line.same_root_as} was made on another device.")
        line = replace(line, same_root_as=root.same_root_as_id or line.same_root_as)
    return line


def _check(line: FindingLine, device: int, actor: Actor, at: dt.datetime, on: dt.date) -> None:
    if not line.mode.strip():
        raise WordsMissing("Say what is wrong.")
    _check_kind(line)
    if line.position is not None:
        _check_position(line.position, device)
    if line.fault_report is not None:
        _check_known(FaultDetails, "fault_report", line.fault_report, device)
    if line.area is not None:
        check_area(actor, line.area)
    if line.cause == Cause.USE_ERROR:
        _check_use_error(line, actor)
    if line.training_on is not None:
        _check_training(line.training_on, device, at, on)


def _check_training(training_on: dt.date, device: int, at: dt.datetime, on: dt.date) -> None:
    if training_on < FIRST_TRAINING:
        raise TrainingDayImpossible(f"A training on {training_on} is not meant; say a day from {FIRST_TRAINING} on.")
    known = head().size
    try:
        check_day_has_come(training_on, at, site_on(device, on, known), known)
    except InTheFuture as ahead:
        raise TrainingDayImpossible(f"The training on {training_on} lies in the future.") from ahead


def _check_kind(line: FindingLine) -> None:
    if line.failure in {FailureKind.COSMETIC, FailureKind.NONE} and line.severity in HOLDS:
        raise KindContradicts(f"{line.failure} and {line.severity} exclude one another.")
    if line.cause == Cause.NO_FAULT_FOUND and line.failure != FailureKind.NONE:
        raise KindContradicts("Where no fault was found, there was no failure.")


def _check_use_error(line: FindingLine, actor: Actor) -> None:
    """Measures, rule 26: blame is never the default."""
    if line.training_on is None or line.second_person is None:
        raise TrainingMissing("A use error takes the day of a training and a second person who agrees.")
    if line.second_person == actor.person:
        raise SecondPersonIsYou("Name somebody else as the second person.")


def _check_position(position: int, device: int) -> None:
    model = PartPosition.objects.filter(pk=position).values_list("device_model_id", flat=True).first()
    if model is None:
        raise UnknownReference("part_position", [position])
    if not DeviceIdentity.objects.current().filter(device=device, device_model=model).exists():
        raise PositionOfAnotherModel(f"The part position {position} is none of this device's model.")


def _check_known(table: type[Fact], thing: str, key: int, device: int) -> None:
    """Something current is said of the thing, and it is about the device."""
    rows: Any = table.objects.current().filter(**{thing: key, f"{thing}__device": device})
    if not rows.exists():
        raise OfAnotherDevice(f"There is no {thing.replace('_', ' ')} {key} of this device.")


def _device_of(finding: int) -> int:
    found = Finding.objects.filter(pk=finding).values_list("device_id", flat=True).first()
    if found is None:
        raise UnknownReference("finding", [finding])
    return int(found)


def _newest_view(finding: int) -> FindingDetails:
    views = FindingDetails.objects.current().filter(finding=finding).select_related("finding")
    newest: FindingDetails | None = views.order_by("from_on").last()
    if newest is None:
        raise UnknownReference("finding", [finding])
    return newest


def _line_of(view: FindingDetails) -> FindingLine:
    return FindingLine(
        subsystem=Subsystem(view.subsystem), mode=view.mode.words or "", cause=Cause(view.cause),
        failure=FailureKind(view.failure), severity=Severity(view.severity), position=view.position_id,
        step=view.step, discovery=Discovery(view.discovery), same_root_as=view.same_root_as_id,
        fault_report=view.fault_report_id, area=view.area_id, training_on=view.training_on,
        second_person=view.second_person_id,
    )  # fmt: skip
