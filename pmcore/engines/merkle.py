"""The Merkle tree of RFC 6962 section 2.1: roots, the two kinds of proof and their checks, and the right edge that lets
a tree grow without its leaves at hand. Verification follows RFC 9162 sections 2.1.3.2 and 2.1.4.2, the same tree.

A hash is 32 bytes (SHA-256). Leaves are numbered from 0; `leaf_hashes` are hashes from `leaf_hash`, oldest first."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256

HASH_BYTES = 32


class MerkleError(ValueError):
    """What was handed in belongs to no tree."""


class NotAHash(MerkleError):
    """A hash is not 32 bytes."""


class NotInTree(MerkleError):
    """An index or an older size that a tree of this size does not have."""


class NotABranch(MerkleError):
    """So many leaves, at this place, have no root that a larger tree holds."""


class EdgeMismatch(MerkleError):
    """The number of hashes does not fit the size: one for each set bit of it."""


def leaf_hash(data: bytes) -> bytes:
    return sha256(b"\x00" + data).digest()


def hashed_leaves(many: Iterable[bytes]) -> list[bytes]:
    """`leaf_hash` of each; without a call for each, which would be a third of the time."""
    return [sha256(b"\x00" + data).digest() for data in many]


def node_hash(left: bytes, right: bytes) -> bytes:
    return sha256(b"\x01" + left + right).digest()


@dataclass(frozen=True, slots=True)
class Edge:
    """The right edge of a tree: the roots of its complete subtrees, largest (leftmost) first, one for each set bit of
    `size`. It is all that a growing tree needs to remember. Raises EdgeMismatch or NotAHash."""

    size: int
    hashes: tuple[bytes, ...]

    def __post_init__(self) -> None:
        if self.size < 0 or len(self.hashes) != self.size.bit_count():
            raise EdgeMismatch(f"{len(self.hashes)} hashes do not make the edge of a tree of {self.size} leaves")
        _checked(self.hashes)

    @classmethod
    def empty(cls) -> "Edge":
        return cls(0, ())

    @classmethod
    def from_bytes(cls, size: int, data: bytes) -> "Edge":
        """The edge that `to_bytes` wrote. Raises EdgeMismatch when `data` is not one hash per set bit of `size`."""
        if len(data) % HASH_BYTES:
            raise EdgeMismatch(f"{len(data)} bytes are not a whole number of hashes of {HASH_BYTES} bytes")
        return cls(size, tuple(data[at : at + HASH_BYTES] for at in range(0, len(data), HASH_BYTES)))

    def to_bytes(self) -> bytes:
        return b"".join(self.hashes)

    def add(self, leaf_hashes: Iterable[bytes]) -> "Edge":
        """The edge after these leaves too. Raises NotAHash."""
        nodes = _checked(leaf_hashes)
        size = self.size + len(nodes)
        before, waiting, kept = self.size, list(self.hashes), []
        # One pass per level, as in adding two binary numbers: a subtree that waits at this level joins the new nodes
        # on their left, and a node without partner waits for later leaves.
        while nodes or before:
            if before & 1:
                nodes.insert(0, waiting.pop())
            if len(nodes) & 1:
                kept.append(nodes.pop())
            nodes = _paired(nodes)
            before >>= 1
        return Edge(size, tuple(reversed(kept)))

    def add_branch(self, size: int, root: bytes) -> "Edge":
        """The edge after `size` leaves more, of which only the `root` is known. Raises NotABranch or NotAHash."""
        if size < 1 or size.bit_count() > 1 or self.size % size:
            raise NotABranch(f"{size} leaves behind {self.size} others are no branch of a tree")
        [joined], waiting, height = _checked([root]), list(self.hashes), size
        while self.size & height:
            joined, height = node_hash(waiting.pop(), joined), height << 1
        return Edge(self.size + size, (*waiting, joined))

    def root(self) -> bytes:
        """The root of the whole tree; of the empty tree, SHA-256 of nothing."""
        if not self.hashes:
            return sha256(b"").digest()
        *larger, joined = self.hashes
        for left in reversed(larger):
            joined = node_hash(left, joined)
        return joined


def root(leaf_hashes: Iterable[bytes]) -> bytes:
    """The root over these leaves; of none, SHA-256 of nothing. Raises NotAHash."""
    return Edge.empty().add(leaf_hashes).root()


def inclusion_proof(leaf_hashes: Iterable[bytes], index: int) -> list[bytes]:
    """The audit path of leaf `index`, from the bottom up: PATH of RFC 6962 section 2.1.1.

    Raises NotAHash, NotInTree."""
    nodes = _checked(leaf_hashes)
    if not 0 <= index < len(nodes):
        raise NotInTree(f"no leaf {index} in a tree of {len(nodes)} leaves")
    return _path(nodes, index)


def consistency_proof(leaf_hashes: Iterable[bytes], size: int) -> list[bytes]:
    """That the tree of the first `size` leaves is the beginning of this one: PROOF of RFC 6962 section 2.1.2, empty
    when it is the same tree. The RFC proves nothing of the empty tree, so `size` is at least 1.

    Raises NotAHash, NotInTree."""
    nodes = _checked(leaf_hashes)
    if not 0 < size <= len(nodes):
        raise NotInTree(f"a tree of {len(nodes)} leaves has no older tree of {size} to compare with")
    if size == len(nodes):
        return []
    # Up to the largest complete subtree that ends the older tree; when that is the whole older tree, its root is known.
    at = size - 1
    while at & 1:
        nodes, at = _level_above(nodes), at >> 1
    return ([nodes[at]] if at else []) + _path(nodes, at)


def verify_inclusion(leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> bool:
    """Whether `proof` leads from the leaf hash `leaf`, at `index`, to the `root` of a tree of `size` leaves.

    Anything malformed is False, never an error. Take `size` and `root` from one head: a root alone fixes no size."""
    if not _well_formed((index, size), (leaf, root), proof) or not 0 <= index < size:
        return False
    climbed = _climb(index, size - 1, leaf, proof)
    return climbed is not None and climbed[1] == root


def verify_consistency(old_size: int, new_size: int, proof: Sequence[bytes], old_root: bytes, new_root: bytes) -> bool:
    """Whether `proof` shows that the tree of `new_size` leaves begins with the tree of `old_size`.

    Anything malformed is False, never an error, and so is an `old_size` of 0: nothing is proven of an empty tree. Take
    each size and its root from one head: a root alone fixes no size."""
    if not _well_formed((old_size, new_size), (old_root, new_root), proof) or not 0 < old_size <= new_size:
        return False
    if old_size == new_size:
        return not proof and old_root == new_root
    complete = old_size.bit_count() == 1
    if not complete and not proof:
        return False
    start, path = (old_root, proof) if complete else (proof[0], proof[1:])
    at, last = old_size - 1, new_size - 1
    while at & 1:
        at, last = at >> 1, last >> 1
    return _climb(at, last, start, path) == (old_root, new_root)


def _climb(at: int, last: int, start: bytes, path: Sequence[bytes]) -> tuple[bytes, bytes] | None:
    """From node `at` of a level that ends with node `last`, up along `path`: the root of the tree that ends with the
    node, and the root of the whole; None when the path has too few or too many hashes."""
    older = whole = start
    for sibling in path:
        if not last:
            return None
        if at & 1 or at == last:
            older, whole = node_hash(sibling, older), node_hash(sibling, whole)
            # A last node without partner is its own parent until it stands on the right.
            while at and not at & 1:
                at, last = at >> 1, last >> 1
        else:
            whole = node_hash(whole, sibling)
        at, last = at >> 1, last >> 1
    return None if last else (older, whole)


def _path(nodes: list[bytes], at: int) -> list[bytes]:
    """The siblings from node `at` of this level up to the root."""
    path = []
    while len(nodes) > 1:
        if at ^ 1 < len(nodes):
            path.append(nodes[at ^ 1])
        nodes, at = _level_above(nodes), at >> 1
    return path


def _level_above(nodes: list[bytes]) -> list[bytes]:
    """The parents; a last node without partner stands among them itself."""
    return _paired(nodes) + nodes[len(nodes) & ~1 :]


def _paired(nodes: list[bytes]) -> list[bytes]:
    return [sha256(b"\x01" + left + right).digest() for left, right in zip(nodes[::2], nodes[1::2], strict=False)]


def _checked(hashes: Iterable[bytes]) -> list[bytes]:
    listed = list(hashes)
    if set(map(type, listed)) - {bytes} or set(map(len, listed)) - {HASH_BYTES}:
        raise NotAHash(f"a hash is {HASH_BYTES} bytes, and nothing but bytes")
    return listed


def _well_formed(numbers: Iterable[object], hashes: Iterable[object], proof: object) -> bool:
    return (
        all(type(number) is int for number in numbers)
        and isinstance(proof, list | tuple)
        and all(isinstance(value, bytes) and len(value) == HASH_BYTES for value in (*hashes, *proof))
    )
