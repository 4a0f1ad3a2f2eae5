"""At the bench: one's own work, a sheet that keeps what was typed, and what is said after recording."""

import re
import uuid
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Half, Role, StepKind
from pmcore.models import (
    Attempt,
    HoldDetails,
    InspectionSession,
    ProcedureSheet,
    ProcedureVersion,
    Reading,
    ReasonNotDone,
    VersionApproval,
)
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.services.assignments import assign_inspections
from pmcore.services.keep_standings import keep_standings
from tests.bench_cast import Bench, a_bench, a_step, moment
from tests.cast import JANUARY, a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.due_work import AT, TODAY, DueWork, some_due_work
from tests.history import written
from tests.story import day
from tests.story import moment as story_moment

pytestmark = pytest.mark.django_db

NOW = moment(6, 1, 9)  # ten o'clock at the site, which keeps summer time
NO_NUMBER = "is no number that can be kept; write it as 0.12, with at most nine decimals."
STATEMENTS_OF_THE_LIST = 66
STATEMENTS_OF_THE_SHEET = 74


@pytest.fixture
def bench(monkeypatch) -> Bench:
    set_clock(monkeypatch, NOW)
    return a_bench()


def text_of(response) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", response.content.decode())))


def sheet(bench: Bench, **changed: Any) -> dict[str, Any]:
    """The whole sheet, passed."""
    filled = {
        "key": uuid.uuid4().hex, "version": bench.version, "begun": "", "do": "record",
        "brakes:outcome": "passed", "raising:outcome": "passed", "leakage:outcome": "passed",
        "leakage:as_found": "85", "leakage:instrument": bench.meter, "labels:outcome": "not_applicable",
        "day": "2026-06-01", "started": "09:20", "ended": "09:50", "decontaminated": "yes", "note": "",
    }  # fmt: skip
    return filled | {name.replace("__", ":"): value for name, value in changed.items()}


def send(bench: Bench, actor: Actor | None = None, browser: Client | None = None, **changed: Any):
    browser = browser or signed_in(actor or bench.ruan)
    return browser.post(f"/bench/{bench.due}/", sheet(bench, **changed))


def beside(response, which: str) -> str:
    found = re.search(rf'id="{which}-wrong"[^>]*>([^<]*)<', response.content.decode())
    return unescape(found.group(1)) if found else ""


# The sheet


def test_the_sheet_says_which_device_where_until_when_and_what_to_beware_of(bench):
    page = text_of(signed_in(bench.ruan).get(f"/bench/{bench.due}/"))
    for said in (
        "Surgical table T-0001", "Orvane Marl, serial OM-1", "Alderwick General, Theatre 1",
        "To be done by 15 July 2026.",
        "due on 15 June 2026", "No complete inspection by this procedure is recorded yet.", "Before you work:",
        "never test on a patient", "At most 500 µA (as this sheet says).", "May be left out.",
        "M-1, good until 31 December 2026",
        "M-2, not in calibration",
    ):  # fmt: skip
        assert said in page, said


def test_each_step_has_the_answers_that_its_kind_and_the_sheet_allow(bench):
    page = signed_in(bench.ruan).get(f"/bench/{bench.due}/").content.decode()
    answers = {
        key: re.findall(rf'name="{key}:outcome"[^>]* value="(\w+)"', page) for key in ("brakes", "leakage", "labels")
    }
    assert answers["brakes"] == answers["leakage"] == ["passed", "failed", "not_tested"]
    assert answers["labels"] == ["passed", "failed", "not_applicable", "not_tested"]
    assert 'name="leakage:as_found"' in page
    assert 'name="brakes:as_found"' not in page


def test_it_begins_now_on_the_clock_of_the_site(bench):
    page = signed_in(bench.ruan).get(f"/bench/{bench.due}/").content.decode()
    assert 'name="started" value="10:00"' in page
    assert 'name="day" value="2026-06-01"' in page


def test_a_hold_in_force_stands_with_its_reason(bench):
    send(bench, leakage__outcome="failed", leakage__as_found="640")
    later = bench.odile
    page = text_of(signed_in(later).get(f"/bench/{bench.due}/"))
    assert "Held since 1 June 2026" in page
    assert "Nobody may use it, because an inspection failed." in page


