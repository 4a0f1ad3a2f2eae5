"""Due inspections, assignments and inspections by the interface."""

import json
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from pmcore.engines.vocabulary import Half, Outcome, Role
from pmcore.models import Assignment, InspectionSession, PlanAnchor
from pmcore.queries.due_list import DueFilter, due_page
from pmcore.queries.head import head
from pmcore.services.assignments import assign_inspections
from pmcore.services.keep_standings import keep_standings
from tests.api.asking import PROBLEM, Asker, by_token
from tests.bench_cast import a_bench
from tests.bench_cast import moment as bench_moment
from tests.cast import AT as BENCH_AT
from tests.due_work import AT, TODAY, DueWork, some_due_work, somebody
from tests.story import STEPS, day

pytestmark = pytest.mark.django_db

STATEMENTS = {"due-inspections/": 41, "assignments/": 14, "inspections/": 27}


@pytest.fixture(autouse=True)
def on_that_day(monkeypatch):
    monkeypatch.setattr("pmcore.clock.now", lambda: AT)


def sent(asker: Asker, path: str, body: Any, key: str = "k-1"):
    headers = {"Authorization": f"Token {asker.token}", "Idempotency-Key": key}
    client = Client(raise_request_exception=False)
    return client.post(f"/api/v1/{path}", json.dumps(body), content_type="application/json", headers=headers)


def giving(work: DueWork, **changed: Any) -> dict[str, Any]:
    return {"due_inspections": work.dues, "person": work.ruan.person, "on": "2026-06-02", "half": "AM"} | changed


def inspecting(work: DueWork, number: int = 0, **changed: Any) -> dict[str, Any]:
    asked = {
        "due_inspection": work.due(number), "version": work.story.version, "started_at": "2026-06-01T06:00:00-05:00",
        "ended_at": "2026-06-01T06:40:00-05:00", "readings": [{"step": step, "outcome": "passed"} for step in STEPS],
    }  # fmt: skip
    return asked | changed


# Due inspections


def test_the_list_is_that_of_the_query():
    work = some_due_work(3)
    listed = by_token(work.jorun).get("due-inspections/", closes_to="2026-08-01")["results"]
    page = due_page(DueFilter(closes_to=day(8, 1)), as_of=TODAY, known=head().size, actor=work.jorun)
    assert [each["due_inspection"] for each in listed] == [row.due_inspection for row in page.rows]
    assert (listed[0]["state"], listed[0]["closes_on"], listed[0]["assigned"]) == ("open", "2026-07-15", [])
    assert listed[1]["device"]["tag"] == "T-0001"


def test_pages_follow_the_closing_day():
    work = some_due_work(5)
    asker = by_token(work.jorun)
    pages = list(asker.follow("due-inspections/", limit=4))
    rows = [(each["closes_on"], each["due_inspection"]) for page in pages for each in page["results"]]
    assert rows == sorted(set(rows))
    assert len(rows) == 10  # this year's and the next one's


def test_filters_are_those_of_the_page():
    work = some_due_work(3)
    assign_inspections(
        due_inspections=[work.due(1)], person=work.ruan.person, on=TODAY, half=Half.AM, actor=work.jorun, at=AT
    )
    asker = by_token(work.jorun)

    def dues(**asked):
        return [each["due_inspection"] for each in asker.get("due-inspections/", week="2026-07-15", **asked)["results"]]

    assert dues(given_to="nobody") == [work.due(0), work.due(2)]
    assert dues(given_to=work.ruan.person) == [work.due(1)]
    assert dues(words="T-0002") == [work.due(2)]
    assert dues(state="overdue") == []
    assert dues(opens_from="2026-05-16", opens_to="2026-05-16") == work.dues
    assert dues(opens_to="2026-05-15") == []
    assert "opens_from" in asker.get("due-inspections/", 400, opens_from="2026-06-02", opens_to="2026-06-01")["errors"]
    assert "closes_to" in asker.get("due-inspections/", 400, week="2026-07-15", closes_to="2026-08-01")["errors"]
    assert "given_to" in asker.get("due-inspections/", 400, given_to="somebody")["errors"]
    assert "site" in asker.get("due-inspections/", 403, site=10**9)["errors"]


def test_one_says_who_is_to_do_it():
    work = some_due_work(2)
    assign_inspections(
        due_inspections=[work.due(1)], person=work.ruan.person, on=TODAY, half=Half.PM, actor=work.jorun, at=AT
    )
    one = by_token(work.jorun).get(f"due-inspections/{work.due(1)}/")
    given = {"person": work.ruan.person, "name": "Ruan Tesk", "on": "2026-06-01", "half": "PM"}
    assert one["assigned"] == [given]


