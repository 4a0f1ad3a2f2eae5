"""Tokens: keys for the interface, shown once and kept as hashes. They are no part of the record; their use is."""

import datetime as dt
import secrets
from base64 import urlsafe_b64encode
from collections.abc import Sequence
from typing import NamedTuple

from django.db import IntegrityError, transaction
from django.utils.crypto import salted_hmac

from pmcore.engines.records import Actor
from pmcore.models import Account, Token
from pmcore.queries.actors import NoActor, actor_of, token_digest
from pmcore.services.accounts import AccountRefused, UnknownAccount, site_with_label
from pmcore.services.permissions import check_role
from pmcore.services.refusals import RequestReused
from pmcore.services.requests import Request

_LONGEST_LABEL = 80


class BadToken(AccountRefused):
    """The token makes no sense as it was asked for; `field` says where, by its column."""

    def __init__(self, says: str, field: str) -> None:
        super().__init__(says)
        self.field = field


class NoSuchToken(AccountRefused):
    """It was taken back before, or never was."""


class TokenMade(NamedTuple):
    """`raw` is shown once and not kept. `repeated`: the same request made it before; `raw` was shown then, and is
    empty."""

    token: int
    raw: str
    repeated: bool = False


def create_token(
    *,
    username: str,
    label: str,
    actor: Actor,
    at: dt.datetime,
    expires_at: dt.datetime | None = None,
    read_only: bool = False,
    site_labels: Sequence[str] = (),
    from_on: dt.date | None = None,
    to_on: dt.date | None = None,
    request: Request | None = None,
) -> TokenMade:
    """A new token of the account; only its hash is kept. One that is `read_only` may be narrowed to some of the
    account's sites, and to the days from `from_on` to `to_on`.

    Raises NotAllowed, UnknownAccount, UnknownLabel, BadToken, RequestReused.
    """
    check_role(actor, "make a token")
    account = Account.objects.filter(username=username).first()
    if account is None:
        raise UnknownAccount(f"There is no account called {username!r}.")
    label = label.strip()
    _check(label, at, expires_at, from_on, to_on, narrowed=bool(site_labels or from_on or to_on), read_only=read_only)
    raw = secrets.token_urlsafe(32) if request is None else _raw_of(actor, request)
    token = Token(
        account=account, digest=token_digest(raw), label=label, made_at=at, expires_at=expires_at, read_only=read_only,
        sites=_sites_of(account, site_labels, at.date()) if site_labels else None, from_on=from_on, to_on=to_on,
    )  # fmt: skip
    return _made(token, raw)


def revoke_token(*, token: int, actor: Actor, at: dt.datetime) -> None:
    """The token opens nothing any more. Raises NotAllowed, NoSuchToken."""
    check_role(actor, "take back a token")
    if not Token.objects.filter(pk=token, revoked_at__isnull=True).update(revoked_at=at):
        raise NoSuchToken(f"There is no token {token} to take back.")


def _raw_of(actor: Actor, request: Request) -> str:
    """The same for the same request, so that a form that is sent twice, even at once, meets the unique hash of the
    first. Without the installation's secret nobody can tell it from the key."""
    key = f"{actor.person} {request.key}"
    return urlsafe_b64encode(salted_hmac("token", key, algorithm="sha256").digest()).decode().rstrip("=")


def _made(token: Token, raw: str) -> TokenMade:
    try:
        with transaction.atomic():
            token.save()
    except IntegrityError:
        earlier = Token.objects.filter(digest=token.digest).first()
        if earlier is None:
            raise
        if _asked(earlier) != _asked(token):
            raise RequestReused("The same form came before, for another token.") from None
        return TokenMade(earlier.pk, "", repeated=True)
    return TokenMade(token.pk, raw)


def _asked(token: Token) -> tuple[object, ...]:
    return (token.account_id, token.label, token.read_only, token.sites, token.from_on, token.to_on)


def _check(
    label: str,
    at: dt.datetime,
    expires_at: dt.datetime | None,
    from_on: dt.date | None,
    to_on: dt.date | None,
    *,
    narrowed: bool,
    read_only: bool,
) -> None:
    """Raises BadToken."""
    if not label.isprintable() or not 1 <= len(label) <= _LONGEST_LABEL:
        raise BadToken(f"A token needs a label of at most {_LONGEST_LABEL} characters.", "label")
    if expires_at is not None and expires_at <= at:
        raise BadToken("A token cannot expire before it is made.", "expires_at")
    if not read_only and narrowed:
        raise BadToken("Only a read-only token is narrowed to sites or days.", "read_only")
    if from_on and to_on and from_on > to_on:
        raise BadToken(f"The token's days begin on {from_on}, after their end on {to_on}.", "to_on")


def _sites_of(account: Account, labels: Sequence[str], on: dt.date) -> list[int]:
    """Raises UnknownLabel, BadToken."""
    sites = {site_with_label(label) for label in labels}
    try:
        actor = actor_of(account.pk, on=on)
    except NoActor as error:
        raise BadToken(str(error), "account") from error
    if actor.sites is not None and not sites <= actor.sites:
        raise BadToken(f"{account.username} is no member of all of these sites.", "sites")
    return sorted(sites)
