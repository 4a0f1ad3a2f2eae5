"""Findings on the sheet at the bench: added and removed without losing anything, recorded with the inspection."""

import re
from html import unescape
from typing import Any

import pytest
from django.test import Client

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Discovery, HoldReason, Role
from pmcore.models import Attempt, FindingDetails, HoldDetails, InspectionSession
from pmcore.queries.head import head
from pmcore.services.assignments import assign_inspections
from pmcore.services.faults import take_back_fault_report
from tests.bench_cast import Bench, a_bench, moment
from tests.cast import AT, a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.dashboards.test_bench import beside, send, sheet, text_of
from tests.fault_cast import JUNE_1, a_position, found, minor, report_of, reported

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(monkeypatch) -> Bench:
    set_clock(monkeypatch, moment(6, 1, 9))
    return a_bench()


def finding(number: int = 1, **changed: Any) -> dict[str, Any]:
    """A worn drive that stops use, as one set of fields."""
    said = {
        "mode": "It sinks under load.", "subsystem": "drive", "failure": "functional", "severity": "stops_use",
        "cause": "wear", "training_on": "", "note": "",
    } | changed  # fmt: skip
    return {f"finding:{number}:{name}": value for name, value in said.items()}


def post(bench: Bench, browser: Client, *numbers: int, do: str = "record", **sent: Any):
    return browser.post(f"/bench/{bench.due}/", {**sheet(bench, do=do), "finding": list(numbers), **sent})


def sets_on(response) -> list[str]:
    return re.findall(r'name="finding" value="(\d+)"', response.content.decode())


def focused(response) -> list[str]:
    """The names of what has the focus when the page is opened."""
    tags = re.findall(r"<[^>]*\bautofocus\b[^>]*>", response.content.decode())
    return [" ".join(re.findall(r'(?:name|value)="([^"]*)"', tag)) for tag in tags]


def value_of(response, name: str) -> str:
    page = response.content.decode()
    found = re.search(rf'<textarea[^>]* name="{name}"[^>]*>([^<]*)<', page) or re.search(
        rf'name="{name}"[^>]* value="([^"]*)"', page
    )
    assert found, name
    return unescape(found[1])


# Adding and removing


def test_a_finding_is_added_to_the_sheet_and_nothing_that_was_typed_is_lost(bench):
    browser, size = signed_in(bench.ruan), head().size
    assert sets_on(browser.get(f"/bench/{bench.due}/")) == []
    page = post(bench, browser, do="add", note="Oil on the floor.")
    assert (page.status_code, sets_on(page), focused(page)) == (200, ["1"], ["finding:1:mode"])
    assert value_of(page, "leakage:as_found") == "85"
    assert value_of(page, "note") == "Oil on the floor."
    assert "Say what is wrong." not in text_of(page)  # nobody came to it yet
    page = post(bench, browser, 1, do="add", **finding(mode="It sinks."))
    assert (sets_on(page), focused(page)) == (["1", "2"], ["finding:2:mode"])
    assert value_of(page, "finding:1:mode") == "It sinks."
    assert head().size == size


def test_one_is_removed_and_the_other_stays_as_it_was(bench):
    browser, size = signed_in(bench.ruan), head().size
    page = post(bench, browser, 1, 2, do="remove:1", **finding(), **finding(2, mode="It creaks."))
    assert (page.status_code, sets_on(page), focused(page)) == (200, ["2"], ["do add"])
    assert value_of(page, "finding:2:mode") == "It creaks."
    assert "It sinks under load." not in text_of(page)
    page = post(bench, browser, 2, do="add", **finding(2, mode="It creaks."))
    assert sets_on(page) == ["2", "1"]
    assert head().size == size


def test_a_sheet_takes_ten(bench):
    browser = signed_in(bench.ruan)
    page = post(bench, browser, *range(1, 11), do="look", **finding())
    assert 'value="add"' not in page.content.decode()
    page = post(bench, browser, *range(1, 11), do="add", **finding())
    assert (page.status_code, len(sets_on(page))) == (400, 10)
    assert "A sheet takes ten findings at most." in text_of(page)


@pytest.mark.parametrize("number", ["0", "11", "x", "", "1 "])
def test_a_set_that_no_form_of_ours_holds_is_passed_over(bench, number):
    browser = signed_in(bench.ruan)
    assert browser.post(f"/bench/{bench.due}/", {**sheet(bench), "finding": number}).status_code == 302
    assert not FindingDetails.objects.exists()


# Recording


