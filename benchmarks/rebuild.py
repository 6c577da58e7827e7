"""Rebuild against the raw bulk insert of the same posting rows, in one run. ``python -m benchmarks.rebuild [--events 100000]``

The ledger is the demo's kind of history: mostly sales. Printed: seconds, ratio, events per second at two sizes (linear?), peak memory.
"""

from __future__ import annotations

import argparse
import sqlite3
import tempfile
import time
from multiprocessing import get_context
from pathlib import Path

from benchmarks.full_path import shop
from ledger.application.ledger import Order, open_ledger
from ledger.domain.shelf.commands import Sell
from ledger.projections.rebuild import rebuild
from tests.support.given_when_then import DAY


def peak_mb() -> float:
    """Peak memory of this process (nan where the machine does not tell)."""
    try:
        import resource
    except ImportError:  # Windows
        return float("nan")
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def raw_insert(source: Path, target: Path) -> float:
    """Seconds to insert the posting rows of a ledger into an empty table of the same shape and indexes."""
    with sqlite3.connect(source) as read:
        rows = read.execute("SELECT * FROM postings").fetchall()
        made = [
            sql
            for (sql,) in read.execute("SELECT sql FROM sqlite_master WHERE tbl_name = 'postings' AND sql IS NOT NULL")
        ]
    with sqlite3.connect(target, isolation_level=None) as write:
        write.execute("PRAGMA journal_mode = WAL")
        write.execute("PRAGMA synchronous = FULL")
        for sql in made:
            write.execute(sql)
        started = time.perf_counter()
        write.execute("BEGIN IMMEDIATE")
        write.executemany(f"INSERT INTO postings VALUES ({', '.join('?' * len(rows[0]))})", rows)
        write.execute("COMMIT")
        return time.perf_counter() - started


def rebuilt(url: str) -> tuple[int, float, float]:
    """Entries read, seconds, and peak memory of a process that does nothing but rebuild."""
    ledger = open_ledger(url, create=False)
    started = time.perf_counter()
    done = rebuild(ledger.store)
    return done, time.perf_counter() - started, peak_mb()


def measure(folder: Path, events: int) -> None:
    """One size."""
    path = folder / f"ledger-{events}.db"
    ledger = shop(f"sqlite:///{path}")
    for first in range(0, events, 2000):
        ledger.do_all([
            Order(Sell(day=DAY, pack="LEMON-JAR", packs=1, channel="SHOP", amount=600), "AB", f"sale-{first + n}") for n in range(2000)
        ])  # fmt: skip
    ledger.close()
    with get_context("spawn").Pool(1) as alone:  # a process of its own, so that its peak memory is the rebuild's
        done, took, peak = alone.apply(rebuilt, (f"sqlite:///{path}",))
    with get_context("spawn").Pool(1) as alone:
        raw = alone.apply(raw_insert, (path, folder / f"raw-{events}.db"))
    print(
        f"{done:>9,} events: rebuild {took:6.2f} s ({done / took:,.0f} events/s), raw insert of the posting rows {raw:6.2f} s, "
        f"ratio {took / raw:4.2f}; peak memory {peak:,.0f} MB"
    )


def main() -> None:
    """Two sizes, a tenth and the whole."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--events", type=int, default=100_000)
    events = parser.parse_args().events
    with tempfile.TemporaryDirectory() as folder:
        for size in (events // 10, events):
            measure(Path(folder), size)


if __name__ == "__main__":
    main()
