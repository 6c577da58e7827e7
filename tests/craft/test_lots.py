"""First expired, first out; and what is short."""

from __future__ import annotations

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from ledger.craft.lots import LotOnHand, propose_lots

ON = date(2026, 11, 26)


def lot(name: str, mass: int, best_before: date | None = None, material: str = "sugar") -> LotOnHand:
    return LotOnHand(lot=name, material=material, mass_mg=mass, best_before=best_before)


def test_the_lot_that_expires_first_is_taken_first():
    proposal = propose_lots(
        "sugar", 150, [lot("B", 100, date(2027, 5, 1)), lot("A", 100, date(2028, 1, 1)), lot("C", 100)], ON
    )
    assert [(share.lot, share.mass_mg) for share in proposal.shares] == [("B", 100), ("A", 50)]
    assert proposal.short_mg == 0


def test_undated_lots_come_last():
    proposal = propose_lots("sugar", 10, [lot("A", 5), lot("B", 100, date(2099, 1, 1))], ON)
    assert [share.lot for share in proposal.shares] == ["B"]


def test_a_lot_past_its_date_is_named_and_not_taken():
    proposal = propose_lots("sugar", 10, [lot("OLD", 100, date(2026, 11, 25)), lot("TODAY", 4, ON)], ON)
    assert [share.lot for share in proposal.shares] == ["TODAY"]
    assert (proposal.short_mg, proposal.past_date) == (6, ("OLD",))


def test_another_materials_lots_are_left_alone():
    assert propose_lots("sugar", 7, [lot("S", 100, material="syrup")], ON).short_mg == 7


@given(
    st.integers(0, 500),
    st.lists(st.tuples(st.integers(0, 200), st.one_of(st.none(), st.dates(date(2026, 1, 1), date(2028, 1, 1))))),
)
def test_what_is_proposed_and_what_is_short_make_what_is_needed(needed, rows):
    lots = [lot(f"L{i}", mass, best) for i, (mass, best) in enumerate(rows)]
    proposal = propose_lots("sugar", needed, lots, ON)
    assert sum(share.mass_mg for share in proposal.shares) + proposal.short_mg == needed
    on_hand = {item.lot: item.mass_mg for item in lots}
    assert all(0 < share.mass_mg <= on_hand[share.lot] for share in proposal.shares)
