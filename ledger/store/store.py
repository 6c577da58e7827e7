"""The event store of one site: append, read, and the transaction both happen in."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from ledger.errors import BadInput
from ledger.store import schema
from ledger.store.ids import uuid7
from ledger.store.reader import Reader
from ledger.store.session import Backend, Session, Writes
from ledger.store.sqlite_backend import SqliteBackend
from ledger.store.statements import POSTGRESQL, SQLITE
from ledger.store.times import utc_now
from ledger.store.unit import Clock, Ids, Unit

T = TypeVar("T")


class Store:
    """One site's ledger in a database. Safe to share between threads."""

    def __init__(self, url: URL, site: str, clock: Clock, ids: Ids, backend: Backend) -> None:
        self.url = url
        self.site = site
        self.clock = clock
        self.ids = ids
        self.backend = backend
        self._checked = False
        self._thread = threading.local()

    @property
    def dialect(self) -> str:
        """``sqlite`` or ``postgresql``."""
        return self.backend.dialect

    def create(self) -> None:
        """Bring an empty or old database to the newest schema; does nothing to one that is there already."""
        schema.upgrade(self.url)
        self._checked = True

    def run(
        self,
        work: Callable[[Unit], T],
        *,
        command_id: str | None = None,
        streams: Sequence[str] = (),
        exclusive: bool = False,
    ) -> T:
        """Do ``work`` in one transaction and return its result once everything is safely stored.

        ``work`` may be called again with a fresh unit if another writer was faster, so it must not have other effects.
        If it raises, nothing is written. ``command_id`` and ``streams`` are hints: that command's record and those
        streams' versions come with the first trip to the server. ``exclusive`` holds other writers off from the start:
        for long jobs, and for work that writes without appending events.

        Raises LedgerNotReady, LedgerBusy, and whatever ``work`` raises.
        """

        def attempt(session: Session) -> tuple[T, Writes]:
            unit = Unit(session, self.site, self.clock, self.ids, command_id=command_id, streams=streams)
            result = work(unit)
            return result, unit.writes()

        return self.transact(attempt, exclusive=exclusive)

    def transact(self, attempt: Callable[[Session], tuple[T, Writes]], *, exclusive: bool = False) -> T:
        """The bare transaction under ``run``, for the store's own upkeep."""
        self.require_ready()
        if getattr(self._thread, "inside", False):
            raise RuntimeError("a unit of this ledger is open in this thread already; use that one, units do not nest")
        self._thread.inside = True
        try:
            return self.backend.run(attempt, site=self.site, exclusive=exclusive)
        finally:
            self._thread.inside = False

    @contextmanager
    def read(self, *, guarded: bool = True) -> Iterator[Reader]:
        """A consistent snapshot of the ledger to read from.

        ``guarded=False`` is for the rebuild alone, which reads the log while it empties every other table: on
        PostgreSQL its own snapshot would keep it waiting for itself.
        """
        self.require_ready()
        with self.backend.read(guarded=guarded) as session:
            yield Reader(session, self.site)

    def close(self) -> None:
        """Give back every connection; the store opens new ones if it is used again."""
        self.backend.close()

    def require_ready(self) -> None:
        """Raise LedgerNotReady unless the database holds a ledger of this program's schema (asked once)."""
        if self._checked:
            return
        found = schema.found_revision(self.url)
        if found != schema.newest_revision():
            raise schema.not_ready(self.url, found)
        self._checked = True


def open_store(url: str | URL, site: str = "main", clock: Clock = utc_now, ids: Ids = uuid7) -> Store:
    """The ledger of ``site`` in the database at ``url`` (``sqlite:///shop.db``, ``postgresql://user@host/name``).

    ``clock`` gives the present moment with a time zone, ``ids`` new event ids; tests pass their own. Nothing is touched
    until the store is used; ``create()`` makes the tables. Raises BadInput for a URL it cannot use.
    """
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        raise BadInput(
            f"{url!r} is not a database address; write sqlite:///shop.db or postgresql://host/name"
        ) from error
    kind = parsed.get_backend_name()
    if kind == SQLITE:
        return Store(parsed, site, clock, ids, SqliteBackend(parsed))
    if kind == POSTGRESQL:
        from ledger.store.postgres_backend import PostgresBackend

        parsed = parsed.set(drivername="postgresql+psycopg")
        return Store(parsed, site, clock, ids, PostgresBackend(parsed))
    raise BadInput(f"{kind} databases cannot hold a ledger; use SQLite or PostgreSQL", value=kind)
