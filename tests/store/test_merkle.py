"""The tree against published values.

Proofs: GitHub transparency-dev/merkle, testdata/inclusion and testdata/consistency (98 each, 92 of them to be
refused). Roots
and leaf hashes: the eight-leaf tree of RFC 6962 implementations, whose values that repository and others share.
"""

from __future__ import annotations

import json
from base64 import b64decode
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.store import merkle
from ledger.store.merkle import Frontier
from tests.support.shared import shared_path

pytestmark = pytest.mark.shared


@pytest.fixture(scope="module")
def tree() -> dict[str, Any]:
    return dict(json.loads(shared_path("merkle", "tree.json").read_text()))


def hashes(proof: list[str] | None) -> list[bytes]:
    return [b64decode(text) for text in proof or []]


def test_all_published_inclusion_proofs_are_judged_as_published() -> None:
    cases = json.loads(shared_path("merkle", "inclusion-proofs.json").read_text())
    assert len(cases) == 98
    for case in cases:
        leaf, root = b64decode(case["leafHash"] or ""), b64decode(case["root"] or "")
        good = merkle.verify_inclusion(leaf, case["leafIdx"], case["treeSize"], hashes(case["proof"]), root)
        assert good is not case["wantErr"], case["source"]


def test_all_published_consistency_proofs_are_judged_as_published() -> None:
    cases = json.loads(shared_path("merkle", "consistency-proofs.json").read_text())
    assert len(cases) == 98
    for case in cases:
        first, second = b64decode(case["root1"] or ""), b64decode(case["root2"] or "")
        good = merkle.verify_consistency(case["size1"], case["size2"], first, second, hashes(case["proof"]))
        assert good is not case["wantErr"], case["source"]


def test_leaves_nodes_and_roots_have_the_published_values(tree: dict[str, Any]) -> None:
    assert merkle.EMPTY_ROOT.hex() == tree["empty_tree_root"]
    nothing, word, node = tree["hasher"]
    assert merkle.leaf_hash(b"").hex() == nothing["hash"]
    assert merkle.leaf_hash(b"L123456").hex() == word["hash"]
    assert merkle.node_hash(b"N123", b"N456").hex() == node["hash"]
    leaves = [merkle.leaf_hash(bytes.fromhex(leaf)) for leaf in tree["leaves_hex"]]
    assert [leaf.hex() for leaf in leaves] == tree["leaf_hashes"]
    for size, root in tree["roots_by_size"].items():
        assert merkle.root_of(leaves[: int(size)]).hex() == root


def test_proofs_have_the_published_hashes(tree: dict[str, Any]) -> None:
    leaves = [bytes.fromhex(leaf) for leaf in tree["leaf_hashes"]]
    for case in tree["inclusion_paths"]:
        assert [step.hex() for step in merkle.inclusion_proof(leaves[: case["size"]], case["index"])] == case["path"]
    for case in tree["consistency_paths"]:
        if case["from"]:
            assert [step.hex() for step in merkle.consistency_proof(leaves[: case["to"]], case["from"])] == case["path"]


def recursive_root(leaves: list[bytes]) -> bytes:
    """RFC 9162 section 2.1.1 word by word."""
    if len(leaves) < 2:
        return leaves[0] if leaves else merkle.EMPTY_ROOT
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    return merkle.node_hash(recursive_root(leaves[:k]), recursive_root(leaves[k:]))


@given(st.integers(0, 70))
def test_a_frontier_stored_between_appends_ends_at_the_root_of_the_definition(size: int) -> None:
    leaves = [merkle.leaf_hash(bytes([n])) for n in range(size)]
    stored = b""
    for n, leaf in enumerate(leaves):
        frontier = Frontier(n, stored)
        frontier.append(leaf)
        stored = bytes(frontier)
    assert Frontier(size, stored).root() == recursive_root(leaves) == merkle.root_of(leaves)


@given(st.data())
def test_every_proof_holds_and_fails_once_a_bit_is_turned(data: st.DataObject) -> None:
    size = data.draw(st.integers(1, 40))
    leaves = [merkle.leaf_hash(bytes([n])) for n in range(size)]
    index = data.draw(st.integers(0, size - 1))
    root, first_root = merkle.root_of(leaves), merkle.root_of(leaves[: index + 1])
    path, proof = merkle.inclusion_proof(leaves, index), merkle.consistency_proof(leaves, index + 1)
    assert merkle.verify_inclusion(leaves[index], index, size, path, root)
    assert merkle.verify_consistency(index + 1, size, first_root, root, proof)
    for steps in (path, proof):
        if steps:
            at = data.draw(st.integers(0, len(steps) - 1))
            steps[at] = bytes([steps[at][0] ^ 1]) + steps[at][1:]
    assert not path or not merkle.verify_inclusion(leaves[index], index, size, path, root)
    assert not proof or not merkle.verify_consistency(index + 1, size, first_root, root, proof)


def test_sizes_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="3 leaves has 64 bytes, not 32"):
        Frontier(3, bytes(32))
    with pytest.raises(ValueError, match="leaf 2 is not in a tree of 2"):
        merkle.inclusion_proof([bytes(32)] * 2, 2)
    with pytest.raises(ValueError, match="from size 0"):
        merkle.consistency_proof([bytes(32)], 0)
