"""What may leave the shelf, from which lot, and what may come back."""

import pytest

from ledger.domain.batch import commands as bc
from ledger.domain.lots import commands as lc
from ledger.domain.shelf import commands as sc
from ledger.errors import NotEnough, Refused, UnknownThing
from tests.support.given_when_then import BATCH, DAY, Bench, whole_batch


@pytest.fixture
def bench():
    bench = Bench()
    whole_batch(bench, packs=60)
    bench.do(bc.PackUp(day="2026-02-16", batch=BATCH, pack="LEMON-JAR", packs=40))
    return bench


def sell(packs, **changes):
    return sc.Sell(
        **{
            "day": "2026-03-01",
            "pack": "LEMON-JAR",
            "packs": packs,
            "channel": "SHOP",
            "amount": packs * 600,
            **changes,
        }
    )


def test_the_first_to_expire_goes_first_and_the_next_follows(bench):
    (event,) = bench.do(sell(70))
    assert [(t.lot, t.packs) for t in event.takes] == [(f"{BATCH}-J1", 60), (f"{BATCH}-J2", 10)]
    bench.balances(event)


def test_more_than_the_shelf_holds_is_refused_with_both_figures(bench):
    error = bench.refuses(sell(101), NotEnough, "101 packs", "hold 100")
    assert (error.asked, error.held) == (101, 100)


def test_a_held_lot_is_passed_over_and_not_sold_by_name(bench):
    bench.do(lc.HoldLots(day=DAY, lots=(f"{BATCH}-J1",), reason="drill"))
    (event,) = bench.do(sell(5))
    assert event.takes[0].lot == f"{BATCH}-J2"
    bench.refuses(sell(1, lot=f"{BATCH}-J1"), Refused, "held", "drill")


def test_the_last_pack_takes_the_last_milligram(bench):
    bench.do(sell(59, lot=f"{BATCH}-J1"))
    bench.do(sell(1, lot=f"{BATCH}-J1"))
    lot = bench.lot(f"{BATCH}-J1")
    assert (lot.packs, lot.mass_mg, lot.pieces, lot.cost) == (0, 0, 0, 0)


def test_a_sale_past_the_date_is_accepted_and_flagged(bench):
    (event,) = bench.do(sell(1, day="2026-11-30"))
    assert not event.flags
    bench.world.lots[f"{BATCH}-J1"].best_before = "2026-05-01"
    (event,) = bench.do(sell(1, day="2026-11-30", lot=f"{BATCH}-J1"))
    assert [f.code for f in event.flags] == ["past-date"]


def test_goods_to_a_business_name_it_and_come_back_from_it(bench):
    (event,) = bench.do(
        sc.Ship(day="2026-03-01", pack="LEMON-JAR", packs=20, customer="CAFE", document="D-7", amount=9_000)
    )
    assert (event.partner, event.channel, event.document) == ("CAFE", "WHOLESALE", "D-7")
    (back,) = bench.do(sc.TakeBack(day="2026-03-02", lot=f"{BATCH}-J1", packs=5, customer="CAFE", amount=2_250))
    bench.balances(back)
    assert bench.lot(f"{BATCH}-J1").packs == 45


def test_more_than_ever_left_cannot_come_back(bench):
    bench.do(sell(3, lot=f"{BATCH}-J1"))
    bench.refuses(sc.TakeBack(day="2026-03-02", lot=f"{BATCH}-J1", packs=4), NotEnough, "60 were made and 57")


def test_an_unknown_channel_is_refused(bench):
    bench.refuses(sell(1, channel="MOON"), UnknownThing, "MOON", "SHOP")
