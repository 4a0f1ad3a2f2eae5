"""What goes wrong with one device, and what is thought of it later: the forms, and what was recorded."""

from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from dashboards import fault_words as say
from dashboards.access import asking, page
from dashboards.bench_form import request_of
from dashboards.fault_case import Case, Deed, case_of
from dashboards.fault_deeds import DEEDS
from dashboards.fields import Form, caution_of
from dashboards.second_thoughts import SECOND_THOUGHTS
from dashboards.typed import SAID, typed_before
from dashboards.words import day_in_words
from pmcore.queries.columns import BadValue
from pmcore.queries.fault_recorded import KINDS, fault_recorded
from pmcore.services.device_days import InTheFuture, NotYetInRecord, PlaceUnknown
from pmcore.services.faults import OthersReferToIt
from pmcore.services.findings import (
    LaterViewStands,
    SameAsBefore,
    SecondPersonIsYou,
    TrainingDayImpossible,
    WasRepaired,
)
from pmcore.services.permissions import MAY
from pmcore.services.refusals import RecordBusy, RecordRefused, RequestReused
from pmcore.services.releases import GroundMissing, HoldNotInForce, ManagersJudgement
from pmcore.services.requests import answered

_BESIDE: dict[type[Exception], tuple[str, str]] = {
    InTheFuture: ("day from_on", "That lies ahead."),
    LaterViewStands: ("from_on", "It is seen as it is now since a later day: say that day or one after it."),
    SameAsBefore: ("", "Nothing is said of it that did not stand so before."),
    OthersReferToIt: ("", "Something else in the record rests on it: take that back first."),
    WasRepaired: ("", "A repair of it is recorded, so something was there: see it otherwise instead."),
    NotYetInRecord: ("day from_on", "The history of this device begins later."),
    PlaceUnknown: ("day from_on", "Nobody said where the device stood on that day."),
    TrainingDayImpossible: ("training_on", "The training was not held yet on that day."),
    SecondPersonIsYou: ("second_person", "Name somebody else than yourself."),
    GroundMissing: ("note", "Say what was done, and on what ground it may be used again."),
    ManagersJudgement: ("holds", "Nothing recorded shows that the device is fit again: a manager signs this release."),
    HoldNotInForce: ("holds", "Somebody lifted one of these holds meanwhile. Load the page again."),
}


@page("equipment")
def deed(request: HttpRequest, device: int, name: str, target: int = 0) -> HttpResponse:
    """The form, and what comes back when it is sent; `target`: which report, finding, hold or release it is about."""
    done = (DEEDS | SECOND_THOUGHTS)[name]
    case = case_of(device, asking(request), target)
    if case.found.actor.role not in MAY[done.may]:
        raise PermissionDenied(f"Your role may not {done.may}.")
    if done.about(case) is None:
        return _answered_or_gone(request, case)
    form = Form(done.fields(case))
    if request.method != "POST":
        sent = typed_before(request)
        if sent is not None:
            form.take(sent)
            form.error = SAID
        return _show(request, done, case, form)
    form.take(request.POST)
    form.caution = "" if form.looked else caution_of(form.fields)
    if form.wrong or form.caution:
        form.looked = form.looked or bool(form.caution)
        return _show(request, done, case, form, status=400)
    try:
        receipt = done.send(form, case, request_of(request.POST))
    except RecordBusy as busy:
        form.error = f"{busy} Everything that you typed is still here."
        return _show(request, done, case, form, status=503)
    except (RecordRefused, BadValue) as refused:
        _put_beside(form, refused)
        receipt = None
    if receipt is None:
        return _show(request, done, case, form, status=400)
    return redirect(reverse("fault_recorded", args=[device, receipt.seq]))


def _answered_or_gone(request: HttpRequest, case: Case) -> HttpResponse:
    """The same form sent twice is one request: what it was about is gone since, and its result is shown."""
    try:
        earlier = answered(case.found.actor, request_of(request.POST), *KINDS) if request.method == "POST" else None
    except (RequestReused, BadValue) as other:
        raise Http404 from other
    if earlier is None:
        raise Http404
    return redirect(reverse("fault_recorded", args=[case.device.device, earlier.seq]))


@page("equipment")
def recorded(request: HttpRequest, device: int, entry: int) -> HttpResponse:
    """What was recorded, and what follows from it."""
    case = case_of(device, asking(request))
    done = fault_recorded(device, entry, as_of=case.here.date(), known=case.known)
    if done is None:
        raise Http404
    context = {
        "device": case.device,
        "quiet": [
            f"entry {entry:,} of the record",
            f"recorded on {day_in_words(done.at.astimezone(ZoneInfo(case.zone)).date())}",
        ],
        "headline": say.headline(done, case.name),
        "follows": say.follows(done),
        "actions": [] if done.gone else offered(case.found.actor.role, bool(done.standing)),
        "aid": say.AID if done.kind == "release_signed" else "",
    }
    return render(request, "dashboards/fault_recorded.html", context)


def offered(role: str, held: bool) -> list[tuple[str, str]]:
    """The addresses of the deeds that a role may do on a device, and what stands on their buttons."""
    words = {"fault": "Report a fault", "finding": "Add a finding", "hold": "Place a hold", "release": "Sign release"}
    inspect = [("bench_device", "Inspect")] if role in MAY["record an inspection"] else []
    deeds = [
        (f"device_{name}", words[name])
        for name, done in DEEDS.items()
        if role in MAY[done.may] and (held or name != "release")
    ]
    return deeds + inspect


def _put_beside(form: Form, refused: Exception) -> None:
    if isinstance(refused, RequestReused):
        form.error = "This form was sent before, with other words. Look at the page of the device, then send it again."
        form.key = Form([]).key
        return
    names, words = _BESIDE.get(type(refused), ("", str(refused)))
    field = next((each for each in form.fields if each.name in names.split()), None)
    if field is None:
        form.error = words
    else:
        field.error = words


def _show(request: HttpRequest, done: Deed, case: Case, form: Form, status: int = 200) -> HttpResponse:
    device = case.device
    context = {
        "device": device,
        "quiet": [case.name, f"{device.maker} {device.model.name}, serial {device.serial}"],
        "headline": done.headline(case),
        "second": done.second(case),
        "form": form,
        "button": done.button,
        "aid": say.AID if done.may == "sign a release" else "",
        "nothing": done.may == "sign a release" and not case.faults.holds,
    }
    return render(request, "dashboards/fault_form.html", context, status=status)
