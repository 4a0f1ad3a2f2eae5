"""Bench: a technician's own work, and the sheet at the device."""

import re
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse

from dashboards import bench_words as say
from dashboards.access import PAGES, Asking, asking, page
from dashboards.bench_form import BenchTyped, asks_for_cleaning, blank, look_through, request_of, typed, work_of
from dashboards.compliance_asking import given
from dashboards.typed import SAID, typed_before
from dashboards.words import day_in_words, hold_in_words, words_of
from pmcore.engines.vocabulary import AttemptOutcome, ReasonCode
from pmcore.queries.asked import AskedRefused
from pmcore.queries.bench_sheet import BenchSheet, BenchStep, bench_sheet
from pmcore.queries.columns import BadValue
from pmcore.queries.due_list import TO_DO, DueFilter, DuePage, due_page
from pmcore.queries.head import head
from pmcore.queries.miss_evidence import evidence_of
from pmcore.queries.own_work import own_work
from pmcore.queries.parameters import BadParameters, Parameters
from pmcore.queries.recorded import recorded_work
from pmcore.services.bench import record_due_inspection
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
from pmcore.services.refusals import RecordBusy, RecordRefused, RequestReused

_LONGEST_WORDS = 80
_NUMBER = re.compile(r"[0-9]{1,18}")
_FOUND = 50
_ATTEMPTS = {
    AttemptOutcome.NOT_FOUND: "It could not be found",
    AttemptOutcome.WITH_A_PATIENT: "It was with a patient",
    AttemptOutcome.NO_ACCESS: "The area gave no access",
}
_REASONS = {
    ReasonCode.NOT_FOUND: "It could not be found, on several days",
    ReasonCode.WITH_A_PATIENT: "It was with a patient, on several days",
    ReasonCode.NO_ACCESS: "The area gave no access",
    ReasonCode.WAITING_FOR_PART: "It waits for a part, and is on hold",
    ReasonCode.NO_USABLE_CONTROL: "It has no usable control, and is on hold",
    ReasonCode.LEFT_AFTER_CLOSE: "It had left; that was recorded after the close",
}


@page("bench")
def start(request: HttpRequest) -> HttpResponse:
    """What is given to whoever is signed in, and what is open where they work."""
    found, known = asking(request), head().size
    words, error = _words(request)
    work = own_work(as_of=found.today, known=known, actor=found.actor)
    context = {
        "quiet": [day_in_words(found.today, weekday=True), f"record size {known:,}"],
        "headline": say.own_headline(work, found.today),
        "second": say.own_second(work),
        "work": work,
        "words": request.GET.get("words", ""),
        "error": error,
        "found": _search(words, found, known) if words else None,
    }
    return render(request, "dashboards/bench.html", context, status=400 if error else 200)


@page("bench")
def inspect(request: HttpRequest, due: int) -> HttpResponse:
    """The sheet, and what comes back when it is sent."""
    found = asking(request)
    sheet = _sheet(due, found)
    if request.method != "POST":
        return _show(request, sheet, _opened(request, sheet, found))
    form = typed(sheet, request.POST)
    try:
        done = _DEEDS.get(request.POST.get("do", ""), _record)(request.POST, form, sheet, found)
    except RecordBusy as busy:
        form.errors["form"] = f"{busy} Everything that you typed is still here."
        return _show(request, sheet, form, status=503)
    except RequestReused:
        form.errors["form"] = "This form was sent before, with other answers. Look at what is recorded below."
        form.key = blank(sheet, found.at).key
        return _show(request, _sheet(due, found), form, status=400)
    except (RecordRefused, BadValue) as refused:
        _put_beside(form, refused)
        return _show(request, _sheet(due, found), form, status=400)
    if done is None:
        return _show(request, sheet, form, status=400 if form.wrong else 200)
    address, said = done
    if said:
        messages.success(request, said)
    return redirect(address)


def _opened(request: HttpRequest, sheet: BenchSheet, found: Asking) -> BenchTyped:
    """An empty form, or what was sent before the sign-in."""
    sent = typed_before(request)
    if sent is None:
        return blank(sheet, found.at)
    form = typed(sheet, sent)
    form.errors["form"] = SAID
    return form


