"""Merkle trees against the test data of the transparency-dev project.

The eight entries, their roots and the proofs are those of transparency-dev/merkle,
``proof/verify_test.go`` and ``rfc6962/rfc6962_test.go``; the same entries and roots went round
since the first implementations of RFC 6962. The probes that must fail are of the same kinds.
"""

import pytest

from spinproof.files.tree import (
    EMPTY_ROOT,
    consistency_proof,
    grew,
    includes,
    inclusion_proof,
    leaf_hash,
    node_hash,
    root_of,
)

pytestmark = pytest.mark.source(
    "RFC 6962 and RFC 9162; test data of transparency-dev/merkle", kind="published"
)

ENTRIES = [
    bytes.fromhex(digits)
    for digits in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
LEAVES = [leaf_hash(entry) for entry in ENTRIES]
ROOTS = {
    0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    4: "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    5: "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    6: "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    7: "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}
P5F = "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e"
P6B = "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"
P96 = "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7"
PBC = "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"
PCA = "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0"
P0E = "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a"
PB0 = "b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f"
INCLUSION = [
    (0, 1, ()),
    (0, 8, (P96, P5F, P6B)),
    (5, 8, (PBC, PCA, ROOTS[4])),
    (2, 3, (ROOTS[2],)),
    (1, 5, (ROOTS[1], P5F, PBC)),
]
CONSISTENCY = [
    (1, 1, ()),
    (1, 8, (P96, P5F, P6B)),
    (6, 8, (P0E, PCA, ROOTS[4])),
    (2, 5, (P5F, PBC)),
    (6, 7, (P0E, PB0, ROOTS[4])),
]


def of(digits: str) -> bytes:
    return bytes.fromhex(digits)


def root(size: int) -> bytes:
    return of(ROOTS[size])


def flipped(node: bytes) -> bytes:
    return bytes([node[0] ^ 8]) + node[1:]


def altered(proof: list[bytes]) -> list[list[bytes]]:
    """Give proofs that are each wrong in one way."""
    beside = [root(3), flipped(root(3)), b""]
    longer = [[*proof, node] for node in beside] + [[node, *proof] for node in beside]
    bent = [[*proof[:i], flipped(node), *proof[i + 1 :]] for i, node in enumerate(proof)]
    return [*longer, *bent, proof[:-1], proof[1:], proof[::-1]]


@pytest.mark.parametrize("size", ROOTS)
def test_the_root_of_the_first_entries(size: int):
    assert root_of(LEAVES[:size]) == root(size)


def test_the_hashes_of_a_leaf_and_a_node():
    leaf = "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"
    node = "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb"

    assert leaf_hash(b"L123456") == of(leaf)
    assert node_hash(b"N123", b"N456") == of(node)
    assert of(ROOTS[0]) == EMPTY_ROOT


@pytest.mark.parametrize(("index", "size", "digits"), INCLUSION)
def test_the_proof_that_an_entry_stands_at_its_place(index: int, size: int, digits: tuple):
    proof = [of(node) for node in digits]

    assert list(inclusion_proof(LEAVES[:size], index)) == proof
    assert includes(LEAVES[index], index, size, proof, root(size))


@pytest.mark.parametrize(("size", "later", "digits"), CONSISTENCY)
def test_the_proof_that_a_list_was_only_added_to(size: int, later: int, digits: tuple):
    proof = [of(node) for node in digits]

    assert list(consistency_proof(LEAVES[:later], size)) == proof
    assert grew(size, root(size), later, root(later), proof)


@pytest.mark.parametrize(("index", "size", "digits"), INCLUSION)
def test_no_altered_proof_places_an_entry(index: int, size: int, digits: tuple):
    proof, leaf = [of(node) for node in digits], LEAVES[index]
    wrong = [
        (leaf, index - 1, size, proof, root(size)),
        (leaf, index + 1, size, proof, root(size)),
        (leaf, index ^ 2, size, proof, root(size)),
        (leaf, index, size * 2, proof, root(size)),
        (leaf, index, size // 2, proof, root(size)),
        (flipped(leaf), index, size, proof, root(size)),
        (b"leaf", index, size, proof, root(size)),
        (leaf, index, size, proof, EMPTY_ROOT),
        (leaf, index, size, proof, flipped(root(size))),
        *((leaf, index, size, bent, root(size)) for bent in altered(proof) if bent != proof),
    ]

    assert [probe for probe in wrong if includes(*probe)] == []


@pytest.mark.parametrize(("size", "later", "digits"), CONSISTENCY[1:])
def test_no_altered_proof_shows_that_a_list_grew(size: int, later: int, digits: tuple):
    proof, first, second = [of(node) for node in digits], root(size), root(later)
    wrong = [
        (size - 1, first, later, second, proof),
        (size + 1, first, later, second, proof),
        (size ^ 2, first, later, second, proof),
        (size, first, later * 2, second, proof),
        (size, first, later // 2, second, proof),
        (size, flipped(first), later, second, proof),
        (size, first, later, flipped(second), proof),
        (size, second, later, first, proof),
        (later, second, size, first, proof),
        (size, first, later, second, []),
        *((size, first, later, second, bent) for bent in altered(proof)),
    ]

    assert [probe for probe in wrong if grew(*probe)] == []


@pytest.mark.parametrize(
    ("size", "first", "later", "second", "proof", "holds"),
    [
        (0, EMPTY_ROOT, 0, EMPTY_ROOT, [], True),
        (0, EMPTY_ROOT, 1, b"any", [], True),
        (1, b"any", 1, b"any", [], True),
        (0, b"one", 0, b"other", [], False),
        (1, b"one", 1, b"other", [], False),
        (1, b"one", 0, b"other", [], False),
        (2, b"one", 1, b"other", [], False),
        (1, b"one", 2, b"other", [], False),
        (0, EMPTY_ROOT, 0, EMPTY_ROOT, [EMPTY_ROOT], False),
        (0, EMPTY_ROOT, 1, EMPTY_ROOT, [EMPTY_ROOT], False),
        (1, EMPTY_ROOT, 1, EMPTY_ROOT, [EMPTY_ROOT], False),
    ],
)
def test_sizes_at_the_edge(size, first, later, second, proof, holds):
    assert grew(size, first, later, second, proof) is holds
