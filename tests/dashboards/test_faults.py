"""On the page of a device: a fault is reported, a finding made, a hold placed, a release signed."""

import re
import uuid
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import FaultDetails, FindingDetails, HoldDetails, ReleaseStatement
from pmcore.queries.head import head
from pmcore.services.faults import take_back_fault_report
from pmcore.services.holds import place_hold
from pmcore.services.lock import RecordBusy
from tests.bench_cast import Bench, a_bench, moment
from tests.cast import AT, a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.dashboards.test_bench import beside, text_of
from tests.fault_cast import a_position, found, hold_of, in_force, minor, report_of, reported

pytestmark = pytest.mark.django_db

NOW = moment(6, 10, 9)  # ten o'clock at the site, which keeps summer time


@pytest.fixture
def bench(monkeypatch) -> Bench:
    set_clock(monkeypatch, NOW)
    return a_bench()


@pytest.fixture
def lead(bench: Bench) -> Actor:
    return a_person("Merete Sondvik", Role.CLINICAL_LEAD, bench.alderwick)


FORMS: dict[str, dict[str, Any]] = {
    "fault": {"account": "It sank by itself.", "could_harm": "yes", "during_use": "yes", "day": "2026-06-10",
              "time": "09:30", "area": ""},
    "finding": {"mode": "It sinks under load.", "subsystem": "drive", "failure": "functional",
                "severity": "stops_use", "cause": "wear", "training_on": "", "second_person": "", "note": "",
                "discovery": "reported_in_use", "day": "2026-06-10", "area": ""},
    "hold": {"reason": "safety_notice", "note": ""},
    "release": {"note": "Motor changed, load held.", "restriction": ""},
}  # fmt: skip


def send(browser: Client, bench: Bench, what: str, **changed: Any):
    """The form of the deed, filled in."""
    filled = {"key": uuid.uuid4().hex, **FORMS[what], **changed}
    return browser.post(f"/equipment/{bench.device}/{what}/", filled)


def told(browser: Client, answer) -> str:
    assert answer.status_code == 302, text_of(answer)
    return text_of(browser.get(answer["Location"]))


def page_of(browser: Client, bench: Bench) -> str:
    return text_of(browser.get(f"/equipment/{bench.device}/"))


def test_a_clinical_lead_reports_a_fault_and_is_told_that_it_is_held(bench, lead):
    browser = signed_in(lead)
    assert "Report a fault" in page_of(browser, bench)
    said = told(browser, send(browser, bench, "fault", area=bench.theatre))
    assert "Reported: It sank by itself. Surgical table T-0001 is held at once." in said
    assert "Nobody may use it until one hold is lifted by a signed release" in said
    details = FaultDetails.objects.get()
    assert (details.seen_at, details.area_id, details.during_use) == (moment(6, 10, 8, 30), bench.theatre, True)
    page = page_of(browser, bench)
    assert "It may not be used: one hold in force." in page
    assert "Held: a fault was reported that could harm somebody" in page
    assert "Seen on 10 June 2026 by Merete Sondvik: It sank by itself. It was in use." in page
    assert "A fault was reported: It sank by itself." in page


def test_a_finding_answers_the_report_and_holds_the_device(bench):
    report = report_of(reported(bench))
    position = a_position(bench.model)
    browser = signed_in(bench.ruan)
    form = browser.get(f"/equipment/{bench.device}/finding/").content.decode()
    assert f'<option value="{report}" selected>' in form  # the only one is chosen
    said = told(browser, send(browser, bench, "finding", fault_report=report, position=position))
    assert "Recorded: It sinks under load. It sits in drive; cause wear." in said
    assert "It is grave, so the same act holds the device." in said
    view = FindingDetails.objects.get()
    assert (view.fault_report_id, view.position_id, view.discovered_on.isoformat()) == (report, position, "2026-06-10")
    page = page_of(browser, bench)
    assert "A fault is reported" not in page
    assert "Held: something was found wrong Since 10 June 2026 by Ruan Tesk. Found: It sinks under load." in page


