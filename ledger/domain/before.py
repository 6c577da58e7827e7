"""The ledger as an amended entry finds it: as it stood just before that entry, by what is believed today."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from ledger.domain.movement import Movement
from ledger.domain.season.events import RecallStarted
from ledger.domain.state import Batch, Lot, Recorded, State


class Before:
    """The state an amended entry is decided against: lots hold what they held just before it, and its own outputs are not there yet.

    Only lots and the batch's being open are put back; the book, papers, flags and other entries are asked of the ledger as it is.
    """

    def __init__(self, state: State, record: Recorded) -> None:
        self._state, self._record = state, record
        self.book = state.book
        event = record.event
        self._own = (
            {g.lot for g in event.gives}
            if isinstance(event, Movement) and event.step not in ("count", "return")
            else set()
        )
        self._took = {t.lot: t for t in event.takes} if isinstance(event, Movement) else {}

    def _then(self, lot: Lot) -> Lot:
        before = self._state.balance_before(lot.lot, self._record.position)
        taken = self._took.get(lot.lot)
        packs = before.packs
        if lot.kind == "packs":
            packs = min(packs, lot.packs + (taken.packs if taken else 0))
        return replace(
            lot, mass_mg=before.mass_mg, pieces=before.pieces, packs=before.packs if taken else packs, cost=before.cost,
            held="" if taken else lot.held,
        )  # fmt: skip

    def lot(self, lot: str) -> Lot | None:
        """The lot as it stood, or None when this entry made it."""
        found = None if lot in self._own else self._state.lot(lot)
        return self._then(found) if found is not None else None

    def batch(self, batch: str) -> Batch | None:
        """The batch, open as it was then."""
        found = self._state.batch(batch)
        return replace(found, status="open") if found is not None and found.status == "closed" else found

    def batches_on(self, day: str) -> list[str]:
        """Codes of batches opened on a day."""
        return self._state.batches_on(day)

    def lots_of_batch(self, batch: str) -> list[Lot]:
        """Every lot of the batch but the entry's own."""
        return [self._then(x) for x in self._state.lots_of_batch(batch) if x.lot not in self._own]

    def lots_of_item(self, item: str) -> list[Lot]:
        """Lots of a pack as they stood, those the entry used first."""
        lots = {x.lot: x for x in self._state.lots_of_item(item)}
        for code in self._took:
            found = self._state.lot(code)
            if found is not None and found.item == item:
                lots[code] = found
        order = sorted(
            lots.values(), key=lambda x: (x.lot not in self._took, x.best_before or "9999", x.day, x.position, x.lot)
        )
        return [self._then(x) for x in order]

    def recorded(self, position: int) -> Recorded | None:
        """As in the ledger."""
        return self._state.recorded(position)

    def touching(self, lots: Iterable[str]) -> list[Recorded]:
        """As in the ledger."""
        return self._state.touching(lots)

    def balance_before(self, lot: str, position: int) -> Lot:
        """As in the ledger."""
        return self._state.balance_before(lot, position)

    def flagged(self, position: int, code: str) -> bool:
        """As in the ledger."""
        return self._state.flagged(position, code)

    def has_paper(self, kind: str, id: str) -> bool:
        """As in the ledger."""
        return self._state.has_paper(kind, id)

    def held_for(self, recall: str) -> list[str]:
        """As in the ledger."""
        return self._state.held_for(recall)

    def open_recalls(self) -> list[RecallStarted]:
        """As in the ledger."""
        return self._state.open_recalls()
