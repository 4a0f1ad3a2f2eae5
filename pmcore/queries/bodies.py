"""The body of an entry: the canonical bytes whose hash is its leaf.

    {"at":…,"kind":…,"note":…,"person":…,"replaces":[…],"role":…,"rows":[{"placement":{"id":…,…}},…],"seq":…,"subject":…}

Keys stand in order, nulls and empty lists are left out, so that a column added later leaves old leaves as they were.
A note, as all free text, is its salted hash. The form is RFC 8785; a test renders each kind with an independent
implementation.
"""

import hashlib
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from pmcore.engines.canonical import quote

SALT_BYTES = 16


def text_digest(salt: bytes, words: str) -> str:
    """The salted hash that stands for free text: SHA-256(salt ‖ UTF-8), in hexadecimal.

    Raises ValueError for a salt of another length than 16 bytes: words moved into it would give the same hash.
    """
    if len(salt) != SALT_BYTES:
        raise ValueError(f"a salt has {SALT_BYTES} bytes, not {len(salt)}")
    return hashlib.sha256(salt + words.encode()).hexdigest()


def moment_text(wire: str) -> str:
    """`2026-10-31 07:00:00` as `2026-10-31T07:00:00Z`. Raises TypeError for any other form: two must not look alike."""
    if wire[10:11] != " ":
        raise TypeError(f"{wire!r} is no moment")
    return f"{wire[:10]}T{wire[11:]}Z"


def json_int(wire: Any) -> str:
    """Raises TypeError for anything else: SQLite keeps text in a column of numbers, and written bare it could pose as
    other columns."""
    if type(wire) is not int:
        raise TypeError(f"{wire!r} is no whole number")
    return str(wire)


@lru_cache(maxsize=4096, typed=True)  # kinds, roles and moments: few words, many times
def _json_text(wire: Any) -> str:
    if type(wire) is not str:
        raise TypeError(f"{wire!r} is no text")
    return quote(wire)


@lru_cache(maxsize=256, typed=True)
def _json_moment(wire: Any) -> str:
    return _json_text(moment_text(wire))


def body(
    *,
    seq: int,
    at: str,
    kind: str,
    subject: int,
    person: int | None,
    role: str,
    note: str | None,
    rows: Iterable[str],
    replaces: Iterable[int],
) -> bytes:
    """`at` in wire form, `rows` as rendered by their tables in the order of their ids, `replaces` ascending.

    Raises TypeError where a value is not of its column's type.
    """
    replaced = ",".join(map(json_int, replaces))
    return (
        f'{{"at":{_json_moment(at)},"kind":{_json_text(kind)},'
        + (f'"note":{_json_text(note)},' if note is not None else "")
        + (f'"person":{json_int(person)},' if person is not None else "")
        + (f'"replaces":[{replaced}],' if replaced else "")
        + f'"role":{_json_text(role)},'
        + f'"rows":[{",".join(rows)}],"seq":{json_int(seq)},"subject":{json_int(subject)}}}'
    ).encode()
