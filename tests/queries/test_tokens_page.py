"""Tokens as the administrator's page tells them: whether they open anything, by the same rules as the interface."""

import datetime as dt
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import TokenDeed
from pmcore.models import Account
from pmcore.queries.actors import NoActor, actor_of_token
from pmcore.queries.tokens_page import TokenState, token_at, tokens_at
from pmcore.services.people import give_role
from pmcore.services.token_use import append_token_use
from pmcore.services.tokens import TokenMade, create_token, revoke_token
from tests.cast import AT, Hospital, a_hospital

pytestmark = pytest.mark.django_db

LATER = AT + dt.timedelta(days=2)


@pytest.fixture
def hospital() -> Hospital:
    hospital = a_hospital()
    Account.objects.create(username="odile", person_id=hospital.odile.person)
    return hospital


def made(label: str = "audit", **changed: Any) -> TokenMade:
    return create_token(**{"username": "odile", "label": label, "actor": SYSTEM, "at": AT, **changed})


def state_of(token: TokenMade, at: dt.datetime = AT) -> TokenState:
    """As the page tells it, and the interface agrees."""
    told = token_at(token.token, at)
    assert told is not None
    try:
        opens = actor_of_token(token.raw, at=at, on=at.date()).person is not None
    except NoActor:
        opens = False
    assert opens == (told.state is TokenState.GOOD)
    return told.state


def test_each_state_is_told_as_the_interface_judges(hospital: Hospital) -> None:
    good, brief, back = made(), made(expires_at=AT + dt.timedelta(days=1)), made()
    revoke_token(token=back.token, actor=SYSTEM, at=AT)
    assert (state_of(good), state_of(brief), state_of(back)) == ("good", "good", "taken_back")
    assert (state_of(good, LATER), state_of(brief, LATER)) == ("good", "expired")
    give_role(person=hospital.odile.person or 0, role=None, from_on=LATER.date(), actor=SYSTEM, at=AT)
    assert (state_of(good, AT), state_of(good, LATER)) == ("good", "no_role")
    Account.objects.update(is_active=False)
    assert (state_of(good), state_of(back)) == ("account_off", "taken_back")


def test_what_it_is_narrowed_to_and_whose_it_is(hospital: Hospital) -> None:
    days = {"from_on": dt.date(2026, 1, 1), "to_on": dt.date(2026, 10, 31)}
    told = token_at(made(read_only=True, site_labels=["SP", "AG"], **days).token, AT)
    assert told is not None
    assert (told.name, told.username, told.read_only) == ("Odile Brandt-Ferro", "odile", True)
    assert told.sites == ("Alderwick General", "Stennet Point")
    assert (told.from_on, told.to_on) == (days["from_on"], days["to_on"])
    free = token_at(made().token, AT)
    assert free is not None
    assert (free.read_only, free.sites, free.from_on, free.to_on) == (False, None, None, None)


def test_the_last_use_is_that_of_the_record(hospital: Hospital) -> None:
    used, unused = made(read_only=True).token, made(read_only=True).token
    for day in ("2026-10-30", "2026-10-31", "2026-10-29"):
        arguments = {"token": used, "deed": str(TokenDeed.READ), "on": day, "key": f"token {used} read {day}"}
        append_token_use(arguments=arguments, at=AT)
    told = {each.token: each.last_used_on for each in tokens_at(AT)}
    assert told == {used: dt.date(2026, 10, 31), unused: None}


def test_what_opens_something_stands_first_and_then_the_newest(hospital: Hospital) -> None:
    tokens = {label: made(label) for label in ("first", "second", "third", "fourth")}
    revoke_token(token=tokens["third"].token, actor=SYSTEM, at=AT)
    assert [each.label for each in tokens_at(AT)] == ["fourth", "second", "first", "third"]


def test_a_token_that_is_not_there_is_none(hospital: Hospital) -> None:
    assert token_at(404, AT) is None


def test_it_costs_six_statements_however_many_there_are(
    hospital: Hospital, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    made()
    with django_assert_num_queries(6):
        tokens_at(AT)
    for number in range(10):
        made(f"audit {number}", read_only=True)
    with django_assert_num_queries(6):
        assert len(tokens_at(AT)) == 11
