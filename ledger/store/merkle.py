"""The Merkle tree of RFC 9162 section 2.1, with SHA-256 and nothing but the standard library.

Leaves are the rows of the ledger in the order of their positions. The root of n leaves is one number of 32 bytes that
fixes all of them: a root that left the house (on a day sheet, in a mail) proves later that nothing before it was
changed. Indexes here start at 0; position p of the ledger is leaf p - 1.

A *frontier* is what is needed to go on appending: the roots of the perfect subtrees the leaves so far fall into,
largest
first, one for every 1 in the binary form of the number of leaves.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from hashlib import sha256

HASH_SIZE = 32
EMPTY_ROOT = sha256(b"").digest()


def leaf_hash(row: bytes) -> bytes:
    """SHA-256(00 ‖ row), RFC 9162 section 2.1.1."""
    return sha256(b"\x00" + row).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """SHA-256(01 ‖ left ‖ right), RFC 9162 section 2.1.1."""
    return sha256(b"\x01" + left + right).digest()


MARK_EVERY = 1 << 10
"""The frontier is kept at every so many leaves, so that a root of the past costs at most so many."""


class Frontier:
    """A tree that can only grow: O(log n) memory, O(1) hashes a leaf on average."""

    __slots__ = ("roots", "size")

    def __init__(self, size: int = 0, stored: bytes = b"") -> None:
        """``stored`` is what ``bytes(frontier)`` gave when the tree had ``size`` leaves; ValueError if it cannot be."""
        if len(stored) != HASH_SIZE * size.bit_count():
            expected = HASH_SIZE * size.bit_count()
            raise ValueError(f"the frontier of a tree of {size} leaves has {expected} bytes, not {len(stored)}")
        self.size = size
        self.roots = [stored[at : at + HASH_SIZE] for at in range(0, len(stored), HASH_SIZE)]

    def append(self, leaf: bytes) -> None:
        """Add one leaf hash at the right."""
        roots, size = self.roots, self.size
        while size & 1:
            leaf = sha256(b"\x01" + roots.pop() + leaf).digest()
            size >>= 1
        roots.append(leaf)
        self.size += 1

    def root(self) -> bytes:
        """The Merkle tree hash of the leaves so far."""
        if not self.roots:
            return EMPTY_ROOT
        root = self.roots[-1]
        for left in reversed(self.roots[:-1]):
            root = node_hash(left, root)
        return root

    def __bytes__(self) -> bytes:
        return b"".join(self.roots)


def root_of(leaves: Iterable[bytes]) -> bytes:
    """The Merkle tree hash of these leaf hashes, streamed."""
    frontier = Frontier()
    for leaf in leaves:
        frontier.append(leaf)
    return frontier.root()


def inclusion_proof(leaves: Sequence[bytes], index: int) -> list[bytes]:
    """The audit path of leaf ``index`` in the tree of all ``leaves`` (RFC 9162 section 2.1.3.1)."""
    if not 0 <= index < len(leaves):
        raise ValueError(f"leaf {index} is not in a tree of {len(leaves)} leaves")
    path: list[bytes] = []
    low, high = 0, len(leaves)
    while high - low > 1:
        middle = low + _left_size(high - low)
        if index < middle:
            path.append(root_of(leaves[middle:high]))
            high = middle
        else:
            path.append(root_of(leaves[low:middle]))
            low = middle
    path.reverse()
    return path


def consistency_proof(leaves: Sequence[bytes], first: int) -> list[bytes]:
    """Proof that the tree of the first ``first`` leaves is a beginning of the whole (RFC 9162 section 2.1.4.1).

    Empty if both are the same tree. ValueError for a first size of 0 (nothing can be proved from an empty tree) or
    beyond the end.
    """
    if not 0 < first <= len(leaves):
        raise ValueError(f"no consistency proof from size {first} to size {len(leaves)}")
    proof: list[bytes] = []
    low, high, whole = 0, len(leaves), True
    while first != high:
        middle = low + _left_size(high - low)
        if first <= middle:
            proof.append(root_of(leaves[middle:high]))
            high = middle
        else:
            proof.append(root_of(leaves[low:middle]))
            low, whole = middle, False
    if not whole:
        proof.append(root_of(leaves[low:high]))
    proof.reverse()
    return proof


def verify_inclusion(leaf: bytes, index: int, size: int, path: Sequence[bytes], root: bytes) -> bool:
    """Whether ``path`` proves that ``leaf`` stands at ``index`` in the tree of ``size`` leaves with this ``root``.

    RFC 9162 section 2.1.3.2; the leaf and every hash of the proof must be 32 bytes long.
    """
    if not 0 <= index < size or not _all_hashes([leaf, *path]):
        return False
    at, last, found = index, size - 1, leaf
    for sibling in path:
        if last == 0:
            return False
        if at & 1 or at == last:
            found = node_hash(sibling, found)
            while not at & 1 and at:
                at >>= 1
                last >>= 1
        else:
            found = node_hash(found, sibling)
        at >>= 1
        last >>= 1
    return last == 0 and found == root


def verify_consistency(first: int, second: int, first_root: bytes, second_root: bytes, proof: Sequence[bytes]) -> bool:
    """Whether ``proof`` shows that the tree of ``first`` leaves is the beginning of the tree of ``second`` leaves.

    RFC 9162 section 2.1.4.2; every hash of the proof must be 32 bytes long, and nothing is proved from an empty tree.
    """
    if not 0 < first <= second or not _all_hashes(proof):
        return False
    if first == second:
        return not proof and first_root == second_root
    path = list(proof)
    if first & (first - 1) == 0:
        path.insert(0, first_root)
    if not path:
        return False
    at, last = first - 1, second - 1
    while at & 1:
        at >>= 1
        last >>= 1
    old = new = path[0]
    for node in path[1:]:
        if last == 0:
            return False
        if at & 1 or at == last:
            old, new = node_hash(node, old), node_hash(node, new)
            while not at & 1 and at:
                at >>= 1
                last >>= 1
        else:
            new = node_hash(new, node)
        at >>= 1
        last >>= 1
    return last == 0 and old == first_root and new == second_root


def _left_size(size: int) -> int:
    """The largest power of two below ``size``."""
    return 1 << ((size - 1).bit_length() - 1)


def _all_hashes(values: Sequence[bytes]) -> bool:
    return all(len(value) == HASH_SIZE for value in values)
