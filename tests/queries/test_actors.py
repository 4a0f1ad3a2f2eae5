"""Who acts by an account or a token, on a day."""

import datetime as dt
from collections.abc import Callable

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, Token
from pmcore.queries.actors import (
    AccountInactive,
    NoActor,
    NobodysAccount,
    NoRole,
    TokenExpired,
    TokenRevoked,
    TokenUnknown,
    actor_of,
    actor_of_token,
)
from pmcore.services.accounts import AccountRefused, create_account, create_token, revoke_token
from pmcore.services.people import give_role
from tests.cast import AT, JANUARY, a_site
from tests.history import MARCH

pytestmark = pytest.mark.django_db

TODAY = AT.date()
PASSWORD = "heron-quartz-lantern"


def an_account(username: str = "odile", role: Role = Role.MANAGER, *labels: str) -> Account:
    return create_account(
        username=username,
        password=PASSWORD,
        name="Odile Brandt-Ferro",
        role=role,
        site_labels=labels,
        at=AT,
        on=JANUARY,
    )


def test_an_account_acts_as_its_person_with_role_and_sites() -> None:
    site = a_site("AG", "Alderwick General")
    account = an_account("odile", Role.MANAGER, "AG")
    actor = actor_of(account.pk, on=TODAY)
    assert (actor.person, actor.role, actor.sites) == (account.person_id, Role.MANAGER, frozenset({site}))


def test_a_role_counts_from_its_day_on() -> None:
    account = an_account()
    assert account.person_id is not None
    give_role(person=account.person_id, role=None, from_on=MARCH, actor=SYSTEM, at=AT)
    assert actor_of(account.pk, on=MARCH - dt.timedelta(days=1)).role == Role.MANAGER
    with pytest.raises(NoRole):
        actor_of(account.pk, on=MARCH)


def test_an_account_switched_off_or_of_nobody_does_not_act() -> None:
    account = an_account()
    Account.objects.filter(pk=account.pk).update(is_active=False)
    with pytest.raises(AccountInactive):
        actor_of(account.pk, on=TODAY)
    nobody = Account.objects.create(username="nobody")
    with pytest.raises(NobodysAccount):
        actor_of(nobody.pk, on=TODAY)
    with pytest.raises(AccountInactive):
        actor_of(404, on=TODAY)


def test_a_token_becomes_an_actor_and_is_kept_as_a_hash_only() -> None:
    account = an_account()
    raw = create_token(username="odile", label="report", at=AT)
    assert actor_of_token(raw, at=AT, on=TODAY).person == account.person_id
    assert raw not in str(Token.objects.values_list().get())


def _unknown(raw: str) -> tuple[str, dt.datetime]:
    return raw[:-1], AT


def _expired(raw: str) -> tuple[str, dt.datetime]:
    return raw, AT + dt.timedelta(days=7)


def _revoked(raw: str) -> tuple[str, dt.datetime]:
    revoke_token(token=Token.objects.get().pk, at=AT)
    return raw, AT


@pytest.mark.parametrize(
    ("spoil", "error"), [(_unknown, TokenUnknown), (_expired, TokenExpired), (_revoked, TokenRevoked)]
)
def test_a_token_that_is_no_good_opens_nothing(
    spoil: Callable[[str], tuple[str, dt.datetime]], error: type[NoActor]
) -> None:
    an_account()
    raw, at = spoil(create_token(username="odile", label="report", at=AT, expires_at=AT + dt.timedelta(days=7)))
    with pytest.raises(error):
        actor_of_token(raw, at=at, on=TODAY)


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"password": "short"}, "at least 10"),
        ({"username": "odile"}, "already an account"),
        ({"site_labels": ["XX"]}, "no site labelled 'XX'"),
        ({"username": "no spaces please!"}, "valid username"),
    ],
)
def test_an_account_that_makes_no_sense_is_refused_and_nobody_is_registered(
    changed: dict[str, object], says: str
) -> None:
    from pmcore.queries.head import head

    an_account()
    size = head().size
    asked = {"username": "ruan", "password": PASSWORD, "name": "Ruan Tesk", "role": Role.TECHNICIAN, "site_labels": []}
    with pytest.raises(AccountRefused, match=says):
        create_account(**{**asked, **changed}, at=AT, on=JANUARY)  # type: ignore[arg-type]
    assert Account.objects.count() == 1
    assert head().size == size
