"""PostgreSQL: the shared ledger, for several machines.

Every trip to the server costs, and a lock held across trips would let one distant machine slow all others. So an
attempt
reads without a lock, then sends everything in one pipelined trip: BEGIN, take the site's lock and make sure that the
head is
still the one that was read (``slabbook_take_head`` raises if not), the rows, COMMIT. A writer that lost this race
reads and
decides again; one that lost three times takes the lock first and holds it, so nobody starves.

Because the lock is held until the commit, positions are given out in the order of commits and without gaps.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import Any, TypeVar

import psycopg
from psycopg.pq import TransactionStatus
from sqlalchemy import URL, Engine, create_engine, event
from sqlalchemy.pool import PoolProxiedConnection

from ledger.errors import SlabbookError
from ledger.store.errors import LedgerBusy, LedgerUnreachable, taken_command_id, taken_event_id
from ledger.store.postgres_wire import ConnectionGone, Wire
from ledger.store.session import GUARD, Session, Writes
from ledger.store.statements import POSTGRESQL, Params, Row, Statement

T = TypeVar("T")
Connection = psycopg.Connection[tuple[Any, ...]]

LOSSES_BEFORE_LOCK = 3
LINE = {"connect_timeout": 15, "keepalives_idle": 20, "keepalives_interval": 5, "keepalives_count": 4}
"""A server that is gone without a word (cable, sleeping laptop) is noticed after some 40 s, not after the system's two hours."""
BULK_ROWS = 500
"""From so many rows on they are sent with COPY where that can be, outside the pipeline."""
CHUNK = 5_000
"""Rows of one statement sent together where COPY cannot be."""

BEGIN = "BEGIN ISOLATION LEVEL READ COMMITTED"
SNAPSHOT = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"
TAKE_HEAD = "SELECT slabbook_take_head($1::text, $2::bigint)"
HOLD = "SELECT slabbook_hold($1::text)"
LOST_RACE = "SB001"
LOCK_TIMEOUT = "55P03"
_OPEN = (TransactionStatus.INTRANS, TransactionStatus.INERROR)


class PostgresSession:
    """Driver SQL on one connection."""

    dialect = POSTGRESQL

    def __init__(self, connection: Connection, wire: Wire) -> None:
        self.connection = connection
        self.wire = wire

    def rows(self, statement: Statement, params: Params = ()) -> list[Row]:
        wire = self.wire
        return wire.rows(wire.trip([statement.arranged(POSTGRESQL, params)])[0])

    def rows_of(self, asked: Sequence[tuple[Statement, Params]]) -> list[list[Row]]:
        wire = self.wire
        answers = wire.trip([statement.arranged(POSTGRESQL, params) for statement, params in asked])
        return [wire.rows(answer) for answer in answers]


class PostgresBackend:
    """A database on a PostgreSQL server."""

    dialect = POSTGRESQL

    def __init__(self, url: URL) -> None:
        self.engine: Engine = create_engine(
            url,
            isolation_level="AUTOCOMMIT",
            pool_reset_on_return=None,
            pool_size=8,
            max_overflow=24,
            connect_args=LINE,
        )
        event.listen(self.engine, "connect", _set_up)

    def run(self, attempt: Callable[[Session], tuple[T, Writes]], *, site: str, exclusive: bool = False) -> T:
        """One transaction; see the top of the module."""
        losses, broken = 0, 0
        while True:
            holding = exclusive or losses >= LOSSES_BEFORE_LOCK
            try:
                with self._session() as session:
                    return (_holding_the_lock if holding else _all_in_one_trip)(session, attempt, site)
            except ConnectionGone as error:  # while reading; a commit in doubt is another error
                broken += 1
                self._give_up_or_reconnect(broken, error)
            except psycopg.Error as error:
                lost = error.sqlstate == LOST_RACE or error.diag.constraint_name == "pk_commands"
                if holding or not lost:
                    explained = _explained(error)
                    if explained is None:
                        raise
                    raise explained from error
                losses += 1

    @contextmanager
    def read(self, *, guarded: bool = True) -> Iterator[PostgresSession]:
        """A snapshot: what others commit meanwhile is not seen, and they are not held up (but see `GUARD`)."""
        broken = 0
        begin: list[tuple[str, Params]] = [(SNAPSHOT, ()), (GUARD, ())] if guarded else [(SNAPSHOT, ())]
        while True:
            with self._session() as session:
                try:
                    session.wire.trip(begin)
                except ConnectionGone as error:
                    broken += 1
                    self._give_up_or_reconnect(broken, error)
                    continue
                yield session
                return

    def _give_up_or_reconnect(self, broken: int, error: psycopg.Error) -> None:
        """A server that was restarted leaves stale connections in the pool: throw them away, and try once more."""
        if broken > 1:
            raise LedgerUnreachable(f"the connection to the database server keeps breaking: {error}") from error
        self.engine.dispose()

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()

    @contextmanager
    def _session(self) -> Iterator[PostgresSession]:
        """A pooled connection, given back without an open transaction; a broken one is thrown away."""
        try:
            proxied = self.engine.raw_connection()
        except psycopg.OperationalError as error:
            raise LedgerUnreachable(f"the database server does not answer: {error}") from error
        connection = _driver(proxied)
        wire = proxied.info.get("wire")
        if wire is None:
            wire = proxied.info["wire"] = Wire(connection)
        try:
            yield PostgresSession(connection, wire)
        finally:
            try:
                if connection.pgconn.transaction_status in _OPEN:
                    connection.rollback()
            finally:
                if connection.closed:
                    proxied.invalidate()
                proxied.close()


