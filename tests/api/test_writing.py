"""A POST is one deed, done once however often it is sent; its body is read strictly."""

import datetime as dt
import json
from dataclasses import dataclass

import pytest
from django.test import Client
from django.urls import path

from api import permissions, reading
from api.unknown import Unknown
from api.writing import Writes, body_of
from pmcore.engines.vocabulary import Role
from pmcore.models import Placement
from pmcore.queries.head import head
from pmcore.services.devices import move_device
from pmcore.services.lock import RecordBusy
from tests.api.asking import PROBLEM, an_account, by_token
from tests.cast import a_hospital, a_person

pytestmark = [pytest.mark.django_db, pytest.mark.urls(__name__)]


@dataclass(frozen=True)
class Note:
    words: str
    urgent: bool = False


@dataclass(frozen=True)
class Move:
    device: int
    area: int
    from_on: dt.date
    seen_at: dt.datetime | None = None
    notes: tuple[Note, ...] = ()


class Moves(Writes):
    resource = "moves"
    says = {"POST": "Records that a device was moved."}
    body = body_of(Move)

    def write(self, asked, request, **key):
        return move_device(
            device=asked.device, area=asked.area, from_on=asked.from_on, actor=self.actor, at=self.at, request=request
        )

    def where(self, receipt):
        return f"/api/v1/devices/{receipt.subject}/"


urlpatterns = [path("api/v1/moves/", Moves.as_view()), path("api/v1/<path:rest>", Unknown.as_view())]


@pytest.fixture(autouse=True)
def _moves_may_be_recorded(monkeypatch):
    monkeypatch.setitem(permissions.MAY, "moves", {"POST": frozenset({Role.MANAGER, Role.TECHNICIAN})})


@pytest.fixture
def hospital():
    return a_hospital()


@pytest.fixture
def move(hospital):
    return {"device": hospital.device, "area": hospital.ward, "from_on": "2026-10-30"}


def sent(asker, body, key="k-1", content_type="application/json", path="/api/v1/moves/"):
    headers = {"Authorization": f"Token {asker.token}"} | ({} if key is None else {"Idempotency-Key": key})
    data = body if isinstance(body, bytes) else json.dumps(body)
    return Client(raise_request_exception=False).post(path, data, content_type=content_type, headers=headers)


def check_problem(response, status, *named):
    assert (response.status_code, response["Content-Type"]) == (status, PROBLEM), response.content
    said = response.json()
    assert said["status"] == status
    assert said.get("errors", {}).keys() == set(named)
    return said


def test_a_deed_is_written_and_its_address_told(hospital, move):
    size = head().size
    response = sent(by_token(hospital.odile), move)
    assert response.status_code == 201
    assert response["Location"] == f"http://testserver/api/v1/devices/{hospital.device}/"
    placement = Placement.objects.get(entry=size + 1)
    written = {"entry": size + 1, "id": hospital.device, "first_id": placement.pk, "last_id": placement.pk}
    assert (response.json(), placement.area_id) == (written, hospital.ward)


def test_a_retry_gets_the_first_answer(hospital, move):
    odile = by_token(hospital.odile)
    first, size = sent(odile, move), head().size
    again = sent(odile, dict(reversed(move.items())))
    assert (again.status_code, again.json(), again["Location"]) == (200, first.json(), first["Location"])
    assert head().size == size


def test_the_same_key_with_another_content_is_a_conflict(hospital, move):
    odile = by_token(hospital.odile)
    sent(odile, move)
    size = head().size
    said = check_problem(sent(odile, {**move, "from_on": "2026-10-29"}), 409)
    assert said["type"] == "urn:pmcore:problem:request-reused"
    assert head().size == size


def test_another_key_is_another_deed(hospital, move):
    odile = by_token(hospital.odile)
    assert sent(odile, move, key="a").status_code == 201
    assert sent(odile, {**move, "area": hospital.theatre}, key="b").status_code == 201


