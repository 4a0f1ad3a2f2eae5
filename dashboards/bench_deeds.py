"""What a form at the bench can be sent for: to record, to look through, to add a finding, to say why it is not done."""

import re
from typing import Any

from django.http import Http404, QueryDict
from django.urls import reverse
from django.utils.text import capfirst

from dashboards.access import Asking
from dashboards.bench_findings import a_finding, next_number, numbers_in, typed_findings
from dashboards.bench_form import BenchTyped, look_through, request_of, typed, work_of
from dashboards.words import in_words, sentence, words_of
from pmcore.engines.vocabulary import AttemptOutcome, ReasonCode
from pmcore.queries.bench_sheet import BenchSheet
from pmcore.queries.columns import BadValue
from pmcore.queries.device_faults import DeviceFaults, FindingChoices, device_faults, finding_choices
from pmcore.queries.head import head
from pmcore.services.bench import record_due_inspection, record_unplanned_inspection
from pmcore.services.device_days import (
    InTheFuture,
    MomentsOutOfOrder,
    NotYetInRecord,
    PlacedElsewhere,
    PlaceUnknown,
)
from pmcore.services.inspections import AlreadyComplete, AlreadyRecorded, VersionNotApproved
from pmcore.services.permissions import MAY
from pmcore.services.re_anchoring import CannotReAnchor, NothingToAnchorTo, TooEarlyToReAnchor
from pmcore.services.readings import InstrumentOverdue, ReadingRefused
from pmcore.services.reasons import (
    AttemptsMissing,
    BeforeTheWindow,
    DepartureMissing,
    NotOnHold,
    record_attempt,
    record_reason,
)

_NUMBER = re.compile(r"[0-9]{1,18}")
ATTEMPTS = {
    AttemptOutcome.NOT_FOUND: "It could not be found",
    AttemptOutcome.WITH_A_PATIENT: "It was with a patient",
    AttemptOutcome.NO_ACCESS: "The area gave no access",
}
REASONS = {
    ReasonCode.NOT_FOUND: "It could not be found, on several days",
    ReasonCode.WITH_A_PATIENT: "It was with a patient, on several days",
    ReasonCode.NO_ACCESS: "The area gave no access",
    ReasonCode.WAITING_FOR_PART: "It waits for a part, and is on hold",
    ReasonCode.NO_USABLE_CONTROL: "It has no usable control, and is on hold",
    ReasonCode.LEFT_AFTER_CLOSE: "It had left; that was recorded after the close",
}


_Done = tuple[str, str] | None
"""Where to go, and what is said there; None: the form says what is wrong, or what it holds now."""


def form_of(sheet: BenchSheet, sent: QueryDict, found: Asking) -> BenchTyped:
    """Everything that was sent, with its findings."""
    form = typed(sheet, sent)
    if (numbers := numbers_in(sent)) and may_find(found):
        steps = [each.step for each in form.steps]
        form.findings = typed_findings(numbers, sent, steps, *_choices(sheet, found))
    return form


def may_find(found: Asking) -> bool:
    return found.actor.role in MAY["make a finding"]


def _choices(sheet: BenchSheet, found: Asking) -> tuple[FindingChoices, DeviceFaults]:
    device, known = sheet.what.device.device, head().size
    choices = finding_choices(device, as_of=found.today, known=known, actor=found.actor)
    return choices, device_faults(device, as_of=found.today, known=known)


