"""An account that an administrator makes: a person of the record and a way to sign in, once sent twice or not."""

from typing import Any

import pytest

from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, Entry, RoleHeld, SiteMembership
from pmcore.queries.actors import actor_of
from pmcore.services.accounts import (
    AccountMade,
    AddressTaken,
    BadAccount,
    UsernameTaken,
    create_account,
    new_password,
)
from pmcore.services.refusals import NotAllowed, RequestReused
from pmcore.services.requests import Request
from tests.cast import AT, JANUARY, a_hospital, check_refused

pytestmark = pytest.mark.django_db

PASSWORD = "heron-quartz-lantern"


def made(actor: Actor, **changed: Any) -> AccountMade:
    asked: dict[str, Any] = {
        "username": "ines", "password": PASSWORD, "name": "Ines Caddock", "role": Role.TECHNICIAN,
        "site_labels": ["AG"], "email": "ines@quillmere.example", "actor": actor, "at": AT, "on": JANUARY,
    }  # fmt: skip
    return create_account(**{**asked, **changed})


def test_an_administrator_makes_one_and_the_record_says_who() -> None:
    hospital = a_hospital()
    account = made(hospital.wim)
    entry = Entry.objects.get(kind="person_registered", subject=account.person)
    assert (entry.person, entry.role) == (hospital.wim.person, "administrator")
    actor = actor_of(account.account, on=AT.date())
    assert (actor.role, actor.sites) == (Role.TECHNICIAN, frozenset({hospital.alderwick}))


def test_an_administrator_gives_a_site_that_is_not_their_own() -> None:
    hospital = a_hospital()
    elsewhere = Actor(hospital.wim.person, Role.ADMINISTRATOR, frozenset({hospital.alderwick}))
    account = made(elsewhere, site_labels=["SP"])
    assert SiteMembership.objects.get(person=account.person).site_id == hospital.stennet


@pytest.mark.parametrize("role", [role for role in Role if role not in {Role.ADMINISTRATOR, Role.SYSTEM}])
def test_nobody_else_makes_one(role: Role) -> None:
    hospital = a_hospital()
    with check_refused(NotAllowed, "may not register a person"):
        made(Actor(hospital.odile.person, role, None))
    assert not Account.objects.exists()


def test_a_read_only_token_makes_none() -> None:
    wim = a_hospital().wim
    with check_refused(NotAllowed, "changes nothing"):
        made(Actor(wim.person, wim.role, wim.sites, token=1))


def test_the_same_request_makes_one() -> None:
    wim = a_hospital().wim
    request = Request.of("k1", {"name": "Ines"})
    first, again = made(wim, request=request), made(wim, request=request, password="another-good-one")
    assert (first.repeated, again.repeated) == (False, True)
    assert again.account == first.account == Account.objects.get().pk
    assert Account.objects.get().check_password(PASSWORD)
    with check_refused(RequestReused):
        made(wim, request=Request.of("k1", {"name": "Somebody else"}))


@pytest.mark.parametrize("username", ["INES", "Ines", "\uff49nes"])  # the last: a wide letter, and the same one
def test_a_user_name_is_taken_however_its_letters_are_written(username: str) -> None:
    made(SYSTEM, site_labels=[])
    with check_refused(UsernameTaken):
        made(SYSTEM, site_labels=[], username=username, email=None)


def test_an_address_is_one_accounts_alone() -> None:
    made(SYSTEM, site_labels=[])
    with check_refused(AddressTaken, "Ines@Quillmere.example"):
        made(SYSTEM, site_labels=[], username="ida", email="Ines@Quillmere.example")


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"username": "i" * 151}, "username"),
        ({"username": "in\x00es"}, "username"),
        ({"username": "ines\n"}, "username"),
        ({"email": "ines@quillmere.example\nBcc: all@quillmere.example"}, "email"),
        ({"email": f"{'i' * 250}@quillmere.example"}, "email"),
        ({"name": "I" * 121}, "name"),
        ({"name": "Ines\nCaddock"}, "name"),
        ({"name": "Ines\u2028Caddock"}, "name"),
        ({"password": "password123"}, "password"),
        ({"password": "ines@quillmere"}, "password"),
    ],
)
def test_what_will_not_do_names_its_field_and_nobody_is_registered(changed: dict[str, Any], field: str) -> None:
    with check_refused(BadAccount) as refusal:
        made(SYSTEM, site_labels=[], **changed)
    assert not Account.objects.exists()
    assert not RoleHeld.objects.exists()
    assert refusal.value.field == field


def test_a_password_that_is_made_is_long_plain_and_another_each_time() -> None:
    passwords = [new_password() for _ in range(200)]
    assert len(set(passwords)) == 200
    for password in passwords:
        assert [len(group) for group in password.split("-")] == [4, 4, 4, 4]
        assert not set(password) & set("il1o0")
    assert made(SYSTEM, site_labels=[], password=passwords[0]).username == "ines"
