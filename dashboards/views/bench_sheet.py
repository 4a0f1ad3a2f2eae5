"""The sheet at the device, and what comes back when it is sent."""

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from dashboards import bench_words as say
from dashboards.access import PAGES, Asking, asking, page
from dashboards.bench_deeds import ATTEMPTS, REASONS, deed, form_of, may_find, put_beside
from dashboards.bench_findings import MOST
from dashboards.bench_form import BenchTyped, asks_for_cleaning, blank
from dashboards.bench_shown import step_shown
from dashboards.fields import Field, Form, choices_of
from dashboards.typed import SAID, typed_before
from dashboards.words import day_in_words, hold_in_words
from pmcore.engines.vocabulary import InspectionKind, Role
from pmcore.queries.asked import AskedRefused
from pmcore.queries.bench_sheet import BenchSheet, bench_sheet
from pmcore.queries.columns import BadValue
from pmcore.queries.due_list import TO_DO
from pmcore.queries.head import head
from pmcore.queries.miss_evidence import evidence_of
from pmcore.queries.recorded import RecordedWork, recorded_work
from pmcore.queries.recorded import recorded_unplanned as told_unplanned
from pmcore.queries.unplanned import UNPLANNED, Inspectable, inspectable, unplanned_sheet
from pmcore.services.permissions import MAY
from pmcore.services.refusals import RecordBusy, RecordRefused, RequestReused


@page("bench")
def inspect(request: HttpRequest, due: int) -> HttpResponse:
    """For a due inspection."""
    found = asking(request)
    return _answer(request, lambda: bench_sheet(due, as_of=found.today, known=head().size, actor=found.actor))


@page("bench")
def inspect_unplanned(request: HttpRequest, device: int, kind: str, procedure: int) -> HttpResponse:
    """Because no plan calls for it."""
    if kind not in UNPLANNED:
        raise Http404
    found, why = asking(request), InspectionKind(kind)
    return _answer(
        request,
        lambda: unplanned_sheet(device, why, procedure, as_of=found.today, known=head().size, actor=found.actor),
    )


@page("bench")
def choose(request: HttpRequest, device: int) -> HttpResponse:
    """Why a device is inspected though no plan calls for it, and by which procedure."""
    found = asking(request)
    chosen = inspectable(device, as_of=found.today, known=head().size, actor=found.actor)
    if chosen is None:
        raise Http404
    if found.actor.role not in MAY["record an inspection"]:
        raise PermissionDenied("Your role may not record an inspection.")
    form = _choice(chosen, found.actor.role)
    if request.GET:
        form.take(request.GET)
        if not form.wrong:
            where = [device, form.of("kind").value, form.of("procedure").number]
            return redirect("bench_unplanned", *where)
    listed = chosen.device
    context = {
        "device": listed,
        "name": f"{listed.device_class.name if listed.device_class else 'The device'} {listed.tag or listed.serial}",
        "quiet": [
            f"{listed.maker} {listed.model.name}, serial {listed.serial}",
            listed.site.name if listed.site else "",
        ],
        "form": form,
        "procedures": chosen.procedures,
        "sees_equipment": found.actor.role in PAGES["equipment"][1],
    }
    return render(request, "dashboards/bench_choose.html", context, status=400 if form.wrong else 200)


def _choice(chosen: Inspectable, role: Role) -> Form:
    """After a repair first where the device is held; the only procedure is chosen. Providers receive no device."""
    procedures = choices_of((each.procedure, each.name) for each in chosen.procedures)
    kinds = choices_of(
        (each, say.KINDS[each])
        for each in UNPLANNED
        if role is not Role.PROVIDER or each is not InspectionKind.INCOMING
    )
    why = (str(InspectionKind.AFTER_REPAIR),) if chosen.device.held else ()
    only = (procedures[0][0],) if len(procedures) == 1 else ()
    return Form(
        [
            Field("kind", "Why is it inspected?", "buttons", kinds, why, needed="Say why."),
            Field("procedure", "By which procedure?", "select", procedures, only, needed="Say by which."),
        ]
    )