@page("bench")
def recorded(request: HttpRequest, due: int, entry: int) -> HttpResponse:
    """What was recorded, and what follows from it."""
    found, known = asking(request), head().size
    work = recorded_work(due, entry, as_of=found.today, known=known, actor=found.actor)
    if work is None:
        raise Http404
    context = {
        "work": work,
        "quiet": [f"entry {entry:,} of the record", f"recorded for {day_in_words(work.performed_on)}"],
        "headline": say.recorded_headline(work),
        "follows": say.follows(work),
        "failed": [(step.prompt, say.found_in_words(step)) for step in work.failed],
    }
    return render(request, "dashboards/bench_recorded.html", context)


def _words(request: HttpRequest) -> tuple[str, str]:
    """What is looked for, and what is wrong with it."""
    reader = Parameters(given(request.GET), ("words",))
    words = reader.one("words", str) or ""
    try:
        reader.refuse()
    except BadParameters as bad:
        return "", " ".join(bad.errors.values())
    if len(words) > _LONGEST_WORDS or "\x00" in words:
        return "", f"At most {_LONGEST_WORDS} letters are looked for."
    return words.strip(), ""


def _search(words: str, found: Asking, known: int) -> DuePage:
    asked = DueFilter(words=words, states=TO_DO)
    return due_page(asked, as_of=found.today, known=known, actor=found.actor, limit=_FOUND)


def _sheet(due: int, found: Asking) -> BenchSheet:
    try:
        sheet = bench_sheet(due, as_of=found.today, known=head().size, actor=found.actor)
    except AskedRefused as refused:
        raise Http404 from refused
    if sheet is None:
        raise Http404
    return sheet


