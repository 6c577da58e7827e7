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


def labels(html: str) -> dict[str, str]:
    """Field -> the unit beside its label."""
    found = re.findall(r'<label for="(f\d+)">[^<]*(?:<span class="unit">([^<]*)</span>)?</label><input id="\1" name="([^"]+)"', html)  # fmt: skip
    return {name: unit for _, unit, name in found}


def test_a_number_in_the_book_says_its_unit_and_a_small_weight_is_in_grams(demo: Ledger) -> None:
    pack = labels(form(demo, "define", {"kind": "pack"}))
    assert pack["entry.best_before_days"] == "days"
    assert pack["entry.net"] == "g"
    assert pack["entry.display_minimum"] == "packs"
    design = form(demo, "define", {"kind": "design"})
    assert labels(design)["entry.piece_mg"] == "g" and 'value="2.252"' in design
    recipe = form(demo, "define", {"kind": "recipe"})
    assert labels(recipe)["entry.end_temperature"] == "C"
    assert 'value="154.4"' in recipe and 'data-exact="154.444 C"' in recipe
    site = labels(form(demo, "define", {"kind": "site"}))
    assert site["entry.altitude_m"] == "m"
    assert labels(form(demo, "define", {"kind": "flavour"}))["entry.days_before"] == "days"


@pytest.mark.parametrize(
    ("kind", "name", "offered"),
    [("site", "paper", "letter"), ("site", "allergen_law", "us"), ("partner", "role", "customer"), ("partner", "channel", ""), ("design", "feast", ""), ("pack", "container", ""),
     ("material", "supplier", "")],
)  # fmt: skip
def test_what_takes_only_certain_words_is_a_list(kind: str, name: str, offered: str, demo: Ledger) -> None:
    html = form(demo, "define", {"kind": kind})
    [options] = re.findall(rf'<select id="f\d+" name="entry.{name}".*?</select>', html)
    assert f'value="{offered}"' in options


def test_a_time_zone_is_offered_by_name_while_it_is_typed(demo: Ledger) -> None:
    html = form(demo, "define", {"kind": "site"})
    assert 'list="' in html and '<option value="Europe/Berlin">' in html


def test_the_form_of_a_book_entry_says_what_is_entered(demo: Ledger) -> None:
    for kind in e.KINDS:
        assert ">Enter in the book<" not in form(demo, "define", {"kind": kind})
    assert ">Enter a jar or bag<" in form(demo, "define", {"kind": "pack"})
    id = demo.book().all(e.Worker)[0].id
    assert f">A pair of hands anew, {id}<" in form(demo, "define", {"kind": "worker", "id": id})


@pytest.mark.parametrize(("name", "kind"), [("open-batch", "recipe"), ("receive", "material"), ("sell", "pack")])
def test_a_form_that_lacks_something_of_the_book_leads_there_and_has_nothing_to_press_in_vain(
    name: str, kind: str, empty: Ledger
) -> None:
    html = form(empty, name, {})
    assert f'href="/book?kind={kind}"' in html
    assert 'type="submit"' not in html


def test_closing_a_batch_tells_of_pieces_nobody_packed(demo: Ledger) -> None:
    rows = demo.queries.lots(kinds=["pieces"])
    open_ = [str(b) for b in demo.queries.batches(status="open")["batch"] if str(b) in set(rows["batch"])]
    if not open_:
        recipe = demo.book().all(e.Recipe)[0]
        code = demo.do(OpenBatch(day=demo.today(), flavour=recipe.flavour), "MK").batch
        assert "loose pieces" not in form(demo, "close-batch", {"batch": code})
        open_ = [str(rows["batch"].iloc[0])] if len(rows) else []
    for code in open_:
        assert "kept in stock as loose pieces" in form(demo, "close-batch", {"batch": code})
