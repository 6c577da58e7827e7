"""The log tells in one line what an entry says, in the shop's own words and units."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from dashboard.components.gist import gist
from dashboard.shell import render
from ledger.application.ledger import Ledger
from ledger.application.reports_types import shop_of
from ledger.domain.shelf.commands import Sell
from tests.dashboard.test_pages import text_of

GOLDEN = Path(__file__).parent.parent / "golden" / "events"
"""One sample of every kind of entry ever released."""


def test_a_sale_says_how_many_of_what_and_where(demo: Ledger) -> None:
    lot = demo.queries.lots(kinds=["packs"]).query("packs >= 3").iloc[0]
    demo.do(Sell(day=demo.today(), pack=str(lot["item"]), packs=2, channel="SHOP", amount=1300), "MK")
    said = text_of(render(demo, "/log", "?name=shelf.sold"))
    shop = shop_of(demo.book(), demo.book().site())
    assert f"2 x {shop.name('item', str(lot['item']))}; " in said


@pytest.mark.parametrize("file", sorted(GOLDEN.glob("*.v1.json")), ids=lambda p: p.name)
def test_every_kind_of_entry_has_a_line_or_says_all_by_its_kind(file: Path, demo: Ledger) -> None:
    name = file.name.removesuffix(".v1.json")
    said = gist(name, json.loads(file.read_text()), shop_of(demo.book(), demo.book().site()))
    assert "{" not in said and "None" not in said and len(said) < 200
    if name.startswith(("lot.", "book.", "ledger.", "shelf.sold", "shelf.shipped", "batch.cut", "batch.packed")):
        assert said


def test_a_shop_in_pounds_reads_pounds(demo: Ledger) -> None:
    data = json.loads((GOLDEN / "lot.received.v1.json").read_text())
    shop = shop_of(demo.book(), demo.book().site())
    assert " kg" in gist("lot.received", data, shop) and " lb" in gist("lot.received", data, replace(shop, units="us"))
