"""What a rule needs to know before it says yes: the lots named, the batch, the book. Kept small and mutable for speed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from ledger.domain.books.book import Book
from ledger.domain.season.events import RecallStarted
from ledger.errors import UnknownThing


@dataclass(slots=True)
class Lot:
    """One lot as it stands now. ``made_*`` is what arrived in it over its life; the others are what it holds."""

    lot: str
    kind: str
    item: str = ""
    batch: str = ""
    flavour: str = ""
    design: str = ""
    portion: str = ""
    colour: str = ""
    treatment: str = ""
    day: str = ""
    best_before: str = ""
    supplier: str = ""
    supplier_lot: str = ""
    held: str = ""
    mass_mg: int = 0
    pieces: int = 0
    packs: int = 0
    cost: int = 0
    made_mg: int = 0
    made_pieces: int = 0
    made_packs: int = 0
    position: int = 0

    @property
    def holds(self) -> int:
        """1 while there is something left in it (no pieces are without a mass), else 0."""
        return int(self.packs > 0 or self.mass_mg > 0)


@dataclass(slots=True)
class Batch:
    """One batch as it stands now: what it is, which step it has reached, whether it is closed."""

    batch: str
    flavour: str
    design: str = ""
    recipe: str = ""
    recipe_version: int = 0
    day: str = ""
    last_day: str = ""
    step: str = "open"
    steps: str = ""
    status: str = "open"
    end_temperature_mc: int = 0
    temperature_tolerance_mc: int = 0
    moisture_ppm: int = 20_000
    moisture_low_ppm: int = 10_000
    moisture_high_ppm: int = 30_000
    process_yield_ppm: int = 900_000
    unexplained_ppm: int = 20_000
    piece_mg: int = 0
    plan_line: str = ""
    position: int = 0
    last_position: int = 0
    last_at: str = ""


@dataclass(slots=True)
class Recorded:
    """One entry of the log as a rule about corrections sees it: where it stands and what it now says."""

    position: int
    event_id: str
    event: Any
    stream: str = ""
    amended_at: int = 0
    voided: bool = False


class State(Protocol):
    """What deciders may ask. The application answers from the kept tables, tests from memory."""

    book: Book

    def lot(self, lot: str) -> Lot | None:
        """The lot, or None."""

    def batch(self, batch: str) -> Batch | None:
        """The batch, or None."""

    def lots_of_batch(self, batch: str) -> list[Lot]:
        """Every lot made in a batch, oldest first."""

    def lots_of_item(self, item: str) -> list[Lot]:
        """Every lot of a material or pack that still holds something, first expired first."""

    def recorded(self, position: int) -> Recorded | None:
        """The entry at a position as now believed, or None."""

    def touching(self, lots: Iterable[str]) -> list[Recorded]:
        """Every believed entry that moves something in or out of these lots, in the order recorded."""

    def flagged(self, position: int, code: str) -> bool:
        """Whether an open flag of this code stands at a position."""

    def has_paper(self, kind: str, id: str) -> bool:
        """Whether a plan, forecast or recall of this id was recorded."""

    def batches_on(self, day: str) -> list[str]:
        """Codes of batches opened on a day."""

    def held_for(self, recall: str) -> list[str]:
        """Lots held for a recall or drill."""

    def open_recalls(self) -> list[RecallStarted]:
        """Recalls and drills that were started and not closed, oldest first."""

    def balance_before(self, lot: str, position: int) -> Lot:
        """What a lot held just before an entry, by everything believed now."""


class LotLookup(Protocol):
    """Anything that can say what a lot holds."""

    def lot(self, lot: str) -> Lot | None:
        """The lot, or None."""


def need_lot(state: LotLookup, lot: str) -> Lot:
    """The lot, or UnknownThing with the way out."""
    found = state.lot(lot)
    if found is None:
        raise UnknownThing(
            f"There is no lot `{lot}` in this ledger. Look it up with `slabbook stock --all`, or record its receipt first.",
            kind="lot", id=lot,
        )  # fmt: skip
    return found


def need_batch(state: State, batch: str) -> Batch:
    """The batch, or UnknownThing with the way out."""
    found = state.batch(batch)
    if found is None:
        raise UnknownThing(
            f"There is no batch `{batch}` in this ledger. Open it first with `slabbook open FLAVOUR`.",
            kind="batch",
            id=batch,
        )
    return found
