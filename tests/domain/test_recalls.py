"""A recall: started once, its holds, and what is counted, brought back or destroyed in it, as movements of the ledger."""

from __future__ import annotations

import pytest

from ledger.domain.batch.commands import Void
from ledger.domain.lots.events import LotCounted, LotScrapped, LotsHeld, LotsReleased
from ledger.domain.season.commands import CloseRecall, NoteRecall, StartRecall
from ledger.domain.season.events import RecallClosed, RecallNoted, RecallStarted
from ledger.domain.shelf.commands import Sell, Ship
from ledger.domain.shelf.events import Returned
from ledger.errors import BadInput, NotEnough, Refused, UnknownThing
from tests.support.given_when_then import DAY, KG, Bench, whole_batch

JAR = "26045A-J1"


def start(recall: str = "R-1", lot: str = JAR, lots: tuple[str, ...] = (JAR,), drill: bool = False) -> StartRecall:
    return StartRecall(
        day=DAY,
        recall=recall,
        lot=lot,
        reason="smudged label",
        drill=drill,
        lots=lots,
        started_at="2026-02-14T12:00:00.000000Z",
    )


def note(kind: str, recall: str = "R-1", **more: object) -> NoteRecall:
    return NoteRecall(day=DAY, recall=recall, kind=kind, **more)  # type: ignore[arg-type]


def close(recall: str = "R-1", release: bool = False) -> CloseRecall:
    return CloseRecall(
        day=DAY,
        recall=recall,
        accounted_ppm=1_000_000,
        figures={},
        closed_at="2026-02-14T13:00:00.000000Z",
        release=release,
    )


@pytest.fixture
def bench() -> Bench:
    made = Bench()
    whole_batch(made)
    made.do(Ship(day=DAY, pack="LEMON-JAR", packs=20, customer="CAFE", lot=JAR))
    return made


def test_a_second_start_at_the_same_lot_is_refused_naming_the_open_one_and_the_way_out(bench: Bench) -> None:
    bench.do(start())
    error = bench.refuses(
        start("R-2"), Refused, "Recall R-1 is open at lot 26045A-J1", "smudged label", "slabbook recall close R-1"
    )
    assert error.facts["recall"] == "R-1" and error.facts["drill"] is False
    bench.refuses(start("D-2", drill=True), Refused, "Recall R-1 is open")
    assert bench.do(start()) == [], "the same command again finds nothing to do"
    bench.refuses(start("R-1", lot="SUG-1"), Refused, "belongs to another recall")


def test_once_closed_a_lot_can_be_recalled_again_and_another_lot_at_any_time(bench: Bench) -> None:
    bench.do(start())
    assert isinstance(bench.do(start("R-2", lot="SUG-1", lots=("SUG-1", JAR)))[0], RecallStarted)
    bench.do(close())
    assert isinstance(bench.do(start("R-3"))[0], RecallStarted)


def test_a_recall_in_earnest_may_start_during_a_drill_and_takes_its_holds_over(bench: Bench) -> None:
    bench.do(start("D-1", drill=True))
    started, held = bench.do(start("R-1"))
    assert isinstance(started, RecallStarted) and held == LotsHeld(
        day=DAY, lots=(JAR,), reason="recall R-1", recall="R-1"
    )
    bench.do(close("D-1", release=True))
    assert bench.world.lot(JAR).held == "recall R-1", "closing the drill frees nothing that the recall holds"


def test_closing_one_of_two_recalls_passes_the_lots_on_to_the_other(bench: Bench) -> None:
    bench.do(start("R-1"))
    bench.do(start("R-2", lot="SUG-1", lots=("SUG-1", JAR)))
    assert bench.do(close("R-1", release=True))[1:] == [
        LotsHeld(day=DAY, lots=(JAR,), reason="recall R-2", recall="R-2")
    ]
    assert bench.do(close("R-2", release=True))[1:] == [
        LotsReleased(day=DAY, lots=(JAR, "SUG-1"), reason="recall R-2 closed", recall="R-2")
    ]


