"""Pages by key. A cursor is opaque and signed: it carries how much of the history counts, the day, the last key and a
digest of the question, so that what is written between two pages neither shifts nor doubles anything."""

import datetime as dt
import hashlib
import json
from dataclasses import dataclass
from typing import Any

from django.core import signing

from pmcore.queries.parameters import BadParameters, Given

NAMES = ("limit", "cursor")
USUAL, MOST = 100, 500

_SALT = "api.cursor"


@dataclass(frozen=True, slots=True)
class Cursor:
    """Where a list goes on: after the key `after`, as of `as_of`, as known at `known`."""

    after: int
    as_of: dt.date
    known: int

    def written(self, resource: str, given: Given) -> str:
        said = [self.after, self.as_of.isoformat(), self.known, _digest(resource, given)]
        return signing.dumps(said, salt=_SALT)

    @classmethod
    def read(cls, text: str, resource: str, given: Given) -> "Cursor":
        """Raises BadParameters for one that was not given out here, or for another question."""
        try:
            said: Any = signing.loads(text, salt=_SALT)
        except signing.BadSignature as error:
            raise BadParameters({"cursor": "cursor: it was not given out here; begin without one."}) from error
        after, as_of, known, digest = said
        if digest != _digest(resource, given):
            sentence = "cursor: it belongs to another question; repeat the same parameters, or begin without one."
            raise BadParameters({"cursor": sentence})
        return cls(after, dt.date.fromisoformat(as_of), known)


def a_limit(text: str) -> int:
    """How many results a page has."""
    if not text.isdecimal() or not text.isascii() or len(text) > 6 or not 1 <= int(text) <= MOST:
        raise ValueError(f"{text!r} is no whole number from 1 to {MOST}.")
    return int(text)


def _digest(resource: str, given: Given) -> str:
    """Of the question without its place in the list; the order of parameters and of their values is no part of it."""
    asked = sorted((name, sorted(values)) for name, values in given.items() if name not in NAMES)
    return hashlib.sha256(json.dumps([resource, asked]).encode()).hexdigest()[:32]
