"""Tokens as an administrator sees them: whose, narrowed to what, and whether they still open anything."""

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

from django.db.models import Max

from pmcore.models import RoleHeld, SiteDetails, Token, TokenUse
from pmcore.queries.assigned import names_of
from pmcore.queries.head import head


class TokenState(StrEnum):
    GOOD = "good"
    TAKEN_BACK = "taken_back"
    EXPIRED = "expired"
    ACCOUNT_OFF = "account_off"
    NO_ROLE = "no_role"


@dataclass(frozen=True, slots=True)
class TokenListed:
    """`sites` None: all of the account's; `last_used_on` is known of read-only ones alone (None: of no use yet)."""

    token: int
    label: str
    account: int
    username: str
    name: str
    made_at: dt.datetime
    expires_at: dt.datetime | None
    revoked_at: dt.datetime | None
    read_only: bool
    sites: tuple[str, ...] | None
    from_on: dt.date | None
    to_on: dt.date | None
    last_used_on: dt.date | None
    state: TokenState


def tokens_at(at: dt.datetime, *, only: int | None = None) -> tuple[TokenListed, ...]:
    """Those that open something first, of each state the newest first; six statements."""
    asked = Token.objects.select_related("account").order_by("-pk")
    rows = list(asked if only is None else asked.filter(pk=only))
    people = {row.account.person_id for row in rows if row.account.person_id is not None}
    names = names_of(people, head().size)
    held = RoleHeld.objects.current().on(at.date()).filter(person__among=list(people), role__isnull=False)
    acting = set(held.values_list("person_id", flat=True))
    details = SiteDetails.objects.current().order_by("from_on", "id")
    sites = dict(details.values_list("site_id", "name"))
    uses = TokenUse.objects.current().filter(token__among=[row.pk for row in rows])
    used = dict(uses.values_list("token").annotate(Max("used_on")))
    listed = [
        TokenListed(
            token=row.pk,
            label=row.label,
            account=row.account_id,
            username=row.account.username,
            name=names.get(row.account.person_id or 0, ""),
            made_at=row.made_at,
            expires_at=row.expires_at,
            revoked_at=row.revoked_at,
            read_only=row.read_only,
            sites=None if row.sites is None else tuple(sorted(sites[site] for site in row.sites)),
            from_on=row.from_on,
            to_on=row.to_on,
            last_used_on=used.get(row.pk),
            state=_state(row, at, acts=row.account.person_id in acting),
        )
        for row in rows
    ]
    return tuple(sorted(listed, key=lambda each: each.state != TokenState.GOOD))


def token_at(token: int, at: dt.datetime) -> TokenListed | None:
    """One of them; six statements."""
    return next(iter(tokens_at(at, only=token)), None)


def _state(row: Token, at: dt.datetime, *, acts: bool) -> TokenState:
    """As `actors.actor_of_token` judges."""
    if row.revoked_at is not None and row.revoked_at <= at:
        return TokenState.TAKEN_BACK
    if row.expires_at is not None and row.expires_at <= at:
        return TokenState.EXPIRED
    if not row.account.is_active:
        return TokenState.ACCOUNT_OFF
    return TokenState.GOOD if acts else TokenState.NO_ROLE
