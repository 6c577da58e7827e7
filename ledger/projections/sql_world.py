"""The world of `ledger.domain.world`, filled from the kept tables as far as a command asks, and written back to them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import msgspec

from ledger.domain.books.book import Book
from ledger.domain.books.entries import KINDS
from ledger.domain.season.events import RecallStarted
from ledger.domain.state import Batch, Lot, Recorded
from ledger.domain.world import Entry, FlagRow, World
from ledger.projections import rows, statements
from ledger.store.codec import decode
from ledger.store.unit import Unit


def decode_amendment(name: str, schema: int, data: dict[str, Any]) -> Any:
    """The event an amendment holds, in its present shape."""
    return decode(name, schema, msgspec.json.encode(data))


def stored_entry(row: rows.Row) -> Entry:
    """The entry in a row of `statements.ENTRY` or `statements.LOG`."""
    position, event_id, stream, occurred_at, name, schema, payload = row
    return Entry(position, event_id, stream, occurred_at, decode(name, schema, payload))


def read_book(pairs: Iterable[tuple[str, int, str, int]]) -> Book:
    """The book from rows of (kind, version, data, position), oldest first."""
    book = Book()
    for kind, version, data, _position in pairs:
        book.put(msgspec.json.decode(data, type=KINDS[kind]), version)
    return book


@dataclass(slots=True)
class SqlWorld(World):
    """Reads lots, batches and entries when first asked for; collects what to write until `flush`."""

    unit: Unit = None  # type: ignore[assignment]
    site: str = "main"
    seen_batches: set[str] = field(default_factory=set)
    seen_items: set[str] = field(default_factory=set)
    seen_missing: set[str] = field(default_factory=set)
    postings_new: list[rows.Row] = field(default_factory=list)
    edges_new: list[rows.Row] = field(default_factory=list)
    papers_new: list[rows.Row] = field(default_factory=list)
    book_new: list[rows.Row] = field(default_factory=list)
    closings: list[rows.Row] = field(default_factory=list)
    kept_lots: dict[str, rows.Row] = field(default_factory=dict)
    kept_batches: dict[str, rows.Row] = field(default_factory=dict)
    """What stays the same of the lots and batches that have a row: while it does, only what moves is written."""
    pending: bool = False

    def load_lot(self, lot: str) -> Lot | None:
        """One lot from its table."""
        if lot in self.seen_missing:
            return None
        found = self.unit.rows(statements.LOT, (self.site, lot))
        if not found:
            self.seen_missing.add(lot)
            return None
        return self._take_in(found)[0]

    def _take_in(self, found: list[rows.Row]) -> list[Lot]:
        result = []
        for row in found:
            known = self.lots.get(row[0])
            if known is None:
                known = Lot(*row)
                self.remember(known)
                self.kept_lots[known.lot] = rows.lot_stays(known)
            result.append(known)
        return result

    def load_batch(self, batch: str) -> Batch | None:
        """One batch from its table."""
        found = self.unit.rows(statements.BATCH, (self.site, batch))
        if not found:
            return None
        known = self.batches[batch] = Batch(*found[0])
        self.kept_batches[batch] = rows.batch_stays(known)
        return known

    def lots_of_batch(self, batch: str) -> list[Lot]:
        """Every lot made in a batch, oldest first."""
        if batch not in self.seen_batches:
            self._take_in(self.unit.rows(statements.LOTS_OF_BATCH, (self.site, batch)))
            self.seen_batches.add(batch)
        return World.lots_of_batch(self, batch)

    def lots_of_item(self, item: str) -> list[Lot]:
        """Every lot of a material or pack that still holds something, first expired first."""
        if item not in self.seen_items:
            self._take_in(self.unit.rows(statements.LOTS_OF_ITEM, (self.site, item)))
            self.seen_items.add(item)
        return World.lots_of_item(self, item)

    def batches_on(self, day: str) -> list[str]:
        """Codes of batches opened on a day."""
        kept = [row[0] for row in self.unit.rows(statements.BATCHES_ON, (self.site, day))]
        return sorted({*kept, *World.batches_on(self, day)})

    def held_for(self, recall: str) -> list[str]:
        """Lots held for a recall or drill."""
        self._take_in(self.unit.rows(statements.HELD, (self.site,)))
        return World.held_for(self, recall)

    def open_recalls(self) -> list[RecallStarted]:
        """Recalls and drills that were started and not closed, oldest first."""
        for kind, id, position in self.unit.rows(statements.RECALLS, (self.site,)):
            self.papers.setdefault((kind, id), position)
        return World.open_recalls(self)

    def load_correction(self, origin: int) -> tuple[int, bool] | None:
        """The newest correction of an entry."""
        found = self.unit.rows(statements.CORRECTION, (self.site, origin))
        return (found[0][0], bool(found[0][1])) if found else None

    def load_entry(self, position: int) -> Entry | None:
        """The entry at a position, from this session or the log."""
        known = self.log.get(position)
        if known is not None:
            return known
        found = self.unit.rows(statements.ENTRY, (self.site, position))
        return stored_entry(found[0]) if found else None

    def load_flags(self, known_from: int) -> list[FlagRow]:
        """Flags raised by the entry at a position."""
        for row in self.unit.rows(statements.FLAGS_FROM, (self.site, known_from)):
            self.flags.setdefault((row[0], row[1]), FlagRow(*row))
        return World.load_flags(self, known_from)

    def touching(self, lots: Iterable[str]) -> list[Recorded]:
        """Every believed entry that moves something in or out of these lots, in the order recorded."""
        positions: set[int] = set()
        for lot in lots:
            positions.update(row[0] for row in self.unit.rows(statements.ORIGINS_OF_LOT, (self.site, lot)))
            positions.update(self.by_lot.get(lot, ()))
        found = (self.recorded(p) for p in sorted(positions))
        return [r for r in found if r is not None and not r.voided]

    def has_paper(self, kind: str, id: str) -> bool:
        """Whether a paper of this kind and id was recorded."""
        return World.has_paper(self, kind, id) or bool(self.unit.rows(statements.PAPER, (self.site, kind, id)))

    def record(self, entry: Entry) -> None:
        """Apply one entry and queue its rows."""
        self.pending = True
        effects = self.apply(entry)
        position = entry.position
        if effects.movement is not None:
            self.postings_new.extend(rows.posting_rows(self.site, position, effects))
            if effects.edges:
                self.edges_new.extend(rows.edge_rows(self.site, position, effects))
        else:
            self.book_new.extend(rows.book_rows(self.site, entry))
            self.papers_new.extend(rows.paper_rows(self.site, entry))
        if effects.closed:
            self.closings.append((position, self.site, effects.closed))

    def flush(self) -> None:
        """Hand every queued row to the unit, which writes them with the events."""
        unit, site = self.unit, self.site
        unit.write(statements.INSERT_POSTINGS, self.postings_new)
        unit.write(statements.INSERT_EDGES, self.edges_new)
        self._write_lots()
        self._write_batches()
        if self.dirty_flags:
            unit.write(statements.PUT_FLAGS, [rows.flag_row(site, self.flags[x]) for x in self.dirty_flags])
        if self.dirty_corrections:
            put = [(site, x, self.corrections[x][0], int(self.corrections[x][1])) for x in self.dirty_corrections]
            unit.write(statements.PUT_CORRECTIONS, put)
        unit.write(statements.INSERT_PAPERS, self.papers_new)
        unit.write(statements.INSERT_BOOK, self.book_new)
        if self.closings:
            unit.write(statements.CLOSE_POSTINGS, self.closings)
            unit.write(statements.CLOSE_EDGES, self.closings)

    def _write_lots(self) -> None:
        new, moved, kept = [], [], self.kept_lots
        for code in self.dirty_lots:
            lot = self.lots[code]
            stays = rows.lot_stays(lot)
            if kept.get(code) == stays:
                moved.append((self.site, code, *rows.lot_moves(lot)))
            else:
                kept[code] = stays
                new.append(rows.lot_row(self.site, lot))
        self.unit.write(statements.PUT_LOTS, new)
        self.unit.write(statements.MOVE_LOTS, moved)

    def _write_batches(self) -> None:
        new, moved, kept = [], [], self.kept_batches
        for code in self.dirty_batches:
            batch = self.batches[code]
            stays = rows.batch_stays(batch)
            if kept.get(code) == stays:
                moved.append((self.site, code, *rows.batch_moves(batch)))
            else:
                kept[code] = stays
                new.append(rows.batch_row(self.site, batch))
        self.unit.write(statements.PUT_BATCHES, new)
        self.unit.write(statements.MOVE_BATCHES, moved)

    def settle(self) -> None:
        """After the commit: keep lots, batches and book in memory, forget what is now in the tables."""
        for queued in (self.postings_new, self.edges_new, self.papers_new, self.book_new, self.closings):
            queued.clear()
        for touched in (
            self.dirty_lots,
            self.dirty_batches,
            self.dirty_flags,
            self.dirty_corrections,
            self.seen_missing,
        ):
            touched.clear()
        self.pending = False
        self.log.clear()
        self.by_lot.clear()
        self.flags.clear()
        self.corrections.clear()
        self.papers.clear()
