"""How fast is one durable append? ``python -m benchmarks.append [--rounds 20] [--times 40] [--only sqlite|postgresql] [--sync-us 1000]``

Yard-sticks, in the same run and at the same durability: a raw insert of the same row with the bare driver, and the
``eventsourcing`` library (PyPI) loading an aggregate, triggering one event and saving it. Against them: our store
alone (version
check, canonical row, hash, tree, remembered command, head) and, when ``benchmarks.full_path`` offers it, the whole
command path.

A durable append is one sync of the disk and some code, so the ratio says as much about the disk as about us: on a machine whose
"disk" is memory it compares code with code alone. The time of a sync is printed, and ``--sync-us`` makes every sync of every
contender, the PostgreSQL server's too, take so much longer (by Debian's ``strace``, Linux only): 500 to 5,000 is what drives in
shop computers take.
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import cache
from importlib import import_module, util
from pathlib import Path
from typing import Any

import msgspec
import psycopg
from sqlalchemy import make_url

from benchmarks.slower_disk import on_a_slower_disk, sync_cost
from benchmarks.support import Contender, table, take_turns
from ledger.domain.stored_names import stored_as
from ledger.store import EncodedEvent, NewEvent, Recorded, Unit, open_store
from ledger.store.canonical import leaf_of
from ledger.store.codec import encode
from tests.support.postgres import MISSING, Server, conninfo, running_server

NOON = "2026-10-30T12:00:00.000000Z"
AppendOnce = Callable[[str], Callable[[int], object]]
"""Given the URL of a fresh ledger: a function that records the n-th entry by the path to be measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """So much of a lot."""

    lot: str
    mg: int


@stored_as("bench.boiled")
@dataclass(frozen=True, slots=True, kw_only=True)
class Boiled:
    """An event as large as those of the floor: about 450 bytes of JSON."""

    batch: str
    recipe: str = "clear-4"
    station: str = "kettle-1"
    drawn: tuple[Drawn, ...] = (
        Drawn(lot="SUGAR-26-280", mg=12_500_000),
        Drawn(lot="SYRUP-26-101", mg=6_250_000),
        Drawn(lot="WATER", mg=3_900_000),
    )
    poured_mg: int = 19_140_000
    end_temperature_mc: int = 149_500
    worker: str = "worker-2"
    seconds: int = 2_700
    started: str = "2026-10-30T08:05:00.000000Z"
    ended: str = "2026-10-30T08:50:00.000000Z"
    weighed: bool = True
    as_entered: str = "42 lb 3 oz"
    note: str = "second kettle of the day, a little foam at first"


def raw_row(position: int) -> tuple[Any, ...]:
    """What a raw insert writes: the same row our store would, hash included."""
    payload = encode(Boiled(batch=f"26303-{position % 100}")).decode()
    row = ("main", position, f"batch-{position}", 1, f"id-{position}", "bench.boiled", 1, NOON, NOON, "worker-2")
    return (*row, f"command-{position}", None, payload, bytes(32))


def store_alone(url: str) -> Callable[[int], Recorded]:
    """Our store without rules and kept tables: one event and its remembered command in one unit."""
    store = open_store(url)
    store.create()

    def once(number: int) -> Recorded:
        command, stream = f"command-{number}", f"batch-{number}"

        def work(unit: Unit) -> Recorded:
            assert unit.command(command) is None
            event = Boiled(batch=f"26303-{number % 100}")
            recorded = unit.append(NewEvent(stream, event, NOON, "worker-2", command, expected_version=0))
            unit.remember(command, "0123456789abcdef", "{}")
            return recorded

        return store.run(work, command_id=command, streams=(stream,))

    return once


@cache
def library_aggregate() -> Any:
    """A batch as the library would have it."""
    from eventsourcing.domain import Aggregate, event

    class Batch(Aggregate):
        @event("Opened")
        def __init__(self, batch: str) -> None:
            self.last: dict[str, Any] = {}

        @event("Boiled")
        def boil(self, facts: dict[str, Any]) -> None:
            self.last = facts

    return Batch


def eventsourcing_once(environment: dict[str, str]) -> Callable[[int], object]:
    """The library's way: load the aggregate, trigger one event, save. A new aggregate now and then keeps loading
    cheap.
    """
    from eventsourcing.application import Application

    application: Application[Any] = Application(env=environment)
    facts = msgspec.to_builtins(Boiled(batch="26303-1"))
    state: dict[str, Any] = {}

    def once(number: int) -> object:
        if number % 10 == 0:
            batch = library_aggregate()(f"batch-{number}")
            state["id"] = batch.id
        else:
            batch = application.repository.get(state["id"])
        batch.boil(facts)
        return application.save(batch)

    return once


def full_path() -> AppendOnce | None:
    """The whole command path, if ``benchmarks/full_path.py`` has a function ``append_once(url)``."""
    if util.find_spec("benchmarks.full_path") is None:
        return None
    found: AppendOnce = import_module("benchmarks.full_path").append_once
    return found