# Recording


def test_recording_meets_it_and_says_so(bench):
    browser = signed_in(bench.ruan)
    response = send(bench, browser=browser)
    assert response.status_code == 302
    page = text_of(browser.get(response.url))
    assert "Recorded: Surgical table T-0001 was inspected on 1 June 2026, inside its window." in page
    session = InspectionSession.objects.get()
    assert (session.started_at, session.ended_at) == (moment(6, 1, 8, 20), moment(6, 1, 8, 50))
    assert (session.person_id, session.decontaminated) == (bench.ruan.person, True)
    leakage = Reading.objects.get(step="leakage")
    assert (leakage.as_found, leakage.unit, leakage.instrument_id) == ("85", "µA", bench.meter)


def test_after_a_record_the_next_due_date_is_said(monkeypatch):
    work = some_due_work(1)
    set_clock(monkeypatch, story_moment(TODAY, 10))
    browser = signed_in(work.ruan)
    sent = {
        "key": "k1", "version": work.story.version, "do": "record", "frame:outcome": "passed",
        "brakes:outcome": "passed", "day": "2026-06-01", "started": "09:20", "ended": "",
    }  # fmt: skip
    page = text_of(browser.get(browser.post(f"/bench/{work.due()}/", sent).url))
    assert "The next one is due on 15 June 2027, window 16 May 2027 to 15 July 2027." in page


def test_what_fails_is_named_and_its_hold_too(bench):
    browser = signed_in(bench.ruan)
    page = text_of(browser.get(send(bench, browser=browser, brakes__outcome="failed").url))
    assert "A hold was placed because an inspection failed." in page
    assert "What failed Check: brakes." in page
    assert HoldDetails.objects.count() == 1


def test_what_was_not_tested_is_still_to_be_done_and_can_go_on(bench):
    browser = signed_in(bench.ruan)
    page = text_of(browser.get(send(bench, browser=browser, brakes__outcome="not_tested").url))
    assert "One step of Surgical table T-0001 still to be done." in page
    assert "Still to be done Check: brakes." in page
    again = browser.get(f"/bench/{bench.due}/").content.decode()
    assert 'name="leakage:outcome"' not in again
    begun = re.search(r'name="begun" value="(\d+)"', again).group(1)
    rest = {
        "key": "k2", "version": bench.version, "begun": begun, "do": "record", "brakes:outcome": "passed",
        "day": "2026-06-01", "started": "09:52", "ended": "09:55",
    }  # fmt: skip
    assert "inside its window" in text_of(browser.get(browser.post(f"/bench/{bench.due}/", rest).url))


def test_a_double_submit_records_once_and_shows_the_first_result(bench):
    browser = signed_in(bench.ruan)
    first = send(bench, browser=browser, key="one-key")
    size = head().size
    second = send(bench, browser=browser, key="one-key")
    assert (first.status_code, second.status_code) == (302, 302)
    assert first.url == second.url
    assert head().size == size


def test_the_same_key_with_other_answers_is_no_retry(bench):
    browser = signed_in(bench.ruan)
    send(bench, browser=browser, key="one-key")
    response = send(bench, browser=browser, key="one-key", note="Something else.")
    assert response.status_code == 400
    assert "This form was sent before, with other answers." in text_of(response)


# Before the window opens


@pytest.fixture
def early(monkeypatch) -> tuple[DueWork, Client]:
    work = some_due_work(1)
    set_clock(monkeypatch, story_moment(day(5, 10), 10))
    return work, signed_in(work.ruan)


def early_sheet(work: DueWork, **changed: str) -> dict[str, Any]:
    filled = {
        "key": uuid.uuid4().hex, "version": work.story.version, "do": "record", "frame:outcome": "passed",
        "brakes:outcome": "passed", "day": "2026-05-10", "started": "09:20", "ended": "",
    }  # fmt: skip
    return filled | changed


def test_who_comes_too_early_is_told_and_chooses(early):
    work, browser = early
    page = text_of(browser.get(f"/bench/{work.due()}/"))
    assert "Done today it counts only if the plan counts from today on." in page
    refused = browser.post(f"/bench/{work.due()}/", early_sheet(work))
    assert refused.status_code == 400
    assert beside(refused, "re-anchor") == "Say whether the plan is to count from today."
    assert InspectionSession.objects.filter(started_at__gte=story_moment(day(5, 1))).count() == 0


