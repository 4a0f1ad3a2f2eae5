"""Every error is a problem with words, and never a page."""

import pytest
import time_machine

from pmcore.engines.vocabulary import Role
from tests.api.callers import Caller, a_token
from tests.cast import AT, Hospital, a_hospital

pytestmark = pytest.mark.django_db


@pytest.fixture
def hospital():
    with time_machine.travel(AT, tick=False):
        yield a_hospital()


@pytest.fixture
def auditor(hospital: Hospital) -> Caller:
    return Caller(a_token(Role.AUDITOR, "AG"))


@pytest.mark.parametrize(
    ("address", "names"),
    [
        ("devices/?colour=blue", "colour"),
        ("devices/?site=abc", "site"),
        ("devices/?state=asleep", "state"),
        ("devices/?as_of=31.10.2026", "as_of"),
        ("devices/?as_of=2026-02-30", "as_of"),
        ("devices/?known=-1", "known"),
        ("devices/?known=1&known=2", "known"),
        ("devices/?limit=0", "limit"),
        ("devices/?limit=501", "limit"),
        ("devices/?cursor=abc", "cursor"),
        ("devices/?words=" + "x" * 101, "words"),
        ("sites/?words=x", "words"),
        ("compliance/", "period"),
        ("compliance/?period=2026-13", "period"),
        ("compliance/?period=2026-09&from=2026-09-01", "period"),
        ("compliance/?from=2026-09-01", "period"),
        ("compliance/?from=2026-09-02&to=2026-09-01", "to"),
        ("compliance/?period=2026-09&risk_class=grave", "risk_class"),
        ("compliance/?period=2026-09&group_by=colour", "group_by"),
        ("compliance/?period=2026-09&since=1", "since"),
        ("compliance/changes/?period=2026-09", "since"),
    ],
)
def test_a_parameter_that_will_not_do_is_named(auditor, address, names):
    answer = auditor.get(address)
    problem = answer.json()
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
    assert list(problem["errors"]) == [names]
    assert problem["detail"] == problem["errors"][names]


def test_everything_wrong_is_said_at_once(auditor):
    errors = auditor.get("compliance/?period=x&as_of=y&site=z").json()["errors"]
    assert errors.keys() == {"period", "as_of", "site"}


@pytest.mark.parametrize(
    "address", ["devices/?as_of=2027-01-01", "devices/?known=999999", "compliance/?period=2026-09&as_of=2027-01-01"]
)
def test_a_day_or_a_size_that_has_not_come(auditor, address):
    answer = auditor.get(address)
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")


def test_a_site_of_somebody_else(auditor, hospital):
    for address in (f"devices/?site={hospital.stennet}", f"compliance/?period=2026-09&site={hospital.stennet}"):
        answer = auditor.get(address)
        assert (answer.status_code, answer.json()["title"]) == (403, "Forbidden")


@pytest.mark.parametrize(
    "address", ["nothing/", "devices/0/", "devices/-1/", "devices/99999999999999999999/", "procedures/999999/"]
)
def test_what_is_not_there(auditor, address):
    answer = auditor.get(address)
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")


def test_a_device_of_another_site_is_not_there(hospital):
    caller = Caller(a_token(Role.AUDITOR, "SP"))
    assert caller.get(f"devices/{hospital.device}/").status_code == 404


def test_only_json_is_spoken(auditor):
    answer = auditor.get("sites/", Accept="application/xml")
    assert (answer.status_code, answer["Content-Type"]) == (406, "application/problem+json")


def test_what_fails_on_our_side_says_so_without_a_traceback(auditor, monkeypatch):
    def broken(*_args, **_named):
        raise RuntimeError("secret of the house")

    monkeypatch.setattr("api.sites.sites_page", broken)
    answer = auditor.get("sites/")
    assert (answer.status_code, answer["Content-Type"]) == (500, "application/problem+json")
    assert "secret" not in answer.content.decode()


def test_an_address_without_its_last_slash_is_answered_as_with_it(auditor):
    assert auditor.get("sites").json() == auditor.get("sites/").json()
    assert auditor.get("compliance?period=2026-09").status_code == 200
    assert auditor.get("nothing").status_code == 404
