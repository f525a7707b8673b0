"""The Merkle tree against RFC 6962: the recursive definitions of its section 2.1 written out naively, the seven leaves of
its 2.1.3, and the roots that the Certificate Transparency projects' own tests use (eight inputs, read there)."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.journal import ledger

INPUTS = [bytes.fromhex(x) for x in (
    "", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")]  # fmt: skip
ROOTS = (
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)


def mth(data: list[bytes]) -> bytes:
    """MTH(D[n]) as RFC 6962, 2.1, writes it."""
    if not data:
        return hashlib.sha256().digest()
    if len(data) == 1:
        return hashlib.sha256(b"\x00" + data[0]).digest()
    k = 1
    while k * 2 < len(data):
        k *= 2
    return hashlib.sha256(b"\x01" + mth(data[:k]) + mth(data[k:])).digest()


@pytest.mark.parametrize("size", range(1, 9))
def test_the_published_roots(size: int) -> None:
    assert mth(INPUTS[:size]).hex() == ROOTS[size - 1]
    assert ledger.root([ledger.leaf_hash(data) for data in INPUTS[:size]]).hex() == ROOTS[size - 1]


def test_the_root_of_nothing() -> None:
    assert ledger.root([]) == hashlib.sha256().digest() == mth([])


def test_the_seven_leaves_of_the_rfc() -> None:
    """2.1.3: 'the audit path for d0 is [b, h, l]', 'for d3 is [c, g, l]', 'for d4 is [f, j, k]', 'for d6 is [i, k]';
    PROOF(3, D[7]) = [c, d, g, l], PROOF(4, D[7]) = [l], PROOF(6, D[7]) = [i, j, k]."""
    data = [bytes([n]) for n in range(7)]
    leaves = [ledger.leaf_hash(one) for one in data]
    a, b, c, d, e, f, j = leaves
    g, h, i = ledger.node_hash(a, b), ledger.node_hash(c, d), ledger.node_hash(e, f)
    k, l_ = ledger.node_hash(g, h), ledger.node_hash(i, j)
    assert ledger.root(leaves) == ledger.node_hash(k, l_)
    assert ledger.inclusion(leaves, 0) == [b, h, l_]
    assert ledger.inclusion(leaves, 3) == [c, g, l_]
    assert ledger.inclusion(leaves, 4) == [f, j, k]
    assert ledger.inclusion(leaves, 6) == [i, k]
    assert ledger.consistency(leaves, 3) == [c, d, g, l_]
    assert ledger.consistency(leaves, 4) == [l_]
    assert ledger.consistency(leaves, 6) == [i, j, k]


def test_every_proof_of_every_small_tree_holds_and_holds_for_nothing_else() -> None:
    leaves = [ledger.leaf_hash(bytes([n])) for n in range(17)]
    for size in range(1, 18):
        root = ledger.root(leaves[:size])
        for at in range(size):
            proof = ledger.inclusion(leaves[:size], at)
            for other in range(size):
                assert ledger.holds_inclusion(leaves[other], at, size, proof, root) == (other == at)
            assert not ledger.holds_inclusion(leaves[at], at, size, [*proof, root], root)
            assert not ledger.holds_inclusion(leaves[at], at, size, proof[:-1], root) or not proof
        for before in range(1, size + 1):
            proof = ledger.consistency(leaves[:size], before)
            old = ledger.root(leaves[:before])
            assert ledger.holds_consistency(before, size, old, root, proof)
            forged = ledger.root([ledger.leaf_hash(b"x"), *leaves[1:before]])
            assert not ledger.holds_consistency(before, size, forged, root, proof)
            assert not ledger.holds_consistency(before, size, old, root, [*proof, old])
            if before < size:
                assert not ledger.holds_consistency(before, size, old, ledger.root([*leaves[: size - 1], old]), proof)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.binary(max_size=8), min_size=1, max_size=70), st.data())
def test_any_tree_is_the_naive_one(data: list[bytes], draw: st.DataObject) -> None:
    leaves = [ledger.leaf_hash(one) for one in data]
    assert ledger.root(leaves) == mth(data)
    at = draw.draw(st.integers(0, len(data) - 1))
    assert ledger.holds_inclusion(leaves[at], at, len(data), ledger.inclusion(leaves, at), mth(data))
    assert ledger.holds_consistency(at + 1, len(data), mth(data[: at + 1]), mth(data), ledger.consistency(leaves, at + 1))


def test_what_no_tree_has() -> None:
    leaves = [ledger.leaf_hash(b"a")]
    for at in (-1, 1):
        with pytest.raises(IndexError):
            ledger.inclusion(leaves, at)
    for before in (0, 2):
        with pytest.raises(IndexError):
            ledger.consistency(leaves, before)
    assert not ledger.holds_inclusion(leaves[0], 1, 1, [], leaves[0])
    assert not ledger.holds_consistency(0, 1, leaves[0], leaves[0], [])
    assert not ledger.holds_consistency(3, 5, leaves[0], leaves[0], [])
