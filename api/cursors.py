"""The place where a list goes on: signed, and good for the question that it came from alone.

It carries the size of the history and the day of the first page, so that what is written meanwhile moves nothing.
"""

import datetime as dt
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.core import signing

from api.errors import BadRequest

_SALT = "api.cursors"


@dataclass(frozen=True, slots=True)
class Cursor:
    known: int
    as_of: dt.date
    after: Sequence[int | str]


def digest_of(path: str, asked: Mapping[str, Sequence[str]]) -> str:
    """Of what is asked, without the place in it."""
    plain = {name: list(values) for name, values in sorted(asked.items()) if name not in {"cursor", "limit"}}
    return hashlib.sha256(json.dumps([path, plain]).encode()).hexdigest()[:16]


def write(cursor: Cursor, digest: str) -> str:
    return signing.dumps(
        [cursor.known, cursor.as_of.isoformat(), list(cursor.after), digest], salt=_SALT, compress=True
    )


def read(text: str, digest: str) -> Cursor:
    """Raises BadRequest for what we did not write, or wrote for another question."""
    try:
        known, as_of, after, belongs_to = signing.loads(text, salt=_SALT)
    except signing.BadSignature:
        raise BadRequest({"cursor": "This is no cursor of ours; begin at the first page."}) from None
    if belongs_to != digest:
        raise BadRequest({"cursor": "This cursor belongs to another question; ask as for the first page."})
    return Cursor(known, dt.date.fromisoformat(as_of), after)
