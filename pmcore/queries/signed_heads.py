"""The heads of the history that were signed."""

import datetime as dt
from base64 import b64decode
from dataclasses import dataclass
from hashlib import sha256

from pmcore.models import SignedHead
from pmcore.queries.pages import Page


@dataclass(frozen=True, slots=True)
class HeadTold:
    """`size` and `root` of the history, `at` the moment of its last entry then. `note`: the head as it was signed, to
    be kept; `key`: the public key, in the form that verifiers of signed notes take; `fingerprint`: SHA-256 of its 32
    bytes."""

    size: int
    root: str
    at: dt.datetime
    signed_at: dt.datetime
    key: str
    fingerprint: str
    note: str


def heads_page(*, as_of: dt.date, known: int, after: int | None, limit: int) -> Page[HeadTold]:
    """Of at most `known` entries, signed by the end of the day in UTC; one statement."""
    midnight = dt.datetime.combine(as_of + dt.timedelta(days=1), dt.time(), dt.UTC)
    heads = SignedHead.objects.filter(pk__gt=after or 0, size__lte=known, signed_at__lt=midnight).order_by("pk")
    found = list(heads[: limit + 1])
    return Page(tuple(map(_told, found[:limit])), found[limit - 1].pk if len(found) > limit else None)


def newest_head() -> HeadTold | None:
    newest = SignedHead.objects.order_by("-signed_at", "-pk").first()
    return None if newest is None else _told(newest)


def newest_heads(count: int) -> list[HeadTold]:
    """The newest first."""
    return [_told(each) for each in SignedHead.objects.order_by("-signed_at", "-pk")[:count]]


def _told(signed: SignedHead) -> HeadTold:
    public = b64decode(signed.key.split("+", 2)[2])[1:]
    return HeadTold(
        signed.size, bytes(signed.root).hex(), signed.at, signed.signed_at, signed.key, sha256(public).hexdigest(),
        signed.note,
    )  # fmt: skip
