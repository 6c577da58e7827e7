"""Rebuild against the raw bulk insert of the same posting rows, in one run, on both databases.

``python -m benchmarks.rebuild [--events 100000] [--only sqlite|postgresql] [--demo]``

Two histories: sales only (a tenth of the size and the whole: is it linear?), and the invented shop's own three years with ``--demo``.
The yard-stick is what the bare driver needs for the posting rows alone, its indexes made after the rows as the rebuild makes them.
"""

from __future__ import annotations

import argparse
import sqlite3
import tempfile
import time
from contextlib import closing
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import psycopg
from sqlalchemy.schema import CreateIndex, CreateTable

from benchmarks.full_path import shop
from ledger.application.ledger import Order, open_ledger
from ledger.domain.shelf.commands import Sell
from ledger.projections.rebuild import rebuild
from ledger.projections.tables import postings
from ledger.store.statements import POSTGRESQL, SQLITE, definition
from tests.support.given_when_then import DAY
from tests.support.postgres import MISSING, conninfo, running_server

Run = tuple[int, float, float, float]
Clock = tuple[float, float]


def peak_mb() -> float:
    """Peak memory of this process (nan where the machine does not tell)."""
    try:
        import resource
    except ImportError:  # Windows
        return float("nan")
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def now() -> Clock:
    """The wall's clock and this process's."""
    return time.perf_counter(), time.process_time()


def since(then: Clock) -> Clock:
    """Seconds by both clocks; on a busy machine only the second says much (it leaves a database server's own share out)."""
    return time.perf_counter() - then[0], time.process_time() - then[1]


def shape(dialect: str) -> tuple[str, list[str]]:
    """The definitions of the posting table and of its indexes."""
    return definition(dialect, CreateTable(postings)), [definition(dialect, CreateIndex(x)) for x in postings.indexes]


def raw_sqlite(source: str, target: str) -> Clock:
    """Seconds the bare driver needs to insert the posting rows of a ledger into an empty table of the same shape."""
    table, indexes = shape(SQLITE)
    with closing(sqlite3.connect(source)) as read:
        rows = read.execute("SELECT * FROM postings").fetchall()
    with closing(sqlite3.connect(target, isolation_level=None)) as write:
        write.execute("PRAGMA journal_mode = WAL")
        write.execute("PRAGMA synchronous = FULL")
        write.execute(table)
        started = now()
        write.execute("BEGIN IMMEDIATE")
        write.executemany(f"INSERT INTO postings VALUES ({', '.join('?' * len(rows[0]))})", rows)
        for sql in indexes:
            write.execute(sql)
        write.execute("COMMIT")
        return since(started)


def raw_postgresql(source: str, target: str) -> Clock:
    """The same by the bare driver's COPY."""
    table, indexes = shape(POSTGRESQL)
    with psycopg.connect(conninfo(source)) as read:
        rows = read.execute("SELECT * FROM postings").fetchall()
    with psycopg.connect(conninfo(target)) as write:
        write.execute(table.encode())
        write.commit()
        started = now()
        with write.cursor().copy("COPY postings FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        for sql in indexes:
            write.execute(sql.encode())
        write.commit()
        return since(started)


def rebuilt(url: str) -> Run:
    """Entries read, seconds, and peak memory of a process that does nothing but rebuild."""
    ledger = open_ledger(url, create=False)
    started = now()
    done = rebuild(ledger.store)
    return done, *since(started), peak_mb()


def alone(work: Any, *given: str) -> Any:
    """Run it in a process of its own, so that its peak memory is its own."""
    with get_context("spawn").Pool(1) as pool:
        return pool.apply(work, given)


def sales(url: str, events: int) -> None:
    """Fill a ledger with that many sales, all through the rules."""
    ledger = shop(url)
    for first in range(0, events, 2000):
        ledger.do_all([
            Order(Sell(day=DAY, pack="LEMON-JAR", packs=1, channel="SHOP", amount=600), "AB", f"sale-{first + n}") for n in range(min(2000, events - first))
        ])  # fmt: skip
    ledger.close()


def three_years(url: str) -> None:
    """The invented shop."""
    from seeds.shop import fill

    fill(url)


def report(what: str, run: Run, raw: Clock) -> str:
    """One line."""
    done, took, cpu, peak = run
    return (
        f"{what:<22} {done:>9,} events: rebuild {took:6.2f} s ({done / took:,.0f} events/s; CPU {cpu:.2f} s), raw insert of the "
        f"posting rows {raw[0]:6.2f} s (CPU {raw[1]:.2f} s), ratio {took / raw[0]:4.2f}, by CPU {cpu / raw[1]:4.2f}; peak memory {peak:,.0f} MB"
    )


def main() -> None:
    """Two sizes of sales, a tenth and the whole; with ``--demo`` the invented shop instead."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--events", type=int, default=100_000)
    parser.add_argument("--only", choices=["sqlite", "postgresql"])
    parser.add_argument("--demo", action="store_true")
    chosen = parser.parse_args()
    fills = [("demo", three_years)] if chosen.demo else [
        (f"sales {size}", lambda url, size=size: sales(url, size)) for size in (chosen.events // 10, chosen.events)
    ]  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        if chosen.only != "postgresql":
            for number, (what, fill) in enumerate(fills):
                path = f"{folder}/ledger-{number}.db"
                fill(f"sqlite:///{path}")
                run = alone(rebuilt, f"sqlite:///{path}")
                print(
                    report(f"SQLite, {what}", run, alone(raw_sqlite, path, str(Path(folder) / f"raw-{number}.db"))),
                    flush=True,
                )
        if chosen.only != "sqlite":
            with running_server(durable=True) as server:
                if server is None:
                    print(MISSING)
                    return
                for what, fill in fills:
                    url = server.new_database()
                    fill(url)
                    run = alone(rebuilt, url)
                    print(
                        report(f"PostgreSQL, {what}", run, alone(raw_postgresql, url, server.new_database())),
                        flush=True,
                    )


if __name__ == "__main__":
    main()
