"""The program printed in docs/verify-without-us.md is taken out of the page and run, with no code of ours near it.

Source of the outside values: RFC 9162 section 2.1 and the published proofs of ``transparency-dev/merkle`` (Apache-2.0).
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.errors import BadInput
from ledger.store import merkle
from ledger.trace.proof import (
    SubtreeRoots,
    TreeHead,
    check_proof,
    make_proof,
    proof_from_json,
    proof_to_json,
)  # fmt: skip
from tests.support.shared import ROOT, shared_path

PAGE = ROOT / "docs" / "verify-without-us.md"
LINES = [json.dumps({"data": {"mass_mg": n}, "name": "batch.cooked", "position": n}) for n in range(1, 12)]
LEAVES = [merkle.leaf_hash(line.encode()) for line in LINES]
Run = Callable[..., "subprocess.CompletedProcess[str]"]


def program() -> str:
    found = re.search(r"<!-- verify\.py -->\n```python\n(.*?)```", PAGE.read_text(), re.S)
    assert found is not None
    return found[1]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    folder = tmp_path_factory.mktemp("stranger")
    (folder / "verify.py").write_text(program())

    def go(proof: str, *told: str) -> subprocess.CompletedProcess[str]:
        (folder / "proof.json").write_text(proof)
        command = [sys.executable, "-I", "verify.py", "proof.json", *told]
        return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)

    return go


def head_of(size: int) -> TreeHead:
    return TreeHead(size, merkle.root_of(LEAVES[:size]).hex(), f"2026-11-{size:02d}", "day sheet")


def paper(size: int) -> tuple[str, str]:
    """What stands on the day sheet: number of rows and root."""
    return str(size), head_of(size).root


def proof_text(position: int = 5, size: int = 11, earlier: int | None = 7) -> str:
    told = head_of(earlier) if earlier else None
    return proof_to_json(
        make_proof("shop", [(position, LINES[position - 1])], LEAVES[:size], at="2026-11-30", earlier=told)
    )


def test_the_printed_program_is_about_forty_lines_and_imports_nothing_of_ours() -> None:
    lines = [line for line in program().splitlines() if line.strip()]
    assert len(lines) <= 45
    assert "ledger" not in "".join(re.findall(r"^(?:import|from).*", program(), re.M))


@pytest.mark.parametrize(("size", "earlier"), [(11, 7), (11, 8), (8, 8), (11, 11), (11, None), (1, 1)])
def test_a_good_proof_holds_against_the_root_on_paper(run: Run, size: int, earlier: int | None) -> None:
    text = proof_text(1, size, earlier)
    result = run(text, *paper(earlier or size))
    assert (result.returncode, result.stderr) == (0, "")
    assert "HOLDS against the head on your paper" in result.stdout
    assert check_proof(proof_from_json(text), told=head_of(earlier or size)) == []


def test_without_paper_it_says_so_and_does_not_pass(run: Run) -> None:
    result = run(proof_text())
    assert result.returncode == 1
    assert "now give me the number of rows and the root you have on paper" in result.stderr


def tampered(change: Callable[[dict[str, Any]], None]) -> str:
    data = json.loads(proof_text())
    change(data)
    return json.dumps(data)


TAMPERINGS: dict[str, Callable[[dict[str, Any]], None]] = {
    "a letter of the row": lambda d: d["rows"][0].update(line=d["rows"][0]["line"].replace("5", "6")),
    "the position": lambda d: d["rows"][0].update(position=6),
    "a position beyond the end": lambda d: d["rows"][0].update(position=5 + 16),
    "a hash left out": lambda d: d["rows"][0]["path"].pop(),
    "a hash too many": lambda d: d["rows"][0]["path"].append("00" * 32),
    "the root": lambda d: d["head"].update(root="00" * 32),
    "the size": lambda d: d["head"].update(size=40),
    "the consistency path": lambda d: d["consistency"].pop(),
    "the earlier size": lambda d: d["earlier"].update(size=6),
    "the earlier root": lambda d: d["earlier"].update(root="11" * 32),
    "an earlier size of nothing": lambda d: d["earlier"].update(size=0),
}


@pytest.mark.parametrize("what", TAMPERINGS)
def test_a_tampered_proof_is_refused_by_the_page_and_by_us(run: Run, what: str) -> None:
    text = tampered(TAMPERINGS[what])
    result = run(text, *paper(7))
    assert result.returncode == 1 and "REFUSED" in result.stderr, what
    assert check_proof(proof_from_json(text), told=head_of(7)), what


def test_a_proof_that_holds_but_not_against_your_paper_is_refused(run: Run) -> None:
    result = run(proof_text(), *paper(6))
    assert result.returncode == 1 and "not the head on your paper" in result.stderr
    assert check_proof(proof_from_json(proof_text()), told=head_of(6)) == [
        f"The head on paper (6 rows, {head_of(6).root[:16]}…) is not in this proof."
    ]


def test_the_number_of_rows_on_paper_counts_as_much_as_the_root(run: Run) -> None:
    # The path of one row can be the same in a tree of 11 and of 16 rows (RFC 9162 trusts the size with the root).
    text = tampered(lambda d: (d["head"].update(size=16), d.pop("earlier"), d.pop("consistency")))
    assert run(text, "16", head_of(11).root).returncode == 0
    assert "not the head on your paper" in run(text, *paper(11)).stderr
    assert check_proof(proof_from_json(text), told=head_of(11)) != []


def test_one_row_is_checked_with_printf_and_sha256sum_as_the_page_says(tmp_path: Path) -> None:
    command = re.search(r"```sh\n.*?\n(\(printf.*?)\n```", PAGE.read_text(), re.S)
    assert command is not None
    (tmp_path / "row.txt").write_text(LINES[4])
    out = subprocess.run(["sh", "-c", command[1]], cwd=tmp_path, capture_output=True, text=True, check=True).stdout
    assert out.split()[0] == LEAVES[4].hex() == hashlib.sha256(b"\x00" + LINES[4].encode()).hexdigest()


@pytest.mark.shared
def test_the_printed_walk_agrees_with_every_published_consistency_proof(run: Run) -> None:
    # transparency-dev/merkle testdata: 98 proofs, 92 of them to be refused. Run in one process for speed.
    cases = json.loads(shared_path("merkle", "consistency-proofs.json").read_text())
    verdicts = 0
    source = program()
    for case in cases:
        root1, root2 = (base64.b64decode(case[k] or "").hex() for k in ("root1", "root2"))
        path = [base64.b64decode(h).hex() for h in case["proof"] or []]
        data = {
            "head": {"size": case["size2"], "root": root2}, "rows": [], "consistency": path,
            "earlier": {"size": case["size1"], "root": root1, "at": ""},
        }  # fmt: skip
        assert holds(source, data, case["size1"], root1) is not case["wantErr"], case["desc"]
        verdicts += 1
    assert verdicts == 98


@pytest.mark.shared
def test_the_printed_walk_agrees_with_every_published_inclusion_proof() -> None:
    tree = json.loads(shared_path("merkle", "tree.json").read_text())
    lines = [bytes.fromhex(h) for h in tree["leaves_hex"]]
    texts = {merkle.leaf_hash(data): data for data in lines}
    verdicts = 0
    for case in json.loads(shared_path("merkle", "inclusion-proofs.json").read_text()):
        leaf, root = base64.b64decode(case["leafHash"] or ""), base64.b64decode(case["root"] or "")
        path = [base64.b64decode(h) for h in case["proof"] or []]
        if leaf not in texts or any(len(h) != 32 for h in (root, *path)):
            continue
        try:
            line = texts[leaf].decode()
        except UnicodeDecodeError:
            continue
        data = {
            "head": {"size": case["treeSize"], "root": root.hex()},
            "rows": [{"position": case["leafIdx"] + 1, "line": line, "path": [h.hex() for h in path]}],
        }
        assert holds(program(), data, case["treeSize"], root.hex()) is not case["wantErr"], case["desc"]
        verdicts += 1
    assert verdicts > 60


def holds(source: str, data: dict[str, Any], size: int, told: str) -> bool:
    """Run the printed program in this process on one proof; True if it ends well."""
    import io
    from contextlib import redirect_stdout
    from unittest.mock import patch

    opened = io.StringIO(json.dumps(data))
    names: dict[str, Any] = {"open": lambda *a, **k: opened}
    with patch.object(sys, "argv", ["verify.py", "proof.json", str(size), told]), redirect_stdout(io.StringIO()):
        try:
            exec(compile(source, "verify.py", "exec"), names)
        except SystemExit:
            return False
    return True


@settings(deadline=None)
@given(st.integers(1, 70), st.data())
def test_paths_from_stored_subtrees_equal_those_of_the_plain_tree(size: int, data: st.DataObject) -> None:
    leaves = [merkle.leaf_hash(bytes([n])) for n in range(size)]
    tree = SubtreeRoots(leaves)
    index, first = data.draw(st.integers(0, size - 1)), data.draw(st.integers(1, size))
    assert tree.root() == merkle.root_of(leaves)
    assert tree.inclusion(index) == merkle.inclusion_proof(leaves, index)
    assert tree.consistency(first) == merkle.consistency_proof(leaves, first)


def test_a_ledger_changed_since_the_paper_was_printed_cannot_make_a_proof() -> None:
    with pytest.raises(BadInput, match="rows were changed after that head left the house"):
        make_proof("shop", [], LEAVES, at="", earlier=TreeHead(7, "22" * 32, "2026-11-07"))
    with pytest.raises(BadInput, match="not the line that was hashed"):
        make_proof("shop", [(3, LINES[3])], LEAVES, at="")
    with pytest.raises(BadInput, match="no row 12"):
        make_proof("shop", [(12, LINES[3])], LEAVES, at="")
    with pytest.raises(BadInput, match="speaks of 12 rows"):
        make_proof("shop", [], LEAVES, at="", earlier=TreeHead(12, "22" * 32))


def test_a_file_that_is_no_proof_is_refused() -> None:
    for text in ("", "[]", "{}", '{"format": "other"}'):
        with pytest.raises(BadInput):
            proof_from_json(text)