def test_counted_from_today_it_is_met_early_and_the_next_is_due_in_a_year(early):
    work, browser = early
    page = text_of(browser.get(browser.post(f"/bench/{work.due()}/", early_sheet(work, re_anchor="yes")).url))
    assert "was inspected on 10 May 2026, before its window opened. It counts as met, early." in page
    assert "The next one is due on 10 May 2027" in page


def test_left_as_it_is_it_is_still_to_be_done(early):
    work, browser = early
    page = text_of(browser.get(browser.post(f"/bench/{work.due()}/", early_sheet(work, re_anchor="no")).url))
    assert "The one due on 15 June 2026 is still to be done, from 16 May 2026 on." in page


def test_part_of_the_sheet_moves_no_plan_and_that_is_said_beside_the_choice(early):
    work, browser = early
    sent = early_sheet(work, re_anchor="yes") | {"frame:outcome": "not_tested"}
    refused = browser.post(f"/bench/{work.due()}/", sent)
    assert refused.status_code == 400
    assert beside(refused, "re-anchor").startswith("Only a whole inspection moves the plan")


# What is refused


@pytest.mark.parametrize(
    ("changed", "step", "says"),
    [
        ({"leakage__as_found": "640"}, 3, "640 µA is above the limit 500 µA: record it as failed."),
        (
            {"leakage__outcome": "failed"}, 3,
            "85 µA is within the limits: record it as passed, or say in its note why it fails.",
        ),
        ({"leakage__as_found": ""}, 3, "Say what was found."),
        ({"leakage__as_found": "0,12"}, 3, "'0,12' " + NO_NUMBER),
        ({"leakage__as_found": "1e-400"}, 3, "'1e-400' " + NO_NUMBER),
        ({"leakage__as_found": "0." + "1" * 60}, 3, "'0.111111111111111111…' " + NO_NUMBER),
        ({"leakage__as_found": "٨٥"}, 3, "'٨٥' " + NO_NUMBER),
        ({"leakage__as_found": "5\u200b"}, 3, "'5\\u200b' " + NO_NUMBER),
        ({"brakes__note": "a\x00b"}, 1, "Note: it holds a control character or another that cannot be seen, '\\x00'."),
        ({"leakage__as_found": "900000"}, 3, "900000 µA is above the limit 500 µA: record it as failed."),
        ({"leakage__instrument": ""}, 3, "Say with which instrument it was read."),
        ({"leakage__instrument": "9" * 40}, 3, "Choose one of the instruments."),
        ({"brakes__outcome": ""}, 1, "Say how it went, or that it was not tested."),
        ({"brakes__outcome": "splendid"}, 1, "Choose one of the answers."),
        ({"brakes__outcome": "not_applicable"}, 1, "It cannot be left out as not applicable."),
    ],
)  # fmt: skip
def test_a_wrong_answer_stands_with_its_step_and_nothing_typed_is_lost(bench, changed, step, says):
    response = send(bench, note="Squeaks when raised.", **changed)
    page = response.content.decode()
    assert response.status_code == 400
    assert beside(response, f"s{step}") == says
    assert "Squeaks when raised." in page
    assert 'name="started" value="09:20"' in page
    assert re.search(r'id="s2-passed" value="passed" checked', page)
    if "leakage__as_found" in changed:
        assert f'name="leakage:as_found" value="{changed["leakage__as_found"]}"' in page
    if "leakage__instrument" not in changed:
        assert f'<option value="{bench.meter}" selected>' in page
    assert InspectionSession.objects.count() == 0


def test_the_enter_key_looks_through_and_records_nothing(bench):
    size, browser = head().size, signed_in(bench.ruan)
    page = browser.get(f"/bench/{bench.due}/").content.decode()
    assert re.findall(r'<button name="do" value="(\w+)"', page)[0] == "look"  # the first button is what Enter presses
    whole = send(bench, browser=browser, do="look")
    assert whole.status_code == 200
    assert "What you typed so far fits. Nothing is recorded before you press Record." in text_of(whole)
    assert 'value="85"' in whole.content.decode()
    assert head().size == size


