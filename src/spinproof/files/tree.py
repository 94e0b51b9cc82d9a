"""Merkle trees over lists that only grow: one hash for the whole list, and short proofs.

The *root* stands for every entry and its place. An inclusion proof shows that an entry stands at
its place, a consistency proof that a longer list began as the shorter one, both without giving
out the list.

References
----------
.. [1] B. Laurie, E. Messeri and R. Stradling, "Certificate Transparency Version 2.0," RFC 9162
   (2021), section 2.1. The hashing is that of RFC 6962.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from functools import cache

EMPTY_ROOT = hashlib.sha256(b"").digest()
"""The root of an empty list."""


def leaf_hash(entry: bytes) -> bytes:
    """Give the leaf of an entry: SHA-256 over a zero byte and the entry."""
    return hashlib.sha256(b"\x00" + entry).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Give the node above two others: SHA-256 over a byte of one and both."""
    return hashlib.sha256(b"\x01" + left + right).digest()


class GrowingTree:
    """The root of a list that grows, leaf by leaf.

    Examples
    --------
    >>> tree = GrowingTree()
    >>> tree.root == EMPTY_ROOT
    True
    >>> tree.add(leaf_hash(b"first"))
    >>> tree.root == leaf_hash(b"first")
    True
    """

    def __init__(self) -> None:
        self.size = 0
        self._peaks: list[bytes] = []  # roots of the full subtrees, the largest first

    def add(self, leaf: bytes) -> None:
        """Add the next leaf."""
        node, below = leaf, self.size
        while below & 1:
            node = node_hash(self._peaks.pop(), node)
            below >>= 1
        self._peaks.append(node)
        self.size += 1

    @property
    def root(self) -> bytes:
        """The root over all leaves so far."""
        if not self._peaks:
            return EMPTY_ROOT
        *rest, node = self._peaks
        for peak in reversed(rest):
            node = node_hash(peak, node)
        return node


def root_of(leaves: Iterable[bytes]) -> bytes:
    """Give the root over some leaves.

    Parameters
    ----------
    leaves : iterable of bytes
        Leaf hashes, in order.

    Returns
    -------
    bytes
        32 bytes.
    """
    tree = GrowingTree()
    for leaf in leaves:
        tree.add(leaf)
    return tree.root


def inclusion_proof(leaves: Sequence[bytes], index: int) -> tuple[bytes, ...]:
    """Prove that a leaf stands at its place.

    Parameters
    ----------
    leaves : sequence of bytes
        Leaf hashes of the whole list.
    index : int
        Place of the leaf, counted from 0.

    Returns
    -------
    tuple of bytes
        The nodes beside the way from the leaf up to the root.

    Raises
    ------
    IndexError
        If the list has no such place.
    """
    if not 0 <= index < len(leaves):
        raise IndexError(f"no leaf {index} among {len(leaves)}")
    if len(leaves) == 1:
        return ()
    split = _split(len(leaves))
    if index < split:
        return (*inclusion_proof(leaves[:split], index), root_of(leaves[split:]))
    return (*inclusion_proof(leaves[split:], index - split), root_of(leaves[:split]))


def inclusion_proofs(leaves: Sequence[bytes], places: Iterable[int]) -> Iterator[tuple[bytes, ...]]:
    """Prove for several leaves that each stands at its place, hashing the list once.

    Parameters
    ----------
    leaves : sequence of bytes
        Leaf hashes of the whole list.
    places : iterable of int
        Places of the leaves, counted from 0.

    Yields
    ------
    tuple of bytes
        The proof of each, as from `inclusion_proof`.

    Raises
    ------
    IndexError
        If the list has no such place.
    """

    @cache
    def root(start: int, size: int) -> bytes:
        if size == 1:
            return leaves[start]
        left = _split(size)
        return node_hash(root(start, left), root(start + left, size - left))

    for place in places:
        if not 0 <= place < len(leaves):
            raise IndexError(f"no leaf {place} among {len(leaves)}")
        beside, start, size = [], 0, len(leaves)
        while size > 1:
            left = _split(size)
            if place < start + left:
                beside.append(root(start + left, size - left))
                size = left
            else:
                beside.append(root(start, left))
                start, size = start + left, size - left
        yield tuple(reversed(beside))


def consistency_proof(leaves: Sequence[bytes], size: int) -> tuple[bytes, ...]:
    """Prove that a list began as its first entries alone.

    Parameters
    ----------
    leaves : sequence of bytes
        Leaf hashes of the whole list.
    size : int
        How long the shorter list was.

    Returns
    -------
    tuple of bytes
        The nodes that give both roots.

    Raises
    ------
    IndexError
        If the list is shorter than that.
    """
    if not 0 <= size <= len(leaves):
        raise IndexError(f"no list of {size} in one of {len(leaves)}")
    return _consistency(leaves, size, known=True) if size else ()


def includes(leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> bool:
    """Tell whether a proof shows that a leaf stands at its place.

    Parameters
    ----------
    leaf : bytes
        The leaf's hash.
    index, size : int
        Its place, counted from 0, and the length of the list.
    proof : sequence of bytes
        As from `inclusion_proof`.
    root : bytes
        The root of the list.

    Returns
    -------
    bool
        Whether the proof holds; a malformed one does not.

    Notes
    -----
    RFC 9162, 2.1.3.2.
    """
    if not 0 <= index < size or any(len(node) != len(EMPTY_ROOT) for node in (leaf, *proof)):
        return False
    place, last, node = index, size - 1, leaf
    for beside in proof:
        if last == 0:
            return False
        if place & 1 or place == last:
            node = node_hash(beside, node)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            node = node_hash(node, beside)
        place, last = place >> 1, last >> 1
    return last == 0 and node == root


def grew(
    size: int, root: bytes, later_size: int, later_root: bytes, proof: Sequence[bytes]
) -> bool:
    """Tell whether a proof shows that a list was only added to.

    Parameters
    ----------
    size, later_size : int
        Length of the list before and after.
    root, later_root : bytes
        Root of the list before and after.
    proof : sequence of bytes
        As from `consistency_proof`.

    Returns
    -------
    bool
        Whether the proof holds; a malformed one does not.

    Notes
    -----
    RFC 9162, 2.1.4.2. Every list grew from an empty one.
    """
    if not 0 <= size <= later_size or any(len(node) != len(EMPTY_ROOT) for node in proof):
        return False
    if size in {0, later_size}:
        expected = later_root if size else EMPTY_ROOT
        return not proof and root == expected
    nodes = list(proof)
    if size & (size - 1) == 0:  # the shorter list is one of the full subtrees of the longer
        nodes.insert(0, root)
    if not nodes:
        return False
    place, last = size - 1, later_size - 1
    while place & 1:
        place, last = place >> 1, last >> 1
    before = after = nodes[0]
    for beside in nodes[1:]:
        if last == 0:
            return False
        if place & 1 or place == last:
            before, after = node_hash(beside, before), node_hash(beside, after)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            after = node_hash(after, beside)
        place, last = place >> 1, last >> 1
    return last == 0 and before == root and after == later_root


def _split(size: int) -> int:
    """Give the largest power of two below a size of two or more."""
    return 1 << (size - 1).bit_length() - 1


def _consistency(leaves: Sequence[bytes], size: int, *, known: bool) -> tuple[bytes, ...]:
    if size == len(leaves):
        return () if known else (root_of(leaves),)
    split = _split(len(leaves))
    if size <= split:
        return (*_consistency(leaves[:split], size, known=known), root_of(leaves[split:]))
    return (*_consistency(leaves[split:], size - split, known=False), root_of(leaves[:split]))
