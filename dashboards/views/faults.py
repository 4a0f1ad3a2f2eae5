"""What goes wrong with one device: a fault is reported, a finding made, a hold placed, a release signed."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from dashboards import fault_words as say
from dashboards.access import Asking, asking, page
from dashboards.bench_form import request_of
from dashboards.fields import Field, Form, caution_of, choices_of, moment_of
from dashboards.finding_form import DISCOVERIES, finding_fields, line_of, report_field
from dashboards.typed import SAID, typed_before
from dashboards.words import day_in_words, hold_in_words
from pmcore.engines.gate import HoldToLift
from pmcore.engines.vocabulary import Discovery, HoldReason
from pmcore.queries.columns import BadValue
from pmcore.queries.device_faults import DeviceFaults, device_faults, finding_choices
from pmcore.queries.devices import DeviceListed, one_device
from pmcore.queries.fault_recorded import fault_recorded
from pmcore.queries.head import head
from pmcore.queries.place_choices import place_choices
from pmcore.queries.release_gate import holds_to_lift
from pmcore.services.device_days import InTheFuture, NotYetInRecord, PlaceUnknown
from pmcore.services.faults import report_fault
from pmcore.services.findings import SecondPersonIsYou, make_finding
from pmcore.services.holds import place_hold
from pmcore.services.permissions import MAY
from pmcore.services.refusals import RecordBusy, RecordRefused, RequestReused
from pmcore.services.releases import GroundMissing, HoldNotInForce, ManagersJudgement, sign_release
from pmcore.services.requests import Receipt, Request

_YES_NO = (("yes", "Yes"), ("no", "No"))
_PLACED_BY_HAND = tuple(reason for reason in HoldReason if reason not in {"finding", "inspection_failed"})


@dataclass(frozen=True)
class Case:
    """The device that somebody writes about, and on which clock."""

    found: Asking
    device: DeviceListed
    faults: DeviceFaults
    known: int
    zone: str

    @property
    def here(self) -> dt.datetime:
        return self.found.at.astimezone(ZoneInfo(self.zone))

    @property
    def name(self) -> str:
        called = self.device.device_class.name if self.device.device_class else "The device"
        return f"{called} {self.device.tag or self.device.serial}"

    def to_lift(self) -> tuple[HoldToLift, ...]:
        return holds_to_lift(self.device.device, self.here.date(), self.known)

    def areas(self) -> tuple[tuple[str, str], ...]:
        if self.device.site is None:
            return ()
        places = place_choices(as_of=self.here.date(), known=self.known, actor=self.found.actor)
        return choices_of(places.areas.get(self.device.site.id, ()))

    def area(self) -> Field:
        own = () if self.device.area is None else (str(self.device.area.id),)
        return Field("area", "Where", "select", self.areas(), own)


@dataclass(frozen=True)
class Deed:
    """`may`: its name in the table of permissions; `send`: None where the form says what is wrong."""

    may: str
    headline: Callable[[Case], str]
    second: Callable[[Case], str]
    button: str
    fields: Callable[[Case], list[Field]]
    send: Callable[[Form, Case, Request], Receipt | None]


def _report_fields(case: Case) -> list[Field]:
    return [
        Field("account", "What did you see? (no patient data)", "long", needed="Say what you saw."),
        Field(
            "could_harm", "Could it harm somebody?", "buttons", _YES_NO, needed="Say whether it could harm somebody.",
            hint="With “Yes” the device is held at once: nobody may use it until a release is signed.",
        ),
        Field("during_use", "Was it in use?", "buttons", _YES_NO),
        case.area(),
        Field("day", "Day", "date", values=(case.here.date().isoformat(),), needed="Say on which day."),
        Field("time", "Time", "time", values=(f"{case.here:%H:%M}",), needed="Say when."),
    ]  # fmt: skip


def _report(form: Form, case: Case, request: Request) -> Receipt | None:
    day, time = form.of("day").day(), form.of("time").time()
    if day is None or time is None or form.wrong:
        return None
    seen_at = moment_of(day, time, case.zone)
    if seen_at is None:
        form.of("time").error = "The clocks were put forward then; there was no such time."
        return None
    return report_fault(
        device=case.device.device, seen_at=seen_at, account=form.of("account").value, area=form.of("area").number,
        during_use={"yes": True, "no": False}.get(form.of("during_use").value),
        could_harm=form.of("could_harm").value == "yes", actor=case.found.actor, at=case.found.at, request=request,
    )  # fmt: skip


def _finding_fields(case: Case) -> list[Field]:
    choices = finding_choices(
        case.device.device, as_of=case.here.date(), known=case.known, actor=case.found.actor
    )  # fmt: skip
    fields = finding_fields(choices, case.faults)
    known = choices_of(DISCOVERIES.items())
    return [
        *report_field(case.faults),
        *fields[:-1],
        Field("discovery", "How it came to light", "select", known, (str(Discovery.IN_USE),), needed="Say how."),
        Field("day", "Day on which it was found", "date", values=(case.here.date().isoformat(),), needed="Say when."),
        case.area(),
        fields[-1],
    ]  # fmt: skip


def _finding(form: Form, case: Case, request: Request) -> Receipt | None:
    day = form.of("day").day()
    line = line_of([each for each in form.fields if each.name not in {"fault_report", "discovery", "day", "area"}])
    if line is None or day is None or form.wrong:
        return None
    answers = next((each.number for each in form.fields if each.name == "fault_report"), None)
    line = replace(
        line, fault_report=answers, discovery=Discovery(form.of("discovery").value), area=form.of("area").number
    )  # fmt: skip
    return make_finding(
        device=case.device.device, finding=line, discovered_on=day, actor=case.found.actor, at=case.found.at,
        request=request,
    )  # fmt: skip


def _hold_fields(case: Case) -> list[Field]:
    reasons = choices_of((each, f"Because {hold_in_words(each)}") for each in _PLACED_BY_HAND)
    return [
        Field("reason", "Why may it not be used?", "select", reasons, needed="Say why."),
        Field("note", "Note (no patient data)", "long"),
    ]


def _hold(form: Form, case: Case, request: Request) -> Receipt | None:
    return place_hold(
        device=case.device.device, reason=HoldReason(form.of("reason").value), from_on=case.here.date(),
        note=form.of("note").value or None, actor=case.found.actor, at=case.found.at, request=request,
    )  # fmt: skip


def _release_fields(case: Case) -> list[Field]:
    holds = case.to_lift()
    told = choices_of(
        (
            each.hold,
            f"Held since {day_in_words(each.placed_on)} because {hold_in_words(each.reason)}. {say.to_lift(each)}",
        )
        for each in holds
    )
    return [
        Field("holds", "Which holds are lifted?", "ticks", told, needed="Say which holds it lifts."),
        Field("note", "What was done, and on what ground it may be used again (no patient data)", "long"),
        Field("restriction", "Restriction that remains, if any", "line"),
    ]


def _release(form: Form, case: Case, request: Request) -> Receipt | None:
    return sign_release(
        device=case.device.device, holds=[int(value) for value in form.of("holds").values], signed_at=case.found.at,
        restriction=form.of("restriction").value or None, note=form.of("note").value or None, actor=case.found.actor,
        at=case.found.at, request=request,
    )  # fmt: skip


DEEDS = {
    "fault": Deed(
        "report a fault", lambda case: f"Report a fault on {case.name}.",
        lambda case: "A minute is enough: what you saw, and whether it could harm somebody.",
        "Report", _report_fields, _report,
    ),
    "finding": Deed(
        "make a finding", lambda case: f"Record what is wrong with {case.name}.",
        lambda case: "What could harm or stops its use holds the device by the same act.",
        "Record", _finding_fields, _finding,
    ),
    "hold": Deed(
        "place a hold", lambda case: f"Hold {case.name}: from today nobody may use it.",
        lambda case: "It stays held until somebody signs its release.",
        "Place a hold", _hold_fields, _hold,
    ),
    "release": Deed(
        "sign a release", lambda case: f"Sign that {case.name} may be used again.",
        lambda case: say.ground(case.to_lift()),
        "Sign release", _release_fields, _release,
    ),
}  # fmt: skip
_BESIDE: dict[type[Exception], tuple[str, str]] = {
    InTheFuture: ("day", "That lies ahead."),
    NotYetInRecord: ("day", "The history of this device begins later."),
    PlaceUnknown: ("day", "Nobody said where the device stood on that day."),
    SecondPersonIsYou: ("second_person", "Name somebody else than yourself."),
    GroundMissing: ("note", "Say what was done, and on what ground it may be used again."),
    ManagersJudgement: ("holds", "What failed was not tested again since: a manager signs this release."),
    HoldNotInForce: ("holds", "Somebody lifted one of these holds meanwhile. Load the page again."),
}


@page("equipment")
def deed(request: HttpRequest, device: int, name: str) -> HttpResponse:
    """The form, and what comes back when it is sent."""
    done = DEEDS[name]
    case = _case(device, asking(request))
    if case.found.actor.role not in MAY[done.may]:
        raise PermissionDenied(f"Your role may not {done.may}.")
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


@page("equipment")
def recorded(request: HttpRequest, device: int, entry: int) -> HttpResponse:
    """What was recorded, and what follows from it."""
    case = _case(device, asking(request))
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
        "actions": [] if done.taken_back else offered(case.found.actor.role, bool(done.standing)),
        "aid": say.AID if done.kind == "release_signed" else "",
    }
    return render(request, "dashboards/fault_recorded.html", context)


def offered(role: str, held: bool) -> list[tuple[str, str]]:
    """The addresses of the deeds that a role may do on a device, and what stands on their buttons."""
    words = {"fault": "Report a fault", "finding": "Add a finding", "hold": "Place a hold", "release": "Sign release"}
    return [
        (f"device_{name}", words[name])
        for name, done in DEEDS.items()
        if role in MAY[done.may] and (held or name != "release")
    ]


def _case(device: int, found: Asking) -> Case:
    known = head().size
    listed = one_device(device, as_of=found.today, known=known, today=found.today, actor=found.actor)
    if listed is None:
        raise Http404
    site = None if listed.site is None else listed.site.id
    zone = next((each.time_zone for each in found.sites if each.site == site), "UTC")
    today = found.at.astimezone(ZoneInfo(zone)).date()
    return Case(found, listed, device_faults(device, as_of=today, known=known), known, zone)


def _put_beside(form: Form, refused: Exception) -> None:
    if isinstance(refused, RequestReused):
        form.error = "This form was sent before, with other words. Look at the page of the device, then send it again."
        form.key = Form([]).key
        return
    name, words = _BESIDE.get(type(refused), ("", str(refused)))
    field = next((each for each in form.fields if each.name == name), None)
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