def test_looked_through_half_way_only_what_does_not_fit_is_said(bench):
    rest = {"browser": signed_in(bench.ruan), "brakes__outcome": "", "raising__outcome": ""}
    assert send(bench, do="look", **rest).status_code == 200
    response = send(bench, do="look", leakage__as_found="501", **rest)
    assert response.status_code == 400
    assert response.content.decode().count('id="s3-wrong"') == 1
    assert "501 µA is above the limit 500 µA: record it as failed." in text_of(response)
    assert "One answer is not right yet." in text_of(response)
    assert '<a href="#step-3">Check: leakage.</a>' in response.content.decode()


@pytest.mark.parametrize(
    ("number", "says"),
    [("85", ""), ("501", "501 µA is above the limit 500 µA: record it as failed."), ("x", "'x' is no number")],
)
def test_a_number_is_held_against_its_limit_before_anybody_says_how_it_went(bench, number, says):
    response = send(bench, do="look", leakage__outcome="", leakage__as_found=number)
    assert response.status_code == (400 if says else 200)
    assert beside(response, "s3").startswith(says)


def test_an_instrument_out_of_calibration_is_refused_beside_its_step(bench):
    assert beside(send(bench, leakage__instrument=bench.old_meter), "s3") == (
        "That instrument was not in calibration on that day: what it reads answers no step."
    )


@pytest.mark.parametrize(
    ("changed", "field", "says"),
    [
        ({"day": "soon"}, "day", "'soon' is no date; write it as 2026-10-31."),
        ({"day": "1800-01-01"}, "day", "1800-01-01 lies outside the years 1900 to 2200."),
        ({"day": "0001-01-01"}, "day", "0001-01-01 lies outside the years 1900 to 2200."),
        ({"day": "1999-12-31"}, "day", "A moment of the years 2000 to 2200 is wanted"),
        ({"day": "2026-06-02"}, "day", "That day has not come yet."),
        ({"day": "2026-05-30", "ended": ""}, "ended", "Say when it ended on that day"),
        ({"started": "09:20+05:00"}, "started", "Say when it began, as 09:30."),
        ({"note": "a\x00b"}, "note", "It holds a control character or another that cannot be seen, '\\x00'."),
        ({"started": ""}, "started", "Say when it began, as 09:30."),
        ({"started": "09:55"}, "ended", "It ended before it began."),
        ({"ended": "10:30"}, "ended", "That lies ahead; leave it empty for now."),
        ({"started": "11:00", "ended": ""}, "started", "That lies ahead; say when it began."),
        ({"day": "2025-12-31"}, "day", "Nobody said where the device stood on that day."),
    ],
)
def test_a_wrong_time_stands_beside_its_field(bench, changed, field, says):
    response = send(bench, **changed)
    assert response.status_code == 400
    assert says in beside(response, field)
    assert 'name="leakage:as_found" value="85"' in response.content.decode()


def test_the_day_that_was_typed_is_the_day_that_is_recorded(bench):
    assert send(bench, day="2026-05-30", ended="10:15").status_code == 302
    assert InspectionSession.objects.get().performed_on == day(5, 30)


def test_a_time_that_the_clocks_left_out_is_refused(bench):
    response = send(bench, day="2026-03-29", started="01:30", ended="03:10")
    assert beside(response, "started") == "The clocks were put forward then; there was no such time."


def test_of_two_people_the_second_is_told_and_keeps_what_was_typed(bench):
    send(bench)
    other = a_person("Saskia Varnholt-Ede", Role.TECHNICIAN, bench.alderwick)
    response = send(bench, actor=other, brakes__note="Left brake is worn.")
    assert response.status_code == 400
    page = text_of(response)
    assert "was inspected on 2026-06-01 by Ruan Tesk." in page
    assert 'value="Left brake is worn."' in response.content.decode()


@pytest.mark.parametrize("changed", [{"key": ""}, {"key": "ü"}, {"begun": "9" * 40}, {"begun": "x"}, {"begun": "1"}])
def test_a_form_that_is_not_whole_is_refused_and_kept(bench, changed):
    response = send(bench, **changed)
    assert response.status_code == 400
    assert 'name="leakage:as_found" value="85"' in response.content.decode()
    assert InspectionSession.objects.count() == 0