def _all_in_one_trip(session: PostgresSession, attempt: Callable[[Session], tuple[T, Writes]], _site: str) -> T:
    result, writes = attempt(session)
    if not writes.batches:
        return result
    begin: list[tuple[str, Params]] = [(BEGIN, ()), (TAKE_HEAD, (writes.site, writes.based_on))]
    if writes.size is None or writes.size > BULK_ROWS:
        session.wire.trip(begin)
        for statement, rows in writes.batches:
            _send_bulk(session, statement, rows)
        _commit(session, [])
    else:
        _commit(session, [*begin, *(one for statement, rows in writes.batches for one in _all(statement, rows))])
    return result


def _holding_the_lock(session: PostgresSession, attempt: Callable[[Session], tuple[T, Writes]], site: str) -> T:
    session.wire.trip([(BEGIN, ()), (HOLD, (site,))])
    result, writes = attempt(session)
    for statement, rows in writes.batches:
        _send_bulk(session, statement, rows)
    _commit(session, [])
    return result


def _all(statement: Statement, rows: Iterable[Row]) -> Iterator[tuple[str, Params]]:
    """A statement once for each row, ready to send."""
    sql, arrange, _columns = statement.on(POSTGRESQL)
    return ((sql, row) for row in (rows if arrange is None else map(arrange, rows)))


def _send_bulk(session: PostgresSession, statement: Statement, rows: Iterable[Row]) -> None:
    if statement.copy_sql is not None and not (isinstance(rows, list) and len(rows) < BULK_ROWS):
        with session.connection.cursor() as cursor, cursor.copy(statement.copy_sql.encode()) as copy:
            copy.set_types(statement.copy_types)
            for row in rows:
                copy.write_row(row)
        return
    ready = _all(statement, rows)
    while chunk := list(islice(ready, CHUNK)):
        session.wire.trip(chunk)


def _commit(session: PostgresSession, before: list[tuple[str, Params]]) -> None:
    """Send the last statements and COMMIT.

    A connection that breaks here leaves open whether the commit happened; the error says so instead of guessing.
    """
    try:
        committed = session.wire.trip([*before, ("COMMIT", ())])[-1]
    except ConnectionGone as error:
        raise LedgerUnreachable(
            "the connection to the database broke while writing, so it is not known whether the entry was stored; "
            "send the same command again with the same command id: it will not be stored twice"
        ) from error
    assert committed.command_status == b"COMMIT", committed.command_status


def _driver(proxied: PoolProxiedConnection) -> Connection:
    connection = proxied.driver_connection
    assert isinstance(connection, psycopg.Connection)
    return connection


def _set_up(connection: Any, _record: Any) -> None:
    connection.autocommit = True  # we say BEGIN ourselves
    if connection.execute("SHOW synchronous_commit").fetchone()[0] == "off":
        connection.execute("SET synchronous_commit = on")  # what is acknowledged must survive a power cut


def _explained(error: psycopg.Error) -> SlabbookError | None:
    if error.sqlstate == LOCK_TIMEOUT:
        return LedgerBusy(
            "another writer holds the ledger (a long import or a rebuild?); nothing was written, try again"
        )
    if error.diag.constraint_name == "uq_events_site_event_id":
        return taken_event_id()
    return taken_command_id() if error.diag.constraint_name == "pk_commands" else None
