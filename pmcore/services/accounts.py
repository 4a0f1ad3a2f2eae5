"""Accounts: a person of the record, and a way for them to sign in. The account itself is no part of the record."""

import datetime as dt
import secrets
from collections.abc import Sequence
from typing import NamedTuple

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, SiteDetails
from pmcore.services.lock import writing
from pmcore.services.people import register_person
from pmcore.services.permissions import check_role
from pmcore.services.requests import Request, answered

_LONGEST_NAME = 120
_PLAIN = "abcdefghjkmnpqrstuvwxyz23456789"


class AccountRefused(ValueError):
    """The account or token cannot be made or changed. The subclasses say why; nothing was written."""


class UsernameTaken(AccountRefused):
    """Somebody else signs in by this name, however its letters are written."""

    def __init__(self, username: str) -> None:
        super().__init__(f"There is already an account called {username!r}.")


class AddressTaken(AccountRefused):
    """One signs in by the address too, so it is one account's alone."""

    def __init__(self, email: str) -> None:
        super().__init__(f"Another account has the address {email}.")


class BadAccount(AccountRefused):
    """The name, the user name, the address or the password will not do; `field` says which, by its column."""

    def __init__(self, says: str, field: str) -> None:
        super().__init__(says)
        self.field = field


class UnknownLabel(AccountRefused):
    """No site has this label."""


class UnknownAccount(AccountRefused):
    """Nobody signs in by this name, or there is no such account."""


class AccountMade(NamedTuple):
    """`repeated`: the same request made it before."""

    account: int
    person: int
    username: str
    repeated: bool = False


def create_account(
    *,
    username: str,
    password: str,
    name: str,
    role: Role,
    site_labels: Sequence[str],
    actor: Actor,
    at: dt.datetime,
    on: dt.date,
    email: str | None = None,
    request: Request | None = None,
) -> AccountMade:
    """A person in the record, and a way for them to sign in. An administrator's account also opens the admin. Accounts
    are of the whole house: an administrator gives any of its sites, also one that they are no member of.

    Raises UsernameTaken, AddressTaken, BadAccount, UnknownLabel, or what `register_person` raises.
    """
    check_role(actor, "register a person")
    with writing():
        if (earlier := answered(actor, request, "person_registered")) is not None:
            made = Account.objects.get(person=earlier.subject)
            return AccountMade(made.pk, earlier.subject, made.username, repeated=True)
        account = _checked(Account(username=Account.normalize_username(username), email=email or ""), password)
        _check_name(name)
        sites = [site_with_label(label) for label in dict.fromkeys(site_labels)]
        receipt = register_person(
            name=name, email=email or None, role=role, sites=sites, from_on=on, actor=actor, at=at, request=request
        )
        account.person_id = receipt.subject
        account.is_staff = account.is_superuser = role == Role.ADMINISTRATOR
        account.save()
    return AccountMade(account.pk, receipt.subject, account.username)


def new_password() -> str:
    """Of four groups of letters and figures that nobody mistakes for one another, about 79 bits: to be read out, typed
    and not guessed."""
    return "-".join("".join(secrets.choice(_PLAIN) for _ in range(4)) for _ in range(4))


def site_with_label(label: str) -> int:
    """Raises UnknownLabel."""
    details = SiteDetails.objects.current().filter(label=label).first()
    if details is None:
        raise UnknownLabel(f"There is no site labelled {label!r}.")
    return int(details.site_id)


def _checked(account: Account, password: str) -> Account:
    """With the password set. Raises BadAccount, UsernameTaken, AddressTaken."""
    try:
        account.set_password(password)
        account.clean_fields(exclude=["person", "email"])
    except ValidationError as error:
        field, says = next(iter(error.message_dict.items()))
        raise BadAccount(" ".join(says), field) from error
    try:
        validate_password(password, account)
    except ValidationError as error:
        raise BadAccount(" ".join(error.messages), "password") from error
    if Account.objects.filter(username__iexact=account.username).exists():
        raise UsernameTaken(account.username)
    if account.email:
        check_address(account.email, of=None)
    return account


def check_address(email: str, *, of: int | None) -> None:
    """That it is one, and no other account's than this one's. Raises BadAccount, AddressTaken."""
    try:
        Account._meta.get_field("email").clean(email, None)
    except ValidationError as error:
        raise BadAccount(" ".join(error.messages), "email") from error
    others = Account.objects.filter(email__iexact=email)
    if (others if of is None else others.exclude(pk=of)).exists():
        raise AddressTaken(email)


def _check_name(name: str) -> None:
    """The record takes lines and paragraphs; a name stands in one line, in letters too. Raises BadAccount."""
    if len(name) > _LONGEST_NAME or len(name.splitlines()) > 1:
        raise BadAccount(f"A name stands in one line of at most {_LONGEST_NAME} characters.", "name")
