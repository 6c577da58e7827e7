"""Handles a command in one transaction, and opens the ledger everything else talks to."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from functools import lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import msgspec

from ledger.domain.batch.commands import Amend
from ledger.domain.batch.events import Amended, BatchOpened
from ledger.domain.books.book import Book
from ledger.domain.books.entries import Site
from ledger.domain.decide import Decision, decide
from ledger.domain.movement import Movement
from ledger.domain.world import Entry
from ledger.errors import BadInput, Conflict, SlabbookError
from ledger.projections import statements
from ledger.projections.queries import Queries
from ledger.projections.sql_world import SqlWorld, decode_amendment, read_book
from ledger.store.ids import uuid7
from ledger.store.records import NewEvent
from ledger.store.store import Store, open_store
from ledger.store.times import utc_now, utc_text
from ledger.store.unit import Unit

MOST_IN_MEMORY = 60_000


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a command: positions of its entries (0: nothing left to do), what was made, which flags were raised."""

    first: int = 0
    last: int = 0
    batch: str = ""
    lots: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    also_amended: tuple[int, ...] = ()
    repeated: bool = False


class Order(NamedTuple):
    """A command with who gave it, its own id, and when it happened on the floor (UTC text; empty: worked out)."""

    command: Any
    actor: str = ""
    command_id: str = ""
    occurred_at: str = ""


class Rows(NamedTuple):
    """What came of many rows: outcomes of the good ones in order, and (row number from 0, error) of the refused ones."""

    outcomes: list[Outcome]
    refused: list[tuple[int, SlabbookError]]


class _NothingWritten(Exception):
    """Undo the transaction: a dry run, or a refused row."""


@dataclass(slots=True)
class Ledger:
    """One site's ledger: commands in, entries and kept tables out. Safe to share between threads."""

    store: Store
    clock: Callable[[], datetime]
    queries: Queries
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _world: SqlWorld | None = None
    _at: int = -1
    _versions: dict[str, int] = field(default_factory=dict)

    def do(self, command: Any, actor: str = "", command_id: str = "", occurred_at: str = "") -> Outcome:
        """Record one command in one transaction.

        A command id that comes again with the same content gets the first outcome back, with other content it raises Conflict.
        Raises the errors of `ledger.errors`; then nothing is written.
        """
        return self.do_all([Order(command, actor, command_id or uuid7(), occurred_at)])[0]

    def do_all(self, orders: Sequence[Order], each: Callable[[int], None] | None = None) -> list[Outcome]:
        """Record many commands in one transaction: all of them or none. `each` is called after every one (progress, a clock)."""
        first_id = orders[0].command_id if len(orders) == 1 else None

        def work(unit: Unit) -> list[Outcome]:
            world = self._ready(unit)
            unit.expect([order.command_id for order in orders])
            outcomes = []
            for number, order in enumerate(orders):
                outcomes.append(self._one(order, unit, world))
                if each is not None:
                    each(number)
                unit.tick()
            world.flush()
            return outcomes

        with self._lock:
            try:
                outcomes = self.store.run(work, command_id=first_id)
            except BaseException:
                self._world, self._at = None, -1
                raise
            self._settle(outcomes)
            return outcomes

    def do_rows(
        self,
        orders: Sequence[Order],
        *,
        partial: bool = False,
        dry: bool = False,
        each: Callable[[int], None] | None = None,
    ) -> Rows:
        """Record many commands in one transaction and collect every refusal instead of stopping at the first.

        Unless `partial`, one refusal means that nothing is written; with `dry` nothing is written anyway. `each` as for `do_all`.
        """
        found = Rows([], [])

        def work(unit: Unit) -> Rows:
            world = self._ready(unit)
            found.outcomes.clear()
            found.refused.clear()
            unit.expect([order.command_id for order in orders])
            for number, order in enumerate(orders):
                try:
                    found.outcomes.append(self._one(order, unit, world))
                except SlabbookError as error:
                    found.refused.append((number, error))
                if each is not None:
                    each(number)
                unit.tick()
            if dry or (found.refused and not partial):
                raise _NothingWritten
            world.flush()
            return found

        with self._lock:
            try:
                self.store.run(work)
            except _NothingWritten:
                self._world, self._at = None, -1
                return found
            except BaseException:
                self._world, self._at = None, -1
                raise
            self._settle(found.outcomes)
            return found

    def _settle(self, outcomes: list[Outcome]) -> None:
        world = self._world
        if world is not None:
            world.settle()
            self._at = max([self._at, *(o.last for o in outcomes if not o.repeated)])
            if len(world.lots) > MOST_IN_MEMORY:
                self._world = None

    def _ready(self, unit: Unit) -> SqlWorld:
        if self._world is None or self._at != unit.head.position or self._world.pending:
            book = read_book(unit.rows(statements.BOOK_ALL, (self.store.site,)))
            self._world = SqlWorld(decode=decode_amendment, book=book, site=self.store.site)
            self._at = unit.head.position
            self._versions = {}
        self._world.unit = unit
        unit.know(self._versions)
        return self._world

    def _one(self, order: Order, unit: Unit, world: SqlWorld) -> Outcome:
        command, actor, command_id, occurred_at = order
        command_id = command_id or uuid7()
        content = content_hash(command, actor, occurred_at)
        known = unit.command(command_id)
        if known is not None:
            if known.content_hash != content:
                raise Conflict(
                    f"Command {command_id} was recorded before with other content. Give a new command id, or amend the entry.",
                    command_id=command_id,
                )
            return outcome_of(known.result, repeated=True)
        site = world.book.site()
        now = self.clock().astimezone(ZoneInfo(site.zone))
        decisions = decide(command, world, now.date().isoformat())
        when = occurred_at or moment_of(command, site, now)
        positions: list[int] = []
        for decision in decisions:
            recorded = unit.append(
                NewEvent(decision.stream, decision.event, when, actor, command_id, decision.corrects or None)
            )
            world.record(Entry(recorded.position, recorded.event_id, decision.stream, when, decision.event))
            positions.append(recorded.position)
        outcome = summary(decisions, positions)
        unit.remember(command_id, content, _encode(outcome).decode())
        return outcome

    def book(self) -> Book:
        """The book as it stands."""
        with self.store.read() as reader:
            return read_book(reader.rows(statements.BOOK_ALL, (self.store.site,)))

    def today(self) -> str:
        """The shop's own calendar day."""
        return self.clock().astimezone(ZoneInfo(self.book().site().zone)).date().isoformat()

    def close(self) -> None:
        """Let go of the database."""
        self.store.close()


