"""Who acts by an account or a token, on a day."""

import datetime as dt
from base64 import urlsafe_b64decode
from collections.abc import Callable

import pytest
from pytest_django import DjangoAssertNumQueries

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, SiteMembership, Token
from pmcore.queries.actors import (
    AccountInactive,
    NoActor,
    NobodysAccount,
    NoRole,
    TokenExpired,
    TokenRefused,
    TokenRevoked,
    TokenUnknown,
    actor_of,
    actor_of_token,
)
from pmcore.queries.columns import BadValue
from pmcore.services.accounts import (
    BadAccount,
    UnknownAccount,
    UnknownLabel,
    UsernameTaken,
    create_account,
)
from pmcore.services.people import NoRoleOfPeople, give_role, set_membership
from pmcore.services.tokens import BadToken, NoSuchToken, create_token, revoke_token
from tests.cast import AT, JANUARY, a_site, check_refused
from tests.history import MARCH, written

pytestmark = pytest.mark.django_db

TODAY = AT.date()
PASSWORD = "heron-quartz-lantern"


def an_account(username: str = "odile", role: Role = Role.MANAGER, *labels: str) -> Account:
    made = create_account(
        username=username,
        password=PASSWORD,
        name="Odile Brandt-Ferro",
        role=role,
        site_labels=labels,
        actor=SYSTEM,
        at=AT,
        on=JANUARY,
    )
    return Account.objects.get(pk=made.account)


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
    raw = create_token(username="odile", label="report", actor=SYSTEM, at=AT).raw
    assert actor_of_token(raw, at=AT, on=TODAY).person == account.person_id
    assert raw not in str(Token.objects.values_list().get())


def _unknown(raw: str) -> tuple[str, dt.datetime]:
    return raw[:-1], AT


def _expired(raw: str) -> tuple[str, dt.datetime]:
    return raw, AT + dt.timedelta(days=7)


def _revoked(raw: str) -> tuple[str, dt.datetime]:
    revoke_token(token=Token.objects.get().pk, actor=SYSTEM, at=AT)
    return raw, AT


@pytest.mark.parametrize(
    ("spoil", "error"), [(_unknown, TokenUnknown), (_expired, TokenExpired), (_revoked, TokenRevoked)]
)
def test_a_token_that_is_no_good_opens_nothing(
    spoil: Callable[[str], tuple[str, dt.datetime]], error: type[NoActor]
) -> None:
    an_account()
    expires_at = AT + dt.timedelta(days=7)
    raw, at = spoil(create_token(username="odile", label="report", actor=SYSTEM, at=AT, expires_at=expires_at).raw)
    with pytest.raises(error) as refusal:
        actor_of_token(raw, at=at, on=TODAY)
    assert isinstance(refusal.value, TokenRefused)
    assert str(refusal.value) == "This token opens nothing here."


@pytest.mark.parametrize(
    ("changed", "error", "says"),
    [
        ({"password": "short"}, BadAccount, "at least 10"),
        ({"username": "odile"}, UsernameTaken, "already an account"),
        ({"site_labels": ["XX"]}, UnknownLabel, "no site labelled 'XX'"),
        ({"username": "no spaces please!"}, BadAccount, "valid username"),
        ({"username": ""}, BadAccount, "blank"),
        ({"email": "odile"}, BadAccount, "valid email"),
        ({"name": ""}, BadValue, "person_details.name"),
        ({"role": Role.SYSTEM}, NoRoleOfPeople, "service itself"),
    ],
)
def test_an_account_that_makes_no_sense_is_refused_and_nobody_is_registered(
    changed: dict[str, object], error: type[Exception], says: str
) -> None:
    an_account()
    asked = {"username": "ruan", "password": PASSWORD, "name": "Ruan Tesk", "role": Role.TECHNICIAN, "site_labels": []}
    with check_refused(error, says):
        create_account(**{**asked, **changed}, actor=SYSTEM, at=AT, on=JANUARY)  # type: ignore[arg-type]
    assert Account.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"username": "nobody"}, UnknownAccount),
        ({"label": " "}, BadToken),
        ({"label": "x" * 81}, BadToken),
        ({"label": "a\x00b"}, BadToken),
        ({"expires_at": AT}, BadToken),
    ],
)
def test_a_token_that_makes_no_sense_is_not_made(changed: dict[str, object], error: type[Exception]) -> None:
    an_account()
    with pytest.raises(error):
        create_token(**{"username": "odile", "label": "report", "actor": SYSTEM, "at": AT, **changed})  # type: ignore[arg-type]
    assert not Token.objects.exists()


def test_two_tokens_of_32_random_bytes_differ() -> None:
    an_account()
    first, second = (create_token(username="odile", label="report", actor=SYSTEM, at=AT).raw for _ in range(2))
    assert first != second
    assert len(urlsafe_b64decode(first + "=")) == 32


def test_a_token_is_revoked_once_and_the_others_go_on() -> None:
    an_account()
    kept, lost = (create_token(username="odile", label=label, actor=SYSTEM, at=AT).raw for label in ("kept", "lost"))
    token = Token.objects.get(label="lost").pk
    revoke_token(token=token, actor=SYSTEM, at=AT)
    with pytest.raises(NoSuchToken):
        revoke_token(token=token, actor=SYSTEM, at=AT)
    with pytest.raises(TokenRevoked):
        actor_of_token(lost, at=AT, on=TODAY)
    assert actor_of_token(kept, at=AT, on=TODAY).role == Role.MANAGER


def test_the_token_of_an_account_that_was_switched_off_opens_nothing() -> None:
    account = an_account()
    raw = create_token(username="odile", label="report", actor=SYSTEM, at=AT).raw
    Account.objects.filter(pk=account.pk).update(is_active=False)
    with pytest.raises(AccountInactive):
        actor_of_token(raw, at=AT, on=TODAY)


@pytest.mark.parametrize("raw", ["", "half a character \ud800", "x" * 10_000])
def test_what_was_never_a_token_opens_nothing(raw: str) -> None:
    with pytest.raises(TokenUnknown):
        actor_of_token(raw, at=AT, on=TODAY)


def test_a_membership_ends_on_its_day_and_a_correction_counts_at_once() -> None:
    site = a_site("AG", "Alderwick General")
    account = an_account("odile", Role.MANAGER, "AG")
    person = account.person_id or 0
    set_membership(person=person, site=site, member=False, from_on=MARCH, actor=SYSTEM, at=AT)
    assert actor_of(account.pk, on=MARCH).sites == frozenset()
    assert actor_of(account.pk, on=MARCH - dt.timedelta(days=1)).sites == {site}
    ended = SiteMembership.objects.current().get(person=person, from_on=MARCH)
    written("membership_set", person, replaces=[ended], note="It was somebody else.")
    assert actor_of(account.pk, on=MARCH).sites == {site}


def test_an_actor_costs_few_statements(django_assert_num_queries: DjangoAssertNumQueries) -> None:
    an_account()
    raw = create_token(username="odile", label="report", actor=SYSTEM, at=AT).raw
    with django_assert_num_queries(4):
        actor_of_token(raw, at=AT, on=TODAY)
