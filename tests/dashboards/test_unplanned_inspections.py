"""Inspections that no plan calls for, at the bench: why and by what is chosen, then the same sheet."""

import datetime as dt
import re
import uuid
from typing import Any

import pytest
from django.test import Client

from pmcore.engines.vocabulary import Role
from pmcore.models import DueInspection, FindingDetails, InspectionSession, ReleaseStatement
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.services.assignments import assign_inspections
from tests.bench_cast import Bench, a_bench, moment
from tests.cast import a_person
from tests.dashboards.signed_in import set_clock, signed_in
from tests.dashboards.test_bench import beside, sheet, text_of
from tests.fault_cast import JUNE_1
from tests.history import written

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(monkeypatch) -> Bench:
    set_clock(monkeypatch, moment(6, 1, 9))
    return a_bench()


def address(bench: Bench, kind: str = "after_repair") -> str:
    return f"/bench/devices/{bench.device}/{kind}/{bench.procedure}/"


def send(bench: Bench, browser: Client, kind: str = "after_repair", **changed: Any):
    return browser.post(address(bench, kind), sheet(bench, **changed))


def test_the_page_of_the_device_leads_to_the_choice_and_the_choice_to_the_sheet(bench):
    browser = signed_in(bench.ruan)
    assert (
        f'href="/bench/devices/{bench.device}/">Inspect<' in browser.get(f"/equipment/{bench.device}/").content.decode()
    )
    page = browser.get(f"/bench/devices/{bench.device}/")
    assert "Inspect Surgical table T-0001: say why, and by which procedure." in text_of(page)
    assert f'<option value="{bench.procedure}" selected>Yearly check' in page.content.decode()  # the only one
    answer = browser.get(f"/bench/devices/{bench.device}/?kind=on_request&procedure={bench.procedure}")
    assert (answer.status_code, answer.url) == (302, address(bench, "on_request"))
    page = text_of(browser.get(answer.url))
    for said in (
        "Inspect it because somebody asked for it, by “Yearly check”.", "This meets the inspection due on 15 June 2026",
        "Surgical table T-0001", "Before you work:", "At most 500 µA", "Add a finding",
    ):  # fmt: skip
        assert said in page, said
    assert "It could not be done" not in page


def test_what_is_not_chosen_yet_is_said_beside_its_field(bench):
    page = signed_in(bench.ruan).get(f"/bench/devices/{bench.device}/?kind=&procedure=7{bench.procedure}")
    assert page.status_code == 400
    assert (beside(page, "f-kind"), beside(page, "f-procedure")) == ("Say why.", "Choose one of these.")


def test_a_failed_inspection_is_tested_again_and_released_by_the_technician_without_a_note(bench):
    browser = signed_in(bench.ruan)
    browser.post(f"/bench/{bench.due}/", sheet(bench, brakes__outcome="failed"))
    choice = browser.get(f"/bench/devices/{bench.device}/").content.decode()
    assert re.search(r'value="after_repair" checked', choice)  # it is held
    form = text_of(browser.get(f"/equipment/{bench.device}/release/"))
    assert "a manager judges and signs" in form
    answer = send(bench, browser, started="09:52", ended="09:58")
    assert answer.status_code == 302
    told = browser.get(answer.url)
    assert "was inspected on 1 June 2026, after a repair; nothing failed." in text_of(told)
    assert "Nobody may use it until a release is signed: it is held because an inspection failed." in text_of(told)
    assert f'href="/equipment/{bench.device}/release/">Sign release<' in told.content.decode()
    form = browser.get(f"/equipment/{bench.device}/release/")
    assert "a note is not needed" in text_of(form)
    holds = re.findall(r'name="holds" id="[^"]*" value="(\d+)"', form.content.decode())
    signed = {"key": uuid.uuid4().hex, "holds": holds, "note": "", "restriction": ""}
    assert browser.post(f"/equipment/{bench.device}/release/", signed).status_code == 302
    assert ReleaseStatement.objects.get().signed_by_id == bench.ruan.person


def test_a_finding_is_made_on_it_and_a_slip_keeps_everything(bench):
    browser, size = signed_in(bench.ruan), head().size
    page = send(bench, browser, leakage__as_found="lots", note="Kept.")
    assert (page.status_code, head().size) == (400, size)
    assert "Kept." in page.content.decode()
    said = {"mode": "It creaks.", "subsystem": "drive", "failure": "potential", "severity": "minor", "cause": "wear"}
    found = {f"finding:1:{name}": value for name, value in said.items()}
    answer = browser.post(address(bench), {**sheet(bench), "finding": "1", **found})
    assert "It creaks. It sits in drive: minor, cause wear." in text_of(browser.get(answer.url))
    assert FindingDetails.objects.get().inspection_id == InspectionSession.objects.get().inspection_id


def test_a_part_of_the_sheet_is_told_as_a_part_and_goes_on(bench):
    browser = signed_in(bench.ruan)
    answer = send(bench, browser, "on_request", raising__outcome="not_tested")
    told = browser.get(answer.url)
    assert "One step of the sheet is not answered yet." in text_of(told)
    assert f'href="{address(bench, "on_request")}">Go on with it<' in told.content.decode()
    rest = browser.get(address(bench, "on_request")).content.decode()
    assert 'name="raising:outcome"' in rest
    assert 'name="brakes:outcome"' not in rest


