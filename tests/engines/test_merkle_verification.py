"""A proof convinces when it is right, and anything else, altered or malformed, is False without an error."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pmcore.engines.merkle import (
    consistency_proof,
    inclusion_proof,
    leaf_hash,
    root,
    verify_consistency,
    verify_inclusion,
)
from tests.engines import merkle_reference as rfc
from tests.engines.merkle_reference import with_bit_flipped

MOST = 70
HASHES = [leaf_hash(leaf) for leaf in rfc.sample_leaves(MOST)]
ROOTS = [root(HASHES[:size]) for size in range(MOST + 1)]
VECTOR_HASHES = [leaf_hash(leaf) for leaf in rfc.LEAVES]
MALFORMED_HASHES = [b"", bytes(31), bytes(33), None, 7, "x" * 32]
MALFORMED_PROOFS = [None, 7, b"x" * 96, "proof", {}, set()]
NOT_COUNTS = [-1, None, "3", 3.0]


def altered(proof, bit, *others):
    """Every version of (proof, *others) with that bit of one hash flipped."""
    hashes = [*proof, *others]
    for position, value in enumerate(hashes):
        changed = [*hashes[:position], with_bit_flipped(value, bit), *hashes[position + 1 :]]
        yield changed[: len(proof)], *changed[len(proof) :]


def misshapen(proof):
    """The proof with a hash too many, too few, or of a wrong length, at every place, and with none at all."""
    if proof:
        yield []
    for position in range(len(proof) + 1):
        yield [*proof[:position], HASHES[-1], *proof[position:]]
    for position in range(len(proof)):
        before, after = proof[:position], proof[position + 1 :]
        yield [*before, *after]
        for wrong in MALFORMED_HASHES:
            yield [*before, wrong, *after]


@st.composite
def places(draw):
    size = draw(st.integers(1, MOST))
    return draw(st.integers(0, size - 1)), size


def test_the_published_proofs_convince():
    assert verify_inclusion(VECTOR_HASHES[0], 0, 8, rfc.INCLUSION_OF_0_IN_8, rfc.ROOTS[8])
    assert verify_consistency(6, 8, rfc.CONSISTENCY_OF_6_IN_8, rfc.ROOTS[6], rfc.ROOTS[8])


@pytest.mark.parametrize("size", range(1, MOST + 1))
def test_every_leaf_is_proven_and_at_no_other_place(size):
    for index in range(size):
        proof = inclusion_proof(HASHES[:size], index)
        believed = [at for at in range(size) if verify_inclusion(HASHES[index], at, size, proof, ROOTS[size])]
        assert believed == [index]


@pytest.mark.parametrize("size", range(1, MOST + 1))
def test_every_older_tree_is_proven_and_no_other_root_is(size):
    for older in range(1, size + 1):
        proof = consistency_proof(HASHES[:size], older)
        believed = [
            other for other in range(1, size + 1) if verify_consistency(older, size, proof, ROOTS[other], ROOTS[size])
        ]
        assert believed == [older]


@given(places(), st.integers(0, 255))
def test_one_flipped_bit_anywhere_breaks_an_inclusion_proof(place, bit):
    index, size = place
    right = inclusion_proof(HASHES[:size], index)
    for proof, leaf, top in altered(right, bit, HASHES[index], ROOTS[size]):
        assert verify_inclusion(leaf, index, size, proof, top) is False


@given(places(), st.integers(0, 255))
def test_one_flipped_bit_anywhere_breaks_a_consistency_proof(place, bit):
    older, size = place[0] + 1, place[1]
    right = consistency_proof(HASHES[:size], older)
    for proof, old_root, new_root in altered(right, bit, ROOTS[older], ROOTS[size]):
        assert verify_consistency(older, size, proof, old_root, new_root) is False


@pytest.mark.parametrize("bit", range(256))
def test_no_bit_of_any_proof_over_seven_leaves_is_idle(bit):
    """Seven leaves hold every shape: complete subtrees of four, two and one."""
    for index in range(7):
        for proof, leaf, top in altered(inclusion_proof(HASHES[:7], index), bit, HASHES[index], ROOTS[7]):
            assert verify_inclusion(leaf, index, 7, proof, top) is False
    for older in range(1, 8):
        for proof, old_root, new_root in altered(consistency_proof(HASHES[:7], older), bit, ROOTS[older], ROOTS[7]):
            assert verify_consistency(older, 7, proof, old_root, new_root) is False


@given(places())
def test_an_inclusion_proof_with_extra_missing_or_misshapen_hashes_is_false(place):
    index, size = place
    for proof in misshapen(inclusion_proof(HASHES[:size], index)):
        assert verify_inclusion(HASHES[index], index, size, proof, ROOTS[size]) is False


@given(places())
def test_a_consistency_proof_with_extra_missing_or_misshapen_hashes_is_false(place):
    older, size = place[0] + 1, place[1]
    for proof in misshapen(consistency_proof(HASHES[:size], older)):
        assert verify_consistency(older, size, proof, ROOTS[older], ROOTS[size]) is False


def test_nothing_is_included_in_an_empty_tree():
    for proof in ([], [HASHES[0]]):
        assert verify_inclusion(HASHES[0], 0, 0, proof, ROOTS[0]) is False
        assert verify_inclusion(HASHES[0], 0, 0, proof, HASHES[0]) is False


def test_nothing_is_proven_of_an_older_empty_tree():
    for newer in (0, 1, 8):
        assert verify_consistency(0, newer, [], ROOTS[0], ROOTS[newer]) is False
        assert verify_consistency(0, newer, [ROOTS[newer]], ROOTS[0], ROOTS[newer]) is False


@pytest.mark.parametrize("beyond", [8, 16, 2**70])
def test_an_index_that_is_not_below_the_size_is_false(beyond):
    """Its lower bits are those of a leaf that is there, so the path alone would fit."""
    for index, leaf in enumerate(VECTOR_HASHES):
        assert verify_inclusion(leaf, beyond + index, 8, inclusion_proof(VECTOR_HASHES, index), rfc.ROOTS[8]) is False


def test_a_proof_that_climbs_on_into_a_larger_tree_is_false():
    for index in range(8):
        longer = inclusion_proof(HASHES[:16], 8 + index)
        assert verify_inclusion(HASHES[8 + index], 8 + index, 16, longer, ROOTS[16])
        assert verify_inclusion(HASHES[8 + index], index, 8, longer, ROOTS[16]) is False


def test_a_tree_does_not_shrink():
    proof = consistency_proof(HASHES[:8], 6)
    assert verify_consistency(8, 6, proof, ROOTS[8], ROOTS[6]) is False
    assert verify_consistency(16, 8, [], ROOTS[8], ROOTS[8]) is False


def test_a_tree_is_consistent_with_itself_and_needs_no_proof():
    assert verify_consistency(5, 5, [], ROOTS[5], ROOTS[5])
    assert verify_consistency(5, 5, [], ROOTS[5], ROOTS[6]) is False


@pytest.mark.parametrize("proof", MALFORMED_PROOFS)
def test_what_is_no_list_of_hashes_is_false(proof):
    assert verify_inclusion(HASHES[0], 0, 8, proof, ROOTS[8]) is False
    assert verify_inclusion(HASHES[0], 0, 1, proof, HASHES[0]) is False
    assert verify_consistency(6, 8, proof, ROOTS[6], ROOTS[8]) is False
    assert verify_consistency(8, 8, proof, ROOTS[8], ROOTS[8]) is False


@pytest.mark.parametrize("wrong", MALFORMED_HASHES)
def test_a_leaf_or_root_of_a_wrong_shape_is_false(wrong):
    inclusion, consistency = inclusion_proof(HASHES[:8], 0), consistency_proof(HASHES[:8], 6)
    assert verify_inclusion(wrong, 0, 8, inclusion, ROOTS[8]) is False
    assert verify_inclusion(HASHES[0], 0, 8, inclusion, wrong) is False
    assert verify_inclusion(wrong, 0, 1, [], wrong) is False
    assert verify_consistency(6, 8, consistency, wrong, ROOTS[8]) is False
    assert verify_consistency(6, 8, consistency, ROOTS[6], wrong) is False
    assert verify_consistency(8, 8, [], wrong, wrong) is False


def test_a_truth_value_is_not_taken_for_the_number_one():
    assert verify_inclusion(HASHES[1], True, 8, inclusion_proof(HASHES[:8], 1), ROOTS[8]) is False
    assert verify_consistency(True, 8, consistency_proof(HASHES[:8], 1), ROOTS[1], ROOTS[8]) is False


@pytest.mark.parametrize("number", NOT_COUNTS)
def test_an_index_or_size_that_is_no_count_is_false(number):
    inclusion, consistency = inclusion_proof(HASHES[:8], 3), consistency_proof(HASHES[:8], 3)
    assert verify_inclusion(HASHES[3], number, 8, inclusion, ROOTS[8]) is False
    assert verify_inclusion(HASHES[3], 3, number, inclusion, ROOTS[8]) is False
    assert verify_consistency(number, 8, consistency, ROOTS[3], ROOTS[8]) is False
    assert verify_consistency(3, number, consistency, ROOTS[3], ROOTS[8]) is False
