"""What a database is told about durability, and what happens when a server goes away."""

from __future__ import annotations

from pathlib import Path

import psycopg
import pytest
from sqlalchemy import make_url, text

from ledger.errors import BadInput
from ledger.store import LedgerNotReady, LedgerUnreachable, Statement, Store, Unit, open_store
from ledger.store.sqlite_backend import SqliteBackend
from tests.store.sugar import counted
from tests.support.postgres import conninfo


def test_sqlite_writes_through_to_the_disk_before_it_acknowledges(sqlite_url: str) -> None:
    store = open_store(sqlite_url)
    store.run(lambda unit: unit.append(counted("a", 1)))
    assert isinstance(store.backend, SqliteBackend)
    connection = store.backend._writer()
    asked = {name: connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")}
    assert asked == {"journal_mode": "wal", "synchronous": 2}  # 2: FULL, by SQLite's documentation of the pragma
    assert connection.execute("PRAGMA foreign_keys").fetchone()[0] == 1
    store.close()


def test_a_ledger_in_memory_is_refused() -> None:
    for url in ("sqlite://", "sqlite:///:memory:"):
        with pytest.raises(BadInput, match="gone tomorrow"):
            open_store(url)


def test_asking_for_a_ledger_that_is_not_there_makes_no_file(tmp_path: Path) -> None:
    store = open_store(f"sqlite:///{tmp_path / 'typo.db'}")
    with pytest.raises(LedgerNotReady, match=r"typo\.db"), store.read():
        pass
    assert list(tmp_path.iterdir()) == []


def test_an_address_that_is_none_is_refused() -> None:
    with pytest.raises(BadInput, match="not a database address"):
        open_store("shop.db")
    with pytest.raises(BadInput, match="mysql databases cannot hold a ledger"):
        open_store("mysql://root@localhost/shop")


def break_connections(url: str) -> None:
    """End every other connection to the database, as a restart of the server would."""
    with psycopg.connect(conninfo(url), autocommit=True) as connection:
        connection.execute(
            "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )


@pytest.fixture
def store(postgres_url: str) -> Store:
    return open_store(postgres_url)


@pytest.mark.postgres
def test_a_restarted_server_is_not_noticed(store: Store, postgres_url: str) -> None:
    store.run(lambda unit: unit.append(counted("a", 1)))
    break_connections(postgres_url)
    assert store.run(lambda unit: unit.append(counted("a", 2))).position == 2
    break_connections(postgres_url)
    with store.read() as reader:
        assert reader.head.position == 2
    store.close()


@pytest.mark.postgres
def test_a_connection_that_breaks_while_writing_leaves_the_doubt_to_the_caller(store: Store, postgres_url: str) -> None:
    def work(unit: Unit) -> None:
        unit.append(counted("a", 1))
        break_connections(postgres_url)

    with pytest.raises(LedgerUnreachable, match="send the same command again with the same command id"):
        store.run(work)
    assert store.run(lambda unit: unit.append(counted("a", 1))).position == 1
    store.close()


@pytest.mark.postgres
def test_a_server_that_is_not_there_is_named(postgres_url: str) -> None:
    nowhere = make_url(postgres_url).set(query={"host": "/nonexistent"})
    with pytest.raises(LedgerUnreachable, match="/nonexistent"):
        open_store(nowhere).run(lambda unit: unit.position)


@pytest.mark.postgres
def test_an_acknowledged_commit_is_on_the_servers_disk_even_if_its_default_says_otherwise(postgres_url: str) -> None:
    with psycopg.connect(conninfo(postgres_url), autocommit=True) as connection:
        connection.execute(f"ALTER DATABASE {make_url(postgres_url).database} SET synchronous_commit = off".encode())
    store = open_store(postgres_url)
    with store.backend.read() as session:
        assert session.rows(Statement(text("SHOW synchronous_commit"))) == [("on",)]
    store.close()
