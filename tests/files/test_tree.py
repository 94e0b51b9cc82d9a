"""Merkle trees of every size: roots, proofs, and what is asked of a list that is too short."""

import hashlib
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.files.tree import (
    GrowingTree,
    consistency_proof,
    grew,
    includes,
    inclusion_proof,
    leaf_hash,
    node_hash,
    root_of,
)

LEAVES = [leaf_hash(bytes([i])) for i in range(40)]


def defined(leaves: list[bytes]) -> bytes:
    """Give the root by the recursion that defines it."""
    if len(leaves) == 1:
        return leaves[0]
    split = max(2**i for i in range(6) if 2**i < len(leaves))
    halves = defined(leaves[:split]) + defined(leaves[split:])
    return hashlib.sha256(b"\x01" + halves).digest()


@pytest.mark.parametrize("size", range(1, 41))
def test_a_root_that_grew_leaf_by_leaf_is_the_root_of_the_definition(size: int):
    assert root_of(LEAVES[:size]) == defined(LEAVES[:size])


@pytest.mark.parametrize("size", range(1, 41))
def test_every_leaf_proves_its_place_and_no_other(size: int):
    leaves = LEAVES[:size]
    for index, claimed in product(range(size), range(size)):
        proof = inclusion_proof(leaves, index)

        holds = includes(leaves[index], claimed, size, proof, root_of(leaves))
        assert holds is (claimed == index)


@pytest.mark.parametrize("later", range(1, 41))
def test_every_shorter_list_is_proved_and_no_other(later: int):
    leaves = LEAVES[:later]
    for size, claimed in product(range(later + 1), range(later + 1)):
        proof = consistency_proof(leaves, size)

        holds = grew(claimed, root_of(LEAVES[:claimed]), later, root_of(leaves), proof)
        trivial = claimed in {0, later} and not proof  # both ends need no node
        assert holds is (claimed == size or trivial)


@given(st.lists(st.binary(max_size=3), min_size=1, max_size=60), st.data())
def test_one_changed_entry_changes_the_root(entries: list[bytes], data: st.DataObject):
    index = data.draw(st.integers(0, len(entries) - 1))
    changed = [*entries]
    changed[index] += b"!"

    before, after = (root_of(map(leaf_hash, some)) for some in (entries, changed))
    assert before != after


def test_a_tree_tells_its_size():
    tree = GrowingTree()
    for leaf in LEAVES:
        tree.add(leaf)

    assert tree.size == 40


def test_what_the_list_does_not_have_cannot_be_proved():
    for index in (-1, 3):
        with pytest.raises(IndexError, match=f"no leaf {index} among 3"):
            inclusion_proof(LEAVES[:3], index)
    for size in (-1, 4):
        with pytest.raises(IndexError, match=f"no list of {size} in one of 3"):
            consistency_proof(LEAVES[:3], size)


def test_a_proof_that_climbs_above_the_root_shows_nothing():
    """Else somebody could choose a root above the true one and prove what it likes."""
    leaf, extra = LEAVES[0], LEAVES[1]
    pair = root_of(LEAVES[:2])

    assert not includes(leaf, 0, 1, [extra], node_hash(extra, leaf))
    assert not includes(leaf, 0, 2, [LEAVES[1], extra], node_hash(extra, pair))
    proof = [*consistency_proof(LEAVES[:3], 2), extra]
    above = node_hash(extra, root_of(LEAVES[:3]))
    assert not grew(2, node_hash(extra, pair), 3, above, proof)


def test_a_list_never_grew_from_a_longer_one():
    proof = consistency_proof(LEAVES[:8], 5)

    assert grew(5, root_of(LEAVES[:5]), 8, root_of(LEAVES[:8]), proof)
    assert not grew(8, root_of(LEAVES[:8]), 5, root_of(LEAVES[:5]), proof)
    assert not grew(-1, root_of([]), 8, root_of(LEAVES[:8]), proof)