def _record(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> tuple[str, str] | None:
    """None: the form says what is wrong."""
    if sent.get("version") != str(sheet.version):
        form.errors["form"] = "A new version of the sheet is in use since you opened it. Look through it once more."
        return None
    work = work_of(form, sheet, found.at)
    if work is None:
        return None
    begun = sent.get("begun", "")
    if begun and not _NUMBER.fullmatch(begun):
        form.errors["form"] = "The form was not whole. Look through the sheet once more."
        return None
    receipt = record_due_inspection(
        due_inspection=sheet.item.due_inspection, version=sheet.version or 0, started_at=work.started_at,
        ended_at=work.ended_at, readings=work.readings, decontaminated=work.decontaminated, note=work.note,
        inspection=int(begun) if begun else None, re_anchor=work.re_anchor, actor=found.actor, at=found.at,
        request=request_of(sent),
    )  # fmt: skip
    return reverse("bench_recorded", args=[sheet.item.due_inspection, receipt.seq]), ""


def _look(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> None:
    """What the Enter key asks for, wherever it is pressed: a slip records nothing."""
    look_through(form, sheet, found.at)


def _attempt(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> tuple[str, str] | None:
    if form.fields["attempt"] not in set(AttemptOutcome):
        form.errors["attempt"] = "Say what stood in the way."
        return None
    outcome = AttemptOutcome(form.fields["attempt"])
    record_attempt(
        due_inspection=sheet.item.due_inspection, tried_at=found.at, outcome=outcome,
        tried_by=found.actor.person or 0, note=form.fields["attempt_note"].strip() or None, actor=found.actor,
        at=found.at, request=request_of(sent),
    )  # fmt: skip
    said = f"The attempt is recorded for today: {_ATTEMPTS[outcome].lower()}. The inspection stays to be done."
    return reverse("bench_inspect", args=[sheet.item.due_inspection]), said


def _reason(sent: QueryDict, form: BenchTyped, sheet: BenchSheet, found: Asking) -> tuple[str, str] | None:
    if form.fields["reason"] not in set(ReasonCode):
        form.errors["reason"] = "Say why it is not done."
        return None
    reason = ReasonCode(form.fields["reason"])
    record_reason(
        due_inspection=sheet.item.due_inspection, reason=reason, from_on=found.today,
        note=form.fields["reason_note"].strip() or None, actor=found.actor, at=found.at, request=request_of(sent),
    )  # fmt: skip
    said = f"The reason is recorded: {words_of(reason)}. It explains the miss; it does not make it met."
    return reverse("bench_inspect", args=[sheet.item.due_inspection]), said


_DEEDS = {"look": _look, "record": _record, "attempt": _attempt, "reason": _reason}
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


def _put_beside(form: BenchTyped, refused: Exception) -> None:
    """The refusal stands beside the step or field that it is about."""
    if isinstance(refused, BadValue):
        name = _FIELD_OF_COLUMN.get(f"{refused.table}.{refused.column}")
        if name is None:
            form.errors["form"] = "The form was not whole. Open the sheet anew, and type it once more."
        else:
            form.errors[name] = f"{refused.fault[:1].upper()}{refused.fault[1:]}."
        return
    if isinstance(refused, ReadingRefused):
        for each in form.steps:
            if each.step.step.key == refused.step:
                each.error = _SAID.get(type(refused), f"{refused.fault[:1].upper()}{refused.fault[1:]}.")
                return
    form.errors[_FIELD.get(type(refused), "form")] = _SAID.get(type(refused), str(refused))


def _show(request: HttpRequest, sheet: BenchSheet, form: BenchTyped, status: int = 200) -> HttpResponse:
    found = asking(request)
    item = sheet.item
    evidence = evidence_of([item.due_inspection], as_of=found.today, known=head().size).get(item.due_inspection)
    device = item.device
    context = {
        "sheet": sheet,
        "item": item,
        "quiet": [
            f"{item.device_class_name} {device.tag or device.serial}",
            f"{device.maker} {device.model}, serial {device.serial}",
            str(sheet.place),
        ],
        "headline": say.headline(sheet, found.today),
        "second": say.second(sheet),
        "cautions": say.cautions_in_words(sheet),
        "early": say.early_in_words(sheet),
        "asks_for_cleaning": asks_for_cleaning(form),
        "sees_equipment": found.actor.role in PAGES["equipment"][1],
        "holds": [(hold, hold_in_words(hold.reason)) for hold in sheet.holds],
        "form": form,
        "steps": [_shown(number, each, sheet) for number, each in enumerate(form.steps, 1)],
        "done_steps": [step for step in sheet.steps if step.done_on is not None],
        "can_record": found.actor.role in MAY["record an inspection"] and (item.state in TO_DO or form.wrong > 0),
        "attempts": [(str(word), said) for word, said in _ATTEMPTS.items()],
        "reasons": [(str(word), said) for word, said in _REASONS.items()],
        "evidence": evidence,
    }
    return render(request, "dashboards/bench_inspect.html", context, status=status)


def _shown(number: int, each: Any, sheet: BenchSheet) -> dict[str, Any]:
    step: BenchStep = each.step
    kind = step.step.kind
    return {
        "number": number,
        "key": step.step.key,
        "prompt": step.prompt,
        "hint": say.hint(step),
        "unit": say.unit_in_words(step.unit),
        "answers": [(str(outcome), word, each.outcome == outcome) for outcome, word in say.answers(step)],
        "numbers": _numbers(each) if kind in {"measure", "count", "angle_pair", "two_way_travel"} else [],
        "date_code": kind == "date_code",
        "instruments": [(str(one.instrument), one) for one in sheet.instruments] if step.step.instrument_wanted else [],
        "wants_instrument": step.step.instrument_wanted,
        "typed": each.typed,
        "error": each.error,
        "note_open": bool(each.typed.get("note")) or "note" in each.error,
    }


def _numbers(each: Any) -> list[tuple[str, str, str]]:
    """Name, label and what was typed of each number that the step asks for."""
    step: BenchStep = each.step
    pair = {"angle_pair": ("left", "right"), "two_way_travel": ("out", "back")}.get(step.step.kind)
    names = (
        [("as_found", "As found"), ("as_left", "As left")] if step.step.kind != "count" else [("as_found", "Counted")]
    )
    found = []
    for name, label in names:
        found.append((name, f"{label}, {pair[0]}" if pair else label, each.typed.get(name, "")))
        if pair:
            second = f"{name}_second"
            found.append((second, f"{label}, {pair[1]}", each.typed.get(second, "")))
    return found
