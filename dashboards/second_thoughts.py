"""What is thought of a device later: a finding is seen otherwise; what never was is taken back."""

from collections.abc import Callable, Sequence
from typing import Any

from dashboards.fault_case import Case, Deed
from dashboards.fields import Field, Form
from dashboards.finding_form import finding_fields, finding_in_words, line_of
from dashboards.words import day_in_words, held_in_words, in_words, sentence
from pmcore.queries.device_faults import device_releases, finding_choices
from pmcore.queries.fault_pages import FaultReportListed, FindingListed, HoldListed, ReleaseListed
from pmcore.queries.holds import opened_by_finding, opened_by_report
from pmcore.services.faults import take_back_fault_report
from pmcore.services.findings import reclassify_finding, take_back_finding
from pmcore.services.holds import take_back_hold
from pmcore.services.permissions import MAY
from pmcore.services.releases import take_back_release
from pmcore.services.requests import Receipt, Request

_KEPT = ("position", "same_root_as", "training_on", "second_person")  # said once, they change and are not emptied
_TAKEN_BACK = "Taken back, it is as though it had never been; the history keeps what was written, and why it was wrong."


def _finding(case: Case) -> FindingListed | None:
    return case.faults.finding(case.target)


def _report(case: Case) -> FaultReportListed | None:
    return next((each for each in case.faults.reports if each.fault_report == case.target), None)


def _hold(case: Case) -> HoldListed | None:
    return next((each for each in case.faults.holds if each.hold == case.target), None)


def _release(case: Case) -> ReleaseListed | None:
    releases = device_releases(case.device.device, as_of=case.here.date(), known=case.known)
    return next((each for each in releases if each.release == case.target), None)


# Seen otherwise


def _reclassify_fields(case: Case) -> list[Field]:
    """As it is seen now."""
    finding = _finding(case)
    assert finding is not None
    choices = finding_choices(case.device.device, as_of=case.here.date(), known=case.known, actor=case.found.actor)
    fields = finding_fields(choices, case.faults)[:-1]  # the note says why, and is needed
    for each in fields:
        if each.name == "same_root_as":
            each.choices = tuple(pair for pair in each.choices if pair[0] != str(finding.finding))
        value = getattr(finding, each.name)
        each.values = () if value is None else (str(value),)
    return [
        Field("note", "Why is it seen otherwise? (no patient data)", "long", needed="Say why it is seen otherwise."),
        Field("from_on", "From which day on", "date", values=(case.here.date().isoformat(),), needed="Say from when."),
        *fields,
    ]


def _reclassify(form: Form, case: Case, request: Request) -> Receipt | None:
    from_on = form.of("from_on").day()
    finding = _finding(case)
    line = line_of([each for each in form.fields if each.name != "from_on"])
    for each in form.fields:
        if each.name in _KEPT and each.asked and not each.value and getattr(finding, each.name) is not None:
            each.error = "It was said before: it can be changed, not emptied."
    if line is None or from_on is None or form.wrong:
        return None
    return reclassify_finding(
        finding=case.target, from_on=from_on, note=form.of("note").value, subsystem=line.subsystem,
        position=line.position, mode=line.mode, cause=line.cause, failure=line.failure, severity=line.severity,
        same_root_as=line.same_root_as, training_on=line.training_on, second_person=line.second_person,
        actor=case.found.actor, at=case.found.at, request=request,
    )  # fmt: skip


# Taken back


def _reason_field(case: Case) -> list[Field]:
    return [Field("reason", "Why was it wrong? (no patient data)", "long", needed="Say why the record was wrong.")]


def _taking_back(service: Callable[..., Receipt], thing: str) -> Callable[[Form, Case, Request], Receipt | None]:
    def send(form: Form, case: Case, request: Request) -> Receipt | None:
        named: dict[str, Any] = {thing: case.target}
        return service(
            **named, reason=form.of("reason").value, actor=case.found.actor, at=case.found.at, request=request
        )

    return send


