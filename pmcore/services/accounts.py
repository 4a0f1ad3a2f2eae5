"""Accounts and tokens. They are no part of the record; the person behind them is."""

import datetime as dt
import secrets
from collections.abc import Sequence

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, SiteDetails, Token
from pmcore.queries.actors import NoActor, actor_of, token_digest
from pmcore.services.lock import writing
from pmcore.services.people import register_person

_LONGEST_LABEL = 80


class AccountRefused(ValueError):
    """The account or token cannot be made. The subclasses say why; nothing was written."""


class UsernameTaken(AccountRefused):
    """Somebody else signs in by this name."""

    def __init__(self, username: str) -> None:
        super().__init__(f"There is already an account called {username!r}.")


class BadAccount(AccountRefused):
    """The user name, the address or the password will not do."""


class UnknownLabel(AccountRefused):
    """No site has this label."""


class UnknownAccount(AccountRefused):
    """Nobody signs in by this name."""


class BadToken(AccountRefused):
    """The token's label or last day makes no sense, or there is none to revoke."""


def create_account(
    *,
    username: str,
    password: str,
    name: str,
    role: Role,
    site_labels: Sequence[str],
    email: str | None = None,
    at: dt.datetime,
    on: dt.date,
) -> Account:
    """A person in the record, and a way for them to sign in. An administrator's account also opens the admin.

    Raises UsernameTaken, BadAccount, UnknownLabel, or what `register_person` raises.
    """
    account = Account(username=username, email=email or "")
    try:
        validate_password(password, account)
        account.set_password(password)
        account.clean_fields(exclude=["person"])
    except ValidationError as error:
        raise BadAccount(" ".join(error.messages)) from error
    with writing():
        if Account.objects.filter(username=username).exists():
            raise UsernameTaken(username)
        sites = [_site(label) for label in dict.fromkeys(site_labels)]
        receipt = register_person(name=name, email=email, role=role, sites=sites, from_on=on, actor=SYSTEM, at=at)
        account.person_id = receipt.subject
        account.is_staff = account.is_superuser = role == Role.ADMINISTRATOR
        account.save()
    return account


def _site(label: str) -> int:
    details = SiteDetails.objects.current().filter(label=label).first()
    if details is None:
        raise UnknownLabel(f"There is no site labelled {label!r}.")
    return int(details.site_id)


def create_token(
    *,
    username: str,
    label: str,
    at: dt.datetime,
    expires_at: dt.datetime | None = None,
    read_only: bool = False,
    site_labels: Sequence[str] = (),
    from_on: dt.date | None = None,
    to_on: dt.date | None = None,
) -> str:
    """A new token of the account, as it is shown once; only its hash is kept. One that is `read_only` may be narrowed
    to some of the account's sites, and to the days from `from_on` to `to_on`.

    Raises UnknownAccount, UnknownLabel, BadToken.
    """
    account = Account.objects.filter(username=username).first()
    if account is None:
        raise UnknownAccount(f"There is no account called {username!r}.")
    label = label.strip()
    if not label.isprintable() or not 1 <= len(label) <= _LONGEST_LABEL:
        raise BadToken(f"A token needs a label of at most {_LONGEST_LABEL} characters.")
    if expires_at is not None and expires_at <= at:
        raise BadToken("A token cannot expire before it is made.")
    if not read_only and (site_labels or from_on or to_on):
        raise BadToken("Only a read-only token is narrowed to sites or days.")
    if from_on and to_on and from_on > to_on:
        raise BadToken(f"The token's days begin on {from_on}, after their end on {to_on}.")
    raw = secrets.token_urlsafe(32)
    Token.objects.create(
        account=account, digest=token_digest(raw), label=label, made_at=at, expires_at=expires_at, read_only=read_only,
        sites=_sites_of(account, site_labels, at.date()) if site_labels else None, from_on=from_on, to_on=to_on,
    )  # fmt: skip
    return raw


def _sites_of(account: Account, labels: Sequence[str], on: dt.date) -> list[int]:
    """Raises UnknownLabel, BadToken."""
    sites = {_site(label) for label in labels}
    try:
        actor = actor_of(account.pk, on=on)
    except NoActor as error:
        raise BadToken(str(error)) from error
    if actor.sites is not None and not sites <= actor.sites:
        raise BadToken(f"{account.username} is no member of all of these sites.")
    return sorted(sites)


def revoke_token(*, token: int, at: dt.datetime) -> None:
    """The token opens nothing any more. Raises BadToken where it was taken back before, or never was."""
    if not Token.objects.filter(pk=token, revoked_at__isnull=True).update(revoked_at=at):
        raise BadToken(f"There is no token {token} to take back.")
