"""What a sheet takes from the ledger: yields, densities, lots, allergens, doses. Checked against sums made by hand over raw postings."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ledger.application import sheets
from ledger.application.ledger import Ledger
from ledger.application.sheets import Ask
from ledger.craft.sheet import BatchSheet, SheetLine
from ledger.domain.batch import commands as c
from ledger.domain.books import entries as e
from ledger.domain.lots.commands import CountLot, HoldLots
from tests.application.sheets.support import LEMON, define, make


def by_hand(ledger: Ledger, flavour: str) -> list[float]:
    """Good pieces over cooked mass of each closed batch, summed over raw postings."""
    shares = []
    for batch in ledger.queries.batches(status="closed", flavour=flavour)["batch"][::-1]:
        rows = ledger.queries.postings(batch=batch)
        cook, cut = rows[rows.step == "cook"], rows[rows.step == "cut"]
        went_in = -cook[(cook.mass_mg < 0)].mass_mg.sum()
        air = rows[rows.kind == "air"].mass_mg.sum()
        good = cut[(cut.kind == "lot.pieces") & (cut.mass_mg > 0)].mass_mg.sum()
        shares.append(good / (went_in - air))
    return shares


def test_the_yield_is_the_mean_of_the_flavours_own_batches(shop: Ledger):
    shares = by_hand(shop, "LEMON")
    assert len(shares) >= 5
    found = sheets.plan(shop, LEMON).sheet.process_yield
    assert found.batches == len(shares)
    # Rounded to parts per million, once: half of one is all that may differ.
    assert found.likely_ppm == pytest.approx(1e6 * sum(shares) / len(shares), abs=0.6)


def test_an_amended_weighing_changes_the_next_sheet(shop: Ledger):
    before = sheets.plan(shop, LEMON).sheet.process_yield.likely_ppm
    batch = str(shop.queries.batches(status="closed", flavour="LEMON").iloc[0]["batch"])
    row = shop.queries.log(batch=batch, name="batch.cut").iloc[0]
    cut = shop.queries.event(int(row["position"]))
    give = cut.gives[0]
    lighter = c.CutRods(
        day=cut.day, batch=batch, gives=(replace(give, mass_mg=give.mass_mg - 400_000), *cut.gives[1:]), piece_um=cut.piece_um
    )  # fmt: skip
    shop.do(c.Amend(day=shop.today(), origin=int(row["position"]), command=lighter, reason="read the scale wrong"))
    assert sheets.plan(shop, LEMON).sheet.process_yield.likely_ppm < before


def test_the_density_is_learned_from_counted_and_weighed_pieces(shop: Ledger):
    sizes = sheets.plan(shop, LEMON).sheet.sizes
    lots = shop.queries.lots(holding=False, kinds=["pieces"], flavour="LEMON")
    volume = 3.141592653589793 / 4 * 12.7**2 * 12.7  # mm3: both are half an inch in the book
    mean = sum(lots.made_mg / lots.made_pieces / volume * 1000) / len(lots)
    assert sizes.density_weighings == len(lots) >= 3
    assert sizes.density_kg_m3 == pytest.approx(mean, abs=0.6)


def test_a_lot_promised_to_a_batch_not_cooked_yet_is_not_promised_twice(shop: Ledger):
    def oil(sheet: BatchSheet) -> SheetLine:
        return next(line for line in sheet.additions if line.material == "Lemon oil")

    need = oil(sheets.plan(shop, LEMON).sheet).mass_mg
    lots = [str(x) for x in shop.queries.lots(kinds=["material"], item="LEMONOIL")["lot"]]
    for number, lot in enumerate(lots):
        shop.do(CountLot(day=shop.today(), lot=lot, mass_mg=0 if number else need * 3 // 2))
    first = sheets.issue(shop, LEMON)
    assert oil(first.planned.sheet).short_mg == 0
    second = sheets.plan(shop, LEMON)
    assert oil(second.sheet).short_mg == need - need // 2
    assert any(first.batch in note for note in second.notes)
    make(shop, first.planned.sheet)  # once it is cooked the lot itself says what is left
    assert oil(sheets.plan(shop, LEMON).sheet).short_mg == need - need // 2


def test_a_held_lot_is_not_proposed_and_what_is_short_is_said(shop: Ledger):
    lots = [str(x) for x in shop.queries.lots(kinds=["material"], item="LEMONOIL")["lot"]]
    for lot in lots:
        shop.do(HoldLots(day=shop.today(), lots=(lot,), reason="cloudy"))
    planned = sheets.plan(shop, LEMON)
    oil = next(line for line in planned.sheet.additions if line.material == "Lemon oil")
    assert not oil.lots and oil.short_mg == oil.mass_mg
    assert any(flag.code == "lot-short" and flag.subject == "Lemon oil" for flag in planned.sheet.flags)
    assert any(lots[0] in note for note in planned.notes)


def test_allergens_come_from_the_materials_and_the_changeover_from_the_batch_before(shop: Ledger):
    define(shop, replace(shop.book().get(e.Material, "LEMONOIL"), allergens=("milk",)))
    done = sheets.issue(shop, LEMON)
    assert done.planned.sheet.allergens == ("milk",)
    assert "milk" not in done.planned.sheet.changeover
    make(shop, done.planned.sheet)
    assert "The batch before held milk" in sheets.plan(shop, Ask(design="MINT-STRIPE", packs=80)).sheet.changeover
    assert "Nothing carried over" in sheets.plan(shop, LEMON).sheet.changeover


@pytest.mark.parametrize("design", ["MINT-STRIPE", "RHUBARB-STRIPE", "GINGER-STICK", "HOLLY"])
def test_striped_plain_and_picture_work_can_all_be_sized(shop: Ledger, design: str):
    planned = sheets.plan(shop, Ask(design=design, packs=80))
    assert planned.sheet.process_yield.good_pieces >= planned.sheet.sizes.pieces_wanted > 0
    dyed = sum(line.mass_mg for line in planned.sheet.dyes)
    assert (dyed > 0) == (design != "GINGER-STICK")


def test_a_stripes_dose_is_the_recipes(shop: Ledger):
    """Beet red in the book: 3.4 g for a full kettle as written, so the same share of any size of batch."""
    recipe = shop.book().recipe_of("PEPPERMINT")
    assert recipe is not None
    solids = sum(
        x.mass_mg * shop.book().get(e.Material, x.material).solids_ppm for x in recipe.lines if x.mass_mg > 10**6
    )
    full = solids / (1_000_000 - recipe.moisture_ppm)
    sheet = sheets.plan(shop, Ask(design="MINT-STRIPE", packs=80)).sheet
    # The recipe's dose is for the cooked mass; the slab carries the few grams of flavour too: 0.2 %.
    assert sheet.dyes[0].mass_mg == pytest.approx(3_400 * sheet.cook.slab_mg / full, rel=3e-3)


def test_a_thinner_log_is_named_where_the_ends_take_too_much_and_it_helps(shop: Ledger):
    ask = replace(LEMON, log_um=260_000)
    planned = sheets.plan(shop, ask)
    assert [flag.code for flag in planned.sheet.flags] == ["ends-exceed-yield"]
    named = int(planned.hints[0].split(" mm")[0].split()[-1])
    helped = sheets.plan(shop, replace(ask, log_um=named * 1000)).sheet
    assert helped.sizes.pieces_cut >= helped.sizes.pieces_wanted
    assert not helped.flags
    assert helped.cook.slab_mg < planned.sheet.cook.slab_mg
    worse = sheets.plan(shop, replace(ask, log_um=(named + 15) * 1000)).sheet
    assert [flag.code for flag in worse.flags] in ([], ["ends-exceed-yield"])
    assert worse.cook.slab_mg >= helped.cook.slab_mg
