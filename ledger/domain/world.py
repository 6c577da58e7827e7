"""Folds entries into lots, batches, flags and postings. The one mechanism behind a live write, a rebuild and a test.

``World.apply`` takes one recorded entry and returns the rows it adds and the rows it closes; it holds no rules and never refuses.
Subclasses fill ``load_*`` from kept tables; alone it is a complete ledger in memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from ledger.domain.batch.events import Amended, BatchClosed, BatchOpened, FlagAnswered, Voided
from ledger.domain.books.book import Book
from ledger.domain.books.entries import STEPS
from ledger.domain.books.events import BOOK_EVENTS
from ledger.domain.lots.events import LotReceived, LotsHeld, LotsReleased
from ledger.domain.movement import Movement, edges
from ledger.domain.papers import paper_of
from ledger.domain.parts import Give, Take
from ledger.domain.postings import Posting, iso_week, postings
from ledger.domain.season.events import RecallStarted
from ledger.domain.state import Batch, Lot, Recorded
from ledger.errors import LedgerDamaged

ALWAYS = 9_007_199_254_740_991
"""`known_to` of a row still believed: 2^53 - 1, the largest integer that every JSON reader keeps exactly."""


class Entry(NamedTuple):
    """One line of the log as the fold reads it."""

    position: int
    event_id: str
    stream: str
    occurred_at: str
    event: Any


@dataclass(slots=True)
class Effects:
    """What one entry does to the kept tables, besides lots and batches (which are marked dirty on the world)."""

    lines: Sequence[Posting] = ()
    movement: Movement | None = None
    origin: int = 0
    closed: int = 0
    edges: Sequence[tuple[str, str, int]] = ()


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
class World:
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

    # --- the fold -------------------------------------------------------------------------------------------------

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
            _draw(lot, t, sign)
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
            elif event.step not in _ADDS_TO:
                lot.best_before = g.best_before or lot.best_before
                self.by_item.get(lot.item, {}).pop(lot.lot, None)
                lot.item, lot.portion, lot.colour = g.item, g.portion, g.colour
                lot.treatment, lot.day = g.treatment, event.day
                if isinstance(event, LotReceived):
                    lot.supplier, lot.supplier_lot = event.partner, event.supplier_lot
                self.remember(lot)
            _put(lot, g, sign, event.step not in _ADDS_TO)
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
_ADDS_TO = frozenset({"return", "count"})


def add_to(lot: Lot, event: Movement, sign: int = 1) -> None:
    """Add what one movement does to one lot's balance."""
    for t in event.takes:
        if t.lot == lot.lot:
            _draw(lot, t, sign)
    for g in event.gives:
        if g.lot == lot.lot:
            lot.kind, lot.item = g.kind, g.item or lot.item
            _put(lot, g, sign, event.step not in _ADDS_TO)


def _draw(lot: Lot, take: Take, sign: int) -> None:
    lot.mass_mg -= sign * take.mass_mg
    lot.pieces -= sign * take.pieces
    lot.packs -= sign * take.packs
    lot.cost -= sign * take.cost


def _put(lot: Lot, give: Give, sign: int, made: bool) -> None:
    lot.mass_mg += sign * give.mass_mg
    lot.pieces += sign * give.pieces
    lot.packs += sign * give.packs
    lot.cost += sign * give.cost
    if made:
        lot.made_mg += sign * give.mass_mg
        lot.made_pieces += sign * give.pieces
        lot.made_packs += sign * give.packs
