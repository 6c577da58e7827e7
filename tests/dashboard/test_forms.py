"""Forms as plain functions: escaped, labelled, first expired first, with the caution where sugar is molten."""

from __future__ import annotations

import re

import pytest

from dashboard.entries import batch_entries
from dashboard.forms.markup import field, tag
from dashboard.forms.others import OTHER_FORMS
from dashboard.forms.routes import form
from dashboard.forms.steps import STEP_FORMS
from ledger.application.ledger import Ledger
from ledger.domain.batch.commands import OpenBatch
from ledger.domain.books import entries as e
from ledger.errors import UnknownThing


def test_text_from_the_ledger_cannot_become_markup() -> None:
    assert tag("p", "<script>&\"'") == "<p>&lt;script&gt;&amp;&quot;&#x27;</p>"
    assert 'value="&quot;&gt;&lt;b&gt;"' in field("x", "X", '"><b>')


@pytest.mark.parametrize("kind", sorted(e.KINDS))
def test_every_kind_of_book_entry_has_a_form(kind: str, demo: Ledger) -> None:
    for id in ["", *[str(x) for x in demo.queries.book_history(kind)["id"].head(1)]]:
        assert 'name="entry.id"' in form(demo, "define", {"kind": kind, "id": id})


def test_every_form_opens_and_labels_every_field(demo: Ledger) -> None:
    code = demo.do(OpenBatch(day=demo.today(), flavour=demo.book().all(e.Recipe)[0].flavour), "MK").batch
    lot = str(demo.queries.lots(kinds=["packs"])["lot"].iloc[0])
    asked = {"batch": code, "lot": lot, "kind": "worker", "origin": "1", "flag": "1"}
    for name in [*STEP_FORMS, *OTHER_FORMS]:
        given = asked if name == "void" else {k: v for k, v in asked.items() if k != "origin"}
        html = form(demo, name, given)
        ids = re.findall(r' id="(f\d+)"', html)
        assert len(ids) == len(set(ids))
        assert set(ids) == set(re.findall(r' for="(f\d+)"', html)), name


def test_every_entry_of_a_batch_opens_for_amending(demo: Ledger) -> None:
    code = str(demo.queries.batches(status="closed", most=1)["batch"].iloc[0])
    for entry in batch_entries(demo, code):
        html = form(demo, "amend", {"origin": str(entry["position"])})
        assert f'name="amend.origin" value="{entry["position"]}"' in html


def test_the_cook_form_warns_of_molten_sugar_and_offers_first_expired_first(demo: Ledger) -> None:
    recipe = demo.book().all(e.Recipe)[0]
    code = demo.do(OpenBatch(day=demo.today(), flavour=recipe.flavour), "MK").batch
    html = form(demo, "cook", {"batch": code})
    assert "Molten sugar burns" in html and "medical help" in html
    lots = demo.queries.lots(item=recipe.lines[0].material)
    lots = lots[lots["held"] == ""]
    first = sorted(lots.to_dict("records"), key=lambda r: (r["best_before"] or "9999", r["day"], r["lot"]))[0]["lot"]
    assert re.search(rf'<option value="{first}" selected="True"|<option value="{first}" selected', html)


def test_an_unknown_form_or_batch_is_refused_with_the_way_out(demo: Ledger) -> None:
    with pytest.raises(UnknownThing, match="known are"):
        form(demo, "dance", {})
    with pytest.raises(UnknownThing, match="Open it first"):
        form(demo, "cook", {"batch": "NOPE"})
