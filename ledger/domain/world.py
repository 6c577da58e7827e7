"""Folds entries into lots, batches, flags and postings. The one mechanism behind a live write, a rebuild and a test.

``World.apply`` takes one recorded entry and returns the rows it adds and the rows it closes; it holds no rules and never refuses.
What it knows, and where that is kept, is in known.py; alone it is a complete ledger in memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ledger.domain.balance import ADDS_TO, draw, put
from ledger.domain.batch.events import Amended, BatchClosed, BatchOpened, FlagAnswered, Voided
from ledger.domain.books.entries import STEPS
from ledger.domain.books.events import BOOK_EVENTS
from ledger.domain.known import Entry, FlagRow, Known
from ledger.domain.lots.events import LotReceived, LotsHeld, LotsReleased
from ledger.domain.movement import Movement, edges
from ledger.domain.papers import paper_of
from ledger.domain.postings import Posting, iso_week, postings
from ledger.domain.state import Batch, Lot
from ledger.errors import LedgerDamaged

ALWAYS = 9_007_199_254_740_991
"""`known_to` of a row still believed: 2^53 - 1, the largest integer that every JSON reader keeps exactly."""


@dataclass(slots=True)
class Effects:
    """What one entry does to the kept tables, besides lots and batches (which are marked dirty on the world)."""

    lines: Sequence[Posting] = ()
    movement: Movement | None = None
    origin: int = 0
    closed: int = 0
    edges: Sequence[tuple[str, str, int]] = ()


@dataclass(slots=True)
class World(Known):
    """What is known, and the fold that takes in one more entry."""

    def apply(self, entry: Entry) -> Effects:
        """Take in one entry and say which rows it adds and closes."""
        event: Any = entry.event
        position = entry.position
        effects = Effects(origin=position)
        if self.track:
            self.log[position] = entry
        if isinstance(event, Movement):
            self._move(event, position, effects, entry.occurred_at)
        elif isinstance(event, (Amended, Voided)):
            self._correct(event, entry, effects)
        elif isinstance(event, BOOK_EVENTS):
            self.book.put(event.entry, event.version)
        elif isinstance(event, BatchOpened):
            self._open(event, position, entry.occurred_at)
        elif isinstance(event, (LotsHeld, LotsReleased)):
            for code in event.lots:
                lot = self.lot(code)
                if lot is not None:
                    lot.held = event.reason if isinstance(event, LotsHeld) else ""
                    self.dirty_lots.add(code)
        elif isinstance(event, FlagAnswered):
            self._answer(event, position)
        if effects.movement is None:
            paper = paper_of(event)
            if paper is not None:
                self.papers[paper[0], paper[1]] = position
        return effects

    def _open(self, event: BatchOpened, position: int, at: str) -> None:
        self.batches[event.batch] = Batch(
            event.batch, event.flavour, event.design, event.recipe, event.recipe_version, event.day, event.day, "open", "", "open",
            event.end_temperature_mc, event.temperature_tolerance_mc, event.moisture_ppm, event.moisture_low_ppm,
            event.moisture_high_ppm, event.process_yield_ppm, event.unexplained_ppm, event.piece_mg, event.plan_line,
            position, position, at,
        )  # fmt: skip
        self.dirty_batches.add(event.batch)

    def _move(self, event: Movement, position: int, effects: Effects, at: str) -> None:
        self._into_lots(event, 1, position)
        effects.movement = event
        effects.lines = postings(event, self)
        effects.edges = edges(event)
        if event.batch:
            batch = self.batch(event.batch)
            if batch is not None:
                self._step(batch, event, 1)
                batch.last_position, batch.last_at = position, at
                self.dirty_batches.add(batch.batch)
        for line, flag in enumerate(event.flags):
            self.flags[position, line] = FlagRow(
                position,
                line,
                ALWAYS,
                effects.origin,
                event.day,
                iso_week(event.day),
                event.batch,
                event.flavour,
                flag.code,
                flag.text,
            )
            self.dirty_flags.add((position, line))
        if self.track:
            origin, by_lot = effects.origin, self.by_lot
            for code in [*(t.lot for t in event.takes), *(g.lot for g in event.gives)]:
                known = by_lot.get(code)
                if known is None:
                    by_lot[code] = {origin}
                else:
                    known.add(origin)

    def _step(self, batch: Batch, event: Movement, sign: int) -> None:
        if event.step not in _ORDER:
            return
        done = batch.steps.split()
        if sign > 0:
            done.append(event.step)
            batch.last_day = max(batch.last_day, event.day)
        elif event.step in done:
            done.remove(event.step)
        done.sort(key=_ORDER.index)
        batch.steps = " ".join(done)
        batch.step = done[-1] if done else "open"
        if isinstance(event, BatchClosed):
            batch.status = "closed" if sign > 0 else "open"

    def _into_lots(self, event: Movement, sign: int, position: int) -> None:
        dirty = self.dirty_lots
        known = self.lots.get
        for t in event.takes:
            lot = known(t.lot) or self.load_lot(t.lot)
            if lot is None:
                raise LedgerDamaged(f"An entry takes from lot {t.lot}, which was never made.", lot=t.lot)
            draw(lot, t, sign)
            dirty.add(t.lot)
        for g in event.gives:
            lot = known(g.lot) or self.load_lot(g.lot)
            if lot is None:
                lot = self.lots[g.lot] = Lot(
                    g.lot, g.kind, g.item, event.batch, event.flavour, event.design, g.portion, g.colour, g.treatment, event.day,
                    g.best_before, position=position,
                )  # fmt: skip
                self.remember(lot)
                if isinstance(event, LotReceived):
                    lot.supplier, lot.supplier_lot = event.partner, event.supplier_lot
            elif event.step not in ADDS_TO:
                lot.best_before = g.best_before or lot.best_before
                self.by_item.get(lot.item, {}).pop(lot.lot, None)
                lot.item, lot.portion, lot.colour = g.item, g.portion, g.colour
                lot.treatment, lot.day = g.treatment, event.day
                if isinstance(event, LotReceived):
                    lot.supplier, lot.supplier_lot = event.partner, event.supplier_lot
                self.remember(lot)
            put(lot, g, sign, event.step not in ADDS_TO)
            dirty.add(g.lot)

    def _correct(self, event: Amended | Voided, entry: Entry, effects: Effects) -> None:
        origin = event.origin
        old = self.recorded(origin)
        if old is None:
            raise LedgerDamaged(
                f"Entry {entry.position} corrects entry {origin}, which is missing.", position=entry.position
            )
        effects.origin, effects.closed = origin, old.amended_at
        for flag in self.load_flags(old.amended_at):
            flag.known_to = entry.position
            self.flags[flag.known_from, flag.line] = flag
            self.dirty_flags.add((flag.known_from, flag.line))
        if isinstance(old.event, Movement):
            self._into_lots(old.event, -1, origin)
            batch = self.batch(old.event.batch) if old.event.batch else None
            if batch is not None:
                self._step(batch, old.event, -1)
                self.dirty_batches.add(batch.batch)
        self.corrections[origin] = (entry.position, isinstance(event, Voided))
        self.dirty_corrections.add(origin)
        if isinstance(event, Voided):
            self._void_plain(old.event)
            return
        new = self.decoded(event)
        if isinstance(new, Movement):
            self._move(new, entry.position, effects, entry.occurred_at)
        elif isinstance(new, BatchOpened):
            batch = self.batch(new.batch)
            if batch is not None:
                for name in _OPENED_WITH:
                    setattr(batch, name, getattr(new, name))
                self.dirty_batches.add(new.batch)

    def _void_plain(self, event: object) -> None:
        if isinstance(event, BatchOpened):
            batch = self.batch(event.batch)
            if batch is not None:
                batch.status = "void"
                self.dirty_batches.add(event.batch)

    def _answer(self, event: FlagAnswered, position: int) -> None:
        at, _ = self.correction(event.origin)
        for flag in self.load_flags(at):
            if flag.code == event.code:
                flag.answer, flag.answered, flag.answered_day = event.answer, position, event.day
                self.flags[flag.known_from, flag.line] = flag
                self.dirty_flags.add((flag.known_from, flag.line))


_ORDER = [*STEPS, "close"]
_OPENED_WITH = (
    "flavour", "design", "recipe", "recipe_version", "end_temperature_mc", "temperature_tolerance_mc", "moisture_ppm", "moisture_low_ppm",
    "moisture_high_ppm", "process_yield_ppm", "unexplained_ppm", "piece_mg", "plan_line",
)  # fmt: skip
"""What a batch has from its opening."""

__all__ = ["ALWAYS", "Effects", "Entry", "FlagRow", "World"]
