"""Many statements to a PostgreSQL server in one trip, with little in between.

psycopg's own pipeline hands every statement to the socket by itself and costs about as much again as the server's
work; here
all statements of a trip are queued in libpq (through psycopg's documented ``psycopg.pq``), followed by one
synchronisation
point, and then the answers are collected. psycopg still does what it does well: connecting, errors, COPY, and turning
answers
into Python values.

Values may be None, text, whole numbers, booleans and bytes: all that the ledger stores.
"""

from __future__ import annotations

import select
from collections.abc import Sequence
from typing import Any

import psycopg
from psycopg import pq
from psycopg.adapt import Transformer
from psycopg.errors import error_from_result

from ledger.store.statements import Params, Row

PREPARED_AT_MOST = 400
_GOOD = (pq.ExecStatus.COMMAND_OK, pq.ExecStatus.TUPLES_OK)


class ConnectionGone(psycopg.OperationalError):
    """The conversation with the server broke; the connection is closed."""


class Wire:
    """One connection's way to the server. A statement that comes a second time is prepared and stays so."""

    def __init__(self, connection: psycopg.Connection[Row]) -> None:
        self._pg = connection.pgconn
        self._values = Transformer(connection)
        self._names: dict[str, bytes] = {}
        self._prepared = 0
        self._seen: set[str] = set()

    def trip(self, asked: Sequence[tuple[str, Params]]) -> list[pq.abc.PGresult]:
        """Send all statements, collect all answers.

        Raises the psycopg error of the first statement that failed; the server skips those after it. If the
        conversation itself
        breaks, or is interrupted, the connection is closed, so that nobody reads answers to another's questions.
        """
        pg = self._pg
        whole = False
        try:
            pg.enter_pipeline_mode()
            preparing = [self._send(sql, params) for sql, params in asked]
            pg.pipeline_sync()
            answers = self._collect(preparing)
            pg.exit_pipeline_mode()
            whole = True
        except psycopg.OperationalError as error:
            raise ConnectionGone(str(error)) from error
        finally:
            if not whole:
                pg.finish()
        for answer in answers:
            if answer.status not in _GOOD:
                for (sql, _params), new in zip(asked, preparing, strict=True):
                    if new:
                        self._names.pop(sql, None)  # perhaps it was never prepared; the next time it gets a fresh name
                raise error_from_result(answer)
        return answers

    def rows(self, answer: pq.abc.PGresult) -> list[Row]:
        """The rows of an answer."""
        if not answer.ntuples:
            return []
        self._values.set_pgresult(answer)
        return self._values.load_rows(0, answer.ntuples, tuple)

    def _send(self, sql: str, params: Params) -> bool:
        """Queue one statement; True if its preparation was queued before it."""
        pg = self._pg
        values: list[Any] | None = [value if type(value) is bytes else _as_text(value) for value in params]
        formats = [1 if type(value) is bytes else 0 for value in params] if bytes in map(type, params) else None
        name = self._names.get(sql)
        new = False
        if name is None:
            if sql not in self._seen or len(self._names) >= PREPARED_AT_MOST:
                if len(self._seen) > 10 * PREPARED_AT_MOST:
                    self._seen.clear()
                self._seen.add(sql)
                pg.send_query_params(sql.encode(), values, None, formats)
                return False
            self._prepared += 1
            name = self._names[sql] = f"slabbook_{self._prepared}".encode()
            pg.send_prepare(name, sql.encode())
            new = True
        pg.send_query_prepared(name, values, formats)
        return new

    def _collect(self, preparing: list[bool]) -> list[pq.abc.PGresult]:
        pg = self._pg
        while pg.flush():
            self._wait(writing=True)
            pg.consume_input()
        answers = []
        for prepared in preparing:
            if prepared:
                refused = self._answer()
                answer = self._answer()
                answers.append(refused if refused.status not in _GOOD else answer)
            else:
                answers.append(self._answer())
        while pg.is_busy():
            self._wait()
            pg.consume_input()
        end = pg.get_result()
        if end is None or end.status != pq.ExecStatus.PIPELINE_SYNC:
            raise psycopg.OperationalError("the conversation with the server lost its order")
        return answers

    def _answer(self) -> pq.abc.PGresult:
        """The next statement's answer, and the nothing after it."""
        pg = self._pg
        found: pq.abc.PGresult | None = None
        while True:
            while pg.is_busy():
                self._wait()
                pg.consume_input()
            answer = pg.get_result()
            if answer is None:
                if found is None:
                    raise psycopg.OperationalError("the server closed the connection")
                return found
            found = found or answer

    def _wait(self, *, writing: bool = False) -> None:
        socket = self._pg.socket
        if hasattr(select, "poll"):
            poller = select.poll()
            poller.register(socket, select.POLLIN | (select.POLLOUT if writing else 0))
            poller.poll()
        else:  # Windows
            select.select([socket], [socket] if writing else [], [])


def _as_text(value: object) -> bytes | None:
    if value is None:
        return None
    if isinstance(value, str):
        return value.encode()
    if isinstance(value, bool):
        return b"t" if value else b"f"
    if isinstance(value, int):
        return str(value).encode()
    raise TypeError(
        f"{value!r} cannot be sent to the database: only text, whole numbers, yes/no, bytes and None are stored"
    )
