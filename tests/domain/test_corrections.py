"""Amending and voiding at any later time: what follows is worked out again, or the steps in the way are listed."""

from dataclasses import replace

import pytest

from ledger.domain.batch import commands as bc
from ledger.domain.batch import events as be
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.lots import commands as lc
from ledger.domain.lots.events import LotReceived
from ledger.domain.parts import Give, Loss, Take
from ledger.domain.shelf import commands as sc
from ledger.domain.shelf.events import Sold
from ledger.errors import Refused, StepsInTheWay, UnknownThing
from tests.support.given_when_then import BATCH, DAY, KG, Bench, cook, whole_batch


@pytest.fixture
def bench():
    bench = Bench()
    whole_batch(bench)
    bench.do(bc.CloseBatch(day=DAY, batch=BATCH))
    bench.do(sc.Sell(day=DAY, pack="LEMON-JAR", packs=100, channel="SHOP", amount=60_000))
    return bench


def amend(bench, origin, command, reason="misread"):
    return bench.do(bc.Amend(day=DAY, origin=origin, command=command, reason=reason))


def test_a_lighter_pour_flows_through_every_later_step(bench):
    cooked = bench.position_of(be.Cooked)
    lighter = (cook().gives[0], Give(lot="", kind="mass", mass_mg=6 * KG, portion="white"))
    changed = amend(bench, cooked, cook(gives=lighter))
    assert changed[0].origin == cooked and changed[0].cause == ""
    assert {c.cause for c in changed[1:]} == {changed[0].corrects}
    cut = next(c for c in changed if c.name == "batch.cut")
    assert cut.data["unexplained_mg"] == 120_000  # 220 g before, 100 g less was poured
    assert bench.lot(f"{BATCH}-J1").mass_mg == 0


def test_an_amendment_that_says_the_same_records_nothing(bench):
    assert amend(bench, bench.position_of(be.Cooked), cook()) == []


def test_a_void_under_later_steps_is_refused_with_the_list_of_them(bench):
    error = bench.refuses(
        bc.Void(day=DAY, origin=bench.position_of(be.Cooked), reason="wrong batch"),
        StepsInTheWay,
        "pull of batch 26045A",
        "from the last",
    )
    assert len(error.steps) == 2


def test_the_last_entry_can_be_voided_and_its_packs_are_back(bench):
    bench.do(bc.Void(day=DAY, origin=bench.position_of(Sold), reason="till error"))
    assert bench.lot(f"{BATCH}-J1").packs == 100
    bench.refuses(bc.Void(day=DAY, origin=bench.position_of(Sold), reason="again"), Refused, "voided already")


def test_fewer_packs_than_were_sold_since_is_refused(bench):
    packed = bench.position_of(be.Packed)
    bench.refuses(
        bc.Amend(day=DAY, origin=packed, command=bc.PackUp(day=DAY, batch=BATCH, pack="LEMON-JAR", packs=90), reason="miscount"),
        StepsInTheWay, "sell",
    )  # fmt: skip


def test_more_packs_leave_more_on_the_shelf(bench):
    packed = bench.position_of(be.Packed)
    amend(bench, packed, bc.PackUp(day=DAY, batch=BATCH, pack="LEMON-JAR", packs=110))
    lot = bench.lot(f"{BATCH}-J1")
    assert (lot.packs, lot.mass_mg) == (10, 10 * 113_000)
    assert bench.lot(f"{BATCH}-K1").mass_mg == 13_900_000 - 110 * 113_000


def test_a_receipt_that_cost_more_makes_the_jars_dearer(bench):
    received = bench.position_of(LotReceived)
    sold_before = sum(t.cost for t in bench.world.recorded(bench.position_of(Sold)).event.takes)
    amend(bench, received, lc.ReceiveLot(day=DAY, material="SUGAR", mass_mg=100 * KG, supplier="MILL", cost=18_000))
    sold_after = sum(t.cost for t in bench.world.recorded(bench.position_of(Sold)).event.takes)
    assert sold_after - sold_before == pytest.approx(900 * 11_300_000 / (13_900_000 + 620_000), abs=3)


