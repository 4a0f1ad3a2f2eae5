"""A read-only token: nothing is written by it, nothing outside its sites and days is read, and its use is an entry."""

import datetime as dt
import json
from types import SimpleNamespace

import pytest
from django.db import DatabaseError

from pmcore import tasks
from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import Role, TokenDeed
from pmcore.models import Entry, Job, Token, TokenUse
from pmcore.queries.actors import TokenExpired, TokenRevoked, actor_of_token
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services import token_use
from pmcore.services.devices import move_device
from pmcore.services.refusals import NotAllowed
from pmcore.services.tokens import BadToken, create_token, revoke_token
from tests.api.asking import NOW, PROBLEM, Asker, an_account, by_token
from tests.api.test_routes import EXPECTED, METHODS, NOT_READ, filled, versioned
from tests.bench_cast import a_bench
from tests.cast import a_person, check_refused
from tests.history import day

pytestmark = pytest.mark.django_db

WITHIN, BEFORE = "2026-10-15", "2026-09-15"
BOUNDED = {
    "due-inspections/": ("closes_from", "closes_to"),
    "inspections/": ("performed_from", "performed_to"),
    "assignments/": ("on_from", "on_to"),
    "compliance/": ("from", "to"),
    "compliance/changes/": ("from", "to"),
    "failure-rates/": ("from", "to"),
    "comparisons/": ("from", "to"),
    "standouts/": ("from", "to"),
    "fault-reports/": ("seen_from", "seen_to"),
    "findings/": ("discovered_from", "discovered_to"),
    "holds/": ("stood_from", "stood_to"),
    "releases/": ("signed_from", "signed_to"),
    "alerts/": ("told_from", "told_to"),
}
NEEDED = {"compliance/changes/": {"since": 1}, "comparisons/": {"group": "controls"}}
READ = sorted(set(EXPECTED) - NOT_READ)
OF_ONE_DAY = {"due-inspections/<key:due>/", "inspections/<key:inspection>/"}


@pytest.fixture
def hospital(settings, tmp_path):
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"
    return a_bench()


@pytest.fixture
def ines(hospital):
    return a_person("Ines Kaldervik", Role.AUDITOR, hospital.alderwick, hospital.stennet)


def narrowed(actor: Actor, **options) -> Asker:
    return by_token(actor, **{"read_only": True, "from_on": day("2026-10-01"), "to_on": day("2026-10-31"), **options})


@pytest.mark.parametrize("route", sorted(EXPECTED))
def test_nothing_is_written_by_it(hospital, route):
    """Not even in a role that may write there."""
    asker = by_token(a_person("Somebody", Role.MANAGER, hospital.alderwick, hospital.stennet), read_only=True)
    address = filled(route, hospital)
    for method in METHODS:
        if method in {"get", "head"} or (route, method) == ("history-exports/", "post"):
            continue
        response = asker.response(method, address)
        assert response.status_code in {403, 405}, (method, response.content)
        assert response["Content-Type"] == PROBLEM
        if response.status_code == 403:
            assert response.json()["detail"] == "A read-only token changes nothing."


@pytest.mark.parametrize("route", READ)
def test_without_a_period_it_reads_what_its_person_may(hospital, ines, route):
    assert by_token(ines, read_only=True).response("get", filled(route, hospital)).status_code == 200


@pytest.mark.parametrize("route", READ)
def test_outside_its_days_every_route_is_refused_by_name(hospital, ines, route):
    address = filled(route, hospital).partition("?")[0]
    if "history-export" in route or route == "schema/":
        # An export that reaches further is not there for it; the document and the list say nothing of any day.
        expected = 200 if route in {"history-exports/", "schema/"} else 404
        response = narrowed(ines).response("get", address)
        assert response.status_code == expected
        if route == "history-exports/":
            assert response.json() == {"results": []}
        return
    asked = [{"as_of": BEFORE}] + ([dict.fromkeys(BOUNDED[route], BEFORE), {}] if route in BOUNDED else [])
    asked += [{"period": "2026-09"}] * (route.startswith("compliance"))
    asker = narrowed(ines)
    for question in asked:
        said = asker.response("get", address, question | NEEDED.get(route, {}))
        assert (said.status_code, said.json()["type"]) == (403, "urn:pmcore:problem:outside-your-period"), question


@pytest.mark.parametrize("route", READ)
def test_within_its_days_it_is_answered(hospital, ines, route):
    if "<key:export>" in route:
        check_export_within(ines)
        return
    address = filled(route, hospital).partition("?")[0]
    question = dict.fromkeys(BOUNDED.get(route, ()), WITHIN) | NEEDED.get(route, {})
    response = narrowed(ines).response("get", address, question)
    if route in OF_ONE_DAY:  # the days of this hospital lie in other months
        assert response.json()["type"] == "urn:pmcore:problem:outside-your-period"
    else:
        assert response.status_code == 200, response.content


def check_export_within(ines):
    asker = narrowed(ines)
    made = asker.response("post", "/api/v1/history-exports/", {}, content_type="application/json").json()
    assert (made["from"], made["to"], made["state"]) == ("2026-10-01", "2026-10-31", "waiting")
    tasks.run_job(made["id"])
    done = asker.get(f"history-exports/{made['id']}/")
    assert done["state"] == "done"
    for url in done["files"].values():
        assert asker.response("get", url.removeprefix("http://testserver")).status_code == 200


