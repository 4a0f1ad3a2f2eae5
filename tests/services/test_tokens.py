"""Tokens that an administrator makes and takes back: once however often it is asked, by nobody else."""

import datetime as dt
from typing import Any

import pytest

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, Token
from pmcore.queries.actors import actor_of_token
from pmcore.services.refusals import NotAllowed, RequestReused
from pmcore.services.requests import Request
from pmcore.services.tokens import BadToken, NoSuchToken, TokenMade, create_token, revoke_token
from tests.cast import AT, Hospital, a_hospital, check_refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def hospital() -> Hospital:
    hospital = a_hospital()
    Account.objects.create(username="odile", person_id=hospital.odile.person)
    Account.objects.create(username="ruan", person_id=hospital.ruan.person)
    return hospital


def made(actor: Actor, **changed: Any) -> TokenMade:
    asked: dict[str, Any] = {"username": "odile", "label": "report", "actor": actor, "at": AT}
    return create_token(**{**asked, **changed})


def test_the_same_request_makes_one_and_shows_it_once(hospital: Hospital) -> None:
    request = Request.of("k1", {"label": "report"})
    first, again = made(hospital.wim, request=request), made(hospital.wim, request=request)
    assert (first.repeated, again.repeated) == (False, True)
    assert (again.token, again.raw) == (first.token, "")
    assert Token.objects.count() == 1
    assert actor_of_token(first.raw, at=AT, on=AT.date()).person == hospital.odile.person


def test_the_same_key_for_another_token_is_refused(hospital: Hospital) -> None:
    made(hospital.wim, request=Request.of("k1", {}))
    with check_refused(RequestReused):
        made(hospital.wim, label="another", request=Request.of("k1", {}))
    with check_refused(RequestReused):
        made(hospital.wim, username="ruan", request=Request.of("k1", {}))
    assert Token.objects.count() == 1


def test_another_key_and_another_person_make_another_token(hospital: Hospital, settings: Any) -> None:
    second = Actor(hospital.odile.person, Role.ADMINISTRATOR, None)
    keys = [(hospital.wim, "k1"), (hospital.wim, "k2"), (second, "k1")]
    raws = {made(actor, request=Request.of(key, {})).raw for actor, key in keys}
    settings.SECRET_KEY = "of another installation"
    raws.add(made(hospital.wim, request=Request.of("k1", {})).raw)
    assert len(raws) == 4
    assert {len(raw) for raw in raws} == {43}


@pytest.mark.parametrize("role", [role for role in Role if role not in {Role.ADMINISTRATOR, Role.SYSTEM}])
def test_nobody_else_makes_or_takes_back_one(hospital: Hospital, role: Role) -> None:
    actor = Actor(hospital.odile.person, role, None)
    with check_refused(NotAllowed, "may not make a token"):
        made(actor)
    token = made(hospital.wim).token
    with check_refused(NotAllowed, "may not take back a token"):
        revoke_token(token=token, actor=actor, at=AT)
    assert Token.objects.get().revoked_at is None


def test_an_administrators_own_read_only_token_makes_none(hospital: Hospital) -> None:
    with check_refused(NotAllowed, "changes nothing"):
        made(Actor(hospital.wim.person, Role.ADMINISTRATOR, None, token=1))


def test_it_is_taken_back_once(hospital: Hospital) -> None:
    token = made(hospital.wim).token
    revoke_token(token=token, actor=hospital.wim, at=AT)
    with check_refused(NoSuchToken):
        revoke_token(token=token, actor=hospital.wim, at=AT + dt.timedelta(days=1))
    assert Token.objects.get().revoked_at == AT


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"label": "x" * 81}, "label"),
        ({"label": "audit\nof the year"}, "label"),
        ({"label": "audit\x00"}, "label"),
        ({"site_labels": ["AG"]}, "read_only"),
        ({"username": "ruan", "read_only": True, "site_labels": ["SP"]}, "sites"),
        ({"read_only": True, "from_on": dt.date(2026, 2, 1), "to_on": dt.date(2026, 1, 1)}, "to_on"),
        ({"expires_at": AT}, "expires_at"),
    ],
)
def test_what_makes_no_sense_names_its_field(hospital: Hospital, changed: dict[str, Any], field: str) -> None:
    with check_refused(BadToken) as refusal:
        made(hospital.wim, **changed)
    assert refusal.value.field == field
    assert not Token.objects.exists()
