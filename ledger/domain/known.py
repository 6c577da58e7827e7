"""What is believed after the entries so far, and everything a rule may ask of it.

Alone it is all in memory; subclasses fill ``load_*`` from kept tables. It decides nothing and changes nothing: the fold does (world.py).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from ledger.domain.balance import add_to
from ledger.domain.batch.events import Amended
from ledger.domain.books.book import Book
from ledger.domain.movement import Movement
from ledger.domain.season.events import RecallStarted
from ledger.domain.state import Batch, Lot, Recorded
from ledger.errors import LedgerDamaged


class Entry(NamedTuple):
    """One line of the log as the fold reads it."""

    position: int
    event_id: str
    stream: str
    occurred_at: str
    event: Any


@dataclass(slots=True)
class FlagRow:
    """A flag as kept: who raised it, whether it still stands, what was answered."""

    known_from: int
    line: int
    known_to: int
    origin: int
    day: str
    week: str
    batch: str
    flavour: str
    code: str
    text: str
    answer: str = ""
    answered: int = 0
    answered_day: str = ""


@dataclass(slots=True)
class Known:
    """Lots, batches, book, flags and corrections as believed after the entries applied so far."""

    decode: Callable[[str, int, dict[str, Any]], Any] | None = None
    track: bool = True
    book: Book = field(default_factory=Book)
    lots: dict[str, Lot] = field(default_factory=dict)
    batches: dict[str, Batch] = field(default_factory=dict)
    flags: dict[tuple[int, int], FlagRow] = field(default_factory=dict)
    corrections: dict[int, tuple[int, bool]] = field(default_factory=dict)
    papers: dict[tuple[str, str], int] = field(default_factory=dict)
    dirty_lots: set[str] = field(default_factory=set)
    dirty_batches: set[str] = field(default_factory=set)
    dirty_flags: set[tuple[int, int]] = field(default_factory=set)
    dirty_corrections: set[int] = field(default_factory=set)
    log: dict[int, Entry] = field(default_factory=dict)
    by_lot: dict[str, set[int]] = field(default_factory=dict)
    by_item: dict[str, dict[str, Lot]] = field(default_factory=dict)
    by_batch: dict[str, dict[str, Lot]] = field(default_factory=dict)

    # --- what rules may ask ---------------------------------------------------------------------------------------

    def lot(self, lot: str) -> Lot | None:
        """The lot, or None."""
        found = self.lots.get(lot)
        return found if found is not None else self.load_lot(lot)

    def batch(self, batch: str) -> Batch | None:
        """The batch, or None."""
        found = self.batches.get(batch)
        return found if found is not None else self.load_batch(batch)

    def remember(self, lot: Lot) -> None:
        """Keep a lot where its batch and its item find it."""
        self.lots[lot.lot] = lot
        if lot.item:
            self.by_item.setdefault(lot.item, {})[lot.lot] = lot
        if lot.batch:
            self.by_batch.setdefault(lot.batch, {})[lot.lot] = lot

    def load_lot(self, lot: str) -> Lot | None:
        """Where lots are kept outside memory: read one in."""
        return None

    def load_batch(self, batch: str) -> Batch | None:
        """Where batches are kept outside memory: read one in."""
        return None

    def load_correction(self, origin: int) -> tuple[int, bool] | None:
        """Where corrections are kept outside memory: (position of the newest, whether it voids)."""
        return None

    def load_entry(self, position: int) -> Entry | None:
        """The entry at a position."""
        return self.log.get(position)

    def load_flags(self, known_from: int) -> list[FlagRow]:
        """Flags raised by the entry at a position."""
        return [f for f in self.flags.values() if f.known_from == known_from]

    def lots_of_batch(self, batch: str) -> list[Lot]:
        """Every lot made in a batch, oldest first."""
        return sorted(self.by_batch.get(batch, {}).values(), key=lambda x: (x.position, x.lot))

    def lots_of_item(self, item: str) -> list[Lot]:
        """Every lot of a material or pack that still holds something, first expired first."""
        found = [x for x in self.by_item.get(item, {}).values() if x.item == item and (x.mass_mg or x.packs)]
        return sorted(found, key=lambda x: (x.best_before or "9999", x.day, x.position, x.lot))

    def batches_on(self, day: str) -> list[str]:
        """Codes of batches opened on a day."""
        return sorted(x.batch for x in self.batches.values() if x.day == day)

    def held_for(self, recall: str) -> list[str]:
        """Lots held for a recall or drill."""
        return sorted(x.lot for x in self.lots.values() if x.held in (f"recall {recall}", f"recall drill {recall}"))

    def open_recalls(self) -> list[RecallStarted]:
        """Recalls and drills that were started and not closed, oldest first."""
        at = sorted(
            p for (kind, id), p in self.papers.items() if kind == "recall" and ("recall-closed", id) not in self.papers
        )
        return [record.event for record in map(self.recorded, at) if record is not None]

    def correction(self, origin: int) -> tuple[int, bool]:
        """(position from which an entry is believed as it now stands, whether it was voided)."""
        found = self.corrections.get(origin) or self.load_correction(origin)
        return found if found is not None else (origin, False)

    def recorded(self, position: int) -> Recorded | None:
        """The entry first recorded at a position, as it is believed now."""
        entry = self.load_entry(position)
        if entry is None:
            return None
        at, voided = self.correction(position)
        event = entry.event
        if at != position and not voided:
            newest = self.load_entry(at)
            if newest is None:
                raise LedgerDamaged(f"Entry {position} is corrected by {at}, which is missing.", position=position)
            event = self.decoded(newest.event)
        return Recorded(position, entry.event_id, event, entry.stream, at, voided)

    def touching(self, lots: Iterable[str]) -> list[Recorded]:
        """Every believed entry that moves something in or out of these lots, in the order recorded."""
        positions = sorted({p for lot in lots for p in self.by_lot.get(lot, ())})
        found = (self.recorded(p) for p in positions)
        return [r for r in found if r is not None and not r.voided]

    def balance_before(self, lot: str, position: int) -> Lot:
        """What a lot held just before an entry, by everything believed now."""
        now = self.lot(lot)
        result = Lot(lot, now.kind if now else "mass", item=now.item if now else "")
        for record in self.touching([lot]):
            if record.position < position and isinstance(record.event, Movement):
                add_to(result, record.event)
        return result

    def flagged(self, position: int, code: str) -> bool:
        """Whether an open flag of this code stands at a position."""
        at, voided = self.correction(position)
        return not voided and any(f.code == code and not f.answered for f in self.load_flags(at))

    def has_paper(self, kind: str, id: str) -> bool:
        """Whether a plan, forecast or recall of this id was recorded."""
        return (kind, id) in self.papers

    def decoded(self, event: Amended) -> Any:
        """What an amendment says the entry should have been."""
        if self.decode is None:
            raise LedgerDamaged("This world was given no decoder for amendments.")
        return self.decode(event.name, event.schema, event.data)
