"""One account for each role, of a person who holds it; made once, with a new password where the old one is lost."""

import datetime as dt

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, Token
from pmcore.queries.actors import actor_of, actor_of_token
from pmcore.services.demo.accounts import ROLES, open_accounts, open_token
from pmcore.services.people import register_person
from pmcore.services.tokens import revoke_token
from tests.cast import AT, JANUARY

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def people() -> dict[str, Role]:
    """Two of each role; the first is the one who signs in."""
    named = {f"{place} {role}": role for place in ("First", "Second") for role in ROLES.values()}
    for name, role in named.items():
        register_person(name=name, role=role, sites=[], from_on=JANUARY, actor=SYSTEM, at=AT)
    return named


def opened(password: str = "plain-words-31", *, is_new: bool = True) -> dict[str, str]:
    return {each.username: each.person for each in open_accounts(password=password, is_new=is_new, on=JANUARY)}


def passwords_that_fit(password: str) -> list[bool]:
    return [account.check_password(password) for account in Account.objects.filter(username__in=("manager", "auditor"))]


def test_each_is_bound_to_the_first_person_of_its_role() -> None:
    assert opened() == {name: f"First {role}" for name, role in ROLES.items()}
    for account in Account.objects.all():
        assert actor_of(account.pk, on=JANUARY).role == ROLES[account.username]


def test_only_the_administrator_sees_the_records_own_pages() -> None:
    opened()
    assert list(Account.objects.filter(is_staff=True).values_list("username", flat=True)) == ["administrator"]


def test_again_nothing_changes() -> None:
    before = opened()
    stored = list(Account.objects.order_by("pk").values_list("username", "password", "person"))
    assert opened(is_new=False) == before
    assert list(Account.objects.order_by("pk").values_list("username", "password", "person")) == stored


def test_a_new_password_replaces_the_one_that_was_lost() -> None:
    opened("plain-words-31")
    opened("other-words-17", is_new=True)
    assert passwords_that_fit("other-words-17") == [True, True]
    assert passwords_that_fit("plain-words-31") == [False, False]


def test_the_auditors_token_is_kept_while_it_opens_anything() -> None:
    opened()
    raw = open_token(kept=None, at=AT)
    assert actor_of_token(raw, at=AT, on=JANUARY).role == Role.AUDITOR
    assert open_token(kept=raw, at=AT) == raw
    revoke_token(token=Token.objects.get().pk, actor=SYSTEM, at=AT)
    assert open_token(kept=raw, at=AT + dt.timedelta(hours=1)) != raw
