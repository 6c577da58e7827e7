"""A recall over the real ledger: started once however many ask, and a progress that is the ledger's own movements and adds up."""

from __future__ import annotations

from threading import Barrier, Thread

import pytest

from ledger.application import audit_recall
from ledger.application.ledger import Ledger, open_ledger
from ledger.domain.batch.commands import Void
from ledger.domain.books import entries as e
from ledger.domain.shelf.commands import Ship
from ledger.errors import BadInput, Refused
from ledger.trace.queries import load
from ledger.trace.recall_progress import SIGNS, sum_in_words
from tests.application.audit_shop import audit_file, shop
from tests.application.test_audit import a_used_lot

__all__ = ["audit_file", "shop"]


def adds_up(ledger: Ledger, code: str) -> None:
    case = audit_recall.the_recall(ledger, code)
    frame = audit_recall.work(ledger, code).recall.progress
    assert len(frame)
    assert (sum(sign * frame[name] for name, sign in SIGNS.items()) == frame["on_hand"]).all()
    for row in frame.to_dict("records"):  # what was there at the start is what the ledger said at that position
        then = load(ledger.queries, row["lot"], "backward", known=case.position).lot(row["lot"])
        assert (
            row["at_start"]
            == {"packs": then.on_hand_packs, "pieces": then.on_hand_pieces, "mg": then.on_hand_mg}[row["unit"]]
        )


def a_delivery(shop: Ledger) -> tuple[str, str]:
    """A packed lot with some on hand, of which a customer got six packs."""
    row = shop.queries.lots(kinds=["packs"]).query("packs >= 20").iloc[-1]
    shop.do(
        Ship(day=shop.today(), pack=str(row["item"]), packs=6, customer="MUSEUM", lot=str(row["lot"]), document="INV-1")
    )
    return str(row["lot"]), "MUSEUM"


def test_asking_twice_gives_the_open_recall_and_records_nothing(shop: Ledger) -> None:
    lot = a_used_lot(shop)
    first = audit_recall.start(shop, lot, "the maker called it back", by="MK")
    position = shop.queries.as_of().position
    again = audit_recall.start(shop, lot, "somebody else says so too", by="TB")
    assert (first.was_open, again.was_open, again.recall) == (False, True, first.recall)
    assert shop.queries.as_of().position == position and not again.outcome.first
    with pytest.raises(Refused, match=f"Recall {first.recall} is open"):
        audit_recall.start(shop, lot, "practice", drill=True)
    audit_recall.close(shop, first.recall)
    assert audit_recall.start(shop, lot, "again").recall != first.recall


def test_a_real_recall_starts_during_a_drill_at_the_same_lot(shop: Ledger) -> None:
    lot = a_used_lot(shop)
    drill = audit_recall.start(shop, lot, "practice", drill=True)
    real = audit_recall.start(shop, lot, "in earnest")
    assert not real.was_open and real.recall != drill.recall
    audit_recall.close(shop, drill.recall, release=True)
    assert set(shop.queries.lots(names=list(audit_recall.the_recall(shop, real.recall).started.lots))["held"]) == {
        f"recall {real.recall}"
    }