def test_a_hold_is_placed_and_lifted_by_a_release_with_a_restriction(bench):
    browser = signed_in(bench.ruan)
    said = told(browser, send(browser, bench, "hold", note="Notice 7."))
    assert "Surgical table T-0001 is held because a safety notice concerns it." in said
    hold = HoldDetails.objects.get().hold_id
    form = text_of(browser.get(f"/equipment/{bench.device}/release/"))
    assert "Held since 10 June 2026 because a safety notice concerns it. No repair of it is recorded." in form
    assert "pmcore is an aid and releases nothing by itself: you sign." in form
    said = told(browser, send(browser, bench, "release", holds=[hold], restriction="Not above 150 kg"))
    assert "Signed: Surgical table T-0001 may be used again." in said
    assert "Restriction: Not above 150 kg." in said
    assert "pmcore is an aid" in said
    assert ReleaseStatement.objects.get().signed_by_id == bench.ruan.person
    page = page_of(browser, bench)
    assert "In service; no hold is in force" in page
    assert "Released for use, with a restriction: Not above 150 kg." in page


def test_what_still_stands_is_said_after_a_release(bench):
    first = hold_of(found(bench))
    found(bench, minor(severity="could_harm", discovery="reported_in_use"))
    browser = signed_in(bench.odile)
    said = told(browser, send(browser, bench, "release", holds=[first]))
    assert "Signed: one hold lifted, and Surgical table T-0001 still may not be used." in said
    assert len(in_force(bench, NOW.date())) == 1


def test_without_a_hold_there_is_nothing_to_sign(bench):
    browser = signed_in(bench.ruan)
    page = text_of(browser.get(f"/equipment/{bench.device}/release/"))
    assert "No hold is in force: there is nothing to lift." in page
    assert "Sign release" not in page_of(browser, bench)


@pytest.mark.parametrize(
    ("role", "offered"),
    [
        (Role.CLINICAL_LEAD, ["Report a fault"]),
        (Role.SCHEDULER, ["Report a fault", "Place a hold"]),
        (Role.TECHNICIAN, ["Report a fault", "Add a finding", "Place a hold", "Sign release"]),
        (Role.MANAGER, ["Report a fault", "Add a finding", "Place a hold", "Sign release"]),
        (Role.AUDITOR, []),
    ],
)
def test_everybody_is_offered_what_they_may_do_and_nothing_else(bench, role, offered):
    found(bench)
    browser = signed_in(a_person("Ines Caddock", role, bench.alderwick))
    page = browser.get(f"/equipment/{bench.device}/").content.decode()
    buttons = re.findall(rf'href="/equipment/{bench.device}/(\w+)/">([\w ]+)</a>', page)
    assert [word for _, word in buttons] == offered
    for what in FORMS:
        opened = browser.get(f"/equipment/{bench.device}/{what}/").status_code
        assert opened == (200 if what in dict(buttons) else 403)
        if opened == 403:
            assert send(browser, bench, what).status_code == 403


@pytest.mark.parametrize(
    ("what", "changed", "field", "says"),
    [
        ("fault", {"account": " "}, "f-account", "Say what you saw."),
        ("fault", {"could_harm": ""}, "f-could_harm", "Say whether it could harm somebody."),
        ("fault", {"could_harm": "perhaps"}, "f-could_harm", "Choose one of these."),
        ("fault", {"day": "10.6.2026"}, "f-day", "Say the day as 2026-10-31."),
        ("fault", {"day": "2026-06-11"}, "f-day", "That lies ahead."),
        ("fault", {"day": "2026-03-29", "time": "01:30"}, "f-time", "The clocks were put forward then"),
        ("fault", {"account": "x" * 2001}, "f-account", "At most 2,000 letters are kept."),
        ("fault", {"area": "7"}, "f-area", "Choose one of these."),
        ("finding", {"subsystem": "wings"}, "f-subsystem", "Choose one of these."),
        ("finding", {"failure": "cosmetic"}, "f-severity", "neither harms nor stops its use."),
        ("finding", {"cause": "no_fault_found"}, "f-failure", "there was no failure."),
        ("finding", {"cause": "use_error"}, "f-training_on", "A use error takes the day of a training"),
        ("finding", {"training_on": "soon"}, "f-training_on", "Say the day as 2026-10-31."),
        ("finding", {"day": "2025-06-11"}, "f-day", "The history of this device begins later."),
        ("hold", {"reason": ""}, "f-reason", "Say why."),
        ("release", {"holds": []}, "f-holds", "Say which holds it lifts."),
    ],
)  # fmt: skip
def test_what_is_wrong_stands_beside_its_field_and_what_was_typed_is_kept(bench, what, changed, field, says):
    hold = hold_of(found(bench))
    size, browser = head().size, signed_in(bench.odile)
    answer = send(browser, bench, what, **({"holds": [hold]} if what == "release" else {}) | changed)
    assert answer.status_code == 400
    assert says in beside(answer, field)
    assert head().size == size
    kept = {
        "fault": "09:30",
        "finding": "It sinks under load.",
        "hold": "f-note",
        "release": "Motor changed, load held.",
    }
    assert kept[what] in unescape(answer.content.decode()) or "time" in changed