def test_a_new_version_of_the_sheet_is_said_and_what_was_typed_is_kept(bench):
    response = send(bench, version=bench.version + 1)
    assert response.status_code == 400
    assert "A new version of the sheet is in use since you opened it." in text_of(response)
    assert 'name="leakage:as_found" value="85"' in response.content.decode()


# Could not be done


def test_an_attempt_is_recorded_and_the_inspection_stays_to_be_done(bench):
    browser = signed_in(bench.ruan)
    response = send(bench, browser=browser, do="attempt", attempt="not_found", attempt_note="Looked in both wards.")
    page = text_of(browser.get(response.url))
    assert "The attempt is recorded for today: it could not be found. The inspection stays to be done." in page
    assert "1 June 2026: somebody went and could not: not found." in page
    assert Attempt.objects.get().tried_by_id == bench.ruan.person


def test_a_reason_without_evidence_is_refused_and_the_sheet_is_kept(bench):
    response = send(bench, do="reason", reason="could_not_be_found", reason_note="Searched.")
    page = response.content.decode()
    assert response.status_code == 400
    assert "No attempts with that outcome are recorded yet" in page
    assert 'value="Searched."' in page
    assert 'name="leakage:as_found" value="85"' in page
    assert ReasonNotDone.objects.count() == 0


def test_a_reason_with_its_evidence_is_recorded(bench):
    browser = signed_in(bench.ruan)
    send(bench, browser=browser, do="attempt", attempt="no_access")
    page = text_of(browser.get(send(bench, browser=browser, do="reason", reason="area_gave_no_access").url))
    assert "The reason is recorded: area gave no access." in page
    assert ReasonNotDone.objects.count() == 1


@pytest.mark.parametrize(
    ("do", "says"), [("attempt", "Say what stood in the way."), ("reason", "Say why it is not done.")]
)
def test_neither_is_recorded_without_saying_which(bench, do, says):
    response = send(bench, do=do)
    assert response.status_code == 400
    assert says in text_of(response)


def test_a_sheet_that_asks_for_cleaning_is_the_only_one_to_ask(bench):
    version = Row(ProcedureVersion, procedure=bench.procedure, number=2)
    lines = Row(ProcedureSheet, version=version, title="Surgical table, yearly", minutes=40, people=1)
    cleaned = a_step(lines, 1, "cleaned", StepKind.CONFIRM)
    thing = written("version_written", version, version, lines, cleaned).subject
    values = {"version": thing, "from_on": JANUARY, "approved": True, "approved_by": bench.odile.person}
    written("version_approved", thing, Row(VersionApproval, **values))
    browser = signed_in(bench.ruan)
    assert 'name="decontaminated"' not in browser.get(f"/bench/{bench.due}/").content.decode()
    sent = sheet(bench, version=thing, cleaned__outcome="failed")
    assert browser.post(f"/bench/{bench.due}/", sent).status_code == 302
    assert InspectionSession.objects.get().decontaminated is False


def test_the_devices_own_page_is_one_step_away_for_those_who_see_it(bench):
    page = signed_in(bench.ruan).get(f"/bench/{bench.due}/").content.decode()
    assert f'href="/equipment/{bench.device}/"' in page
    pavel = a_person("Pavel Orrin-Dask", Role.PROVIDER, bench.alderwick)
    on = TODAY
    given = {"due_inspections": [bench.due], "person": pavel.person, "on": on, "half": None}
    assign_inspections(**given, actor=bench.odile, at=NOW)
    assert "/equipment/" not in signed_in(pavel).get(f"/bench/{bench.due}/").content.decode()


# Who


@pytest.mark.parametrize(
    ("role", "status", "records"),
    [
        (Role.TECHNICIAN, 200, True), (Role.MANAGER, 200, True), (Role.SCHEDULER, 200, True),
        (Role.AUDITOR, 403, False), (Role.CLINICAL_LEAD, 403, False), (Role.PROVIDER, 404, False),
    ],
)  # fmt: skip
def test_who_sees_the_sheet_and_who_records(bench, role, status, records):
    browser = signed_in(a_person("Quen Audley-Marr", role, bench.alderwick))
    response = browser.get(f"/bench/{bench.due}/")
    assert response.status_code == status
    assert (b'value="record"' in response.content) == records
    assert send(bench, browser=browser).status_code == (302 if records else status)
    assert InspectionSession.objects.count() == int(records)