def test_two_people_starting_at_once_start_one_recall_and_two_lots_get_two_codes(shop: Ledger) -> None:
    lots = [a_used_lot(shop), *shop.queries.lots(kinds=["packs"])["lot"].tail(1)]
    found: list[audit_recall.Started] = []
    gate = Barrier(4)

    def one(lot: str) -> None:
        gate.wait()
        found.append(audit_recall.start(shop, lot, "now"))

    threads = [Thread(target=one, args=(lot,)) for lot in (*lots, *lots)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert sorted(x.was_open for x in found) == [False, False, True, True]
    assert len({x.recall for x in found}) == 2 == len(audit_recall.recalls(shop))


def test_what_comes_back_is_counted_and_destroyed_moves_the_stock_and_the_progress_adds_up(shop: Ledger) -> None:
    lot, customer = a_delivery(shop)
    there = int(shop.queries.lot(lot)["packs"])
    code = audit_recall.start(shop, lot, "smudged label").recall
    adds_up(shop, code)
    audit_recall.note(shop, code, "called", partner=customer)
    audit_recall.note(shop, code, "pulled", partner=customer, packs=5)
    audit_recall.note(
        shop, code, "returned", partner=customer, packs=4
    )  # one affected lot went there: no need to name it
    back = shop.queries.as_of().position
    audit_recall.note(shop, code, "counted", lot=lot, packs=there + 3)
    audit_recall.note(shop, code, "destroyed", lot=f"L {lot.lower()}", packs=10)
    adds_up(shop, code)
    worked = audit_recall.work(shop, code).recall
    [row] = worked.progress.to_dict("records")
    assert (row["at_start"], row["came_back"], row["not_found"], row["destroyed"], row["on_hand"]) == (
        there,
        4,
        1,
        10,
        there - 7,
    )
    assert row["counted"] is not None
    assert (
        sum_in_words(worked.progress, "packs")
        == f"{there} at the start + 4 came back - 10 destroyed - 1 not found = {there - 7} on hand (packs)"
    )
    assert int(worked.accounts["still_out"].iloc[0]) == 2
    assert worked.unexplained == 1 and worked.score < 100, "what a count does not find is the finding"
    [told] = worked.told
    assert (told.party, told.set_aside, told.came_back) == (customer, 5, 4)
    report = audit_recall.report(shop, code)
    assert ("Stock since the start", sum_in_words(worked.progress, "packs")) in report.facts
    shop.do(Void(day=shop.today(), origin=back, reason="the box was empty"))
    after = audit_recall.work(shop, code).recall
    assert int(after.progress["came_back"].iloc[0]) == 0 and after.told[0].came_back == 0, (
        "a voided return is no progress"
    )
    assert any("returned" in what and "(corrected since)" in what for what, _ in after.clock)


def test_a_return_without_its_lot_is_asked_for_when_the_customer_had_several_or_none(shop: Ledger) -> None:
    lot, _ = a_delivery(shop)
    code = audit_recall.start(shop, lot, "smudged label").recall
    with pytest.raises(BadInput, match="no affected lot was delivered to HOTEL"):
        audit_recall.note(shop, code, "returned", partner="HOTEL", packs=1)
    with pytest.raises(BadInput, match="Say which lot"):
        audit_recall.note(shop, code, "counted", packs=1)
    batch = str(shop.queries.lot(lot)["batch"])
    with pytest.raises(BadInput, match=f"{batch} is a batch; name one of its lots"):
        audit_recall.note(shop, code, "counted", lot=batch, packs=1)


def test_the_same_note_sent_twice_after_a_lost_answer_posts_once(shop: Ledger) -> None:
    lot, customer = a_delivery(shop)
    code = audit_recall.start(shop, lot, "smudged label").recall
    for _ in range(2):
        done = audit_recall.note(shop, code, "returned", partner=customer, lot=lot, packs=2, command_id="tap-1")
    assert done.repeated
    assert int(audit_recall.work(shop, code).recall.progress["came_back"].iloc[0]) == 2


def test_a_recall_of_a_ledger_opened_anew_knows_what_is_open(shop: Ledger, tmp_path: object) -> None:
    lot = a_used_lot(shop)
    code = audit_recall.start(shop, lot, "first").recall
    other = open_ledger(f"sqlite:///{tmp_path}/shop.sqlite")
    assert audit_recall.start(other, lot, "second").recall == code
    other.close()


def test_the_report_calls_the_places_by_their_names_and_by_their_codes_where_they_have_none(shop: Ledger) -> None:
    """Every cell under `place`, by hand: the book's name of the station the lot was made at."""
    code = audit_recall.start(shop, a_used_lot(shop), "practice", drill=True).recall
    names = {s.id: s.name for s in shop.book().all(e.Station)}
    worked = audit_recall.work(shop, code)
    tables = [a.table for a in audit_recall.report(shop, code).answers if a.table is not None and "place" in a.table]
    seen = {place for table in tables for place in table["place"]}
    assert len(tables) >= 2 and seen & set(names.values()) and not seen & set(names)
    whole = next(table for table in tables if "made" in table)
    for row in whole.to_dict("records"):
        place = worked.graph.lot(row["lot"]).place
        assert row["place"] == names.get(place, place)
