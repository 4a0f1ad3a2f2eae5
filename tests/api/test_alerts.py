"""Alerts by the interface: one's own list, that one knows, and the rules behind it."""

from typing import Any

import pytest
from django.test import Client

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import AlertAcknowledgement, AlertRule
from pmcore.services.alert_rules import make_default_rules
from tests.alert_cast import CLOSES, FIRST, Ward, a_ward
from tests.api.asking import Asker, by_token
from tests.dashboards.signed_in import set_clock
from tests.due_work import somebody
from tests.services.test_alerts import ONE
from tests.story import moment

pytestmark = pytest.mark.django_db

LATE = CLOSES + ONE
RULE: dict[str, Any] = {"kind": "overdue", "steps": [{"days": 2, "role": "technician"}]}


@pytest.fixture
def ward(monkeypatch: pytest.MonkeyPatch) -> Ward:
    ward = a_ward()
    make_default_rules(from_on=FIRST, actor=SYSTEM, at=moment(FIRST, 0))
    ward.sweep(LATE)
    set_clock(monkeypatch, moment(LATE, 8))
    return ward


def send(asker: Asker, path: str, body: Any, key: str | None = None) -> Any:
    headers = {} if key is None else {"Idempotency-Key": key}
    token = {"Authorization": f"Token {asker.token}"}
    return Client().post(f"/api/v1/{path}", body, content_type="application/json", headers=token | headers)


def test_a_person_reads_their_own_list_page_by_page(ward: Ward) -> None:
    ruan = by_token(ward.work.ruan)
    pages = list(ruan.follow("alerts/", limit=2))
    assert [len(page["results"]) for page in pages] == [2, 1]
    first = pages[0]["results"][0]
    assert (first["kind"], first["days"], first["on"], first["stands"]) == ("overdue", 1, "2026-07-15", True)
    assert first["due"]["state"] == "overdue"
    assert first["site_name"] == "Alderwick General"
    assert by_token(ward.work.tove).get("alerts/")["results"] == []


def test_somebody_knows_of_it_once_however_often_it_is_sent(ward: Ward) -> None:
    ruan = by_token(ward.work.ruan)
    alert = ruan.get("alerts/")["results"][0]["alert"]
    path = f"alerts/{alert}/acknowledgement/"
    first = send(ruan, path, {"note": "Booked for Friday."}, "one")
    assert (first.status_code, first["Location"]) == (201, "http://testserver/api/v1/alerts/")
    assert send(ruan, path, {"note": "Booked for Friday."}, "one").status_code == 200
    again = send(ruan, path, {}, "two")
    assert (again.status_code, again.json()["type"]) == (422, "urn:pmcore:problem:acknowledged-before")
    assert AlertAcknowledgement.objects.count() == 1
    said = ruan.get("alerts/")["results"][-1]["acknowledged"]
    assert [(each["name"], each["note"]) for each in said] == [("Ruan Tesk", "Booked for Friday.")]


def test_what_one_was_not_told_of_is_not_there(ward: Ward) -> None:
    ruan = by_token(ward.work.ruan)
    alert = ruan.get("alerts/")["results"][0]["alert"]
    path = f"alerts/{alert}/acknowledgement/"
    assert send(by_token(ward.work.tove), path, {}, "k").status_code == 404
    auditor = somebody("Ines Kaldervik", Role.AUDITOR, FIRST, *ward.work.story.sites)
    assert send(by_token(auditor), path, {}, "k").status_code == 403
    assert send(ruan, path, {}).json()["errors"].keys() == {"Idempotency-Key"}
    wrong = send(ruan, path, {"notes": "x"}, "k").json()
    assert wrong["errors"] == {"notes": "There is no field 'notes'; there are note."}


def test_rules_are_read_made_and_changed(ward: Ward) -> None:
    manager = by_token(ward.work.story.manager)
    assert [each["kind"] for each in manager.get("alert-rules/")["results"]][:2] == [
        "due_soon_and_unassigned", "window_opened",
    ]  # fmt: skip
    made = send(manager, "alert-rules/", {**RULE, "site": ward.work.story.sites[0], "hour": 6}, "one")
    assert made.status_code == 201
    rule = made.json()["id"]
    told = next(each for each in manager.get("alert-rules/")["results"] if each["rule"] == rule)
    assert (told["hour"], told["enabled"], told["from_on"]) == (6, True, LATE.isoformat())
    assert told["steps"] == [{"days": 2, "role": "technician"}]
    off = {"steps": RULE["steps"], "enabled": False}
    assert send(manager, f"alert-rules/{rule}/terms/", off, "two").status_code == 201
    told = next(each for each in manager.get("alert-rules/")["results"] if each["rule"] == rule)
    assert not told["enabled"]


@pytest.mark.parametrize(
    ("changed", "status", "kind"),
    [
        ({"steps": []}, 422, "nobody-to-tell"),
        ({"steps": [{"days": 0, "role": "manager"}]}, 422, "bad-days"),
        ({"steps": [{"days": 2, "role": "auditor"}]}, 422, "not-for-this-role"),
        ({"steps": [{"days": 2, "role": "nurse"}]}, 400, "bad-parameters"),
        ({"steps": [{"days": "2", "role": "manager"}]}, 400, "bad-body"),
        ({"kind": "late"}, 400, "bad-parameters"),
        ({"hour": 24}, 422, "bad-hour"),
        ({"from_on": (LATE - ONE).isoformat()}, 422, "dated-back"),
        ({"site": 10**9}, 422, "unknown-reference"),
    ],
)
def test_a_rule_that_makes_no_sense_is_refused_by_name(
    ward: Ward, changed: dict[str, Any], status: int, kind: str
) -> None:
    answer = send(by_token(ward.work.story.manager), "alert-rules/", {**RULE, **changed}, "one")
    assert (answer.status_code, answer.json()["type"].rpartition(":")[2]) == (status, kind)
    assert AlertRule.objects.count() == 6


def test_only_the_office_makes_rules(ward: Ward) -> None:
    for actor in (ward.work.ruan, ward.work.jorun):
        assert send(by_token(actor), "alert-rules/", RULE, "one").status_code == 403