def test_another_sites_work_and_another_providers_is_not_there():
    work = some_due_work(2)
    assign_inspections(
        due_inspections=[work.due(1)], person=work.pavel.person, on=TODAY, half=None, actor=work.jorun, at=AT
    )
    by_token(work.tove).get(f"due-inspections/{work.due(0)}/", 404)
    pavel = by_token(work.pavel)
    assert [each["due_inspection"] for each in pavel.get("due-inspections/")["results"]] == [work.due(1)]
    assert [each["due_inspection"] for each in pavel.get("assignments/")["results"]] == [work.due(1)]
    pavel.get(f"due-inspections/{work.due(1)}/")
    pavel.get(f"due-inspections/{work.due(0)}/", 404)


# Assignments


def test_giving_out_writes_an_entry_for_each_device():
    work = some_due_work(2)
    jorun = by_token(work.jorun)
    size = head().size
    response = sent(jorun, "assignments/", giving(work))
    assert response.status_code == 201, response.content
    assert response.json() == {"entries": [size + 1, size + 2], "cautions": []}
    listed = jorun.get("assignments/")["results"]
    assert [(each["due_inspection"], each["person_name"], each["on"], each["half"]) for each in listed] == [
        (due, "Ruan Tesk", "2026-06-02", "AM") for due in work.dues
    ]


def test_a_retry_gives_out_once():
    work = some_due_work(2)
    jorun = by_token(work.jorun)
    first, size = sent(jorun, "assignments/", giving(work)), head().size
    again = sent(jorun, "assignments/", giving(work))
    assert (again.status_code, again.json()["entries"]) == (200, first.json()["entries"][:1])
    assert head().size == size
    assert sent(jorun, "assignments/", giving(work, half="PM")).status_code == 409


def test_a_caution_is_told():
    work = some_due_work(1)
    told = sent(by_token(work.jorun), "assignments/", giving(work, on="2026-07-16")).json()["cautions"]
    assert told == [{"due_inspection": work.due(), "code": "after_the_close", "day": "2026-07-15"}]


def test_without_a_person_they_are_taken_off():
    work = some_due_work(1)
    jorun = by_token(work.jorun)
    sent(jorun, "assignments/", giving(work))
    assert sent(jorun, "assignments/", {"due_inspections": work.dues}, key="k-2").status_code == 201
    assert jorun.get("assignments/")["results"] == []


@pytest.mark.parametrize(
    ("changed", "status", "kind"),
    [
        ({"on": "2026-05-31"}, 422, "day-is-over"),
        ({"half": "NIGHT"}, 400, "bad-parameters"),
        ({"on": None}, 400, "bad-parameters"),
        ({"person": 10**9}, 422, "not-for-this-person"),
        ({"due_inspections": []}, 422, "bad-value"),
        ({"due_inspections": [10**9]}, 422, "unknown-reference"),
        ({"seen": 1, "colour": 2}, 400, "bad-body"),
    ],
)
def test_what_cannot_be_given_is_a_problem_with_its_name(changed, status, kind):
    work = some_due_work(1)
    response = sent(by_token(work.jorun), "assignments/", giving(work, **changed))
    assert (response.status_code, response["Content-Type"]) == (status, PROBLEM), response.content
    assert response.json()["type"] == f"urn:pmcore:problem:{kind}"
    assert Assignment.objects.count() == 0


# Inspections


def test_an_inspection_is_recorded_and_read_again():
    work = some_due_work(1)
    ruan = by_token(work.ruan)
    response = sent(ruan, "inspections/", inspecting(work))
    assert response.status_code == 201, response.content
    told = ruan.get(response["Location"].removeprefix("http://testserver/api/v1/"))
    assert told["inspection"]["completed_on"] == "2026-06-01"
    assert [session["person_name"] for session in told["inspection"]["sessions"]] == ["Ruan Tesk"]
    assert [(each["step"], each["outcome"]) for each in told["readings"]] == [(step, "passed") for step in STEPS]
    assert ruan.get(f"due-inspections/{work.due()}/")["state"] == "met"
    newest = ruan.get("inspections/", performed_from="2026-06-01")["results"]
    assert [each["inspection"] for each in newest] == [told["inspection"]["inspection"]]


def test_a_retry_from_a_tablet_records_once():
    work = some_due_work(1)
    ruan = by_token(work.ruan)
    first, size = sent(ruan, "inspections/", inspecting(work)), head().size
    again = sent(ruan, "inspections/", inspecting(work))
    assert (again.status_code, again.json(), again["Location"]) == (200, first.json(), first["Location"])
    assert head().size == size