def _along(case: Case, opened: Sequence[int]) -> str:
    """What becomes of the holds with it."""
    left = len([each for each in case.faults.holds if each.hold not in opened])
    if not opened:
        return f"It opened no hold that is in force. {_left(left)} {_TAKEN_BACK}"
    many = "the hold" if len(opened) == 1 else f"the {in_words(len(opened))} holds"
    return f"It takes {many} along that it opened. {_left(left)} {_TAKEN_BACK}"


def _left(holds: int) -> str:
    if holds == 0:
        return "Then no hold is in force, and the device may be used."
    return f"{in_words(holds).capitalize()} hold{' stays' if holds == 1 else 's stay'} in force: nobody may use it."


def _report_back(case: Case) -> str:
    return _along(case, opened_by_report(case.target, case.device.device, case.here.date(), case.known))


def _finding_back(case: Case) -> str:
    return _along(case, opened_by_finding(case.target, case.device.device, case.here.date(), case.known))


def _hold_back(case: Case) -> str:
    done = "A hold that has done its work is not taken back: it is lifted by a signed release."
    return f"{_left(len(case.faults.holds) - 1)} {done} {_TAKEN_BACK}"


def _release_back(case: Case) -> str:
    release = _release(case)
    count = 0 if release is None else len(release.holds)
    many = "The hold that it lifted is" if count == 1 else f"The {in_words(count)} holds that it lifted are"
    return f"{many} in force again, and nobody may use the device. {_TAKEN_BACK}"


def _told(case: Case, said: Callable[[Any], str], about: Callable[[Case], Any]) -> str:
    found = about(case)
    return "" if found is None else said(found)


def _report_headline(report: FaultReportListed) -> str:
    words = sentence(report.account or "words that were taken out")
    return f"Take back the fault report of {day_in_words(report.seen_on)}: {words}"


def _hold_headline(hold: HoldListed) -> str:
    return f"Take back the hold since {day_in_words(hold.placed_on)}: {held_in_words(hold.reason)}."


def _release_headline(release: ReleaseListed) -> str:
    return f"Take back the release that {release.signed_by_name} signed on {day_in_words(release.signed_on)}."


SECOND_THOUGHTS = {
    "findings/reclassify": Deed(
        "reclassify a finding",
        lambda case: _told(case, lambda each: f"See it otherwise: {finding_in_words(each)}", _finding),
        lambda case: "It counts from its day on; figures of days before stay. Where it turns grave it holds the "
        "device in the same act, and no view lifts a hold.",
        "Record", _reclassify_fields, _reclassify, _finding,
    ),
    "findings/take-back": Deed(
        "take back a finding",
        lambda case: _told(case, lambda each: f"Take back the finding: {finding_in_words(each)}", _finding),
        _finding_back, "Take back", _reason_field, _taking_back(take_back_finding, "finding"), _finding,
    ),
    "fault-reports/take-back": Deed(
        "take back a fault report", lambda case: _told(case, _report_headline, _report), _report_back, "Take back",
        _reason_field, _taking_back(take_back_fault_report, "fault_report"), _report,
    ),
    "holds/take-back": Deed(
        "take back a hold", lambda case: _told(case, _hold_headline, _hold), _hold_back, "Take back",
        _reason_field, _taking_back(take_back_hold, "hold"), _hold,
    ),
    "releases/take-back": Deed(
        "take back a release", lambda case: _told(case, _release_headline, _release), _release_back, "Take back",
        _reason_field, _taking_back(take_back_release, "release"), _release,
    ),
}  # fmt: skip
"""By the end of their addresses: what it is about, and what is done to it; which one stands between."""


def later(role: str, thing: str, target: int) -> list[tuple[str, int, str]]:
    """The deeds that a role may do on one thing of a device: address name, which one, and the words of the link."""
    words = {"reclassify": "See it otherwise", "take-back": "Take it back"}
    return [
        (address_name(name), target, words[name.partition("/")[2]])
        for name, done in SECOND_THOUGHTS.items()
        if name.startswith(f"{thing}/") and role in MAY[done.may]
    ]


def address_name(name: str) -> str:
    return "device_" + name.replace("/", "_").replace("-", "_")
