"""A way to sign in for each role, and a token for the interface. The people behind them are the demonstration's own."""

import datetime as dt
from dataclasses import dataclass

from django.contrib.auth.hashers import make_password

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, PersonDetails, RoleHeld, Text, Token
from pmcore.queries.actors import token_digest
from pmcore.services.lock import writing
from pmcore.services.tokens import create_token

ROLES = {
    "manager": Role.MANAGER,
    "scheduler": Role.SCHEDULER,
    "technician": Role.TECHNICIAN,
    "auditor": Role.AUDITOR,
    "clinical": Role.CLINICAL_LEAD,
    "provider": Role.PROVIDER,
    "administrator": Role.ADMINISTRATOR,
}
"""By the name that one signs in with."""


@dataclass(frozen=True, slots=True)
class DemoAccount:
    username: str
    person: str
    role: Role


def open_accounts(*, password: str, is_new: bool, on: dt.date) -> list[DemoAccount]:
    """An account of each role where there is none yet, for the first person who holds it on the day. A new password
    also becomes that of the accounts that were there."""
    with writing():
        there = {account.username: account for account in Account.objects.filter(username__in=ROLES)}
        if is_new or len(there) < len(ROLES):
            stored = make_password(password)  # once: slow on purpose
            for username, role in ROLES.items():
                _open(there, username, role, stored, is_new=is_new, on=on)
    return [DemoAccount(name, _name_of(there[name].person_id, on), role) for name, role in ROLES.items()]


def _open(there: dict[str, Account], username: str, role: Role, stored: str, *, is_new: bool, on: dt.date) -> None:
    account = there.get(username)
    if account is None:
        account = there[username] = Account(username=username, person_id=_first_with(role, on), password=stored)
        account.is_staff = account.is_superuser = role == Role.ADMINISTRATOR
    elif is_new:
        account.password = stored
    account.save()


def _first_with(role: Role, on: dt.date) -> int:
    """Of those who have no account yet."""
    held = RoleHeld.objects.current().on(on).filter(role=role)
    taken = Account.objects.exclude(person=None).values("person")
    return int(held.exclude(person__in=taken).order_by("person").values_list("person", flat=True)[0])


def _name_of(person: int | None, on: dt.date) -> str:
    named = PersonDetails.objects.current().on(on).filter(person=person).values("name")
    return Text.objects.filter(pk__in=named).values_list("words", flat=True).first() or "redacted"


def open_token(*, kept: str | None, at: dt.datetime) -> str:
    """The auditor's token: the one that was kept, if it still opens anything, otherwise a new one."""
    if kept and Token.objects.filter(digest=token_digest(kept), revoked_at=None).exists():
        return kept
    return create_token(username="auditor", label="demonstration", actor=SYSTEM, at=at).raw
