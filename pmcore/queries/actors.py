"""From an account or a token to the actor: the person, the role and the sites that the record gives on a day."""

import datetime as dt
import hashlib
from dataclasses import replace

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Account, RoleHeld, SiteMembership, Token


class NoActor(PermissionError):
    """Whoever asks cannot act here. The subclasses say why."""


class AccountInactive(NoActor):
    """The account was switched off."""


class NobodysAccount(NoActor):
    """The account belongs to no person of the record."""


class NoRole(NoActor):
    """The person holds no role on the day."""


class TokenRefused(NoActor):
    """The token opens nothing. The subclasses say why to us; the words to whoever shows it are the same for all."""

    def __init__(self) -> None:
        super().__init__("This token opens nothing here.")


class TokenUnknown(TokenRefused):
    """No such token was ever given out."""


class TokenExpired(TokenRefused):
    """The token's time is over."""


class TokenRevoked(TokenRefused):
    """The token was taken back."""


def token_digest(raw: str) -> str:
    """What is kept of a token: SHA-256 is enough for 32 random bytes."""
    return hashlib.sha256(raw.encode(errors="surrogatepass")).hexdigest()


def actor_of(account_id: int, *, on: dt.date) -> Actor:
    """Who acts by an account on a day, as known now. Raises NoActor."""
    account = Account.objects.filter(pk=account_id).first()
    if account is None or not account.is_active:
        raise AccountInactive("This account is not in use.")
    if account.person_id is None:
        raise NobodysAccount(f"The account {account.username} belongs to no person of the record.")
    held = RoleHeld.objects.current().on(on).filter(person=account.person_id, role__isnull=False).first()
    if held is None:
        raise NoRole(f"The person of {account.username} holds no role on {on}.")
    sites = SiteMembership.objects.current().on(on).filter(person=account.person_id, member=True)
    return Actor(account.person_id, Role(held.role), frozenset(sites.values_list("site_id", flat=True)))


def actor_of_token(raw: str, *, at: dt.datetime, on: dt.date) -> Actor:
    """Who acts by a token, and to what it is narrowed. Raises TokenRefused, or what `actor_of` raises."""
    token = Token.objects.filter(digest=token_digest(raw)).first()
    if token is None:
        raise TokenUnknown
    if token.revoked_at is not None and token.revoked_at <= at:
        raise TokenRevoked
    if token.expires_at is not None and token.expires_at <= at:
        raise TokenExpired
    actor = actor_of(token.account_id, on=on)
    if not token.read_only:
        return actor
    sites = actor.sites if token.sites is None or actor.sites is None else actor.sites & frozenset(token.sites)
    return replace(actor, sites=sites, token=token.pk, begins_on=token.from_on, ends_on=token.to_on)


def actor_named(username: str, *, on: dt.date) -> Actor:
    """Who acts by the account of that name on a day, as known now. Raises NoActor."""
    account = Account.objects.filter(username=username).values_list("pk", flat=True).first()
    if account is None:
        raise NobodysAccount(f"There is no account called {username!r}.")
    return actor_of(account, on=on)