@contextmanager
def raw_sqlite(path: Path) -> Iterator[Callable[[int], object]]:
    """The bare driver: one table, one insert a transaction, WAL and synchronous=FULL."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(RAW_TABLE.format(bytes="BLOB"))
        sql = f"INSERT INTO raw VALUES ({','.join('?' * 14)})"
        rows = [raw_row(number + 1) for number in range(20_000)]
        yield lambda number: connection.execute(sql, rows[number])


@contextmanager
def raw_postgresql(url: str) -> Iterator[Callable[[int], object]]:
    """The bare driver: one table, one prepared insert a transaction, as the server's durability is."""
    with psycopg.connect(conninfo(url), autocommit=True) as connection:
        connection.prepare_threshold = 0
        connection.execute(RAW_TABLE.format(bytes="BYTEA").encode())
        sql = f"INSERT INTO raw VALUES ({','.join(['%s'] * 14)})".encode()
        rows = [raw_row(number + 1) for number in range(20_000)]
        yield lambda number: connection.execute(sql, rows[number])


RAW_TABLE = """CREATE TABLE raw (site TEXT NOT NULL, position BIGINT NOT NULL, stream TEXT NOT NULL, version INT NOT
NULL,
event_id TEXT NOT NULL, name TEXT NOT NULL, schema_version INT NOT NULL, occurred_at TEXT NOT NULL, recorded_at TEXT
NOT NULL,
recorded_by TEXT NOT NULL, command_id TEXT NOT NULL, corrects TEXT, payload TEXT NOT NULL, leaf_hash {bytes} NOT NULL,
PRIMARY KEY (site, position))"""


def on_sqlite(folder: Path, rounds: int, times: int) -> str:
    """The contest on SQLite."""
    with raw_sqlite(folder / "raw.db") as raw:
        contenders = [
            Contender("raw sqlite3 insert", raw),
            Contender("slabbook store", store_alone(f"sqlite:///{folder / 'store.db'}")),
            Contender(
                "eventsourcing load + save",
                eventsourcing_once(
                    {"PERSISTENCE_MODULE": "eventsourcing.sqlite", "SQLITE_DBNAME": str(folder / "library.db")}
                ),
            ),
        ]
        path = full_path()
        if path is not None:
            contenders.insert(2, Contender("slabbook whole command", path(f"sqlite:///{folder / 'full.db'}")))
        take_turns(contenders, rounds=rounds, times=times)
        return table("SQLite, WAL, synchronous=FULL: one event a transaction", contenders, contenders[0])


def on_postgresql(server: Server, rounds: int, times: int) -> str:
    """The contest on PostgreSQL."""
    library = make_url(server.new_database())
    environment = {
        "PERSISTENCE_MODULE": "eventsourcing.postgres",
        "POSTGRES_DBNAME": str(library.database),
        "POSTGRES_HOST": str(library.query.get("host", library.host)),
        "POSTGRES_PORT": str(library.port or 5432),
        "POSTGRES_USER": str(library.username),
        "POSTGRES_PASSWORD": library.password or "none",
    }
    with raw_postgresql(server.new_database()) as raw:
        contenders = [
            Contender("raw psycopg insert", raw),
            Contender("slabbook store", store_alone(server.new_database())),
            Contender("eventsourcing load + save", eventsourcing_once(environment)),
        ]
        path = full_path()
        if path is not None:
            contenders.insert(2, Contender("slabbook whole command", path(server.new_database())))
        take_turns(contenders, rounds=rounds, times=times)
        return table("PostgreSQL, fsync on: one event a transaction, local socket", contenders, contenders[0])


def bulk(url: str, events: int = 20_000, each: int = 2_000) -> str:
    """Many encoded events in few transactions, as an import does."""
    store = open_store(url)
    store.create()
    payload = encode(Boiled(batch="26303-1")).decode()
    began = time.perf_counter()
    for first in range(0, events, each):
        rows = [
            EncodedEvent(f"batch-{n // 7}", "bench.boiled", 1, payload, NOON, "w", f"c{n}")
            for n in range(first, first + each)
        ]
        store.run(lambda unit, rows=rows: unit.append_encoded(rows))  # type: ignore[misc]
    return f"  {store.dialect}: {events / (time.perf_counter() - began):,.0f} events/s in transactions of {each}"


def own_cost() -> str:
    """What our code costs without any database: encoding and hashing one row."""
    event = Boiled(batch="26303-1")
    encoding, hashing = Contender("encode", lambda _n: encode(event)), Contender("leaf", lambda n: leaf_of(raw_row(1)))
    row = raw_row(1)
    hashing.once = lambda _n: leaf_of(row)
    for one in (encoding, hashing):
        one.run(5000)
    return (
        f"  encode and check one event {encoding.p50 * 1e6:.1f} us, canonical row and leaf {hashing.p50 * 1e6:.1f} us"
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--times", type=int, default=40)
    parser.add_argument("--only", choices=["sqlite", "postgresql"])
    parser.add_argument("--sync-us", type=int, default=0, help="make every sync take so many microseconds more")
    chosen = parser.parse_args()
    if chosen.sync_us:
        on_a_slower_disk(chosen.sync_us, "benchmarks.append")
    print(own_cost())
    with tempfile.TemporaryDirectory(prefix="slabbook-bench-", dir=os.environ.get("SLABBOOK_BENCH_DIR")) as name:
        folder = Path(name)
        print(sync_cost(folder))
        if chosen.only != "postgresql":
            print(on_sqlite(folder, chosen.rounds, chosen.times))
            print(bulk(f"sqlite:///{folder / 'bulk.db'}"))
        if chosen.only != "sqlite":
            with running_server(durable=True) as server:
                if server is None:
                    print(MISSING)
                    return
                print(on_postgresql(server, chosen.rounds, chosen.times))
                print(bulk(server.new_database()))


if __name__ == "__main__":
    main()
