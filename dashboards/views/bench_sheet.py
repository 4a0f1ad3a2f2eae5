"""The sheet at the device, and what comes back when it is sent."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from dashboards import bench_words as say
from dashboards.access import PAGES, Asking, asking, page
from dashboards.bench_deeds import ATTEMPTS, REASONS, deed, form_of, may_find, put_beside
from dashboards.bench_findings import MOST
from dashboards.bench_form import BenchTyped, asks_for_cleaning, blank
from dashboards.bench_shown import step_shown
from dashboards.typed import SAID, typed_before
from dashboards.words import day_in_words, hold_in_words
from pmcore.queries.asked import AskedRefused
from pmcore.queries.bench_sheet import BenchSheet, bench_sheet
from pmcore.queries.columns import BadValue
from pmcore.queries.due_list import TO_DO
from pmcore.queries.head import head
from pmcore.queries.miss_evidence import evidence_of
from pmcore.queries.recorded import recorded_work
from pmcore.services.permissions import MAY
from pmcore.services.refusals import RecordBusy, RecordRefused, RequestReused


@page("bench")
def inspect(request: HttpRequest, due: int) -> HttpResponse:
    """The sheet, and what comes back when it is sent."""
    found = asking(request)
    sheet = _sheet(due, found)
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
        return _show(request, _sheet(due, found), form, status=400)
    except (RecordRefused, BadValue) as refused:
        put_beside(form, refused)
        return _show(request, _sheet(due, found), form, status=400)
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
        "findings": [say.finding_in_words(finding) for finding in work.findings],
    }
    return render(request, "dashboards/bench_recorded.html", context)


def _sheet(due: int, found: Asking) -> BenchSheet:
    try:
        sheet = bench_sheet(due, as_of=found.today, known=head().size, actor=found.actor)
    except AskedRefused as refused:
        raise Http404 from refused
    if sheet is None:
        raise Http404
    return sheet


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
        "may_find": may_find(found),
        "may_add": len(form.findings) < MOST,
        "steps": [step_shown(number, each, sheet) for number, each in enumerate(form.steps, 1)],
        "done_steps": [step for step in sheet.steps if step.done_on is not None],
        "can_record": found.actor.role in MAY["record an inspection"] and (item.state in TO_DO or form.wrong > 0),
        "attempts": [(str(word), said) for word, said in ATTEMPTS.items()],
        "reasons": [(str(word), said) for word, said in REASONS.items()],
        "evidence": evidence,
    }
    return render(request, "dashboards/bench_inspect.html", context, status=status)
