"""How long the history is, and its root."""

from dataclasses import dataclass

from pmcore.engines.merkle import Edge
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
    """The newest head: one look-up."""
    newest = Entry.objects.order_by("-seq").values_list("seq", "last_id", "edge").first()
    if newest is None:
        return Head(0, Edge.empty(), 0)
    size, last_id, edge = newest
    if edge is None:
        raise RecordDamaged(f"Entry {size} is the newest and carries no right edge.")
    return Head(size, Edge.from_bytes(size, bytes(edge)), last_id)


def root_at(size: int) -> bytes:
    """The root when the history had `size` entries: the nearest stored edge below, and at most a transaction's leaves.

    Raises BeyondTheHistory.
    """
    if size < 0 or size > head().size:
        raise BeyondTheHistory(f"The history has {head().size} entries, not {size}.")
    stored = Entry.objects.filter(seq__lte=size, edge__isnull=False).order_by("-seq").first()
    edge = Edge.from_bytes(stored.seq, bytes(stored.edge or b"")) if stored else Edge.empty()
    since = Entry.objects.filter(seq__gt=edge.size, seq__lte=size).order_by("seq")
    return edge.add([bytes(leaf) for leaf in since.values_list("leaf", flat=True)]).root()
