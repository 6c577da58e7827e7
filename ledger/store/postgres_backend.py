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
from ledger.store.session import Session, Writes
from ledger.store.statements import POSTGRESQL, Params, Row, Statement

T = TypeVar("T")
Connection = psycopg.Connection[tuple[Any, ...]]

LOSSES_BEFORE_LOCK = 3
BULK_ROWS = 500
"""From so many rows on they are sent with COPY where that can be, outside the pipeline."""
CHUNK = 5_000
"""Rows of one statement sent together where COPY cannot be."""

BEGIN = "BEGIN ISOLATION LEVEL READ COMMITTED"
SNAPSHOT = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"
TAKE_HEAD = "SELECT slabbook_take_head(%s::text, %s::bigint)"
HOLD = "SELECT slabbook_hold(%s::text)"
LOST_RACE = "SB001"
LOCK_TIMEOUT = "55P03"


class PostgresSession:
    """Driver SQL on one connection."""

    dialect = POSTGRESQL

    def __init__(self, connection: Connection) -> None:
        self.connection = connection

    def rows(self, statement: Statement, params: Params = ()) -> list[Row]:
        sql, arranged = statement.arranged(POSTGRESQL, params)
        return self.connection.execute(sql, arranged).fetchall()

    def rows_of(self, asked: Sequence[tuple[Statement, Params]]) -> list[list[Row]]:
        if len(asked) == 1:
            return [self.rows(*asked[0])]
        with self.connection.pipeline():
            cursors = [self.connection.execute(*statement.arranged(POSTGRESQL, params)) for statement, params in asked]
        return [cursor.fetchall() for cursor in cursors]


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
        )
        event.listen(self.engine, "connect", _set_up)

    def run(self, attempt: Callable[[Session], tuple[T, Writes]], *, site: str, exclusive: bool = False) -> T:
        """One transaction; see the top of the module."""
        losses = 0
        while True:
            holding = exclusive or losses >= LOSSES_BEFORE_LOCK
            try:
                with self._connection() as connection:
                    if holding:
                        return _holding_the_lock(connection, attempt, site)
                    return _all_in_one_trip(connection, attempt)
            except psycopg.Error as error:
                lost = error.sqlstate == LOST_RACE or error.diag.constraint_name == "pk_commands"
                if holding or not lost:
                    explained = _explained(error)
                    if explained is None:
                        raise
                    raise explained from error
                losses += 1

    @contextmanager
    def read(self) -> Iterator[PostgresSession]:
        """A snapshot: what others commit meanwhile is not seen, and they are not held up."""
        with self._connection() as connection:
            connection.execute(SNAPSHOT)
            yield PostgresSession(connection)

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()

    @contextmanager
    def _connection(self) -> Iterator[Connection]:
        """A pooled connection, given back without an open transaction; a broken one is thrown away."""
        try:
            proxied = self.engine.raw_connection()
            if _driver(proxied).broken:  # the server went away while nobody looked
                proxied.invalidate()
                proxied.close()
                proxied = self.engine.raw_connection()
        except psycopg.OperationalError as error:
            raise LedgerUnreachable(f"the database server does not answer: {error}") from error
        connection = _driver(proxied)
        try:
            yield connection
        finally:
            try:
                if connection.info.transaction_status != TransactionStatus.IDLE:
                    connection.rollback()
            finally:
                if connection.broken:
                    proxied.invalidate()
                proxied.close()


def _all_in_one_trip(connection: Connection, attempt: Callable[[Session], tuple[T, Writes]]) -> T:
    result, writes = attempt(PostgresSession(connection))
    if not writes.batches:
        return result
    if writes.size is None or writes.size > BULK_ROWS:
        connection.execute(BEGIN)
        connection.execute(TAKE_HEAD, (writes.site, writes.based_on))
        for statement, rows in writes.batches:
            _send_bulk(connection, statement, rows)
        _commit(connection)
        return result
    with _telling_of_doubt(), connection.pipeline():
        connection.execute(BEGIN)
        connection.execute(TAKE_HEAD, (writes.site, writes.based_on))
        for statement, rows in writes.batches:
            _send(connection, statement, rows)
        committed = connection.execute("COMMIT")
    assert committed.statusmessage == "COMMIT", committed.statusmessage
    return result


def _holding_the_lock(connection: Connection, attempt: Callable[[Session], tuple[T, Writes]], site: str) -> T:
    connection.execute(BEGIN)
    connection.execute(HOLD, (site,))
    result, writes = attempt(PostgresSession(connection))
    for statement, rows in writes.batches:
        _send_bulk(connection, statement, rows)
    _commit(connection)
    return result


def _send(connection: Connection, statement: Statement, rows: Iterable[Row]) -> None:
    sql, arrange, _columns = statement.on(POSTGRESQL)
    if arrange is not None:
        rows = map(arrange, rows)
    if isinstance(rows, list) and len(rows) == 1:
        connection.execute(sql, rows[0])
    else:
        connection.cursor().executemany(sql, rows)


def _send_bulk(connection: Connection, statement: Statement, rows: Iterable[Row]) -> None:
    if statement.copy_sql is not None and not (isinstance(rows, list) and len(rows) < BULK_ROWS):
        with connection.cursor() as cursor, cursor.copy(statement.copy_sql) as copy:
            for row in rows:
                copy.write_row(row)
        return
    rows = iter(rows)
    while chunk := list(islice(rows, CHUNK)):
        _send(connection, statement, chunk)


def _commit(connection: Connection) -> None:
    with _telling_of_doubt():
        committed = connection.execute("COMMIT")
    assert committed.statusmessage == "COMMIT", committed.statusmessage


@contextmanager
def _telling_of_doubt() -> Iterator[None]:
    """A connection that breaks around COMMIT leaves open whether it happened; say so instead of guessing."""
    try:
        yield
    except psycopg.OperationalError as error:
        if error.sqlstate in (LOST_RACE, LOCK_TIMEOUT):
            raise
        raise LedgerUnreachable(
            "the connection to the database broke while writing, so it is not known whether the entry was stored; "
            "send the same command again with the same command id: it will not be stored twice"
        ) from error


def _driver(proxied: PoolProxiedConnection) -> Connection:
    connection = proxied.driver_connection
    assert isinstance(connection, psycopg.Connection)
    return connection


def _set_up(connection: Any, _record: Any) -> None:
    connection.autocommit = True  # we say BEGIN ourselves
    connection.prepare_threshold = 1
    connection.prepared_max = 500
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