def test_a_failed_inspection_is_released_by_a_manager_with_a_note(bench):
    receipt = place_hold(
        device=bench.device, reason="inspection_failed", from_on=NOW.date(), actor=bench.ruan, at=AT
    )  # fmt: skip
    hold, technician, manager = hold_of(receipt), signed_in(bench.ruan), signed_in(bench.odile)
    refused = send(technician, bench, "release", holds=[hold])
    assert "a manager signs this release" in beside(refused, "f-holds")
    refused = send(manager, bench, "release", holds=[hold], note=" ")
    assert "on what ground it may be used again" in beside(refused, "f-note")
    assert "may be used again" in told(manager, send(manager, bench, "release", holds=[hold]))


def test_the_same_form_sent_twice_is_one_request(bench):
    browser, key = signed_in(bench.ruan), uuid.uuid4().hex
    first, again = (send(browser, bench, "fault", key=key) for _ in range(2))
    assert first["Location"] == again["Location"]
    assert FaultDetails.objects.count() == 1
    other = send(browser, bench, "fault", key=key, account="Something else.")
    assert other.status_code == 400
    assert "This form was sent before, with other words." in text_of(other)
    assert FaultDetails.objects.count() == 1
    new_key = re.search(r'name="key" value="(\w+)"', other.content.decode())
    assert new_key is not None
    assert new_key[1] != key


def test_what_looks_like_a_patient_is_warned_about_once_and_not_refused(bench):
    browser, key = signed_in(bench.ruan), uuid.uuid4().hex
    words = {"key": key, "account": "Sank under patient Aldersey."}
    warned = send(browser, bench, "fault", **words)
    assert warned.status_code == 400
    assert "seems to hold a patient's name. No patient data belongs in here." in text_of(warned)
    assert 'name="looked" value="yes"' in warned.content.decode()
    assert FaultDetails.objects.count() == 0
    assert send(browser, bench, "fault", looked="yes", **words).status_code == 302
    assert FaultDetails.objects.get().account.words == "Sank under patient Aldersey."


def test_a_busy_record_loses_nothing_that_was_typed(bench, monkeypatch):
    def busy(**_: Any) -> None:
        raise RecordBusy

    monkeypatch.setattr("dashboards.fault_deeds.report_fault", busy)
    answer = send(signed_in(bench.ruan), bench, "fault")
    assert answer.status_code == 503
    assert "It sank by itself." in answer.content.decode()


def test_another_sites_device_and_another_devices_entry_are_not_there(bench):
    stranger = signed_in(a_person("Per Aldous", Role.TECHNICIAN, bench.stennet))
    entry = found(bench).seq
    for address in ("fault/", "finding/", f"recorded/{entry}/"):
        assert stranger.get(f"/equipment/{bench.device}/{address}").status_code == 404
    browser = signed_in(bench.ruan)
    assert browser.get(f"/equipment/{bench.device}/recorded/{entry}/").status_code == 200
    assert browser.get(f"/equipment/{bench.device}/recorded/1/").status_code == 404