def _answer(request: HttpRequest, read: Callable[[], BenchSheet | None]) -> HttpResponse:
    """The sheet, and what comes back when it is sent; read again after a refusal, for somebody may have written."""
    found = asking(request)
    sheet = _sheet(read)
    if request.method != "POST":
        return _show(request, sheet, _opened(request, sheet, found))
    form = form_of(sheet, request.POST, found)
    try:
        done = deed(request.POST, form, sheet, found)
    except RecordBusy as busy:
        form.errors["form"] = f"{busy} Everything that you typed is still here."
        return _show(request, sheet, form, status=503)
    except RequestReused:
        form.errors["form"] = "This form was sent before, with other answers. Look at what is recorded below."
        form.key = blank(sheet, found.at).key
        return _show(request, _sheet(read), form, status=400)
    except (RecordRefused, BadValue) as refused:
        put_beside(form, refused)
        return _show(request, _sheet(read), form, status=400)
    if done is None:
        return _show(request, sheet, form, status=400 if form.wrong or form.caution else 200)
    address, said = done
    if said:
        messages.success(request, said)
    return redirect(address)


def _opened(request: HttpRequest, sheet: BenchSheet, found: Asking) -> BenchTyped:
    """An empty form, or what was sent before the sign-in."""
    sent = typed_before(request)
    if sent is None:
        return blank(sheet, found.at)
    form = form_of(sheet, sent, found)
    form.errors["form"] = SAID
    return form


@page("bench")
def recorded(request: HttpRequest, due: int, entry: int) -> HttpResponse:
    """What was recorded for a due inspection, and what follows from it."""
    found = asking(request)
    work = recorded_work(due, entry, as_of=found.today, known=head().size, actor=found.actor)
    return _show_recorded(request, work, reverse("bench_inspect", args=[due]))


@page("bench")
def recorded_unplanned(request: HttpRequest, device: int, entry: int) -> HttpResponse:
    """What was recorded though no plan called for it."""
    found = asking(request)
    work = told_unplanned(device, entry, as_of=found.today, known=head().size, actor=found.actor)
    again = "" if work is None else reverse("bench_unplanned", args=[device, work.kind, work.procedure])
    may_sign = found.actor.role in MAY["sign a release"]
    return _show_recorded(request, work, again, reverse("device_release", args=[device]) if may_sign else "")


def _show_recorded(request: HttpRequest, work: RecordedWork | None, again: str, release: str = "") -> HttpResponse:
    """`again`: where it goes on; `release`: where whoever reads it signs one."""
    if work is None:
        raise Http404
    context = {
        "work": work,
        "quiet": [f"entry {work.entry:,} of the record", f"recorded for {day_in_words(work.performed_on)}"],
        "headline": say.recorded_headline(work),
        "follows": say.follows(work),
        "failed": [(step.prompt, say.found_in_words(step)) for step in work.failed],
        "findings": [say.finding_in_words(finding) for finding in work.findings],
        "again": again,
        "release": release if work.standing else "",
    }
    return render(request, "dashboards/bench_recorded.html", context)


def _sheet(read: Callable[[], BenchSheet | None]) -> BenchSheet:
    try:
        sheet = read()
    except AskedRefused as refused:
        raise Http404 from refused
    if sheet is None:
        raise Http404
    return sheet


def _show(request: HttpRequest, sheet: BenchSheet, form: BenchTyped, status: int = 200) -> HttpResponse:
    found = asking(request)
    what, item, device = sheet.what, sheet.what.item, sheet.what.device
    dues = [] if item is None else [item.due_inspection]
    evidence = evidence_of(dues, as_of=found.today, known=head().size) if dues else {}
    context = {
        "sheet": sheet,
        "what": what,
        "item": item,
        "quiet": [
            f"{what.device_class_name or 'The device'} {device.tag or device.serial}",
            f"{device.maker} {device.model}, serial {device.serial}",
            str(sheet.place),
        ],
        "headline": say.headline(sheet, found.today),
        "second": say.second(sheet),
        "meets": [(say.meets_in_words(each), each) for each in what.meets],
        "cautions": say.cautions_in_words(sheet),
        "early": say.early_in_words(sheet),
        "asks_for_cleaning": asks_for_cleaning(form),
        "sees_equipment": found.actor.role in PAGES["equipment"][1],
        "holds": [(hold, hold_in_words(hold.reason)) for hold in sheet.holds],
        "form": form,
        "may_find": may_find(found),
        "may_add": len(form.findings) < MOST,
        "steps": [step_shown(number, each, sheet) for number, each in enumerate(form.steps, 1)],
        "done_steps": [step for step in sheet.steps if step.done_on is not None],
        "may_inspect": found.actor.role in MAY["record an inspection"],
        "can_record": found.actor.role in MAY["record an inspection"]
        and (item is None or item.state in TO_DO or form.wrong > 0),
        "attempts": [(str(word), said) for word, said in ATTEMPTS.items()],
        "reasons": [(str(word), said) for word, said in REASONS.items()],
        "evidence": next(iter(evidence.values()), None),
    }
    return render(request, "dashboards/bench_inspect.html", context, status=status)
