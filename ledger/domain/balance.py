"""What one movement does to one lot's balance: the arithmetic behind the fold, a correction and a look back."""

from __future__ import annotations

from ledger.domain.movement import Movement
from ledger.domain.parts import Give, Take
from ledger.domain.state import Lot

ADDS_TO = frozenset({"return", "count"})
"""Steps that put something back into a lot made earlier."""


def add_to(lot: Lot, event: Movement, sign: int = 1) -> None:
    """Add what one movement does to one lot's balance."""
    for t in event.takes:
        if t.lot == lot.lot:
            draw(lot, t, sign)
    for g in event.gives:
        if g.lot == lot.lot:
            lot.kind, lot.item = g.kind, g.item or lot.item
            put(lot, g, sign, event.step not in ADDS_TO)


def draw(lot: Lot, take: Take, sign: int) -> None:
    """Take out of a lot (sign 1), or put it back (-1)."""
    lot.mass_mg -= sign * take.mass_mg
    lot.pieces -= sign * take.pieces
    lot.packs -= sign * take.packs
    lot.cost -= sign * take.cost


def put(lot: Lot, give: Give, sign: int, made: bool) -> None:
    """Put into a lot (sign 1), or take it back (-1); `made`: what comes in was made, so that it counts for what the lot held once."""
    lot.mass_mg += sign * give.mass_mg
    lot.pieces += sign * give.pieces
    lot.packs += sign * give.packs
    lot.cost += sign * give.cost
    if made:
        lot.made_mg += sign * give.mass_mg
        lot.made_pieces += sign * give.pieces
        lot.made_packs += sign * give.packs