def test_findings_are_recorded_with_the_inspection_and_told(bench):
    position = a_position(bench.model)
    browser = signed_in(bench.ruan)
    sent = finding(step="brakes", position=position, severity="could_harm")
    answer = post(
        bench, browser, 1, 2, **{"brakes:outcome": "failed"}, **sent,
        **finding(2, mode="It creaks.", failure="potential", severity="minor"),
    )  # fmt: skip
    assert answer.status_code == 302
    session = InspectionSession.objects.get()
    first, second = FindingDetails.objects.order_by("pk")
    assert (first.mode.words, first.step, first.position_id) == ("It sinks under load.", "brakes", position)
    assert (first.inspection_id, first.discovery, first.entry) == (
        session.inspection_id, Discovery.INSPECTION, session.entry,
    )  # fmt: skip
    assert (second.mode.words, second.step, second.severity) == ("It creaks.", None, "minor")
    hold = HoldDetails.objects.get()
    assert (hold.reason, hold.finding_id) == (HoldReason.INSPECTION_FAILED, first.finding_id)
    told = text_of(browser.get(answer.url))
    for said in (
        "A hold was placed because an inspection failed. Nobody may use the device until it is released.",
        "It sinks under load. It sits in drive: could harm, cause wear.",
        "It creaks. It sits in drive: minor, cause wear.",
    ):
        assert said in told, said


def test_each_grave_finding_of_a_sound_sheet_holds_the_device(bench):
    browser = signed_in(bench.ruan)
    answer = post(bench, browser, 3, 7, **finding(3), **finding(7, mode="It tips.", severity="could_harm"))
    assert sorted(HoldDetails.objects.values_list("reason", flat=True)) == [HoldReason.FINDING] * 2
    told = text_of(browser.get(answer.url))
    assert "Two holds were placed because something was found wrong. Nobody may use the device" in told


def test_a_minor_finding_leaves_the_device_in_use(bench):
    browser = signed_in(bench.ruan)
    answer = post(bench, browser, 1, **finding(severity="minor", failure="potential"))
    assert not HoldDetails.objects.exists()
    assert "hold" not in text_of(browser.get(answer.url)).replace("Record what holds", "")


def test_it_answers_the_only_report_that_is_open(bench):
    report = report_of(reported(bench))
    browser = signed_in(bench.ruan)
    page = post(bench, browser, do="add")
    assert f'<option value="{report}" selected>' in page.content.decode()
    assert post(bench, browser, 1, **finding(fault_report=report)).status_code == 302
    view = FindingDetails.objects.get()
    assert (view.fault_report_id, view.discovery) == (report, Discovery.IN_USE)


def test_a_report_that_was_taken_back_meanwhile_is_refused_beside_its_field(bench):
    report = report_of(reported(bench))
    take_back_fault_report(fault_report=report, reason="Another table.", actor=bench.odile, at=AT)
    browser, size = signed_in(bench.ruan), head().size
    answer = post(bench, browser, 1, **finding(fault_report=report))
    assert answer.status_code == 400
    assert "not on offer any more" in beside(answer, "f-finding-1-fault_report")
    assert head().size == size


def test_it_can_have_the_root_of_an_earlier_one(bench):
    earlier = found(bench, minor(discovery="reported_in_use")).first_id
    answer = post(bench, signed_in(bench.ruan), 1, **finding(same_root_as=earlier))
    assert answer.status_code == 302
    assert FindingDetails.objects.latest("pk").same_root_as_id == earlier


def test_sent_twice_it_is_recorded_once(bench):
    browser = signed_in(bench.ruan)
    form = {**sheet(bench), "finding": [1], **finding()}
    first, again = (browser.post(f"/bench/{bench.due}/", form) for _ in range(2))
    assert first.url == again.url
    assert FindingDetails.objects.count() == 1


# What is wrong is said beside its field


@pytest.mark.parametrize(
    ("name", "typed", "said"),
    [
        ("mode", "", "Say what is wrong."),
        ("mode", "It \x07 beeps.", "It holds a character that cannot be kept; take it out."),
        ("mode", "x" * 2_001, "At most 2,000 letters are kept."),
        ("subsystem", "", "Say where it sits."),
        ("subsystem", "wings", "Choose one of these."),
        ("failure", "", "Say whether it failed."),
        ("severity", "", "Say how grave it is."),
        ("cause", "magic", "Choose one of these."),
        ("training_on", "soon", "Say the day as 2026-10-31."),
        ("training_on", "2026-06-02", "The training was not held yet on the day of the inspection."),
        ("step", "labels", "The sheet does not say how that step went: answer it, or leave this empty."),
    ],
)
def test_what_is_wrong_with_a_finding_stands_beside_its_field(bench, name, typed, said):
    size = head().size
    page = post(
        bench, signed_in(bench.ruan), 2, **{"labels:outcome": "", "note": "Kept."}, **finding(2, **{name: typed})
    )
    assert page.status_code == 400
    assert beside(page, f"f-finding-2-{name}") == said
    assert "One answer is not right yet." in text_of(page)
    assert '<a href="#finding-2">Finding 1</a>' in page.content.decode()
    assert value_of(page, "note") == "Kept."
    assert head().size == size