def test_the_tables_of_this_file_hold_every_route():
    assert set(BOUNDED) | OF_ONE_DAY <= versioned()


def test_where_nothing_is_said_it_is_told_of_its_last_day(hospital, ines):
    said = narrowed(ines, to_on=day("2026-10-20")).get("devices/")
    assert said["as_of"] == "2026-10-20"


def test_an_export_outside_its_days_or_sites_is_refused_by_name(hospital, ines):
    asker = narrowed(ines, site_labels=["AG"])
    for body, kind in (
        ({"from": "2026-09-30"}, "outside-your-period"),
        ({"to": "2026-11-01"}, "outside-your-period"),
        ({"sites": [hospital.stennet]}, "outside-your-sites"),
    ):
        options = {"content_type": "application/json"}
        said = asker.response("post", "/api/v1/history-exports/", json.dumps(body), **options)
        assert (said.status_code, said.json()["type"]) == (403, f"urn:pmcore:problem:{kind}")


def test_it_sees_its_sites_alone(hospital, ines):
    asker = by_token(ines, read_only=True, site_labels=["SP"])
    assert [each["label"] for each in asker.get("sites/")["results"]] == ["SP"]
    assert asker.get(f"devices/{hospital.device}/", status=404)["type"] == "urn:pmcore:problem:not-found"


def test_a_service_refuses_it_too(hospital):
    by_a_token = Actor(hospital.odile.person, Role.MANAGER, hospital.odile.sites, token=7)
    with check_refused(NotAllowed, "A read-only token changes nothing"):
        move_device(device=hospital.device, area=hospital.ward, from_on=NOW.date(), actor=by_a_token, at=NOW)


# Made, expiring, taken back


def test_it_is_hashed_expires_and_is_taken_back(ines):
    account = an_account(ines)
    later = NOW + dt.timedelta(days=2)
    by = {"actor": SYSTEM, "at": NOW}
    raw = create_token(username=account.username, label="audit", expires_at=later, read_only=True, **by).raw
    token = Token.objects.get()
    assert raw not in str(token.__dict__)
    assert actor_of_token(raw, at=NOW, on=NOW.date()).token == token.pk
    with pytest.raises(TokenExpired):
        actor_of_token(raw, at=later, on=NOW.date())
    revoke_token(token=token.pk, **by)
    with pytest.raises(TokenRevoked):
        actor_of_token(raw, at=NOW, on=NOW.date())


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"site_labels": ["AG"]}, "Only a read-only token"),
        ({"from_on": day("2026-01-01")}, "Only a read-only token"),
        ({"read_only": True, "from_on": day("2026-02-01"), "to_on": day("2026-01-31")}, "after their end"),
        ({"read_only": True, "site_labels": ["SP"]}, "no member"),
    ],
)
def test_one_that_makes_no_sense_is_refused(hospital, options, says):
    username = an_account(a_person("Ines Kaldervik", Role.AUDITOR, hospital.alderwick)).username
    with check_refused(BadToken, says):
        create_token(username=username, label="audit", actor=SYSTEM, at=NOW, **options)
    assert not Token.objects.exists()


# Its use


def work_off():
    for job in Job.objects.filter(kind=token_use.KIND, state="waiting"):
        tasks.run_job(job.pk)


def test_the_first_use_of_a_day_is_an_entry(hospital, ines, monkeypatch):
    asker = by_token(ines, read_only=True)
    size = head().size
    asker.get("sites/")
    asker.get("devices/")
    work_off()
    entry = Entry.objects.get(seq=size + 1)
    assert (entry.kind, entry.subject) == ("token_used", ines.person)
    use = TokenUse.objects.get()
    assert (use.used_on, use.deed, use.token) == (NOW.date(), TokenDeed.READ, Token.objects.get().pk)
    monkeypatch.setattr("pmcore.clock.now", lambda: NOW + dt.timedelta(days=1))
    asker.get("sites/")
    asker.get("sites/")
    work_off()
    assert TokenUse.objects.count() == 2
    assert verify().sound


def test_each_export_that_it_asks_for_is_an_entry(hospital, ines):
    asker = by_token(ines, read_only=True)
    for _ in range(2):
        sent = {"data": json.dumps({"known": 10}), "content_type": "application/json"}
        assert asker.response("post", "/api/v1/history-exports/", **sent).status_code < 300
    work_off()
    assert sorted(TokenUse.objects.values_list("deed", flat=True)) == ["export", "read"]


def test_an_ordinary_token_leaves_no_entry(hospital, ines):
    by_token(ines).get("sites/")
    assert not Job.objects.filter(kind=token_use.KIND).exists()


def test_noted_twice_it_is_one_entry(hospital, ines):
    by_token(ines, read_only=True).get("sites/")
    job = Job.objects.get()
    for _ in range(2):
        token_use.append_token_use(arguments=job.arguments, at=NOW)
    assert TokenUse.objects.count() == 1


def test_a_use_that_cannot_be_noted_fails_no_read(hospital, ines, monkeypatch, caplog):
    def locked(**_):
        raise DatabaseError("database is locked")

    monkeypatch.setattr(token_use, "jobs", SimpleNamespace(ask=locked))
    assert by_token(ines, read_only=True).get("sites/")["results"]
    assert "could not be noted" in caplog.text
