"""Lines of the sheet that are weighed from the shelf, and the note on cleaning before the batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from ledger.craft.lots import LotOnHand, propose_lots
from ledger.craft.numbers import shared_out
from ledger.craft.sheet import Flag, SheetLine, SheetLot


def changeover_note(previous: tuple[str, ...] | None, this: tuple[str, ...]) -> str:
    """What to clean before this batch, from the allergens of the one before. The shop's own plan and the law decide."""
    plan = "Follow your written allergen plan and the food law of your place."
    if previous is None:
        return f"The batch before is not known: clean slab, hook, rollers, cutter and packing table down first. {plan}"
    carried = sorted(set(previous) - set(this))
    if carried:
        return (
            f"The batch before held {', '.join(carried)}: wash slab, hook, rollers, cutter and packing table, change "
            f"gloves, and use no re-boil of it here. {plan}"
        )
    return f"Nothing carried over from the batch before. {plan}"


class Shelf:
    """The lots on hand while the sheet is written: what one line has taken is gone for the next."""

    def __init__(self, lots: Sequence[LotOnHand], on: date) -> None:
        self.lots, self.on = list(lots), on
        self.flags: list[Flag] = []

    def line(self, key: str, material: str, role: str, mass_mg: int, loads: tuple[int, ...] = ()) -> SheetLine:
        needed = 0 if role == "water" else mass_mg
        proposal = propose_lots(material, needed, self.lots, self.on)
        taken = {share.lot: share.mass_mg for share in proposal.shares}
        self.lots = [
            replace(lot, mass_mg=lot.mass_mg - taken[lot.lot]) if lot.material == material and lot.lot in taken else lot
            for lot in self.lots
        ]
        if proposal.short_mg:
            self.flags.append(Flag(code="lot-short", subject=material, value=proposal.short_mg, limit=needed))
        self.flags += [Flag(code="lot-past-date", subject=lot, value=0, limit=0) for lot in proposal.past_date]
        return SheetLine(
            key=key,
            material=material,
            role=role,
            mass_mg=mass_mg,
            per_load_mg=shared_out(mass_mg, [1] * len(loads)) if loads else (),
            lots=tuple(
                SheetLot(
                    lot=share.lot,
                    mass_mg=share.mass_mg,
                    best_before=share.best_before.isoformat() if share.best_before else "",
                )
                for share in proposal.shares
            ),
            short_mg=proposal.short_mg,
        )
