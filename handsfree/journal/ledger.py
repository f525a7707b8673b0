"""A Merkle tree over a growing list, as RFC 6962, section 2.1, has it: roots, inclusion proofs, consistency proofs.

Rules of this file:

- Pure: lists of bytes in, hashes out. A leaf's hash is SHA-256 of 0x00 and its bytes, a node's of 0x01 and its two children
  (2.1): no leaf passes for a node.
- A proof is checked by somebody who has only roots: the two `holds_…` functions need no tree, and follow RFC 9162, 2.1.3.2
  and 2.1.4.2, which write down what RFC 6962 leaves to the reader (from memory; held against a second, naive
  implementation by the tests).
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

Hash = bytes


def leaf_hash(data: bytes) -> Hash:
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: Hash, right: Hash) -> Hash:
    return hashlib.sha256(b"\x01" + left + right).digest()


def _split(size: int) -> int:
    """The largest power of two smaller than `size` (> 1)."""
    return 1 << ((size - 1).bit_length() - 1)


def root(leaves: Sequence[Hash]) -> Hash:
    """Of leaf hashes, by a stack: n - 1 node hashes. The root of nothing is the hash of nothing."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    stack: list[tuple[int, Hash]] = []
    for leaf in leaves:
        size, found = 1, leaf
        while stack and stack[-1][0] == size:
            found = node_hash(stack.pop()[1], found)
            size *= 2
        stack.append((size, found))
    found = stack.pop()[1]
    while stack:
        found = node_hash(stack.pop()[1], found)
    return found


def inclusion(leaves: Sequence[Hash], at: int) -> list[Hash]:
    """PATH(at, leaves): the audit path from the leaf up. IndexError for a leaf that is not there."""
    if not 0 <= at < len(leaves):
        raise IndexError(at)
    if len(leaves) == 1:
        return []
    half = _split(len(leaves))
    if at < half:
        return [*inclusion(leaves[:half], at), root(leaves[half:])]
    return [*inclusion(leaves[half:], at - half), root(leaves[:half])]


def consistency(leaves: Sequence[Hash], before: int) -> list[Hash]:
    """PROOF(before, leaves): that the tree of the first `before` leaves is the beginning of this one. IndexError for a size
    that it never had."""
    if not 0 < before <= len(leaves):
        raise IndexError(before)
    return _consistency(leaves, before, True)


def _consistency(leaves: Sequence[Hash], before: int, whole: bool) -> list[Hash]:
    if before == len(leaves):
        return [] if whole else [root(leaves)]
    half = _split(len(leaves))
    if before <= half:
        return [*_consistency(leaves[:half], before, whole), root(leaves[half:])]
    return [*_consistency(leaves[half:], before - half, False), root(leaves[:half])]


def holds_inclusion(leaf: Hash, at: int, size: int, proof: Sequence[Hash], wanted: Hash) -> bool:
    """Is `leaf` the one at `at` of the tree of `size` leaves with the root `wanted`?"""
    if not 0 <= at < size:
        return False
    first, last, found = at, size - 1, leaf
    for other in proof:
        if last == 0:
            return False
        if first & 1 or first == last:
            found = node_hash(other, found)
            while not first & 1 and first:
                first, last = first >> 1, last >> 1
        else:
            found = node_hash(found, other)
        first, last = first >> 1, last >> 1
    return last == 0 and found == wanted


def holds_consistency(before: int, size: int, old: Hash, new: Hash, proof: Sequence[Hash]) -> bool:
    """Does the tree of `size` leaves with the root `new` begin with that of `before` leaves and the root `old`?"""
    if not 0 < before <= size:
        return False
    if before == size:
        return not proof and old == new
    path = [old, *proof] if before & (before - 1) == 0 else list(proof)
    if not path:
        return False
    first, last = before - 1, size - 1
    while first & 1:
        first, last = first >> 1, last >> 1
    was = now = path[0]
    for other in path[1:]:
        if last == 0:
            return False
        if first & 1 or first == last:
            was, now = node_hash(other, was), node_hash(other, now)
            while not first & 1 and first:
                first, last = first >> 1, last >> 1
        else:
            now = node_hash(now, other)
        first, last = first >> 1, last >> 1
    return last == 0 and was == old and now == new