def test_a_receipt_smaller_than_what_was_used_is_refused(bench):
    received = bench.position_of(LotReceived)
    bench.refuses(
        bc.Amend(day=DAY, origin=received, reason="x", command=lc.ReceiveLot(day=DAY, material="SUGAR", mass_mg=9 * KG, supplier="MILL")),
        StepsInTheWay, "cook of batch",
    )  # fmt: skip


def test_an_amended_entry_can_be_amended_again(bench):
    cooked = bench.position_of(be.Cooked)
    for mass in (6_000_000, 6_050_000, 6_100_000):
        amend(bench, cooked, cook(gives=(cook().gives[0], Give(lot="", kind="mass", mass_mg=mass, portion="white"))))
    assert bench.world.recorded(cooked).event.gives[1].mass_mg == 6_100_000
    assert bench.lot(f"{BATCH}-C2").mass_mg == 0


def test_a_forgotten_loss_can_be_added_later(bench):
    cut = bench.position_of(be.Cut)
    old = bench.world.recorded(cut).event
    losses = (*old.losses, Loss(cause="crumbs", mass_mg=200_000))
    amend(bench, cut, bc.CutRods(day=DAY, batch=BATCH, losses=losses, gives=old.gives))
    assert bench.world.recorded(cut).event.unexplained_mg == 20_000


def test_a_sale_amended_down_gives_the_packs_back(bench):
    sold = bench.position_of(Sold)
    amend(bench, sold, sc.Sell(day=DAY, pack="LEMON-JAR", packs=98, channel="SHOP", amount=58_800))
    assert bench.lot(f"{BATCH}-J1").packs == 2


def test_an_entry_that_is_not_there_cannot_be_amended(bench):
    bench.refuses(bc.Void(day=DAY, origin=9_999, reason="x"), UnknownThing, "9999")


def test_an_amendment_needs_a_reason(bench):
    bench.refuses(bc.Amend(day=DAY, origin=bench.position_of(Sold), command=cook(), reason=" "), Refused, "reason")


def test_an_entry_cannot_turn_into_another_kind(bench):
    bench.refuses(
        bc.Amend(
            day=DAY, origin=bench.position_of(Sold), reason="x", command=lc.SampleLot(day=DAY, lot="SUG-1", mass_mg=1)
        ),
        Refused,
        "cannot become",
    )


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"recipe": "OTHER"}, "recipe LEMON"),
        ({"day": "2026-02-13"}, f"day {DAY}"),
        ({"batch": "26045Z"}, f"code {BATCH}"),
    ],
)
def test_recipe_day_and_code_of_an_opening_stand_and_the_way_out_is_told(said, told):
    bench = Bench()
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    opened = bench.position_of(be.BatchOpened)
    command = bc.OpenBatch(**{"day": DAY, "flavour": "LEMON", **said})
    amendment = bc.Amend(day=DAY, origin=opened, command=command, reason="x")
    bench.refuses(amendment, Refused, f"{told}.*Void the opening .entry {opened}.")


def test_a_batch_opened_as_the_wrong_flavour_is_judged_by_the_right_ones_recipe():
    bench = Bench()
    bench.do(
        Define(
            day=DAY,
            entry=replace(
                bench.world.book.get(e.Recipe, "LEMON"), id="MINT", flavour="MINT", end_temperature_mc=151_000
            ),
        )
    )
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR"))
    opened = bench.position_of(be.BatchOpened)
    bench.do(bc.Amend(day=DAY, origin=opened, command=bc.OpenBatch(day=DAY, flavour="MINT"), reason="wrong jar of oil"))
    batch = bench.world.batch(BATCH)
    assert (batch.flavour, batch.design, batch.recipe, batch.end_temperature_mc) == ("MINT", "", "MINT", 151_000)


def test_closing_too_soon_is_voided_and_the_sweep_comes_back():
    bench = Bench()
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    bench.do(cook())
    bench.do(bc.CloseBatch(day=DAY, batch=BATCH))
    bench.do(bc.Void(day=DAY, origin=bench.position_of(be.BatchClosed), reason="too soon"))
    assert bench.lot(f"{BATCH}-C1").mass_mg == 9 * KG
    assert bench.do(bc.Build(day=DAY, batch=BATCH))
    assert Take