def test_the_list_narrows_to_what_is_held(bench):
    found(bench)
    browser = signed_in(bench.odile)
    listed = browser.get("/equipment/?held=yes").content.decode()
    assert "T-0001" in listed
    assert '<span class="state state-held">held</span>' in listed
    assert "No device fits" in browser.get("/equipment/?held=no").content.decode()
    assert browser.get("/equipment/?held=perhaps").status_code == 400


def test_pages_take_a_fixed_number_of_statements(bench):
    browser = signed_in(bench.odile)

    def statements(address: str) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert browser.get(address).status_code == 200
        return len(captured)

    reported(bench, could_harm=True)
    found(bench)
    addresses = [f"/equipment/{bench.device}/{what}" for what in ("", "fault/", "finding/", "hold/", "release/")]
    before = [statements(address) for address in addresses]
    for _ in range(5):
        reported(bench, could_harm=True)
        found(bench)
    assert [statements(address) for address in addresses] == before


def test_a_report_that_was_taken_back_meanwhile_is_refused_and_nothing_is_lost(bench):
    report = report_of(reported(bench))
    take_back_fault_report(fault_report=report, reason="Another table.", actor=bench.odile, at=AT)
    browser, size = signed_in(bench.ruan), head().size
    answer = send(browser, bench, "finding", fault_report=report, note="Kept as well.")
    assert answer.status_code == 400
    assert "not on offer any more" in beside(answer, "f-fault_report")
    page = answer.content.decode()
    assert "It sinks under load." in page
    assert "Kept as well." in page
    assert head().size == size
    assert send(browser, bench, "finding", fault_report="").status_code == 302
    assert 'id="f-fault_report"' not in browser.get(f"/equipment/{bench.device}/finding/").content.decode()


def test_an_empty_value_among_those_that_were_chosen_is_no_hold(bench):
    hold = hold_of(found(bench))
    browser = signed_in(bench.ruan)
    assert send(browser, bench, "release", holds=["", str(hold)]).status_code == 302
    assert in_force(bench, NOW.date()) == []


def test_an_empty_value_before_the_one_that_was_chosen_is_left_out(bench, lead):
    browser = signed_in(lead)
    assert send(browser, bench, "fault", could_harm=["", "yes"]).status_code == 302
    assert len(in_force(bench, NOW.date())) == 1
    assert send(signed_in(bench.ruan), bench, "hold", reason=["", "other"]).status_code == 302


@pytest.mark.parametrize(
    ("day", "says"),
    [
        ("0001-01-01", "Say a day from 1 January 2000 on."),
        ("1999-12-31", "Say a day from 1 January 2000 on."),
        ("2026-06-11", "The training was not held yet on that day."),
    ],
)
def test_an_impossible_day_of_the_training_is_said_beside_it(bench, day, says):
    size = head().size
    blamed = {"cause": "use_error", "second_person": bench.odile.person, "training_on": day}
    answer = send(signed_in(bench.ruan), bench, "finding", **blamed)
    assert answer.status_code == 400
    assert says in beside(answer, "f-training_on")
    assert head().size == size


def test_a_hold_for_another_reason_reads_well(bench):
    browser = signed_in(bench.ruan)
    said = told(browser, send(browser, bench, "hold", reason="other"))
    assert "is held because of another reason." in said
    assert "lifted by a signed release: for another reason." in said
    page = page_of(browser, bench)
    assert "Held: for another reason Since 10 June 2026" in page
    assert "Held: for another reason. It may not be used." in page


@pytest.mark.parametrize(
    ("reason", "says"),
    [
        ("unknown_history", "Where no complete incoming inspection shows it fit, a manager judges and signs"),
        ("inspection_failed", "Where what failed was not tested again, a manager judges and signs"),
        ("donor_of_parts", "Where nothing recorded shows its parts whole again, a manager judges and signs"),
    ],
)
def test_what_a_manager_judges_is_said_by_what_holds_it(bench, reason, says):
    place_hold(device=bench.device, reason=reason, from_on=NOW.date(), actor=bench.odile, at=AT)
    browser = signed_in(bench.ruan)
    page = text_of(browser.get(f"/equipment/{bench.device}/release/"))
    assert page.count("Where ") == 1
    assert says in page
