"""Which step may follow which, and what it may use."""

import pytest

from ledger.domain.batch import commands as bc
from ledger.domain.lots import commands as lc
from ledger.domain.parts import Give, Take
from ledger.errors import BadInput, NotEnough, Refused, UnknownThing
from tests.support.given_when_then import BATCH, DAY, KG, TODAY, Bench, cook, whole_batch


@pytest.fixture
def bench():
    return Bench()


def test_the_first_batch_of_a_day_is_called_year_day_a(bench):
    (event,) = bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    assert event.batch == "26045A"  # 2026-02-14 is day 045 (ISO 8601 ordinal date)
    (event,) = bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    assert event.batch == "26045B"


def test_a_flavour_not_in_the_book_is_refused_with_the_nearest(bench):
    bench.refuses(bc.OpenBatch(day=DAY, flavour="LEMN"), UnknownThing, "LEMN", "LEMON")


def test_a_flavour_without_a_recipe_is_refused(bench):
    bench.refuses(bc.OpenBatch(day=DAY, flavour="MINT"), Refused, "no recipe")


def test_a_day_in_the_future_is_refused(bench):
    bench.refuses(bc.OpenBatch(day="2026-12-02", flavour="LEMON"), Refused, "2026-12-02", TODAY)


def test_a_cut_before_a_build_is_refused_and_says_what_to_record_first(bench):
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    bench.do(cook())
    bench.refuses(bc.CutRods(day=DAY, batch=BATCH), Refused, "no rods", "cook", "Record the roll first")


def test_a_step_before_the_batch_was_opened_is_refused(bench):
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    bench.refuses(cook(day="2026-02-13"), Refused, "2026-02-13", DAY)


def test_two_portions_to_pull_need_a_name(bench):
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    bench.do(cook())
    bench.refuses(bc.Pull(day=DAY, batch=BATCH), BadInput, "26045A-C1", "26045A-C2")


def test_a_whole_batch_loses_nothing(bench):
    before = bench.holds()
    whole_batch(bench)
    water, evaporated, scrap, unexplained = 3 * KG, 3_900_000, 360_000, 220_000
    assert bench.holds() == before + water - evaporated - scrap - unexplained
    for entry in bench.world.log.values():
        if hasattr(entry.event, "takes"):
            bench.balances(entry.event)


def test_packs_carry_their_lot_their_date_and_their_pieces(bench):
    whole_batch(bench)
    jar = bench.lot(f"{BATCH}-J1")
    assert (jar.packs, jar.mass_mg, jar.best_before) == (100, 11_300_000, "2027-02-14")
    assert jar.pieces == 6_170 * 11_300_000 // 13_900_000


def test_packing_more_than_there_is_says_how_many_can_be_packed(bench):
    whole_batch(bench, packs=1)
    error = bench.refuses(bc.PackUp(day=DAY, batch=BATCH, pack="LEMON-JAR", packs=200), Refused, "at most 122")
    assert error.held_mg == 13_900_000 - 113_000


def test_a_pack_of_another_flavour_is_refused(bench):
    whole_batch(bench, packs=1)
    bench.refuses(bc.PackUp(day=DAY, batch=BATCH, pack="MINT-JAR", packs=2), Refused, "MINT", "LEMON")


def test_reboil_may_cross_to_another_batch_and_nothing_else_may(bench):
    whole_batch(bench)
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    bench.refuses(
        bc.Pull(day=DAY, batch="26045B", takes=(Take(lot=f"{BATCH}-C1", basis="all"),)), Refused, "belongs to batch"
    )
    (event,) = bench.do(cook(batch="26045B", takes=(*cook().takes, Take(lot=f"{BATCH}-B1", mass_mg=620_000))))
    assert event.takes[2].solids_ppm == 980_000
    assert bench.lot(f"{BATCH}-B1").mass_mg == 0


def test_closing_sweeps_what_is_left_and_flags_much_of_it(bench):
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    bench.do(cook())
    (event,) = bench.do(bc.CloseBatch(day=DAY, batch=BATCH))
    assert event.unexplained_mg == 15_100_000
    assert [f.code for f in event.flags] == ["left-in-batch"]
    bench.balances(event)
    assert bench.do(bc.CloseBatch(day=DAY, batch=BATCH)) == []


def test_a_closed_batch_takes_no_more_steps(bench):
    whole_batch(bench)
    bench.do(bc.CloseBatch(day=DAY, batch=BATCH))
    bench.refuses(bc.Build(day=DAY, batch=BATCH), Refused, "closed")


def test_nothing_leaves_a_held_lot_until_it_is_released(bench):
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    bench.do(lc.HoldLots(day=DAY, lots=("SUG-1",), reason="supplier called"))
    bench.refuses(cook(), Refused, "supplier called", "release")
    bench.do(lc.ReleaseLots(day=DAY, lots=("SUG-1",), reason="cleared"))
    assert bench.do(cook())


def test_a_count_posts_the_difference_and_flags_it(bench):
    (event,) = bench.do(lc.CountLot(day=DAY, lot="SUG-1", mass_mg=97 * KG))
    assert event.takes[0].mass_mg == 3 * KG
    assert "97.000 kg found, the books said 100.000 kg" in event.flags[0].text
    bench.balances(event)
    assert bench.lot("SUG-1").mass_mg == 97 * KG


def test_a_count_that_found_more_posts_the_other_way(bench):
    whole_batch(bench)
    (event,) = bench.do(lc.CountLot(day=DAY, lot=f"{BATCH}-J1", packs=103))
    assert (event.gives[0].packs, event.gives[0].mass_mg) == (3, 3 * 113_000)
    bench.balances(event)


def test_sampling_more_pieces_than_there_are_is_refused(bench):
    whole_batch(bench)
    bench.refuses(lc.SampleLot(day=DAY, lot=f"{BATCH}-K1", pieces=9_999), NotEnough, "9999 pieces")


def test_a_step_makes_only_what_it_can(bench):
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON"))
    bench.refuses(cook(gives=(Give(lot="", kind="packs", packs=3),)), Refused, "makes mass")