def test_another_sites_device_and_none_at_all_are_not_there(bench):
    elsewhere = signed_in(a_person("Tove Halvard-Quist", Role.TECHNICIAN, bench.stennet))
    entry = int(send(bench).url.rstrip("/").rpartition("/")[2])
    for address in (f"/bench/{bench.due}/", f"/bench/{bench.due}/recorded/{entry}/", "/bench/999999999/"):
        assert elsewhere.get(address).status_code == 404
    assert signed_in(bench.odile).get(f"/bench/{bench.due}/recorded/1/").status_code == 404


def test_an_expired_session_leads_to_the_sign_in_and_back(bench):
    response = send(bench, browser=Client())
    assert response.status_code == 302
    assert response.url == f"/accounts/login/?next=/bench/{bench.due}/"
    assert InspectionSession.objects.count() == 0


# One's own work


def test_own_work_stands_by_day_before_what_is_open_at_the_sites(monkeypatch):
    set_clock(monkeypatch, AT)
    work = some_due_work(5)
    for number, on in enumerate((TODAY, day(6, 3), day(6, 20))):
        assign_inspections(
            due_inspections=[work.due(number + 1)],
            person=work.ruan.person,
            on=on,
            half=Half.PM,
            actor=work.jorun,
            at=AT,
        )
    page = text_of(signed_in(work.ruan).get("/bench/"))
    assert "You have one inspection today, and one more this week." in page
    places = [page.index(f"T-000{number}") for number in (1, 2, 3)]
    assert places == sorted(places)
    assert page.count("T-0001") == 1


def test_nothing_given_says_what_is_open(monkeypatch):
    set_clock(monkeypatch, story_moment(day(7, 1), 8))
    work = some_due_work(2)
    page = text_of(signed_in(work.ruan).get("/bench/"))
    assert "Nothing is given to you." in page
    assert "At your sites two are open or overdue." in page


def test_a_tag_finds_the_device(monkeypatch):
    set_clock(monkeypatch, AT)
    work = some_due_work(3)
    browser = signed_in(work.ruan)
    page = text_of(browser.get("/bench/?words=t-0002"))
    assert "T-0002" in page
    assert "T-0001" not in page
    assert "No device with “zzz” has anything to do" in text_of(browser.get("/bench/?words=zzz"))


@pytest.mark.parametrize("query", ["colour=blue", f"words={'x' * 81}", "words=a&words=b"])
def test_what_cannot_be_looked_for_is_refused(monkeypatch, query):
    set_clock(monkeypatch, AT)
    work = some_due_work(1)
    response = signed_in(work.ruan).get(f"/bench/?{query}")
    assert response.status_code == 400
    assert beside(response, "words")


def test_a_provider_sees_what_they_were_given_and_nothing_else(monkeypatch):
    set_clock(monkeypatch, AT)
    work = some_due_work(3)
    assign_inspections(
        due_inspections=[work.due(1)], person=work.pavel.person, on=TODAY, half=None, actor=work.jorun, at=AT
    )
    browser = signed_in(work.pavel)
    page = text_of(browser.get("/bench/"))
    assert "T-0001" in page
    assert "T-0002" not in page
    assert browser.get(f"/bench/{work.due(1)}/").status_code == 200
    assert browser.get(f"/bench/{work.due(2)}/").status_code == 404


def statements(browser: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(address).status_code == 200
    return len(captured)


@pytest.mark.parametrize("devices", [3, 60])
def test_list_and_sheet_take_a_fixed_number_of_statements(monkeypatch, devices):
    set_clock(monkeypatch, AT)
    work = some_due_work(devices)
    assign_inspections(
        due_inspections=work.dues[:2], person=work.ruan.person, on=TODAY, half=None, actor=work.jorun, at=AT
    )
    keep_standings()
    browser = signed_in(work.ruan)
    assert statements(browser, "/bench/") == STATEMENTS_OF_THE_LIST
    assert statements(browser, f"/bench/{work.due()}/") == STATEMENTS_OF_THE_SHEET
