"""What is first said of a device: a fault is reported, a finding made, a hold placed, a release signed."""

from dataclasses import replace

from dashboards import fault_words as say
from dashboards.fault_case import Case, Deed
from dashboards.fields import Field, Form, choices_of, moment_of
from dashboards.finding_form import DISCOVERIES, finding_fields, line_of, report_field
from dashboards.words import day_in_words, hold_in_words
from pmcore.engines.vocabulary import Discovery, HoldReason
from pmcore.queries.device_faults import finding_choices
from pmcore.services.faults import report_fault
from pmcore.services.findings import make_finding
from pmcore.services.holds import place_hold
from pmcore.services.releases import sign_release
from pmcore.services.requests import Receipt, Request

_YES_NO = (("yes", "Yes"), ("no", "No"))
PLACED_BY_HAND = tuple(reason for reason in HoldReason if reason not in {"finding", "inspection_failed"})


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
        report_field(case.faults),
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
    line = replace(
        line, fault_report=form.of("fault_report").number, discovery=Discovery(form.of("discovery").value),
        area=form.of("area").number,
    )  # fmt: skip
    return make_finding(
        device=case.device.device, finding=line, discovered_on=day, actor=case.found.actor, at=case.found.at,
        request=request,
    )  # fmt: skip


def _hold_fields(case: Case) -> list[Field]:
    reasons = choices_of((each, f"Because {hold_in_words(each)}") for each in PLACED_BY_HAND)
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
        device=case.device.device, holds=[int(value) for value in form.of("holds").given], signed_at=case.found.at,
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
