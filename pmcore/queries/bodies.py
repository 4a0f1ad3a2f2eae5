"""The body of an entry: the canonical bytes whose hash is its leaf.

    {"at":…,"kind":…,"note":…,"person":…,"replaces":[…],"role":…,"rows":[{"placement":{"id":…,…}},…],"seq":…,"subject":…}

Keys stand in order, nulls and empty lists are left out, so that a column added later leaves old leaves as they were.
A note, as all free text, is its salted hash. The form is RFC 8785; a test renders each kind with an independent
implementation.
"""

import hashlib
from collections.abc import Iterable

from pmcore.engines.canonical import quote


def text_digest(salt: bytes, words: str) -> str:
    """The salted hash that stands for free text: SHA-256(salt ‖ UTF-8), in hexadecimal."""
    return hashlib.sha256(salt + words.encode()).hexdigest()


def moment_text(wire: str) -> str:
    """`2026-10-31 07:00:00` as `2026-10-31T07:00:00Z`. Raises TypeError for any other form: two must not look alike."""
    if wire[10:11] != " ":
        raise TypeError(f"{wire!r} is no moment")
    return f"{wire[:10]}T{wire[11:]}Z"


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
    """`at` in wire form, `rows` as rendered by their tables in the order of their ids, `replaces` ascending."""
    replaced = ",".join(map(str, replaces))
    return (
        f'{{"at":{quote(moment_text(at))},"kind":{quote(kind)},'
        + (f'"note":{quote(note)},' if note is not None else "")
        + (f'"person":{person},' if person is not None else "")
        + (f'"replaces":[{replaced}],' if replaced else "")
        + f'"role":{quote(role)},'
        + f'"rows":[{",".join(rows)}],"seq":{seq},"subject":{subject}}}'
    ).encode()
