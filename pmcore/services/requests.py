"""A request that is sent twice is answered once: the key stands on the entry that the first one wrote, whose kind says
for what deed it came."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, Self

from pmcore.engines.canonical import canonical_bytes
from pmcore.engines.records import Actor
from pmcore.models import Entry
from pmcore.queries.columns import BadValue
from pmcore.services.refusals import RequestReused


@dataclass(frozen=True, slots=True)
class Request:
    """A client's key for one request and the hash of what it asked."""

    key: str
    digest: str

    @classmethod
    def of(cls, key: str, asked: Any) -> Self:
        """`asked`: what the client sent, as plain values (no floats). Raises BadValue for a key that cannot be kept."""
        if not 1 <= len(key) <= 100 or not key.isprintable() or not key.isascii():
            raise BadValue("entry", "request_key", "1 to 100 printable ASCII characters are wanted")
        return cls(key, hashlib.sha256(canonical_bytes(asked)).hexdigest())


class Receipt(NamedTuple):
    """What was written: the entry, its subject, and the ids of its rows from `first_id` to `last_id`."""

    seq: int
    subject: int
    first_id: int
    last_id: int
    repeated: bool = False


def answered(actor: Actor, request: Request | None, *kinds: str) -> Receipt | None:
    """The receipt that the same request got before, the first where it wrote several entries. `kinds`: what the deed
    may have written. Raises RequestReused where the content differs, or the deed."""
    entries = _written_for(actor, request)
    if not {entry.kind for entry in entries} <= set(kinds):
        raise _reused(request)
    return _receipts(entries)[0] if entries else None


def all_answered(actor: Actor, request: Request | None, kinds: Sequence[str]) -> list[Receipt]:
    """The receipts of all entries, of these kinds in this order, that the same request wrote before; else an empty
    list. Raises RequestReused as `answered` does."""
    entries = _written_for(actor, request)
    if entries and [entry.kind for entry in entries] != list(kinds):
        raise _reused(request)
    return _receipts(entries)


def _written_for(actor: Actor, request: Request | None) -> list[Entry]:
    """The entries of the transaction whose first one has the key: they go up to the next stored edge of the tree."""
    if request is None:
        return []
    first = Entry.objects.filter(person=actor.person, request_key=request.key).first()
    if first is None:
        return []
    if first.request_digest != request.digest:
        raise _reused(request)
    since = Entry.objects.filter(seq__gte=first.seq).order_by("seq")
    last = since.filter(edge__isnull=False).values_list("seq", flat=True).first()
    return list(since.filter(seq__lte=last))


def _receipts(entries: Sequence[Entry]) -> list[Receipt]:
    if not entries:
        return []
    last_id = Entry.objects.filter(seq=entries[0].seq - 1).values_list("last_id", flat=True).first() or 0
    receipts = []
    for entry in entries:
        receipts.append(Receipt(entry.seq, entry.subject, last_id + 1, entry.last_id, repeated=True))
        last_id = entry.last_id
    return receipts


def _reused(request: Request | None) -> RequestReused:
    key = None if request is None else request.key
    return RequestReused(f"The key {key!r} came before, for another deed or with another content.")
