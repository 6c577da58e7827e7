"""Writes the kept tables of a site anew from its log, in one transaction: readers see the old rows until the new ones are whole."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from sqlalchemy import Table, bindparam, delete, func, select, text
from sqlalchemy.schema import AddConstraint, CreateIndex, DropConstraint

from ledger.projections import rows, statements
from ledger.projections.replay import Progress, Replay, replay
from ledger.projections.tables import REBUILT, batches, book, corrections, edges, flags, lots, papers, postings
from ledger.store.session import GUARD_ALONE
from ledger.store.statements import POSTGRESQL, Statement, definition, insert_into
from ledger.store.store import Store
from ledger.store.unit import Unit

_INSERT = {t.name: insert_into(t) for t in REBUILT}


def rebuild(store: Store, progress: Progress | None = None) -> int:
    """Rebuild every kept table of the store's site; returns the number of entries read.

    When this is the only site in the database, indexes are dropped and made again around the bulk insert, and PostgreSQL empties
    the tables at once (deleted rows would go on filling the table and every new index). There it waits for the readers who have
    begun, and those who come later wait for its end; on SQLite they go on reading the old rows.
    """
    with store.read() as reader:  # its own snapshot: on PostgreSQL it would hold the tables that are changed below
        alone = reader.rows(_OTHERS, (store.site,))[0][0] == 0
    with store.read(guarded=False) as reader:
        read = replay(reader)

        def work(unit: Unit) -> int:
            if unit.head.position != reader.head.position:
                raise _MovedError
            emptied = alone and store.dialect == POSTGRESQL
            keyless = BULKY if emptied else ()
            if emptied:
                unit.stream(_ddl(GUARD_ALONE), [()])
                unit.stream(_ddl(f"TRUNCATE {', '.join(t.name for t in REBUILT)}"), [()])
            for table in REBUILT:
                if alone:
                    for index in table.indexes:
                        unit.stream(_ddl(f"DROP INDEX {index.name}"), [()])
                if table in keyless:
                    unit.stream(_ddl(definition(store.dialect, DropConstraint(table.primary_key))), [()])
                if not emptied:
                    unit.stream(_clear(table, alone), [() if alone else (store.site,)])
            unit.stream(_INSERT["postings"], read.postings(progress))
            for table, found in _after(store.site, read):
                unit.stream(_INSERT[table.name], found)
            for table in keyless:
                unit.stream(_ddl(definition(store.dialect, AddConstraint(table.primary_key))), [()])
            unit.stream(statements.CLOSE_POSTINGS, _late(read.closings))
            unit.stream(statements.CLOSE_EDGES, _late(read.closings))
            if alone:
                for table in REBUILT:
                    for index in table.indexes:
                        unit.stream(_ddl(definition(store.dialect, CreateIndex(index))), [()])
            return reader.head.position

        try:
            return store.run(work, exclusive=True)
        except _MovedError:
            pass
    return rebuild(store, progress)


class _MovedError(Exception):
    """Somebody recorded something between the snapshot and the lock; read again."""


BULKY = (postings, edges)
"""On PostgreSQL these lose their primary key too while they are filled: sorted once it is made in a third of the time."""

_OTHERS = Statement(select(func.count()).select_from(lots).where(lots.c.site != bindparam("site")), ["site"])


def _ddl(sql: str) -> Statement:
    return Statement(text(sql), [])


def _clear(table: Table, alone: bool) -> Statement:
    if alone:
        return Statement(delete(table), [])
    return Statement(delete(table).where(table.c.site == bindparam("site")), ["site"])


def _late(make: Callable[[], Iterable[rows.Row]]) -> Iterator[rows.Row]:
    yield from make()


def _after(site: str, read: Replay) -> Iterator[tuple[Table, Iterable[Any]]]:
    """Rows known only once the whole log was read; drawn lazily, after the postings."""
    yield edges, _late(lambda: read.edges_new)
    yield lots, _late(lambda: (rows.lot_row(site, x) for x in read.lots.values()))
    yield batches, _late(lambda: (rows.batch_row(site, x) for x in read.batches.values()))
    yield flags, _late(lambda: (rows.flag_row(site, x) for x in read.flags.values()))
    yield corrections, _late(lambda: ((site, o, at, int(v)) for o, (at, v) in read.corrections.items()))
    yield papers, _late(lambda: read.papers_new)
    yield book, _late(lambda: read.book_new)
