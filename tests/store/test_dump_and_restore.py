"""The ledger as lines and back; the same for both databases, and from one to the other."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path

import pytest

from ledger.errors import BadInput, Refused
from ledger.store import (
    EncodedEvent,
    Store,
    Unit,
    backup,
    dump_lines,
    open_store,
    restore_lines,
    verify_tree,
)
from ledger.store.codec import encode
from tests.store.sugar import NOON, Boiled, counted


@pytest.fixture
def store(ledger_url: str) -> Iterator[Store]:
    opened = open_store(ledger_url)
    yield opened
    opened.close()


@pytest.fixture
def other(sqlite_url: str, tmp_path: Path) -> Iterator[Store]:
    """A second, empty ledger."""
    opened = open_store(f"sqlite:///{tmp_path / 'other.db'}")
    opened.create()
    yield opened
    opened.close()


def fill(store: Store, count: int) -> None:
    """``count`` events over three streams, one with every kind of field, and two answered commands."""

    def work(unit: Unit) -> None:
        unit.append_encoded(
            EncodedEvent(f"s{n % 3}", "test.counted", 1, f'{{"number":{n}}}', NOON, "w-1", f"c{n}")
            for n in range(count - 1)
        )
        unit.append(counted("s0", 0)._replace(event=Boiled(batch="é\n", by_colour={"red": 3}), command_id="last"))
        unit.remember("last", "abc", '{"said":"é"}')
        unit.remember("idle", "abd", "{}")

    store.run(work)


def lines_of(store: Store, **how: bool) -> list[str]:
    with store.read() as reader:
        return list(dump_lines(reader, **how))


def test_a_restored_ledger_is_identical(store: Store, other: Store) -> None:
    fill(store, 2503)
    lines = lines_of(store)
    restored = restore_lines(other, (line + "\n" for line in lines))
    assert (restored.position, restored.commands) == (2503, 2)
    assert lines_of(other) == lines
    with store.read() as one, other.read() as two:
        assert list(one.events()) == list(two.events())
        assert one.head == two.head
        assert one.root() == two.root() == restored.root
        assert verify_tree(two).position == 2503
    assert other.run(lambda unit: unit.command("last")) == store.run(lambda unit: unit.command("last"))
    assert other.run(lambda unit: unit.append(counted("s1", 9))).position == 2504


def test_a_ledger_restores_into_the_same_kind_of_database(store: Store, empty_url: str) -> None:
    fill(store, 1000)
    lines = lines_of(store)
    fresh = open_store(empty_url)
    fresh.create()
    restore_lines(fresh, lines)
    assert lines_of(fresh) == lines
    fresh.close()


def test_an_empty_ledger_dumps_and_restores(store: Store, other: Store) -> None:
    lines = lines_of(store)
    assert len(lines) == 1
    assert restore_lines(other, lines).position == 0
    assert other.run(lambda unit: unit.append(counted("a", 1))).position == 1


def test_an_events_line_hashes_to_its_leaf(store: Store) -> None:
    fill(store, 5)
    with store.read() as reader:
        leaves = list(reader.leaves())
    lines = lines_of(store, seals=False)
    assert [sha256(b"\0" + line.encode()).digest() for line in lines] == leaves
    assert [json.loads(line)["position"] for line in lines] == [1, 2, 3, 4, 5]


def test_bare_events_restore_only_against_a_known_root(store: Store, other: Store) -> None:
    fill(store, 5)
    with store.read() as reader:
        root = reader.root()
    lines = lines_of(store, seals=False)
    with pytest.raises(BadInput, match="line 6: the head that ends every whole file is missing"):
        restore_lines(other, lines)
    with pytest.raises(BadInput, match="some line was changed"):
        restore_lines(other, lines, root=bytes(32))
    assert restore_lines(other, lines, root=root).position == 5


def test_restore_refuses_a_ledger_that_has_events(store: Store) -> None:
    fill(store, 3)
    with pytest.raises(Refused, match="site main has 3 events already"):
        restore_lines(store, lines_of(store))


def change(old: str, new: str, at: int) -> Callable[[list[str]], list[str]]:
    def apply(lines: list[str]) -> list[str]:
        assert old in lines[at]
        return [*lines[:at], lines[at].replace(old, new), *lines[at + 1 :]]

    return apply


def drop(at: int) -> Callable[[list[str]], list[str]]:
    return lambda lines: [line for number, line in enumerate(lines) if number != at % len(lines)]


def swap(at: int) -> Callable[[list[str]], list[str]]:
    return lambda lines: [*lines[:at], lines[at + 1], lines[at], *lines[at + 2 :]]


# 4 events, their seal, 2 commands, the head: lines 1-4, 5, 6-7, 8
@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (change('"number":1', '"number":7', 1), "line 2: it was changed; the seal in line 5"),
        (change('"recorded_by":"w-1"', '"recorded_by":"w-2"', 2), "line 3: it was changed"),
        (change('{"command_id"', '{ "command_id"', 1), "line 2: it is not written canonically"),
        (change('"corrects":null,', "", 1), "line 2: it is not an event"),
        (change("{", "x", 1), "line 2: it is not an event"),
        (drop(1), "line 2: event 2 should be here, not 3"),
        (drop(3), "line 4: the seal is for other events"),
        (swap(1), "line 2: event 2 should be here, not 3"),
        (drop(4), "line 7: the last events have no seal"),
        (drop(5), "line 7: these are not the lines the head was written for"),
        (change("abc", "abx", 6), "line 8: these are not the lines the head was written for"),
        (drop(-1), "line 8: the head that ends every whole file is missing"),
        (change('"position":4', '"position":5', 7), "line 8: the head says 5 events"),
        (lambda lines: [*lines, lines[0]], "line 9: there are lines after the head"),
        (
            lambda lines: [line.replace('"site":"main"', '"site":"port"') for line in lines],
            "line 1: it belongs to site port",
        ),
    ],
)
def test_restore_refuses_a_spoilt_file_and_names_the_line(
    sqlite_url: str, other: Store, spoil: Callable[[list[str]], list[str]], message: str
) -> None:
    store = open_store(sqlite_url)
    fill(store, 4)
    lines = lines_of(store)
    assert len(lines) == 8
    with pytest.raises(BadInput, match=message):
        restore_lines(other, spoil(lines))
    with other.read() as reader:
        assert reader.head.position == 0
        assert list(reader.events()) == []
    assert restore_lines(other, lines).position == 4
    store.close()


def test_a_backup_taken_while_writing_is_whole(store: Store, other: Store, tmp_path: Path) -> None:
    fill(store, 50)
    path = backup(store, tmp_path / "copies" / "ledger.backup")
    store.run(lambda unit: unit.append(counted("a", 99)))
    if store.dialect == "sqlite":
        copy = open_store(f"sqlite:///{path}")
    else:
        copy = other
        with path.open(encoding="utf-8") as lines:
            restore_lines(copy, lines)
    with copy.read() as reader:
        assert verify_tree(reader).position == 50
    assert copy.run(lambda unit: unit.command("last")) is not None
    copy.close()
    assert [name.name for name in path.parent.iterdir() if "part" in name.name] == []


def test_a_backup_never_overwrites(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "there"
    path.write_text("precious")
    with pytest.raises(BadInput, match="exists already"):
        backup(store, path)
    assert path.read_text() == "precious"


def test_encoded_payloads_are_what_the_codec_writes() -> None:
    assert encode(Boiled(batch="x")).decode().startswith('{"batch":"x","by_colour":null')