@pytest.mark.parametrize("key", [None, "", "x" * 101, "schlüssel", "a\tb"])
def test_a_key_is_needed_that_can_be_kept(hospital, move, key):
    check_problem(sent(by_token(hospital.odile), move, key=key), 400, "Idempotency-Key")


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"colour": "blue"}, "colour"),
        ({"device": "12"}, "device"),
        ({"device": True}, "device"),
        ({"device": 10**30}, "device"),
        ({"device": None}, "device"),
        ({"from_on": "30.10.2026"}, "from_on"),
        ({"seen_at": "2026-10-30T09:00:00"}, "seen_at"),
        ({"seen_at": "2026-13-30T09:00:00Z"}, "seen_at"),
        ({"notes": [{"words": "one"}, {"words": 2}]}, "notes.1.words"),
        ({"notes": [{"words": "one", "urgent": "yes"}]}, "notes.0.urgent"),
        ({"notes": [{"words": "a\x00b"}]}, "notes.0.words"),
        ({"notes": [{"words": "\ud800"}]}, "notes.0.words"),
        ({"notes": [{"words": "one", "colour": "blue"}]}, "notes.0.colour"),
        ({"notes": "none"}, "notes"),
    ],
)
def test_a_body_is_read_strictly(hospital, move, changed, named):
    size = head().size
    check_problem(sent(by_token(hospital.odile), {**move, **changed}), 400, named)
    assert head().size == size


def test_every_missing_field_is_named(hospital):
    check_problem(sent(by_token(hospital.odile), {}), 400, "device", "area", "from_on")


@pytest.mark.parametrize(
    "body",
    [b"{", b"", b'{"a": 1, "a": 2}', b'{"a": NaN}', b"\xff", b"[" * 100_000, b"9" * 5000],
    ids=["cut", "empty", "twice", "nan", "bytes", "deep", "long"],
)
def test_what_is_no_json_is_refused(hospital, body):
    response = sent(by_token(hospital.odile), body)
    assert (response.status_code, response["Content-Type"]) == (400, PROBLEM)


@pytest.mark.parametrize("body", [b"[]", b"3", b'"text"', b"null"])
def test_json_that_is_no_object_is_refused(hospital, body):
    response = sent(by_token(hospital.odile), body)
    assert (response.status_code, response["Content-Type"]) == (400, PROBLEM)


def test_too_large_a_body_is_refused(hospital, monkeypatch):
    monkeypatch.setattr(reading, "MOST_BYTES", 1000)
    check_problem(sent(by_token(hospital.odile), {"device": "x" * 1000}), 413)


def test_only_json_is_read(hospital):
    odile = by_token(hospital.odile)
    check_problem(sent(odile, b"device=1", content_type="application/x-www-form-urlencoded"), 415)
    check_problem(sent(odile, b"<device/>", content_type="text/xml"), 415)


def test_a_parameter_in_the_address_is_refused(hospital, move):
    check_problem(sent(by_token(hospital.odile), move, path="/api/v1/moves/?dry_run=yes"), 400, "dry_run")


def test_what_the_service_refuses_is_a_problem_with_its_name(hospital, move):
    ruan = by_token(hospital.ruan)
    said = check_problem(sent(ruan, move), 403)
    assert (said["type"], said["title"]) == (
        "urn:pmcore:problem:wrong-site",
        "The actor is no member of the site",
    )
    unknown = check_problem(sent(by_token(hospital.odile), {**move, "area": hospital.device}), 422)
    assert unknown["type"] == "urn:pmcore:problem:unknown-reference"


def test_a_record_that_is_busy_says_when_to_try_again(hospital, move, monkeypatch):
    def busy(*_, **__):
        raise RecordBusy

    monkeypatch.setattr(Moves, "write", busy)
    response = sent(by_token(hospital.odile), move)
    check_problem(response, 503)
    assert response["Retry-After"] == "5"


def test_a_role_that_may_not_is_refused_before_anything_is_read(hospital):
    auditor = by_token(a_person("Ines Kaldervik", Role.AUDITOR, hospital.alderwick))
    check_problem(sent(auditor, b"{"), 403)


def test_somebody_signed_in_to_the_pages_needs_the_pages_token(hospital, move):
    account = an_account(hospital.odile)
    client = Client(enforce_csrf_checks=True, raise_request_exception=False)
    client.force_login(account)
    options = {"content_type": "application/json", "headers": {"Idempotency-Key": "k-1"}}
    check_problem(client.post("/api/v1/moves/", json.dumps(move), **options), 403)
    client.cookies["csrftoken"] = token = "a" * 32
    options["headers"]["X-CSRFToken"] = token
    assert client.post("/api/v1/moves/", json.dumps(move), **options).status_code == 201
