"""How long the history is, and its root."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from pmcore.engines.merkle import Edge, MerkleError, NotAHash
from pmcore.models import Entry


class RecordDamaged(RuntimeError):
    """The record contradicts itself; verify_history says where."""


class BeyondTheHistory(ValueError):
    """A size was asked for that the history has not reached."""


@dataclass(frozen=True, slots=True)
class Head:
    """Size and root of the history, the moment of its last entry (empty history: none) and the newest id."""

    size: int
    edge: Edge
    last_id: int

    @property
    def root(self) -> bytes:
        return self.edge.root()


def head() -> Head:
    """The newest head: one look-up. Raises RecordDamaged where the newest entry gives none."""
    newest = Entry.objects.order_by("-seq").values_list("seq", "last_id", "edge").first()
    if newest is None:
        return Head(0, Edge.empty(), 0)
    size, last_id, edge = newest
    if edge is None:
        raise RecordDamaged(f"Entry {size} is the newest and carries no right edge.")
    if type(last_id) is not int:
        raise RecordDamaged(f"Entry {size} is the newest, and its last id is no number.")
    return Head(size, _edge(size, edge), last_id)


def root_at(size: int) -> bytes:
    """The root when the history had `size` entries: the nearest stored edge below, and at most a transaction's leaves.

    Raises BeyondTheHistory, RecordDamaged.
    """
    newest = head().size
    if not 0 <= size <= newest:
        raise BeyondTheHistory(f"The history has {newest} entries, not {size}.")
    stored = Entry.objects.filter(seq__lte=size, edge__isnull=False).order_by("-seq").values_list("seq", "edge").first()
    edge = _edge(*stored) if stored else Edge.empty()
    since = Entry.objects.filter(seq__gt=edge.size, seq__lte=size).order_by("seq").values_list("leaf", flat=True)
    try:
        return edge.add([_bytes(leaf) for leaf in since]).root()
    except NotAHash as error:
        raise RecordDamaged(f"A leaf of the entries {edge.size + 1} to {size} is none: {error}.") from error


def _edge(size: int, stored: Any) -> Edge:
    try:
        return Edge.from_bytes(size, _bytes(stored))
    except MerkleError as error:
        raise RecordDamaged(f"The stored edge at entry {size} is none: {error}.") from error


def _bytes(stored: Any) -> bytes:
    """The driver's bytes. Raises NotAHash for what SQLite keeps in their place."""
    if isinstance(stored, bytes | memoryview):
        return bytes(stored)
    raise NotAHash(f"{stored!r} is no bytes")


def size_before(day: dt.date, known: int) -> int:
    """How many of the first `known` entries had been written before the day began, in UTC."""
    moment = dt.datetime.combine(day, dt.time(), dt.UTC)
    later = Entry.objects.filter(seq__lte=known, at__lt=moment).order_by("-seq").values_list("seq", flat=True)
    return later.first() or 0
