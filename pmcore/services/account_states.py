"""An account is switched off and on again, and gets a new password. Neither says anything of the past: role and sites
of its person stand in the record as they were."""

import datetime as dt

from django.contrib.auth import SESSION_KEY
from django.contrib.auth.hashers import make_password
from django.contrib.sessions.models import Session

from pmcore.engines.records import Actor
from pmcore.models import Account
from pmcore.queries.people_page import administrators_on, password_marked
from pmcore.services.accounts import AccountRefused, UnknownAccount
from pmcore.services.lock import writing
from pmcore.services.permissions import check_role


class YourOwnAccount(AccountRefused):
    """Nobody locks themselves out: not by switching off, and not by a password that the end of their own session keeps
    from them."""


class LastAdministrator(AccountRefused):
    """Nobody would be left who can sign in as an administrator."""


class ChangedMeanwhile(AccountRefused):
    """The password is not the one that was there when the form was opened."""


def switch_account(*, account: int, active: bool, actor: Actor, at: dt.datetime) -> None:
    """Off: nobody signs in by the account, its sessions end at once, and its tokens open nothing for as long. On: it is
    as before, but its sessions stay ended. Raises NotAllowed, UnknownAccount, YourOwnAccount, LastAdministrator.
    """
    check_role(actor, "switch an account")
    with writing():
        found = _account(account)
        if not active:
            _check_not_own(found, actor)
            check_not_last(account, at.date())
        Account.objects.filter(pk=account).update(is_active=active)
        if not active:
            _end_sessions(account)


def give_password(*, account: int, password: str, instead_of: str, actor: Actor, at: dt.datetime) -> None:
    """A new password; whoever is signed in by the account signs in anew. `instead_of`: the mark of the one that it
    takes the place of, so that a form that is sent twice gives one. Raises NotAllowed, UnknownAccount,
    YourOwnAccount, ChangedMeanwhile."""
    check_role(actor, "give a password")
    stored = make_password(password)
    with writing():
        found = _account(account)
        _check_not_own(found, actor)
        if not password_marked(account, instead_of):
            raise ChangedMeanwhile("This form was sent before, or somebody gave another password meanwhile.")
        Account.objects.filter(pk=account).update(password=stored)
        _end_sessions(account)


def _account(account: int) -> Account:
    """Raises UnknownAccount."""
    found = Account.objects.filter(pk=account).first()
    if found is None:
        raise UnknownAccount(f"There is no account {account}.")
    return found


def _check_not_own(account: Account, actor: Actor) -> None:
    """Raises YourOwnAccount."""
    if account.person_id is not None and account.person_id == actor.person:
        raise YourOwnAccount("This is your own account: another administrator can do that to it, you cannot.")


def check_not_last(account: int, on: dt.date) -> None:
    """Somebody else can sign in as an administrator, or this account cannot. Raises LastAdministrator."""
    if administrators_on(on) == {account}:
        raise LastAdministrator("This is the last account of an administrator: without it nobody could make accounts.")


def _end_sessions(account: int) -> None:
    """A session does not say whose it is outside what it holds, so each is looked at."""
    sessions = Session.objects.iterator(chunk_size=500)
    theirs = [each.pk for each in sessions if each.get_decoded().get(SESSION_KEY) == str(account)]
    Session.objects.filter(pk__in=theirs).delete()
