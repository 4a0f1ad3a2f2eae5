"""Who calls: a token that is good, or a session of the pages."""

import datetime as dt

import pytest
import time_machine
from django.test import Client

from pmcore.engines.vocabulary import Role
from pmcore.models import Token
from pmcore.services.accounts import create_token, revoke_token
from tests.api.callers import PASSWORD, Caller, an_account
from tests.cast import AT, a_hospital

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_the_time")]


@pytest.fixture
def at_the_time():
    a_hospital()
    with time_machine.travel(AT + dt.timedelta(days=1), tick=False):
        yield


def a_caller(**options) -> Caller:
    return Caller(create_token(username=an_account(Role.AUDITOR, "AG"), label="tests", at=AT, **options))


def test_a_good_token_opens():
    answer = a_caller().get("sites/")
    assert (answer.status_code, [site["label"] for site in answer.json()["results"]]) == (200, ["AG"])


def test_a_token_whose_time_is_over():
    caller = a_caller(expires_at=AT + dt.timedelta(hours=1))
    assert caller.get("sites/").status_code == 401


def test_a_token_that_was_taken_back():
    caller = a_caller()
    revoke_token(token=Token.objects.get().pk, at=AT)
    answer = caller.get("sites/")
    assert (answer.status_code, answer.json()["detail"]) == (401, "This token opens nothing here.")


@pytest.mark.parametrize("header", ["Token", "Token ", "Bearer abc", "Token wrong", "Token \ud800"])
def test_a_header_that_is_none_of_ours(header):
    header = header.encode("utf-8", "surrogatepass").decode("latin-1")
    answer = Client().get("/api/v1/sites/", headers={"Authorization": header})
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"


def test_whoever_is_signed_in_to_the_pages():
    client = Client()
    an_account(Role.MANAGER, "SP")
    assert client.login(username="a-manager", password=PASSWORD)
    assert [site["label"] for site in client.get("/api/v1/sites/").json()["results"]] == ["SP"]
