"""A ledger of a million entries to measure reading on: the invented shop's three years, many times over, one after the other.

    python -m benchmarks.grown FILE [--events 1000000]

The shop is filled through commands once (batches, sales, deliveries, counts, corrections, sheets, recalls). Older copies of its rows
stand before it in time and position, lots and batches marked with the number of the copy, what was in stock used up and what was
open closed. So every table a page reads has its full size, the mix of a real shop, and the newest three years are the shop's own.
The tree's root fits the leaves; the leaves of older copies are those of the first, so `verify` would tell. SQLite only: a million
rows are copied by the database itself in about two minutes.
"""

from __future__ import annotations

import argparse
import sqlite3
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

from ledger.analytics.compare import monday, week_of
from ledger.application.ledger import open_ledger
from ledger.domain.world import ALWAYS
from ledger.projections.tables import batches, corrections, edges, flags, lots, papers, postings
from ledger.store.merkle import MARK_EVERY, Frontier
from ledger.store.tables import events
from seeds.shop import fill

POSITIONS = ("position", "known_from", "origin", "last_position")
DAYS = ("day", "last_day", "best_before", "answered_day")
MOMENTS = ("occurred_at", "recorded_at", "last_at")
NAMES = ("batch", "lot", "parent", "child", "id")
OF_OLD = {
    "lots": {"mass_mg": "0", "pieces": "0", "packs": "0", "cost": "0", "held": "''"},
    "batches": {"status": "'closed'"},
    "flags": {"answered": "1"},
}
"""What older copies no longer have: stock, open batches, flags that wait."""


def grow(source: Path, target: Path, copies: int) -> int:
    """Write `copies` of the shop in `source` into the new ledger `target`; gives the number of entries."""
    open_ledger(f"sqlite:///{target}").close()
    db = sqlite3.connect(target, isolation_level=None)
    for pragma in ("journal_mode = OFF", "synchronous = OFF", "cache_size = -1500000", "temp_store = MEMORY"):
        db.execute(f"PRAGMA {pragma}")
    made = db.execute(
        "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL AND (type = 'trigger' OR type = 'index')"
    ).fetchall()
    for kind, name, _sql in made:
        db.execute(f"DROP {kind} {name}")
    db.execute("ATTACH ? AS shop", (str(source),))
    db.execute("BEGIN")
    head, first, last = db.execute("SELECT MAX(known_from), MIN(week), MAX(week) FROM shop.postings").fetchone()
    head = max(head, *db.execute("SELECT position FROM shop.heads").fetchone())
    span = (monday(last) - monday(first)).days // 7 + 1
    db.execute("CREATE TEMPORARY TABLE moved (week TEXT PRIMARY KEY, to_week TEXT)")
    for number in range(copies):
        back = span * (copies - 1 - number)
        db.execute("DELETE FROM moved")
        there = [monday(first) + timedelta(weeks=w) for w in range(-2, span + 2)]
        db.executemany("INSERT INTO moved VALUES (?, ?)", [(week_of(d), _week(d, back)) for d in there])
        for table in (events, postings, edges, lots, batches, flags, corrections, papers):
            names = [c.name for c in table.columns]
            old = OF_OLD.get(table.name, {}) if number < copies - 1 else {}
            values = [old.get(n) or _value(table.name, n, number < copies - 1) for n in names]
            db.execute(
                f"INSERT INTO main.{table.name} ({', '.join(names)}) SELECT {', '.join(values)} FROM shop.{table.name} t ORDER BY rowid",
                {"up": head * number, "back": f"-{7 * back} days", "mark": f"{number}.", "copy": f"{number:04x}"},
            )
    for name in ("book", "contacts"):
        db.execute(f"INSERT INTO main.{name} SELECT * FROM shop.{name}")
    tree, marked = Frontier(), []
    for (leaf,) in db.execute("SELECT leaf_hash FROM main.events ORDER BY site, position"):
        tree.append(leaf)
        if not tree.size % MARK_EVERY:
            marked.append((tree.size, bytes(tree)))
    db.execute("DELETE FROM main.heads")
    db.executemany("INSERT INTO main.marks SELECT site, ?, ? FROM shop.heads", marked)
    db.execute("INSERT INTO main.heads SELECT site, ?, recorded_at, ? FROM shop.heads", (tree.size, bytes(tree)))
    db.execute("COMMIT")
    for _kind, _name, sql in sorted(made, key=lambda row: row[0]):
        db.execute(sql)
    db.close()
    return tree.size


def _week(day: date, back: int) -> str:
    return week_of(day - timedelta(weeks=back))


def _value(table: str, name: str, older: bool) -> str:
    """The SQL that moves one column of table `t` back in time and forward in position."""
    if name in POSITIONS:
        return f"t.{name} + :up"
    if name == "known_to":
        return f"CASE WHEN t.known_to = {ALWAYS} THEN t.known_to ELSE t.known_to + :up END"
    if name in DAYS:
        return f"CASE WHEN t.{name} = '' THEN '' ELSE date(t.{name}, :back) END"
    if name in MOMENTS:
        return f"date(substr(t.{name}, 1, 10), :back) || substr(t.{name}, 11)"
    if name == "week":
        return "(SELECT to_week FROM moved WHERE moved.week = t.week)"
    if not older:
        return f"t.{name}"
    if name in NAMES:
        return f"CASE WHEN t.{name} = '' THEN '' ELSE :mark || t.{name} END"
    if name == "account":
        return "CASE WHEN t.kind LIKE 'lot.%' THEN :mark || t.account ELSE t.account END"
    if name == "stream":
        return "substr(t.stream, 1, instr(t.stream, '/')) || :mark || substr(t.stream, instr(t.stream, '/') + 1)"
    if name in ("event_id", "command_id", "corrects"):
        return f"CASE WHEN length(t.{name}) > 30 THEN :copy || substr(t.{name}, 5) ELSE t.{name} || :mark END"
    return f"t.{name}"


def grown(target: Path, least: int, weeks: int | None = None) -> int:
    """A new ledger of at least so many entries."""
    with tempfile.TemporaryDirectory() as place:
        source = Path(place) / "shop.sqlite"
        url = f"sqlite:///{source}"
        fill(url) if weeks is None else fill(url, weeks=weeks)
        ledger = open_ledger(url)
        size = ledger.queries.as_of().position
        ledger.close()
        return grow(source, target, -(-least // size))


def main() -> None:
    """Make it and say how long it took."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", type=Path)
    parser.add_argument("--events", type=int, default=1_000_000)
    asked = parser.parse_args()
    began = time.perf_counter()
    size = grown(asked.file, asked.events)
    print(f"{size:,} entries in {time.perf_counter() - began:.0f} s, {asked.file.stat().st_size / 1e6:,.0f} MB")


if __name__ == "__main__":
    main()
