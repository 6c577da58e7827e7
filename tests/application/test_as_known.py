"""An old report can be checked too: asked as it was known at an entry, it carries the root the ledger had at that entry."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from ledger.application import audit, audit_proof, audit_recall
from ledger.application.checkpoints import checkpoint, root_at
from ledger.application.ledger import Ledger
from ledger.application.report_text import as_data, as_text
from ledger.application.reports import week_report
from ledger.domain.batch.commands import Void
from ledger.domain.lots.commands import SampleLot
from ledger.errors import BadInput, UnknownThing
from ledger.store.merkle import root_of
from ledger.trace.proof import TreeHead, check_proof, proof_from_json, proof_to_json
from ledger.trace.recall_report import to_html, to_pdf
from tests.application.audit_shop import audit_file, shop
from tests.application.test_recall_progress import a_delivery

__all__ = ["audit_file", "shop"]
DOC = Path(__file__).parents[2] / "docs" / "verify-without-us.md"


def later(shop: Ledger) -> None:
    """Life goes on: an entry more."""
    lot = str(shop.queries.lots(kinds=["packs"]).query("packs >= 5 and held == ''")["lot"].iloc[0])
    shop.do(SampleLot(day=shop.today(), lot=lot, packs=1))


def test_a_report_asked_as_known_carries_the_root_it_carried_then(shop: Ledger) -> None:
    jar, _ = a_delivery(shop)
    then = as_data(audit.lot_report(shop, jar))
    week = shop.queries.lot(jar)["day"]
    position = then["as_of"]["position"]
    later(shop)
    assert audit.lot_report(shop, jar).as_of.root != then["as_of"]["root"]
    assert as_data(audit.lot_report(shop, jar, position)) == then
    traced = audit.trace(shop, jar, "backward", str(position)).report
    assert traced.as_of.root == then["as_of"]["root"] and then["as_of"]["root"] in as_text(traced)
    assert week and week_report(shop, "2026-W40", position).as_of.root == then["as_of"]["root"]
    with shop.store.read() as reader:
        assert root_of(reader.leaves(upto=position)).hex() == then["as_of"]["root"] == root_at(shop.store, position)


def test_a_recall_report_asked_as_known_says_what_it_said_then(shop: Ledger) -> None:
    lot, customer = a_delivery(shop)
    code = audit_recall.start(shop, lot, "smudged label", by="MK").recall
    audit_recall.note(shop, code, "called", partner=customer)
    audit_recall.note(shop, code, "returned", partner=customer, packs=2)
    back = shop.queries.as_of().position
    then = audit_recall.report(shop, code)
    assert then.head is not None and then.head.size == back
    audit_recall.note(shop, code, "counted", lot=lot, packs=0)
    audit_recall.close(shop, code, release=True)
    again = audit_recall.report(shop, code, back)
    assert again.head == then.head and again.answer == then.answer
    assert [a.sentence for a in again.answers] == [a.sentence for a in then.answers]
    for old, new in zip(then.answers, again.answers, strict=True):
        assert (old.table is None) == (new.table is None)
        assert old.table is None or old.table.equals(new.table), old.question
    assert then.head.root in to_html(again) and to_pdf(again).startswith(b"%PDF")
    with pytest.raises(UnknownThing, match=f"as known at entry {back - 5}"):
        audit_recall.report(shop, code, back - 5)


def test_a_return_voided_since_counts_in_the_report_as_known_before(shop: Ledger) -> None:
    lot, customer = a_delivery(shop)
    code = audit_recall.start(shop, lot, "smudged label").recall
    audit_recall.note(shop, code, "returned", partner=customer, packs=2)
    back = shop.queries.as_of().position
    shop.do(Void(day=shop.today(), origin=back, reason="the box was empty"))
    assert int(audit_recall.work(shop, code).recall.progress["came_back"].iloc[0]) == 0
    old = audit_recall.work(shop, code, back).recall
    assert int(old.progress["came_back"].iloc[0]) == 2 and not any("corrected" in what for what, _ in old.clock)


def test_a_proof_as_known_ends_in_the_root_of_the_old_paper_and_is_checked_without_us(
    shop: Ledger, tmp_path: Path
) -> None:
    jar, _ = a_delivery(shop)
    paper = checkpoint(shop)
    for _ in range(3):
        later(shop)
    made = audit_proof.proof(shop, jar, known=paper.size)
    assert (made.head.size, made.head.root, made.head.at) == (paper.size, paper.root, paper.at)
    assert all(r.position <= paper.size for r in made.rows)
    text = proof_to_json(made)
    assert check_proof(proof_from_json(text), told=paper) == []
    both = audit_proof.proof(shop, jar, known=paper.size + 1, earlier=paper)
    assert (
        both.earlier == TreeHead(paper.size, paper.root, told=paper.told, at=paper.at)
        or check_proof(both, told=paper) == []
    )
    script, proof = tmp_path / "verify.py", tmp_path / "proof.json"
    found = re.search(r"<!-- verify.py -->\n```python\n(.*?)```", DOC.read_text(encoding="utf-8"), re.DOTALL)
    assert found
    script.write_text(found[1], encoding="utf-8")
    proof.write_text(text, encoding="utf-8")
    run = [sys.executable, str(script), str(proof), str(paper.size), paper.root]
    assert subprocess.run(run, capture_output=True).returncode == 0
    data = json.loads(text)
    data["rows"][0]["line"] = data["rows"][0]["line"].replace('"', "'", 1)
    proof.write_text(json.dumps(data), encoding="utf-8")
    assert subprocess.run(run, capture_output=True).returncode != 0


def test_what_was_not_there_yet_cannot_be_proved_as_known_then(shop: Ledger) -> None:
    jar = str(shop.queries.lots(kinds=["packs"])["lot"].iloc[-1])
    with pytest.raises(BadInput, match="was recorded up to entry 3"):
        audit_proof.proof(shop, jar, known=3)
    with pytest.raises(BadInput, match="There is no entry 9; the ledger has 5"):
        audit_proof.proof(shop, "9", known=5)
    with pytest.raises(BadInput, match="is not in this ledger"):
        audit_proof.proof(shop, jar, known=10**9)
