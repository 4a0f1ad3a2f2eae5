"""Roots and proofs are those of RFC 6962, by its published vectors and by its definitions."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.merkle import (
    NotAHash,
    NotInTree,
    consistency_proof,
    inclusion_proof,
    leaf_hash,
    node_hash,
    root,
)
from tests.engines import merkle_reference as rfc

MOST = 70
ALL_LEAVES = rfc.sample_leaves(MOST)
ALL_HASHES = [leaf_hash(leaf) for leaf in ALL_LEAVES]
VECTOR_HASHES = [leaf_hash(leaf) for leaf in rfc.LEAVES]


@pytest.mark.parametrize("size", range(9))
def test_the_root_of_the_published_leaves_is_the_published_root(size):
    assert root(VECTOR_HASHES[:size]) == rfc.ROOTS[size]


def test_the_published_inclusion_proof_is_ours():
    assert inclusion_proof(VECTOR_HASHES, 0) == rfc.INCLUSION_OF_0_IN_8


def test_the_published_consistency_proof_is_ours():
    assert consistency_proof(VECTOR_HASHES, 6) == rfc.CONSISTENCY_OF_6_IN_8


def test_the_written_down_definitions_give_the_published_values_too():
    """Otherwise agreeing with them would mean nothing."""
    assert [rfc.tree_hash(rfc.LEAVES[:size]) for size in range(9)] == rfc.ROOTS
    assert rfc.audit_path(0, rfc.LEAVES) == rfc.INCLUSION_OF_0_IN_8
    assert rfc.consistency(6, rfc.LEAVES) == rfc.CONSISTENCY_OF_6_IN_8


def test_a_leaf_can_not_pass_for_a_node():
    left, right = ALL_HASHES[:2]
    assert leaf_hash(left + right) != node_hash(left, right) == root([left, right])


@pytest.mark.parametrize("size", range(MOST + 1))
def test_every_root_follows_the_definition(size):
    assert root(ALL_HASHES[:size]) == rfc.tree_hash(ALL_LEAVES[:size])


@pytest.mark.parametrize("size", range(1, MOST + 1))
def test_every_inclusion_proof_follows_the_definition(size):
    leaves, hashes = ALL_LEAVES[:size], ALL_HASHES[:size]
    assert [inclusion_proof(hashes, index) for index in range(size)] == [
        rfc.audit_path(index, leaves) for index in range(size)
    ]


@pytest.mark.parametrize("size", range(1, MOST + 1))
def test_every_consistency_proof_follows_the_definition(size):
    leaves, hashes = ALL_LEAVES[:size], ALL_HASHES[:size]
    assert [consistency_proof(hashes, older) for older in range(1, size + 1)] == [
        rfc.consistency(older, leaves) for older in range(1, size + 1)
    ]


@given(st.lists(st.binary(max_size=40), max_size=150))
def test_any_leaves_have_the_root_of_the_definition(leaves):
    assert root(map(leaf_hash, leaves)) == rfc.tree_hash(leaves)


@pytest.mark.parametrize("index", [-1, 8, 9])
def test_no_inclusion_proof_of_a_leaf_that_is_not_there(index):
    with pytest.raises(NotInTree, match=f"no leaf {index} in a tree of 8 leaves"):
        inclusion_proof(VECTOR_HASHES, index)


@pytest.mark.parametrize("size", [-1, 0, 9])
def test_no_consistency_proof_with_a_tree_that_never_was(size):
    with pytest.raises(NotInTree, match=f"no older tree of {size} "):
        consistency_proof(VECTOR_HASHES, size)


@pytest.mark.parametrize("wrong", [b"", bytes(31), bytes(33), "x" * 32, bytearray(32)])
def test_what_is_no_hash_is_refused_by_name(wrong):
    hashes = [*VECTOR_HASHES, wrong]
    for refused in (root, lambda h: inclusion_proof(h, 0), lambda h: consistency_proof(h, 3)):
        with pytest.raises(NotAHash, match="32 bytes"):
            refused(hashes)