def _record(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> _Done:
    if sent.get("version") != str(sheet.version):
        form.errors["form"] = "A new version of the sheet is in use since you opened it. Look through it once more."
        return None
    work = work_of(form, sheet, found.at)
    if form.warns(form.words_of_the_sheet()) or work is None:
        return None
    begun = sent.get("begun", "")
    if begun and not _NUMBER.fullmatch(begun):
        form.errors["form"] = "The form was not whole. Look through the sheet once more."
        return None
    done: dict[str, Any] = {
        "version": sheet.version or 0, "started_at": work.started_at, "ended_at": work.ended_at,
        "readings": work.readings, "decontaminated": work.decontaminated, "note": work.note,
        "inspection": int(begun) if begun else None, "findings": work.findings, "actor": found.actor, "at": found.at,
        "request": request_of(sent),
    }  # fmt: skip
    what = sheet.what
    if what.item is None:
        receipt = record_unplanned_inspection(device=what.device.device, kind=what.kind, **done)
        return reverse("bench_device_recorded", args=[what.device.device, receipt.seq]), ""
    due = what.item.due_inspection
    receipt = record_due_inspection(due_inspection=due, re_anchor=work.re_anchor, **done)
    return reverse("bench_recorded", args=[due, receipt.seq]), ""


def _look(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> None:
    """What the Enter key asks for, wherever it is pressed: a slip records nothing."""
    look_through(form, sheet, found.at)


def _add(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> None:
    """A further set of fields, in which whoever asked for it goes on."""
    number = next_number([each.number for each in form.findings])
    if number is None:
        form.errors["findings"] = f"A sheet takes {in_words(len(form.findings))} findings at most."
    elif may_find(found):
        added = a_finding(number, [each.step for each in form.steps], *_choices(sheet, found))
        added.fields[0].focus = True
        form.findings.append(added)


def _remove(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> None:
    number = sent.get("do", "").partition(":")[2]
    form.findings = [each for each in form.findings if str(each.number) != number]
    form.goes_on_at_adding = True


def _due(sheet: BenchSheet) -> int:
    """What no plan calls for is not missed either: no form of ours says so of it."""
    if sheet.what.item is None:
        raise Http404
    return sheet.what.item.due_inspection


def _attempt(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> _Done:
    due = _due(sheet)
    if form.fields["attempt"] not in set(AttemptOutcome):
        form.errors["attempt"] = "Say what stood in the way."
        return None
    if form.warns([form.words("attempt_note", "Where you looked, whom you asked")]):
        return None
    outcome = AttemptOutcome(form.fields["attempt"])
    record_attempt(
        due_inspection=due, tried_at=found.at, outcome=outcome,
        tried_by=found.actor.person or 0, note=form.fields["attempt_note"].strip() or None, actor=found.actor,
        at=found.at, request=request_of(sent),
    )  # fmt: skip
    said = f"The attempt is recorded for today: {ATTEMPTS[outcome].lower()}. The inspection stays to be done."
    return reverse("bench_inspect", args=[due]), said


def _reason(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> _Done:
    due = _due(sheet)
    if form.fields["reason"] not in set(ReasonCode):
        form.errors["reason"] = "Say why it is not done."
        return None
    if form.warns([form.words("reason_note", "Note")]):
        return None
    reason = ReasonCode(form.fields["reason"])
    record_reason(
        due_inspection=due, reason=reason, from_on=found.today,
        note=form.fields["reason_note"].strip() or None, actor=found.actor, at=found.at, request=request_of(sent),
    )  # fmt: skip
    said = f"The reason is recorded: {words_of(reason)}. It explains the miss; it does not make it met."
    return reverse("bench_inspect", args=[due]), said


_DEEDS = {"look": _look, "record": _record, "add": _add, "remove": _remove, "attempt": _attempt, "reason": _reason}


def deed(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> _Done:
    """What the button that was pressed asks for."""
    return _DEEDS.get(sent.get("do", "").partition(":")[0], _record)(sent, form, sheet, found)


_FIELD: dict[type[Exception], str] = {
    MomentsOutOfOrder: "ended", InTheFuture: "ended", NotYetInRecord: "day", PlaceUnknown: "day",
    PlacedElsewhere: "day", VersionNotApproved: "day", AttemptsMissing: "reason", NotOnHold: "reason",
    DepartureMissing: "reason", BeforeTheWindow: "reason",
    NothingToAnchorTo: "re_anchor", CannotReAnchor: "re_anchor", TooEarlyToReAnchor: "re_anchor",
}  # fmt: skip
_SAID: dict[type[Exception], str] = {
    # Where the record's words name things by their numbers.
    NotYetInRecord: "The history of this device begins later.",
    PlaceUnknown: "Nobody said where the device stood on that day.",
    PlacedElsewhere: "The device stood at another site on that day.",
    VersionNotApproved: "This sheet was not approved on that day.",
    InstrumentOverdue: "That instrument was not in calibration on that day: what it reads answers no step.",
    AlreadyRecorded: "Somebody recorded these steps for that day before. Look at the sheet again.",
    NothingToAnchorTo: "Only a whole inspection moves the plan: answer every step, or leave its days as they are.",
    CannotReAnchor: "The plan cannot be counted from that day. Leave its days as they are.",
    AlreadyComplete: "Somebody completed this inspection meanwhile.",
    AttemptsMissing: "No attempts with that outcome are recorded yet, or too few: they have to lie inside the window.",
    NotOnHold: "No such hold was in force on the device: it was in use.",
    DepartureMissing: "The device had not left by the close, or it was recorded by then.",
}


_FIELD_OF_COLUMN = {
    "inspection_session.note": "note", "attempt.note": "attempt", "reason_not_done.note": "reason",
    "entry.started_at": "day", "entry.performed_at": "day", "entry.ended_at": "day",
}  # fmt: skip


def put_beside(form: BenchTyped, refused: Exception) -> None:
    """The refusal stands beside the step or field that it is about."""
    if isinstance(refused, BadValue):
        name = _FIELD_OF_COLUMN.get(f"{refused.table}.{refused.column}")
        if name is None:
            form.errors["form"] = "The form was not whole. Open the sheet anew, and type it once more."
        else:
            form.errors[name] = sentence(capfirst(refused.fault))
        return
    if isinstance(refused, ReadingRefused):
        for each in form.steps:
            if each.step.step.key == refused.step:
                each.error = _SAID.get(type(refused), sentence(capfirst(refused.fault)))
                return
    form.errors[_FIELD.get(type(refused), "form")] = _SAID.get(type(refused), str(refused))
