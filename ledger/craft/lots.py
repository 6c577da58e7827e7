"""Which lots to take: first expired, first out, and what is short."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class LotOnHand:
    """A lot on the shelf: what it is, how much is free, and its best-before date if it has one."""

    lot: str
    material: str
    mass_mg: int
    best_before: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LotShare:
    """How much to take from one lot."""

    lot: str
    mass_mg: int
    best_before: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LotProposal:
    """The lots for one material, in the order to use them; ``short_mg`` is what no lot covers.

    ``past_date`` names lots that were passed over because their date is before the day of the batch.
    """

    material: str
    needed_mg: int
    shares: tuple[LotShare, ...]
    short_mg: int
    past_date: tuple[str, ...]


def propose_lots(material: str, needed_mg: int, lots: Sequence[LotOnHand], on: date) -> LotProposal:
    """Take the lot that expires first, then the next; dated lots before undated ones, ties by lot name.

    A lot past its date is never proposed, only named: whether it may still be used is a person's decision.
    """
    mine = [lot for lot in lots if lot.material == material and lot.mass_mg > 0]
    past = tuple(sorted(lot.lot for lot in mine if lot.best_before is not None and lot.best_before < on))
    usable = sorted(
        (lot for lot in mine if lot.lot not in past),
        key=lambda lot: (lot.best_before or date.max, lot.lot),
    )
    left = needed_mg
    shares = []
    for lot in usable:
        if left <= 0:
            break
        take = min(left, lot.mass_mg)
        shares.append(LotShare(lot=lot.lot, mass_mg=take, best_before=lot.best_before))
        left -= take
    return LotProposal(
        material=material, needed_mg=needed_mg, shares=tuple(shares), short_mg=max(left, 0), past_date=past
    )