_encode = msgspec.json.Encoder(order="sorted").encode


def content_hash(command: Any, actor: str, occurred_at: str) -> str:
    """What makes two commands the same: kind, every field, who, and when."""
    inner = type(command.command).__name__ if isinstance(command, Amend) else ""
    text = _encode([type(command).__name__, inner, actor, occurred_at, command])
    return hashlib.sha256(text).hexdigest()


def moment_of(command: Any, site: Site, now: datetime) -> str:
    """When a command happened: its own start, else now for today, else noon of its day in the shop's zone."""
    started = getattr(command, "started", "")
    if started:
        try:
            moment = datetime.fromisoformat(started)
        except ValueError as error:
            raise BadInput(
                f"`{started}` is no moment; give it as `2026-10-30T09:15:00+01:00`.", value=started
            ) from error
        return utc_text(moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(site.zone)))
    if command.day == now.date().isoformat():
        return utc_text(now)
    return noon(command.day, site.zone)


@lru_cache(maxsize=4096)
def noon(day: str, zone: str) -> str:
    """Noon of a shop's day as UTC text. Raises BadInput for text that is no day."""
    try:
        when = date.fromisoformat(day)
    except ValueError as error:
        raise BadInput(f"`{day}` is no day; give it as `2026-10-30`.", value=day) from error
    return utc_text(datetime.combine(when, time(12), ZoneInfo(zone)))


def summary(decisions: list[Decision], positions: list[int]) -> Outcome:
    """The outcome of a command from what was decided and where it came to stand."""
    if not decisions:
        return Outcome()
    batch, lots, flags, also = "", [], [], []
    for number, decision in enumerate(decisions):
        event = decision.event
        if isinstance(event, Movement):
            batch = batch or event.batch
            lots += [g.lot for g in event.gives]
            flags += [f.text for f in event.flags]
        elif isinstance(event, BatchOpened):
            batch = event.batch
        elif isinstance(event, Amended):
            flags += [f["text"] for f in event.data.get("flags", ())]
            if number:
                also.append(event.origin)
    return Outcome(positions[0], positions[-1], batch, tuple(lots), tuple(flags), tuple(also))


def outcome_of(text: str, repeated: bool) -> Outcome:
    """An outcome remembered with its command."""
    return replace(msgspec.json.decode(text, type=Outcome), repeated=repeated)


def open_ledger(
    url: str,
    site: str = "main",
    clock: Callable[[], datetime] = utc_now,
    create: bool = True,
    ids: Callable[[], str] = uuid7,
) -> Ledger:
    """The ledger of a site in the database at `url` (`sqlite:///shop.sqlite`, `postgresql://...`), made or upgraded if `create`."""
    store = open_store(url, site, clock, ids)
    if create:
        store.create()
    return Ledger(store, clock, Queries(store, clock))
