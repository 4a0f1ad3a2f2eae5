"""Every error is problem details (RFC 9457): kind, title, status, a sentence, and what will not do by its name."""

import datetime as dt

import pytest
from django.test import Client

from api.devices import Devices
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, Token
from pmcore.queries.head import head
from pmcore.services.people import give_role
from tests.api.asking import NOW, PROBLEM, Asker, an_account, by_token
from tests.cast import AT, a_hospital, a_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def hospital():
    return a_hospital()


@pytest.fixture
def odile(hospital):
    return by_token(hospital.odile)


def check_problem(response, status, kind, *named):
    assert (response.status_code, response["Content-Type"]) == (status, PROBLEM), response.content
    said = response.json()
    assert {"type", "title", "status", "detail"} <= said.keys() <= {"type", "title", "status", "detail", "errors"}
    assert (said["type"], said["status"]) == (f"urn:pmcore:problem:{kind}", status)
    assert said["title"]
    assert said["detail"]
    assert said.get("errors", {}).keys() == set(named)
    return said


@pytest.mark.parametrize(
    ("path", "named"),
    [
        ("devices/?sight=3", ["sight"]),
        ("devices/?as_of=2026-10-30&as_of=2026-10-31", ["as_of"]),
        ("devices/?as_of=yesterday&known=x&limit=0&site=AG&state=1", ["as_of", "known", "limit", "site", "state"]),
        ("devices/?limit=501", ["limit"]),
        ("devices/?limit=1_0", ["limit"]),
        ("devices/?known=-1", ["known"]),
        ("devices/?words=a%00b", ["words"]),
        ("devices/?site=", ["site"]),
        ("devices/?format=xml", ["format"]),
        ("sites/?words=x", ["words"]),
        ("schema/?lang=en", ["lang"]),
        ("compliance/", ["period"]),
        ("compliance/?period=2026-9", ["period"]),
        ("compliance/?period=2026-09&since=3", ["since"]),
        ("compliance/?period=2026-09&limit=3", ["limit"]),
        ("compliance/changes/?period=2026-09", ["since"]),
        ("compliance/changes/?period=2026-09&since=1&group_by=site", ["group_by"]),
        ("compliance/changes/?period=x&explain=41", ["period", "since", "explain"]),
    ],
)
def test_parameters_that_will_not_do_are_named(odile, path, named):
    said = check_problem(odile.response("get", f"/api/v1/{path}"), 400, "bad-parameters", *named)
    for name in named:
        assert name in said["errors"][name]


def test_an_unknown_parameter_is_told_which_there_are(odile):
    errors = odile.get("areas/", sight=3, status=400)["errors"]
    assert errors == {"sight": "There is no parameter 'sight'; there are site, as_of, known, limit, cursor."}


@pytest.mark.parametrize("path", ["devices/?", "devices/{device}/?", "compliance/?period=2026-09&", "sites/?"])
def test_a_day_to_come_and_a_size_to_come(hospital, odile, path):
    address = f"/api/v1/{path.format(device=hospital.device)}"
    check_problem(odile.response("get", f"{address}as_of=2026-11-01"), 400, "as-of-ahead", "as_of")
    check_problem(odile.response("get", f"{address}known={head().size + 1}"), 400, "known-beyond", "known")


def test_a_site_of_somebody_else(hospital):
    ruan = by_token(hospital.ruan)
    for path in ("devices/?", "areas/?", "compliance/?period=2026-09&", "compliance/changes/?period=2026-09&since=0&"):
        response = ruan.response("get", f"/api/v1/{path}site={hospital.stennet}")
        check_problem(response, 403, "outside-your-sites", "site")


@pytest.mark.parametrize(
    "path",
    ["/api/", "/api/v1/", "/api/v1/nothing/", "/api/v2/sites/", "/api/v1/devices/x/", "/api/v1/devices/0/",
     "/api/v1/devices/" + "9" * 40 + "/", "/api/v1/devices/7/more/"],
)  # fmt: skip
def test_an_address_that_there_is_not(path):
    for method in ("get", "post", "put", "delete"):
        check_problem(getattr(Client(), method)(path), 404, "not-found")


