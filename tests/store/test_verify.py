"""Damage is found and named, and the database itself refuses it first."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from typing import Any

import psycopg
import pytest
from sqlalchemy import make_url

from ledger.errors import LedgerDamaged
from ledger.store import Store, open_store, verify_tree
from tests.store.sugar import counted
from tests.support.postgres import conninfo


@pytest.fixture
def store(ledger_url: str) -> Iterator[Store]:
    opened = open_store(ledger_url)
    for number in range(5):
        opened.run(lambda unit, number=number: unit.append(counted("ab"[number % 2], number)))  # type: ignore[misc]
    yield opened
    opened.close()


def tamper(store: Store, *statements: str, disarmed: bool = True) -> None:
    """Change the database as its owner could, behind the program's back."""
    if store.dialect == "sqlite":
        with closing(sqlite3.connect(str(make_url(store.url).database))) as connection, connection:
            if disarmed:
                for trigger in ("events_no_update", "events_no_delete", "events_no_replace"):
                    connection.execute(f"DROP TRIGGER {trigger}")
            for statement in statements:
                connection.execute(statement)
    else:
        with psycopg.connect(conninfo(store.url)) as connection:
            if disarmed:
                connection.execute("ALTER TABLE events DISABLE TRIGGER USER")
            for statement in statements:
                connection.execute(statement.encode())


def verify(store: Store, **how: Any) -> Any:
    with store.read() as reader:
        return verify_tree(reader, **how)


def test_a_sound_ledger_passes_and_reports_its_root(store: Store) -> None:
    seen: list[tuple[int, int]] = []
    report = verify(store, progress=lambda done, all_: seen.append((done, all_)))
    with store.read() as reader:
        assert (report.position, report.root, report.recorded_at) == (5, reader.root(), reader.head.recorded_at)
    assert seen == [(5, 5)]


@pytest.mark.parametrize(
    ("statement", "message"),
    [
        ("""UPDATE events SET payload = '{"number":9}' WHERE position = 3""", "event 3: it was changed"),
        ("UPDATE events SET occurred_at = recorded_at WHERE position = 2", "event 2: it was changed"),
        ("UPDATE events SET recorded_by = 'nobody' WHERE position = 5", "event 5: it was changed"),
        ("DELETE FROM events WHERE position = 2", "event 2: the next event is 3: events are missing"),
        ("DELETE FROM events WHERE position = 5", "the head says 5 events, there are 4"),
        ("UPDATE heads SET recorded_at = '2020'", "the head says the last event was recorded at 2020"),
        (
            "UPDATE events SET name = 'batch.melted' WHERE position = 1",
            "'batch.melted', which this program does not know",
        ),
        ("UPDATE events SET version = 7 WHERE position = 5", "stream a has 3 events but its last version is 7"),
        ("UPDATE events SET recorded_at = '2020' WHERE position = 4", "event 4: it was recorded at 2020, before"),
    ],
)
def test_damage_is_found_and_named(store: Store, statement: str, message: str) -> None:
    tamper(store, statement)
    with pytest.raises(LedgerDamaged, match=message) as caught:
        verify(store)
    assert caught.value.faults


def test_rewriting_all_hashes_is_caught_by_a_root_that_left_the_house(store: Store) -> None:
    with store.read() as reader:
        known = {size: reader.root(size) for size in (2, 4)}
    assert verify(store, known_roots=known).position == 5
    tamper(store, "DELETE FROM events", "DELETE FROM heads")
    for number in (0, 1, 77, 3, 4):  # a tidy history of another truth
        store.run(lambda unit, number=number: unit.append(counted("ab"[number % 2], number)))  # type: ignore[misc]
    assert verify(store).position == 5
    with pytest.raises(LedgerDamaged, match=r"event 4: the root over the first 4 events is .* not the known one"):
        verify(store, known_roots=known)
    with pytest.raises(LedgerDamaged, match="a root is known for 9 events, the ledger has fewer"):
        verify(store, known_roots={9: bytes(32)})


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE events SET payload = '{}' WHERE position = 1",
        "UPDATE events SET leaf_hash = leaf_hash",
        "DELETE FROM events WHERE position = 5",
        "DELETE FROM events",
    ],
)
def test_the_database_refuses_to_change_or_remove_events(store: Store, statement: str) -> None:
    with pytest.raises((sqlite3.IntegrityError, psycopg.Error), match="never changed or removed; record a correction"):
        tamper(store, statement, disarmed=False)
    assert verify(store).position == 5


@pytest.mark.parametrize("key", ["position", "event_id", "version"])
def test_sqlite_refuses_to_replace_an_event(sqlite_url: str, key: str) -> None:
    store = open_store(sqlite_url)
    store.run(lambda unit: unit.append(counted("a", 1, event_id="id")))
    fresh = {"position": "2", "event_id": "'new'", "version": "2"} | {key: key}
    columns = "site, position, stream, version, event_id, name, schema_version, occurred_at, recorded_at, recorded_by"
    values = f"site, {fresh['position']}, stream, {fresh['version']}, {fresh['event_id']}, name, 1, 'x', 'x', 'x'"
    with pytest.raises(sqlite3.IntegrityError, match=r"never changed|event id taken"):
        tamper(
            store,
            f"REPLACE INTO events ({columns}, command_id, payload, leaf_hash) "
            f"SELECT {values}, 'x', '{{}}', x'00' FROM events",
            disarmed=False,
        )
    assert verify(store).position == 1
    store.close()


@pytest.mark.postgres
def test_postgresql_refuses_to_empty_the_events(postgres_url: str) -> None:
    store = open_store(postgres_url)
    store.run(lambda unit: unit.append(counted("a", 1)))
    with pytest.raises(psycopg.Error, match="never changed or removed"):
        tamper(store, "TRUNCATE events", disarmed=False)
    assert verify(store).position == 1
    store.close()


@pytest.mark.postgres
def test_the_services_role_on_postgresql_may_add_events_and_nothing_else(postgres_url: str) -> None:
    store = open_store(postgres_url)
    store.run(lambda unit: unit.append(counted("a", 1)))
    with psycopg.connect(conninfo(postgres_url), autocommit=True) as connection:
        connection.execute("ALTER TABLE events DISABLE TRIGGER USER")
        connection.execute("CREATE ROLE slabbook_test_service LOGIN IN ROLE slabbook_writer")
    try:
        service = open_store(make_url(postgres_url).set(username="slabbook_test_service"))
        assert service.run(lambda unit: unit.append(counted("a", 2))).position == 2
        service.run(lambda unit: unit.append(counted("a", 3)), exclusive=True)
        assert verify(service).position == 3
        service.close()
        with psycopg.connect(conninfo(postgres_url), autocommit=True) as connection:
            connection.execute("SET ROLE slabbook_test_service")
            for statement in ("UPDATE events SET payload = ''", "DELETE FROM events", "TRUNCATE events"):
                with pytest.raises(psycopg.errors.InsufficientPrivilege):
                    connection.execute(statement.encode())
    finally:
        with psycopg.connect(conninfo(postgres_url), autocommit=True) as connection:
            connection.execute("DROP ROLE slabbook_test_service")
    store.close()
