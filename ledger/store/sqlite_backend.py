"""SQLite: one file, one writer at a time, nothing to install.

WAL with ``synchronous=FULL``: what is acknowledged survives a power cut. Writers take the lock at once (``BEGIN
IMMEDIATE``):
a transaction that reads first and asks for the lock later fails whenever another one wrote between.
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from sqlalchemy import URL, Engine, create_engine, event
from sqlalchemy.pool import PoolProxiedConnection

from ledger.errors import BadInput, SlabbookError
from ledger.store.errors import LedgerBusy, taken_command_id, taken_event_id
from ledger.store.session import Session, Writes
from ledger.store.statements import SQLITE, Params, Row, Statement

T = TypeVar("T")

PATIENCE_MS = 30_000
"""How long a writer waits for others before it gives up."""


class SqliteSession:
    """Driver SQL on one connection."""

    dialect = SQLITE

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.execute = connection.execute

    def rows(self, statement: Statement, params: Params = ()) -> list[Row]:
        sql, arranged = statement.arranged(SQLITE, params)
        return self.execute(sql, arranged).fetchall()

    def rows_of(self, asked: Sequence[tuple[Statement, Params]]) -> list[list[Row]]:
        return [self.rows(statement, params) for statement, params in asked]


class SqliteBackend:
    """A ledger file."""

    dialect = SQLITE

    def __init__(self, url: URL) -> None:
        if url.database in (None, "", ":memory:"):
            raise BadInput(
                "a ledger in memory would be gone tomorrow; name a file, like sqlite:///shop.db", value=str(url)
            )
        self.engine: Engine = create_engine(url, connect_args={"cached_statements": 500, "timeout": PATIENCE_MS / 1000})
        event.listen(self.engine, "connect", _set_up)
        event.listen(self.engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN IMMEDIATE"))
        self._readers: Engine = create_engine(
            url, connect_args={"cached_statements": 500, "timeout": PATIENCE_MS / 1000}
        )
        event.listen(self._readers, "connect", _set_up)
        event.listen(self._readers, "connect", lambda connection, _record: connection.execute("PRAGMA query_only = ON"))
        self._lock = threading.Lock()
        self._held: PoolProxiedConnection | None = None
        self._holder = 0

    def run(self, attempt: Callable[[Session], tuple[T, Writes]], *, site: str, exclusive: bool = False) -> T:
        """One transaction under SQLite's write lock, so nothing can get in between and one attempt is enough."""
        with self._turn():
            connection = self._writer()
            session = SqliteSession(connection)
            try:
                connection.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError as error:
                if not _is_busy(error):
                    raise
                raise _too_busy() from error
            try:
                result, writes = attempt(session)
                for statement, rows in writes.batches:
                    sql, arrange, _columns = statement.on(SQLITE)
                    if arrange is not None:
                        rows = map(arrange, rows)
                    if isinstance(rows, list) and len(rows) == 1:
                        connection.execute(sql, rows[0])
                    else:
                        connection.executemany(sql, rows)
                connection.execute("COMMIT")
            except BaseException as error:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                clash = _clash(error)
                if clash is None:
                    raise
                raise clash from error
            return result

    @contextmanager
    def read(self, *, guarded: bool = True) -> Iterator[SqliteSession]:
        """A snapshot: what others commit meanwhile is not seen, and they are not held up.

        Readers have connections of their own that can never write: switching that pragma on and off at every reading would throw
        away every prepared statement, and preparing a path anew costs more than a short path.
        """
        proxied = self._readers.raw_connection()
        try:
            connection = _driver(proxied)
            connection.execute("BEGIN")
            try:
                yield SqliteSession(connection)
            finally:
                connection.execute("ROLLBACK")
        finally:
            proxied.close()

    def copy_to(self, target: str) -> None:
        """Copy the whole database, as of one moment, into the new file ``target``, while others go on writing."""
        proxied = self.engine.raw_connection()
        try:
            copy = sqlite3.connect(target)
            try:
                _driver(proxied).backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")
            finally:
                copy.close()
        finally:
            proxied.close()

    def close(self) -> None:
        """Close every connection; the last one out tidies the write-ahead log away."""
        with self._lock:
            if self._held is not None and self._holder == os.getpid():
                self._held.close()
            self._held = None
        self.engine.dispose()
        self._readers.dispose()

    @contextmanager
    def _turn(self) -> Iterator[None]:
        """The threads of this process take turns."""
        if not self._lock.acquire(timeout=PATIENCE_MS / 1000):
            raise _too_busy()
        try:
            yield
        finally:
            self._lock.release()

    def _writer(self) -> sqlite3.Connection:
        """The connection this process writes with; a forked child must not touch its parent's."""
        if self._held is None or self._holder != os.getpid():
            if self._held is not None:
                self.engine.dispose(close=False)
            self._held, self._holder = self.engine.raw_connection(), os.getpid()
        return _driver(self._held)


def _driver(proxied: PoolProxiedConnection) -> sqlite3.Connection:
    connection = proxied.driver_connection
    assert isinstance(connection, sqlite3.Connection)
    return connection


def _set_up(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # we say BEGIN ourselves
    for pragma in (
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        "recursive_triggers = ON",
        "cache_size = -24000",
    ):
        connection.execute(f"PRAGMA {pragma}")
    connection.execute(f"PRAGMA busy_timeout = {PATIENCE_MS}")


def _too_busy() -> LedgerBusy:
    seconds = PATIENCE_MS // 1000
    return LedgerBusy(f"others have been writing for {seconds} s without a pause; nothing was written, try again")


def _is_busy(error: sqlite3.OperationalError) -> bool:
    return error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def _clash(error: BaseException) -> SlabbookError | None:
    text = str(error) if isinstance(error, sqlite3.IntegrityError) else ""
    if "event id taken" in text:
        return taken_event_id()
    return taken_command_id() if "commands.command_id" in text else None
