"""A tree grows from its right edge alone: however the leaves arrive, root and bytes are those of the whole tree."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.merkle import Edge, EdgeMismatch, NotABranch, NotAHash, hashed_leaves, leaf_hash, root
from tests.engines import merkle_reference as rfc

MOST = 300
LEAVES = rfc.sample_leaves(MOST)
HASHES = [leaf_hash(leaf) for leaf in LEAVES]


def grown(*batches):
    edge = Edge.empty()
    for batch in batches:
        edge = edge.add(batch)
    return edge


@pytest.mark.parametrize("size", range(9))
def test_the_edge_of_the_published_leaves_has_the_published_root(size):
    edge = grown(*([leaf_hash(leaf)] for leaf in rfc.LEAVES[:size]))
    assert (edge.size, edge.root()) == (size, rfc.ROOTS[size])


@given(st.lists(st.integers(0, 60), max_size=8).filter(lambda sizes: sum(sizes) <= MOST))
def test_any_splitting_into_batches_gives_the_same_edge(batch_sizes):
    total, batches = 0, []
    for count in batch_sizes:
        batches.append(HASHES[total : total + count])
        total += count
    edge = grown(*batches)
    assert edge.size == total
    assert edge.to_bytes() == grown(HASHES[:total]).to_bytes()
    assert edge.root() == rfc.tree_hash(LEAVES[:total])


def test_an_edge_holds_the_roots_of_its_complete_subtrees_largest_first():
    assert grown(HASHES[:13]).to_bytes() == (
        rfc.tree_hash(LEAVES[:8]) + rfc.tree_hash(LEAVES[8:12]) + rfc.tree_hash(LEAVES[12:13])
    )


@given(st.integers(0, MOST - 1), st.integers(0, 40))
def test_an_edge_read_back_grows_as_if_it_had_never_been_away(size, more):
    kept = grown(HASHES[:size])
    read = Edge.from_bytes(size, kept.to_bytes())
    assert read == kept
    assert read.add(HASHES[size : size + more]).root() == rfc.tree_hash(LEAVES[: size + more])


def test_leaves_may_come_from_a_generator():
    assert Edge.empty().add(leaf_hash(leaf) for leaf in LEAVES[:5]) == grown(HASHES[:5])


def test_adding_leaves_the_older_edge_and_the_given_leaves_alone():
    older, leaves = grown(HASHES[:5]), HASHES[5:9]
    older.add(leaves)
    assert (older, leaves) == (grown(HASHES[:5]), HASHES[5:9])
    with pytest.raises(dataclasses.FrozenInstanceError):
        older.size = 6


@given(st.integers(0, 5000), st.integers(0, 14))
def test_a_number_of_hashes_that_does_not_fit_the_size_is_refused(size, count):
    data = bytes(32 * count)
    if count == size.bit_count():
        assert Edge.from_bytes(size, data).to_bytes() == data
    else:
        with pytest.raises(EdgeMismatch, match=f"{count} hashes do not make the edge of a tree of {size} leaves"):
            Edge.from_bytes(size, data)


@pytest.mark.parametrize("length", [1, 31, 33, 63])
def test_part_of_a_hash_is_refused(length):
    with pytest.raises(EdgeMismatch, match=f"{length} bytes are not a whole number of hashes"):
        Edge.from_bytes(1, bytes(length))


def test_a_negative_size_is_refused():
    with pytest.raises(EdgeMismatch, match="-1 leaves"):
        Edge.from_bytes(-1, bytes(32))


@pytest.mark.parametrize("wrong", [b"", bytes(31), bytes(33), "x" * 32])
def test_a_leaf_that_is_no_hash_is_refused(wrong):
    with pytest.raises(NotAHash, match="32 bytes"):
        grown(HASHES[:3]).add([HASHES[3], wrong])


def test_an_edge_of_what_is_no_hash_is_refused():
    with pytest.raises(NotAHash, match="32 bytes"):
        Edge(1, (bytes(31),))


@given(st.integers(0, 16), st.integers(0, 4))
def test_a_branch_of_which_the_root_is_known_grows_the_tree_as_its_leaves_do(before, height):
    size = 1 << height
    begins = before * size
    branch = HASHES[begins : begins + size]
    assert len(branch) == size
    assert grown(HASHES[:begins]).add_branch(size, root(branch)) == grown(HASHES[: begins + size])


@pytest.mark.parametrize("before, size", [(0, 0), (0, -1), (0, 3), (1, 2), (6, 4), (8, 12)])
def test_leaves_that_are_no_branch_at_their_place_are_refused(before, size):
    with pytest.raises(NotABranch, match=f"{size} leaves behind {before} others"):
        grown(HASHES[:before]).add_branch(size, bytes(32))


def test_a_branch_whose_root_is_no_hash_is_refused():
    with pytest.raises(NotAHash, match="32 bytes"):
        Edge.empty().add_branch(4, bytes(31))


def test_many_leaves_hash_as_each_does():
    assert hashed_leaves(iter(LEAVES[:9])) == HASHES[:9]