@pytest.mark.parametrize(
    ("changed", "name", "said"),
    [
        ({"failure": "cosmetic"}, "severity", "What only looks wrong, or is no failure, neither harms nor stops its"),
        ({"cause": "no_fault_found"}, "failure", "Where no fault was found there was no failure."),
        ({"cause": "use_error"}, "training_on", "A use error takes the day of a training and a second person"),
    ],
)
def test_what_contradicts_itself_is_said_too(bench, changed, name, said):
    page = post(bench, signed_in(bench.ruan), 1, **finding(**changed))
    assert page.status_code == 400
    assert beside(page, f"f-finding-1-{name}").startswith(said)


def test_the_enter_key_looks_through_findings_and_blames_nobody_for_what_is_to_come(bench):
    browser, size = signed_in(bench.ruan), head().size
    page = post(bench, browser, 1, do="look", **finding(mode="", severity="", subsystem="", failure=""))
    assert page.status_code == 200
    assert "What you typed so far fits." in text_of(page)
    page = post(bench, browser, 1, do="look", **finding(training_on="soon"))
    assert page.status_code == 400
    assert beside(page, "f-finding-1-training_on") == "Say the day as 2026-10-31."
    assert head().size == size


# Patients


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("note", "Note"),
        ("brakes:note", "Note to “Check: brakes.”"),
        ("finding:1:mode", "What is wrong (no patient data)"),
        ("finding:1:note", "Note"),
    ],
)
def test_words_that_look_like_a_patient_are_warned_about_once(bench, name, label):
    browser, size = signed_in(bench.ruan), head().size
    sent = finding() | {name: "Seen with Mrs Thornby"}
    page = post(bench, browser, 1, **sent)
    assert page.status_code == 400
    assert f"Before it is recorded: “{label}” seems to hold a patient's name." in text_of(page)
    assert value_of(page, "looked") == "yes"
    assert head().size == size
    assert post(bench, browser, 1, looked="yes", **sent).status_code == 302


@pytest.mark.parametrize(
    ("do", "note"), [("attempt", {"attempt": "not_found"}), ("reason", {"reason": "waiting_for_a_part"})]
)
def test_so_are_the_notes_about_why_it_was_not_done(bench, do, note):
    browser, size = signed_in(bench.ruan), head().size
    page = send(bench, browser=browser, do=do, **note, **{f"{do}_note": "Patient Thornby, 943 476 5919"})
    assert page.status_code == 400
    assert "seems to hold a patient's name" in text_of(page)
    assert head().size == size


def test_an_attempt_is_recorded_after_the_warning(bench):
    note = {"attempt": "with_a_patient", "attempt_note": "Patient Thornby"}
    answer = send(bench, do="attempt", looked="yes", **note)
    assert answer.status_code == 302
    assert Attempt.objects.get().note.words == "Patient Thornby"


# Who may


def test_a_provider_adds_findings_to_what_they_were_given(bench):
    odd = a_person("Odd Ravnsborg", Role.PROVIDER, bench.alderwick)
    assign_inspections(
        due_inspections=[bench.due], person=odd.person or 0, on=JUNE_1, half=None, actor=bench.odile,
        at=moment(6, 1, 8),
    )  # fmt: skip
    browser = signed_in(odd)
    assert sets_on(post(bench, browser, do="add")) == ["1"]
    answer = post(bench, browser, 1, **finding())
    assert answer.status_code == 302
    assert "It sinks under load." in text_of(browser.get(answer.url))


def test_who_makes_no_findings_is_not_offered_them_and_records_none(bench):
    scheduler: Actor = a_person("Ines Caddock", Role.SCHEDULER, bench.alderwick)
    browser = signed_in(scheduler)
    assert "Add a finding" not in text_of(browser.get(f"/bench/{bench.due}/"))
    assert sets_on(post(bench, browser, do="add")) == []
    assert post(bench, browser, 1, **finding()).status_code == 302
    assert not FindingDetails.objects.exists()
