"""The sheet on the command line: files, figures, units, and what cannot be."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from ledger.application import sheets
from ledger.application.ledger import Ledger
from ledger.errors import BadInput
from tests.application.sheets.support import LEMON, define, run

BAD_FIGURES = {
    "a kettle too small": (("LEMON-SLICE", "--packs", "400", "--kettle", "K2"), "only 2 can be worked together"),
    "a load too small": (("LEMON-SLICE", "--packs", "15", "--kettle", "K1"), "it would scorch"),
    "a reading that is no boiling water": (("LEMON-SLICE", "--packs", "40", "--water-reads", "20 C"), "must lie between 65 and 110"),
    "a rod thicker than the log": (("LEMON-SLICE", "--packs", "40", "--log", "30 mm", "--rod", "40 mm"), "the log must be thicker"),
    "a unit of another kind": (("LEMON-SLICE", "--packs", "40", "--rod", "5 kg"), "not length"),
    "no count": (("LEMON-SLICE",), "how many packs or how many pieces"),
    "an unknown design": (("LEMONSLICE", "--packs", "40"), "LEMON-SLICE"),
    "another flavour's pack": (("LEMON-SLICE", "--packs", "40", "--pack", "ROCK-JAR"), "LEMON-JAR"),
    "a station that is no kettle": (("LEMON-SLICE", "--packs", "40", "--kettle", "SLAB"), "not a kettle"),
    "no pressure": (("LEMON-SLICE", "--packs", "40", "--barometer", "97.2 m"), "97.2 kPa"),
}  # fmt: skip


@pytest.mark.parametrize("what", sorted(BAD_FIGURES))
def test_a_figure_that_cannot_be_is_refused_with_the_way_out(shop: Ledger, capsys, what: str):
    words, told = BAD_FIGURES[what]
    code, said = run(shop, capsys, "size", *words)
    assert code == 2 and told in said


def test_a_moisture_over_the_whole_is_refused_at_the_book(shop: Ledger, tmp_path: Path, capsys):
    recipe = shop.book().recipe_of("LEMON")
    assert recipe is not None
    with pytest.raises(BadInput, match="moisture is 105 %, it must lie between 0 % and 100 %"):
        define(shop, replace(recipe, moisture_ppm=1_050_000))
    (tmp_path / "wet.toml").write_text('[recipe.LEMON]\nflavour = "LEMON"\nmoisture = "105 %"\n')
    code, said = run(shop, capsys, "book", "load", str(tmp_path / "wet.toml"))
    assert code == 2 and "105 %" in said and "100 %" in said


def test_the_command_writes_pdf_and_html_and_keeps_the_sheet(shop: Ledger, tmp_path: Path, capsys):
    pdf, html = tmp_path / "s.pdf", tmp_path / "s.html"
    code, said = run(
        shop,
        capsys,
        "sheet",
        "LEMON-SLICE",
        "--flavour",
        "LEMON",
        "--packs",
        "40",
        "--pdf",
        str(pdf),
        "--html",
        str(html),
    )
    assert code == 0 and "Batch " in said and "its sheet is kept" in said
    assert pdf.read_bytes().startswith(b"%PDF") and b"Lemon slice" in html.read_bytes()
    batch = shop.queries.batches(status="open", most=1)["batch"].iloc[0]
    assert batch in said and sheets.kept(shop, batch).sizes.packs == 40
    code, said = run(shop, capsys, "sheet-compare", batch)
    assert code == 0 and "Nothing of it has been cooked yet" in said


def test_the_size_can_be_had_as_whole_numbers(shop: Ledger, capsys):
    code, said = run(shop, capsys, "size", "LEMON-SLICE", "--pieces", "2000", "--json")
    plain = json.loads(said)
    assert code == 0 and plain["sizes"]["pieces_wanted"] == 2000
    assert plain["cook"]["charge_mg"] == sum(line["mass_mg"] for line in plain["charge"])


def test_a_shop_in_pounds_gets_pounds_and_letter(shop: Ledger, capsys):
    define(shop, replace(shop.book().site(), units="us", paper="letter"))
    planned = sheets.plan(shop, LEMON)
    assert (planned.units, planned.paper) == ("us", "letter")
    code, said = run(shop, capsys, "size", "LEMON-SLICE", "--packs", "40")
    assert code == 0 and " lb" in said and "°F" in said
