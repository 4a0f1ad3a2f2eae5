"""A request that is sent twice is answered once: the key stands on the entry that the first one wrote."""

import hashlib
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


def answered(actor: Actor, request: Request | None) -> Receipt | None:
    """The receipt that the same request got before. Raises RequestReused where its content differs."""
    if request is None:
        return None
    entry = Entry.objects.filter(person=actor.person, request_key=request.key).first()
    if entry is None:
        return None
    if entry.request_digest != request.digest:
        raise RequestReused(f"The key {request.key!r} came before with another content.")
    before = Entry.objects.filter(seq=entry.seq - 1).values_list("last_id", flat=True).first() or 0
    return Receipt(entry.seq, entry.subject, before + 1, entry.last_id, repeated=True)
