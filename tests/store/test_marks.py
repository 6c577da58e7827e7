"""A root of the past costs a thousand hashes at most, and the marks it is worked out from are watched like the events."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from sqlalchemy import create_engine, text

from ledger.errors import LedgerDamaged
from ledger.store import EncodedEvent, Store, dump_lines, open_store, restore_lines, schema, verify_tree
from ledger.store.codec import encode
from ledger.store.merkle import MARK_EVERY, root_of
from tests.store.sugar import NOON, Counted

MANY = 2 * MARK_EVERY + 300


def some(first: int, last: int) -> list[EncodedEvent]:
    return [
        EncodedEvent(f"s{n % 7}", "test.counted", 1, encode(Counted(number=n)).decode(), NOON, "w", f"c{n}")
        for n in range(first, last)
    ]


@pytest.fixture
def store(ledger_url: str) -> Iterator[Store]:
    opened = open_store(ledger_url)
    for first, last in ((0, 700), (700, MARK_EVERY), (MARK_EVERY, MANY)):  # one unit ends on a mark, one passes one
        opened.run(lambda unit, rows=some(first, last): unit.append_encoded(rows))  # type: ignore[misc]
    yield opened
    opened.close()


def change(store: Store, statement: str) -> None:
    engine = create_engine(store.url)
    with engine.begin() as connection:
        connection.execute(text(statement))
    engine.dispose()


def test_every_thousandth_entry_leaves_a_mark(store: Store) -> None:
    with store.read() as reader:
        assert sorted(reader.marks()) == [MARK_EVERY, 2 * MARK_EVERY]


@pytest.mark.parametrize(
    "size", [0, 1, 699, MARK_EVERY - 1, MARK_EVERY, MARK_EVERY + 1, 2 * MARK_EVERY, MANY - 1, MANY]
)
def test_a_root_of_the_past_is_that_of_all_leaves_up_to_it(store: Store, size: int) -> None:
    with store.read() as reader:
        assert reader.root(size) == root_of(reader.leaves(0, size))


def test_a_root_of_the_past_reads_only_the_leaves_since_its_mark(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    with store.read() as reader:
        asked: list[int] = []
        leaves = reader.leaves
        monkeypatch.setattr(reader, "leaves", lambda after, upto: asked.append(upto - after) or leaves(after, upto))
        reader.root(MANY - 1)
        reader.root(2 * MARK_EVERY)
    assert asked == [299, 0]


@pytest.mark.parametrize(
    ("statement", "message"),
    [
        ("DELETE FROM marks", f"event {MARK_EVERY}: the mark kept here is missing"),
        (f"UPDATE marks SET position = {MARK_EVERY + 1} WHERE position = {MARK_EVERY}", f"a mark is kept at {MARK_EVERY + 1} events"),
        ("UPDATE marks SET frontier = (SELECT leaf_hash FROM events WHERE position = 5)", "not that of the events before it"),
    ],
)  # fmt: skip
def test_a_mark_that_was_changed_is_found(store: Store, statement: str, message: str) -> None:
    change(store, statement)
    with store.read() as reader, pytest.raises(LedgerDamaged, match=message):
        verify_tree(reader)


def test_a_restored_ledger_has_the_same_marks(store: Store, empty_url: str) -> None:
    with store.read() as reader:
        lines, marks = list(dump_lines(reader)), reader.marks()
    other = open_store(empty_url)
    other.create()
    restore_lines(other, lines)
    with other.read() as reader:
        assert reader.marks() == marks
        verify_tree(reader)
    other.close()


def test_a_ledger_from_before_gets_its_marks_on_the_way_to_the_newest_schema(store: Store) -> None:
    with store.read() as reader:
        marks = reader.marks()
    change(store, "DROP TABLE marks")
    change(store, "UPDATE alembic_version SET version_num = '0004'")
    store.create()
    with store.read() as reader:
        assert reader.marks() == marks
        verify_tree(reader)
    assert schema.found_revision(store.url) == schema.newest_revision()
