"""What the tree is held to: published vectors, and the definitions of RFC 6962 section 2.1 written down as they stand
there, slow and obvious, sharing nothing with the engine."""

from hashlib import sha256

# The eight test leaves, their roots and two proofs: public test constants of the transparency-dev/merkle repository
# (testonly/constants.go) and of google/certificate-transparency (merkle_test.py), read; recomputed with the definitions
# below (see test_merkle.py).
LEAVES = [
    bytes.fromhex(data)
    for data in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
ROOTS = [
    bytes.fromhex(digest)
    for digest in (
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
        "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
        "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
        "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    )
]
INCLUSION_OF_0_IN_8 = [
    bytes.fromhex(digest)
    for digest in (
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    )
]
CONSISTENCY_OF_6_IN_8 = [
    bytes.fromhex(digest)
    for digest in (
        "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    )
]


def sample_leaves(size: int) -> list[bytes]:
    return [f"entry {number}".encode() for number in range(size)]


def with_bit_flipped(digest: bytes, bit: int) -> bytes:
    return (int.from_bytes(digest) ^ (1 << bit)).to_bytes(len(digest))


def _split(size: int) -> int:
    """k of the RFC: the largest power of two smaller than the size."""
    k = 1
    while k * 2 < size:
        k *= 2
    return k


def tree_hash(leaves: list[bytes]) -> bytes:
    """MTH, section 2.1."""
    if not leaves:
        return sha256(b"").digest()
    if len(leaves) == 1:
        return sha256(b"\x00" + leaves[0]).digest()
    k = _split(len(leaves))
    return sha256(b"\x01" + tree_hash(leaves[:k]) + tree_hash(leaves[k:])).digest()


def audit_path(index: int, leaves: list[bytes]) -> list[bytes]:
    """PATH, section 2.1.1."""
    if len(leaves) == 1:
        return []
    k = _split(len(leaves))
    if index < k:
        return [*audit_path(index, leaves[:k]), tree_hash(leaves[k:])]
    return [*audit_path(index - k, leaves[k:]), tree_hash(leaves[:k])]


def consistency(size: int, leaves: list[bytes]) -> list[bytes]:
    """PROOF, section 2.1.2."""
    return _subproof(size, leaves, True)


def _subproof(size: int, leaves: list[bytes], known: bool) -> list[bytes]:
    if size == len(leaves):
        return [] if known else [tree_hash(leaves)]
    k = _split(len(leaves))
    if size <= k:
        return [*_subproof(size, leaves[:k], known), tree_hash(leaves[k:])]
    return [*_subproof(size - k, leaves[k:], False), tree_hash(leaves[:k])]