def test_an_address_without_its_last_slash_is_answered_as_with_it(odile):
    with_slash, without = (odile.response("get", path) for path in ("/api/v1/devices/", "/api/v1/devices"))
    assert (without.status_code, without.json()) == (200, with_slash.json())


def test_a_thing_that_there_is_not(odile, hospital):
    for path in (f"devices/{10**17}/", f"procedures/{hospital.device}/"):
        check_problem(odile.response("get", f"/api/v1/{path}"), 404, "not-found")


def test_a_method_that_there_is_not_says_which_there_are(odile):
    response = odile.response("delete", "/api/v1/devices/")
    check_problem(response, 405, "no-such-method")
    assert response["Allow"] == "GET, HEAD"


def test_another_form_than_json_is_not_to_be_had(odile):
    headers = {"Accept": "text/html", "Authorization": f"Token {odile.token}"}
    check_problem(Client().get("/api/v1/devices/", headers=headers), 406, "not-acceptable")


@pytest.mark.parametrize(
    "header", ["Token", "Token ", "Token x y", "Bearer x", "Basic YTpi", "token \xe9", "Token " * 99]
)
def test_what_is_no_token(header):
    response = Client().get("/api/v1/sites/", headers={"Authorization": header})
    check_problem(response, 401, "not-signed-in")
    assert response["WWW-Authenticate"] == "Token"


def test_a_token_whose_time_is_over(hospital, monkeypatch):
    asker = by_token(hospital.odile, expires_at=NOW + dt.timedelta(minutes=1))
    asker.get("sites/")
    monkeypatch.setattr("pmcore.clock.now", lambda: NOW + dt.timedelta(minutes=1))
    check_problem(asker.response("get", "/api/v1/sites/"), 401, "not-signed-in")


def test_a_token_of_an_account_that_was_switched_off(hospital, odile):
    Account.objects.filter(person_id=hospital.odile.person).update(is_active=False)
    check_problem(odile.response("get", "/api/v1/sites/"), 401, "not-signed-in")


def test_a_role_that_was_taken_away(hospital, odile):
    give_role(person=hospital.odile.person, role=None, from_on=AT.date(), actor=hospital.wim, at=AT)
    check_problem(odile.response("get", "/api/v1/sites/"), 401, "not-signed-in")


def test_an_account_of_nobody_that_is_signed_in(hospital):
    client = Client()
    client.force_login(Account.objects.create(username="nobody"))
    check_problem(client.get("/api/v1/sites/"), 403, "not-allowed")


def test_a_bad_token_is_refused_even_beside_a_session(hospital):
    client = Client()
    client.force_login(an_account(hospital.odile))
    check_problem(client.get("/api/v1/sites/", headers={"Authorization": "Token x"}), 401, "not-signed-in")


def test_a_role_that_may_not(hospital):
    provider = by_token(a_person("Tomas Ellergard", Role.PROVIDER, hospital.alderwick))
    check_problem(provider.response("get", "/api/v1/devices/"), 403, "not-allowed")


def test_what_nobody_foresaw_shows_nothing_of_itself(odile, monkeypatch, settings):
    def broken(*_, **__):
        raise ZeroDivisionError("the inner secret")

    monkeypatch.setattr(Devices, "page", broken)
    for debug in (False, True):
        settings.DEBUG = debug
        response = odile.response("get", "/api/v1/devices/")
        check_problem(response, 500, "failure")
        assert b"secret" not in response.content
        assert b"Traceback" not in response.content


def test_a_host_that_is_not_answered(odile):
    response = odile.response("get", "/api/v1/devices/", HTTP_HOST="elsewhere.example")
    check_problem(response, 400, "bad-request")


def test_pages_still_fail_as_pages():
    response = Client(raise_request_exception=False).get("/nothing/")
    assert response.status_code == 404
    assert response["Content-Type"].startswith("text/html")


def test_the_words_of_a_refusal_are_the_same_for_all_bad_tokens(hospital):
    revoked = by_token(hospital.odile)
    Token.objects.update(revoked_at=NOW)
    assert revoked.get("sites/", status=401) == Asker("x" * 43).get("sites/", status=401)