@pytest.mark.parametrize("do", ["attempt", "reason"])
def test_what_no_plan_calls_for_is_not_missed_either(bench, do):
    size = head().size
    sent = {"do": do, "attempt": "not_found", "reason": "waiting_for_a_part"}
    assert send(bench, signed_in(bench.ruan), **sent).status_code == 404
    assert head().size == size


def test_there_is_nothing_at_other_addresses(bench):
    browser, size = signed_in(bench.ruan), head().size
    for wrong in (
        address(bench, "scheduled"), address(bench, "yearly"), f"/bench/devices/{bench.device}/on_request/999999/",
        "/bench/devices/999999/", f"/bench/devices/{bench.device}/recorded/{size}/",
    ):  # fmt: skip
        assert browser.get(wrong).status_code == 404, wrong
    elsewhere = signed_in(a_person("Ines Caddock", Role.TECHNICIAN, bench.stennet))
    size = head().size
    assert elsewhere.get(address(bench)).status_code == 404
    assert send(bench, elsewhere).status_code == 404
    assert head().size == size


def test_a_provider_inspects_what_they_were_given(bench):
    odd = a_person("Odd Ravnsborg", Role.PROVIDER, bench.alderwick)
    browser = signed_in(odd)
    assert browser.get(f"/bench/devices/{bench.device}/").status_code == 404
    assign_inspections(
        due_inspections=[bench.due], person=odd.person or 0, on=JUNE_1, half=None, actor=bench.odile,
        at=moment(6, 1, 8),
    )  # fmt: skip
    assert f'href="/bench/devices/{bench.device}/">' in browser.get(f"/bench/{bench.due}/").content.decode()
    answer = send(bench, browser)
    assert answer.status_code == 302
    told = browser.get(answer.url)
    assert "after a repair; nothing failed." in text_of(told)
    assert "Sign release" not in text_of(told)


def test_who_records_no_inspections_is_not_offered_one(bench):
    lead = signed_in(a_person("Merete Sondvik", Role.CLINICAL_LEAD, bench.alderwick))
    assert ">Inspect<" not in lead.get(f"/equipment/{bench.device}/").content.decode()
    assert lead.get(f"/bench/devices/{bench.device}/").status_code == 403
    assert send(bench, lead).status_code == 403


# What it meets


@pytest.mark.parametrize(
    ("now", "meets", "met"),
    [
        (
            moment(6, 1, 9),
            "This meets the inspection due on 15 June 2026; its window closes on 15 July 2026.",
            "It met the inspection due on 15 June 2026, inside its window.",
        ),
        (
            moment(8, 3, 9),
            "This meets the inspection that was due on 15 June 2026; its window closed on 15 July 2026.",
            "It met the inspection that was due on 15 June 2026, after its window closed on 15 July 2026.",
        ),
    ],
)
def test_what_it_meets_is_named_before_and_told_after(bench, monkeypatch, now, meets, met):
    set_clock(monkeypatch, now)
    browser = signed_in(bench.ruan)
    page = browser.get(address(bench, "on_request"))
    assert meets in text_of(page)
    assert "No plan calls for it now" not in text_of(page)
    assert f'href="/bench/{bench.due}/">To its own sheet<' in page.content.decode()
    a_next_one(bench)
    answer = send(bench, browser, "on_request", day=now.date().isoformat())
    assert answer.status_code == 302, text_of(answer)
    said = text_of(browser.get(answer.url))
    assert met in said
    assert "The next one is due on 15 June 2027, window 16 May 2027 to 15 July 2027." in said
    again = text_of(browser.get(address(bench, "on_request")))
    assert "No plan calls for it now." in again
    assert "This meets" not in again


def test_a_part_of_the_sheet_has_met_nothing_yet(bench):
    browser = signed_in(bench.ruan)
    answer = send(bench, browser, "on_request", raising__outcome="not_tested")
    said = text_of(browser.get(answer.url))
    assert "It met" not in said
    assert "The next one is due" not in said


def test_a_provider_is_told_what_it_meets_without_a_link_to_what_is_not_theirs(bench):
    provider = a_person("Ylva Brontesk", Role.PROVIDER, bench.alderwick)
    other = a_next_one(bench)
    assign_inspections(
        due_inspections=[other], person=provider.person or 0, on=moment(6, 1).date(), half=None, actor=bench.odile,
        at=moment(6, 1, 9),
    )  # fmt: skip
    page = signed_in(provider).get(address(bench, "on_request"))
    assert "This meets the inspection due on 15 June 2026" in text_of(page)
    assert "To its own sheet" not in text_of(page)


def a_next_one(bench: Bench) -> int:
    days = {"due_on": dt.date(2027, 6, 15), "opens_on": dt.date(2027, 5, 16), "closes_on": dt.date(2027, 7, 15)}
    due = Row(DueInspection, device=bench.device, plan=bench.plan, procedure=bench.procedure, **days)
    written("inspections_due", bench.device, due)
    assert due.id is not None
    return due.id