def test_packs_that_come_back_go_into_their_lot_are_held_and_cannot_be_sold(bench: Bench) -> None:
    bench.do(start(lots=()))  # an older recall that did not hold the lot
    before = bench.world.lot(JAR).packs
    noted, back, held = bench.do(note("returned", lot=JAR, packs=5, partner="CAFE", amount=2_500))
    assert isinstance(noted, RecallNoted) and (noted.lot, noted.packs) == (JAR, 5)
    assert isinstance(back, Returned) and (back.partner, back.channel, back.money) == ("CAFE", "WHOLESALE", -2_500)
    assert held == LotsHeld(day=DAY, lots=(JAR,), reason="recall R-1", recall="R-1")
    assert bench.world.lot(JAR).packs == before + 5
    bench.refuses(Sell(day=DAY, pack="LEMON-JAR", packs=1, channel="SHOP", lot=JAR), Refused, "is held")
    assert len(bench.do(note("returned", lot=JAR, packs=1, partner="CAFE"))) == 2, "held already: no second hold"


def test_a_count_in_a_recall_is_a_stock_take_and_the_gap_is_posted(bench: Bench) -> None:
    bench.do(start())
    there = bench.world.lot(JAR).packs
    _, counted = bench.do(note("counted", lot=JAR, packs=there - 2))
    assert isinstance(counted, LotCounted) and counted.takes[0].packs == 2 and counted.note == "recall R-1"
    assert bench.world.lot(JAR).packs == there - 2
    _, none_left = bench.do(note("counted", lot=JAR, packs=0))
    assert none_left.takes[0].packs == there - 2 and bench.world.lot(JAR).packs == 0
    bench.refuses(note("counted", lot=JAR), BadInput, "Say what was found", "Nothing found is 0")


def test_a_lot_kept_by_weight_is_counted_and_destroyed_by_weight(bench: Bench) -> None:
    bench.do(start(lot="SUG-1", lots=("SUG-1", JAR)))
    bench.do(note("counted", lot="SUG-1", mass_mg=50 * KG))
    assert bench.world.lot("SUG-1").mass_mg == 50 * KG
    _, scrapped = bench.do(note("destroyed", lot="SUG-1", mass_mg=20 * KG))
    assert isinstance(scrapped, LotScrapped) and (scrapped.partner, scrapped.takes[0].mass_mg) == ("recall", 20 * KG)
    bench.do(note("destroyed", lot="SUG-1"))
    assert bench.world.lot("SUG-1").mass_mg == 0
    bench.refuses(note("destroyed", lot="SUG-1"), Refused, "holds nothing")
    bench.refuses(note("counted", lot="SUG-1", packs=3), BadInput, "mass")


def test_what_moves_stock_needs_its_lot_of_this_recall_and_never_more_than_left(bench: Bench) -> None:
    bench.do(start())
    for kind in ("returned", "counted", "destroyed"):
        bench.refuses(note(kind, packs=1), BadInput, "Say which lot")
    bench.refuses(note("returned", lot="SUG-1", packs=1), Refused, "not among the lots of recall R-1")
    bench.refuses(note("returned", lot="NOPE", packs=1), UnknownThing, "no lot")
    bench.refuses(note("returned", lot=JAR, packs=500), NotEnough, "cannot come back")
    bench.refuses(note("returned", lot=JAR, packs=1, partner="WHO"), UnknownThing, "no partner")


def test_in_a_drill_nothing_comes_back_or_is_destroyed_but_the_shelf_is_counted(bench: Bench) -> None:
    bench.do(start("D-1", drill=True))
    for kind in ("returned", "destroyed"):
        bench.refuses(note(kind, "D-1", lot=JAR, packs=1), Refused, "is a drill", "slabbook return")
    assert len(bench.do(note("counted", "D-1", lot=JAR, packs=bench.world.lot(JAR).packs))) == 2


def test_a_note_that_moves_nothing_is_one_entry_and_a_wrong_one_is_refused(bench: Bench) -> None:
    bench.do(start())
    assert len(bench.do(note("pulled", partner="CAFE", packs=3))) == 1
    bench.refuses(note("shouted"), BadInput, "nothing that can be noted", "destroyed")
    bench.refuses(note("called"), BadInput, "which customer")
    bench.refuses(note("pulled", packs=-1), BadInput, "cannot be")
    bench.do(close())
    bench.refuses(note("note", text="late"), Refused, "is closed")
    assert isinstance(bench.do(start("R-2"))[0], RecallStarted) and isinstance(bench.do(close("R-2"))[0], RecallClosed)


def test_a_return_in_a_recall_is_voided_like_any_other_entry(bench: Bench) -> None:
    bench.do(start())
    before = bench.world.lot(JAR).packs
    bench.do(note("returned", lot=JAR, packs=5, partner="CAFE"))
    bench.do(Void(day=DAY, origin=bench.position, reason="counted twice"))
    assert bench.world.lot(JAR).packs == before