def test_the_plan_counts_from_the_work_only_where_that_is_said():
    work = some_due_work(2)
    asker = by_token(work.ruan)
    assert sent(asker, "inspections/", inspecting(work)).status_code == 201
    assert not PlanAnchor.objects.exists()
    assert sent(asker, "inspections/", inspecting(work, 1, re_anchor=True), key="k-2").status_code == 201
    anchor = PlanAnchor.objects.get()
    assert (anchor.device_id, anchor.plan_id, anchor.anchor_on) == (work.devices[1], work.story.plan, TODAY)


def test_a_number_beyond_its_limit_is_no_pass(monkeypatch):
    monkeypatch.setattr("pmcore.clock.now", lambda: BENCH_AT)
    bench = a_bench()
    reading = {"step": "leakage", "outcome": "passed", "as_found": "640", "unit": "µA", "instrument": bench.meter}
    body = {
        "due_inspection": bench.due, "version": bench.version, "started_at": bench_moment(6, 1).isoformat(),
        "ended_at": bench_moment(6, 1, 10).isoformat(), "readings": [reading],
    }  # fmt: skip
    said = sent(by_token(bench.ruan), "inspections/", body).json()
    assert said["type"] == "urn:pmcore:problem:outcome-contradicts"
    assert "640 µA is above the limit 500: record it as failed" in said["detail"]


@pytest.mark.parametrize(
    ("changed", "status", "kind"),
    [
        ({"readings": []}, 422, "nothing-answered"),
        ({"readings": [{"step": "frame", "outcome": "splendid"}]}, 400, "bad-parameters"),
        ({"readings": [{"step": "nothing", "outcome": "passed"}]}, 422, "unknown-step"),
        ({"ended_at": "2026-06-01T05:00:00-05:00"}, 422, "moments-out-of-order"),
        ({"ended_at": "2026-06-01T23:00:00-05:00"}, 422, "in-the-future"),
        ({"due_inspection": 10**9}, 422, "unknown-reference"),
        ({"version": 10**9}, 422, "unknown-reference"),
    ],
)
def test_what_cannot_be_recorded_is_a_problem_with_its_name(changed, status, kind):
    work = some_due_work(1)
    before = InspectionSession.objects.count()
    response = sent(by_token(work.ruan), "inspections/", inspecting(work, **changed))
    assert (response.status_code, response["Content-Type"]) == (status, PROBLEM), response.content
    assert response.json()["type"] == f"urn:pmcore:problem:{kind}"
    assert InspectionSession.objects.count() == before


def test_of_two_people_the_second_is_told():
    work = some_due_work(1)
    sent(by_token(work.ruan), "inspections/", inspecting(work))
    said = sent(by_token(work.saskia), "inspections/", inspecting(work)).json()
    assert said["type"] == "urn:pmcore:problem:inspected-already"


def test_filters_of_inspections_keep_their_own():
    work = some_due_work(2)
    work.story.inspect(day(5, 30), outcome=Outcome.FAILED)
    asker = by_token(work.jorun)

    def days(**asked):
        return [each["completed_on"] for each in asker.get("inspections/", **asked)["results"]]

    assert days() == ["2025-06-15", "2026-05-30"]
    assert days(performed_from="2026-01-01") == ["2026-05-30"]
    assert days(performed_to="2026-01-01") == ["2025-06-15"]
    assert days(as_of="2025-12-31") == ["2025-06-15"]
    assert days(device=work.devices[1]) == []
    assert days(site=work.story.sites[1]) == []
    assert days(procedure=work.story.procedure, kind="scheduled") == ["2025-06-15", "2026-05-30"]
    assert days(kind="incoming") == []
    assert [each["failed"] for each in asker.get("inspections/")["results"]] == [False, True]
    assert [len(page["results"]) for page in asker.follow("inspections/", limit=1)] == [1, 1]


def test_another_sites_inspection_is_not_there():
    work = some_due_work(1)
    done = by_token(work.jorun).get("inspections/")["results"][0]["inspection"]
    tove = by_token(work.tove)
    assert tove.get("inspections/")["results"] == []
    tove.get(f"inspections/{done}/", 404)


@pytest.mark.parametrize("devices", [3, 60])
def test_each_list_takes_a_fixed_number_of_statements(devices):
    work = some_due_work(devices)
    assign_inspections(
        due_inspections=work.dues[:3], person=work.ruan.person, on=TODAY, half=None, actor=work.jorun, at=AT
    )
    keep_standings()
    asker = by_token(somebody("Ines Kaldervik", Role.AUDITOR, work.story.begins_on, *work.story.sites))
    found = {}
    for path in STATEMENTS:
        with CaptureQueriesContext(connection) as captured:
            asker.get(path, limit=500)
        found[path] = len(captured)
    assert found == STATEMENTS
