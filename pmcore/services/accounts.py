"""Accounts and tokens. They are no part of the record; the person behind them is."""

import datetime as dt
import secrets
from collections.abc import Sequence

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, SiteDetails, Token
from pmcore.queries.actors import token_digest
from pmcore.services.people import register_person


class AccountRefused(ValueError):
    """The account or token cannot be made; the message says why."""


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

    Raises AccountRefused, or what `register_person` raises.
    """
    if Account.objects.filter(username=username).exists():
        raise AccountRefused(f"There is already an account called {username!r}.")
    account = Account(username=username, email=email or "")
    try:
        validate_password(password, account)
        account.set_password(password)
        account.clean_fields(exclude=["person"])
    except ValidationError as error:
        raise AccountRefused(" ".join(error.messages)) from error
    with transaction.atomic():
        sites = [_site(label, on) for label in site_labels]
        receipt = register_person(name=name, email=email, role=role, sites=sites, from_on=on, actor=SYSTEM, at=at)
        account.person_id = receipt.subject
        account.is_staff = account.is_superuser = role == Role.ADMINISTRATOR
        account.save()
    return account


def _site(label: str, on: dt.date) -> int:
    details = SiteDetails.objects.current().on(on).filter(label=label).first()
    if details is None:
        raise AccountRefused(f"There is no site labelled {label!r}.")
    return int(details.site_id)


def create_token(*, username: str, label: str, at: dt.datetime, expires_at: dt.datetime | None = None) -> str:
    """A new token of the account, as it is shown once; only its hash is kept. Raises AccountRefused."""
    account = Account.objects.filter(username=username).first()
    if account is None:
        raise AccountRefused(f"There is no account called {username!r}.")
    if not label.strip() or len(label) > 80:
        raise AccountRefused("A token needs a label of at most 80 characters.")
    if expires_at is not None and expires_at <= at:
        raise AccountRefused("A token cannot expire before it is made.")
    raw = secrets.token_urlsafe(32)
    Token.objects.create(
        account=account, digest=token_digest(raw), label=label.strip(), made_at=at, expires_at=expires_at
    )
    return raw


def revoke_token(*, token: int, at: dt.datetime) -> None:
    """The token opens nothing any more. Raises AccountRefused where it was taken back before, or never was."""
    if not Token.objects.filter(pk=token, revoked_at__isnull=True).update(revoked_at=at):
        raise AccountRefused(f"There is no token {token} to take back.")
