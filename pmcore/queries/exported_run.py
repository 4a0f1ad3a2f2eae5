"""A run of entries as an export shows them."""

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Self

from pmcore.engines.merkle import HASH_BYTES, Edge
from pmcore.queries.raw import EntryRow, TextRow, texts_between

Chosen = Callable[[EntryRow], bool]


@dataclass(frozen=True, slots=True)
class Run:
    """Entries one after another: the leaves of all, and of those that were chosen the numbers, the lines of the NDJSON
    and of the CSV, and the free texts. `root`: of the leaves, where they are known to be a branch of every tree."""

    leaves: bytes
    seqs: Sequence[int]
    ndjson: bytes
    csv: bytes
    texts: Sequence[TextRow]
    root: bytes | None = None

    @classmethod
    def of(
        cls,
        leaves: Iterable[bytes],
        seqs: Sequence[int],
        bodies: Iterable[bytes],
        lines: Iterable[bytes],
        texts: Sequence[TextRow] | None = None,
    ) -> Self:
        """`texts`: where they were read before."""
        read = texts_of(seqs) if texts is None else texts
        return cls(b"".join(leaves), seqs, b"\n".join([*bodies, b""]), b"".join(lines), read)

    def added(self, edge: Edge) -> Edge:
        """The edge of the tree after these entries too."""
        ends = range(HASH_BYTES, len(self.leaves) + 1, HASH_BYTES)
        if self.root is not None:
            return edge.add_branch(len(ends), self.root)
        return edge.add(self.leaves[end - HASH_BYTES : end] for end in ends)


def is_hash(value: Any) -> bool:
    return type(value) is bytes and len(value) == HASH_BYTES


def texts_of(seqs: Sequence[int]) -> list[TextRow]:
    """In the order of entries and hashes; those that were taken out have no words."""
    if not seqs:
        return []
    picked: Collection[int] = seqs if isinstance(seqs, range) else set(seqs)
    found = (text for text in texts_between(seqs[0], seqs[-1]) if text.id in picked)
    return sorted(found, key=lambda text: (text.id, text.digest))
