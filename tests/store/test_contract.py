"""What every database must do for the ledger; each sentence is tried on SQLite and on PostgreSQL."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from sqlite3 import ProgrammingError

import pytest
from sqlalchemy import bindparam, literal, select

from ledger.errors import BadInput, Conflict
from ledger.store import (
    EncodedEvent,
    LedgerNotReady,
    Statement,
    Store,
    Unit,
    among,
    insert_into,
    open_store,
    upsert,
)
from ledger.store.codec import encode
from ledger.store.merkle import Frontier, verify_consistency, verify_inclusion
from ledger.store.tables import commands, events
from tests.store.sugar import NOON, Boiled, Counted, SteppingClock, Taken, counted


@pytest.fixture
def store(ledger_url: str) -> Iterator[Store]:
    opened = open_store(ledger_url)
    yield opened
    opened.close()


def numbers(store: Store, **which: object) -> list[int]:
    with store.read() as reader:
        return [stored.event.number for stored in reader.events(**which)]  # type: ignore[arg-type]


def test_an_empty_ledger_stands_at_position_zero_with_the_root_of_nothing(store: Store) -> None:
    with store.read() as reader:
        assert reader.head == (0, "", b"")
        assert list(reader.events()) == []
        assert reader.root() == Frontier().root()
        assert reader.position_at(NOON) == 0


def test_what_is_appended_is_read_back_as_it_was(store: Store) -> None:
    event = Boiled(
        batch="26303-A", taken=(Taken(lot="S.1", mg=12_500_000), Taken(lot="Ü-2", mg=1)), note='a "crême"\n\u0007 ✓'
    )
    recorded = store.run(lambda unit: unit.append(counted("a", 1)._replace(event=event, corrects="x", event_id="id-1")))
    assert (recorded.position, recorded.version, recorded.event_id) == (1, 1, "id-1")
    with store.read() as reader:
        (stored,) = reader.events()
    assert stored.event == event
    assert stored.name == "test.boiled"
    assert stored.schema_version == 1
    assert stored.occurred_at == NOON
    assert stored.recorded_at == recorded.recorded_at
    assert (stored.recorded_by, stored.command_id, stored.corrects) == ("worker-1", "a-1", "x")
    assert isinstance(stored.leaf_hash, bytes)


def test_positions_run_over_the_site_and_versions_over_the_stream(store: Store) -> None:
    def work(unit: Unit) -> list[tuple[int, int]]:
        return [unit.append(counted(stream, 0))[:2] for stream in ("a", "b", "a")]

    assert store.run(work) == [(1, 1), (2, 1), (3, 2)]
    assert store.run(work) == [(4, 3), (5, 2), (6, 4)]
    with store.read() as reader:
        assert [(stored.stream, stored.version) for stored in reader.events(stream="a")] == [
            ("a", 1),
            ("a", 2),
            ("a", 3),
            ("a", 4),
        ]
        assert [stored.position for stored in reader.events(after=2, upto=5)] == [3, 4, 5]
        assert [stored.position for stored in reader.events(after=1, upto=5, stream="a")] == [3, 4]


def test_long_ledgers_are_read_across_pages_without_loss(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ledger.store.reader.PAGE", 2000)
    store.run(lambda unit: [unit.append(counted(f"s{n % 2}", n)) for n in range(4500)])
    assert numbers(store) == list(range(4500))
    assert numbers(store, stream="s1") == list(range(1, 4500, 2))


def test_sites_in_one_database_do_not_see_each_other(store: Store, ledger_url: str) -> None:
    other = open_store(ledger_url, site="harbour")
    store.run(lambda unit: unit.append(counted("a", 1)))
    recorded = other.run(lambda unit: unit.append(counted("a", 2, expected_version=0)))
    assert recorded.position == 1
    assert numbers(store) == [1]
    assert numbers(other) == [2]
    other.close()


def test_a_stream_that_moved_on_is_a_conflict_naming_both_versions(store: Store) -> None:
    store.run(lambda unit: unit.append(counted("a", 1, expected_version=0)))
    with pytest.raises(Conflict, match="a has 1 events, not 0") as caught:
        store.run(lambda unit: unit.append(counted("a", 2, expected_version=0)))
    assert (caught.value.stream, caught.value.expected, caught.value.actual) == ("a", 0, 1)
    with pytest.raises(Conflict):
        store.run(lambda unit: unit.append(counted("a", 2, expected_version=7)))
    store.run(lambda unit: unit.append(counted("a", 2, expected_version=1)))
    assert numbers(store) == [1, 2]


def test_an_event_id_is_used_once(store: Store) -> None:
    store.run(lambda unit: unit.append(counted("a", 1, event_id="same")))
    with pytest.raises(Conflict, match="event id"):
        store.run(lambda unit: unit.append(counted("b", 2, event_id="same")))
    assert numbers(store) == [1]


def test_nothing_is_written_when_the_work_fails(store: Store) -> None:
    def work(unit: Unit) -> None:
        unit.append(counted("a", 1))
        unit.remember("c", "hash", "{}")
        raise RuntimeError("kettle boiled over")

    with pytest.raises(RuntimeError):
        store.run(work)
    assert numbers(store) == []
    assert store.run(lambda unit: unit.command("c")) is None
    assert store.run(lambda unit: unit.append(counted("a", 1))).position == 1


@pytest.mark.parametrize(
    "bad", ["2026-10-30", "2026-10-30T12:00:00Z", "2026-10-30T12:00:00.000000+01:00", "2026-13-30T12:00:00.000000Z"]
)
def test_a_badly_written_time_is_refused(store: Store, bad: str) -> None:
    with pytest.raises(BadInput, match="2026-10-30T09:15"):
        store.run(lambda unit: unit.append(counted("a", 1)._replace(occurred_at=bad)))


def test_recorded_time_never_goes_backwards(ledger_url: str) -> None:
    store = open_store(ledger_url, clock=SteppingClock(10, 4, 11))
    times = [store.run(lambda unit: unit.append(counted("a", 1))).recorded_at[17:19] for _ in range(3)]
    assert times == ["10", "10", "11"]
    store.close()


def test_the_position_at_a_time_is_the_last_one_recorded_by_then(ledger_url: str) -> None:
    store = open_store(ledger_url, clock=SteppingClock(1, 3, 3, 7))
    for number in range(4):
        store.run(lambda unit, number=number: unit.append(counted("a", number)))  # type: ignore[misc]
    with store.read() as reader:
        found = [reader.position_at(f"2026-10-30T12:00:0{second}.000000Z") for second in (0, 1, 2, 3, 6, 7, 9)]
    assert found == [0, 1, 1, 3, 3, 4, 4]
    store.close()


def test_a_command_is_remembered_with_the_positions_of_its_events(store: Store) -> None:
    def work(unit: Unit) -> None:
        unit.append(counted("a", 1, command="first"))
        unit.append(counted("a", 2, command="c"))
        unit.append(counted("b", 3, command="c"))
        unit.remember("c", "0badcafe", '{"lot":"A"}')
        unit.remember("nothing", "00", "{}")

    store.run(work)
    assert store.run(lambda unit: unit.command("c")) == ("c", "0badcafe", 2, 3, '{"lot":"A"}')
    assert store.run(lambda unit: unit.command("nothing"), command_id="nothing") == ("nothing", "00", None, None, "{}")
    assert store.run(lambda unit: unit.command("new"), command_id="new") is None


def test_a_command_id_remembered_twice_is_a_conflict(store: Store) -> None:
    store.run(lambda unit: unit.remember("c", "1", "{}"))
    with pytest.raises(Conflict, match="command"):
        store.run(lambda unit: unit.remember("c", "2", "{}"))


def test_hints_do_not_change_what_is_seen(store: Store) -> None:
    store.run(lambda unit: unit.append(counted("a", 1)))

    def work(unit: Unit) -> tuple[int, int, int]:
        return unit.version("a"), unit.version("b"), unit.append(counted("a", 2)).version

    assert store.run(work, command_id="c", streams=["a", "b"]) == (1, 0, 2)


def test_a_unit_sees_the_ledger_as_it_was_before_it(store: Store) -> None:
    everything = Statement(select(events.c.position).where(events.c.site == bindparam("site")))

    def work(unit: Unit) -> tuple[list[tuple[int]], int, int]:
        unit.append(counted("a", 1))
        return unit.rows(everything, ("main",)), unit.head.position, unit.position

    assert store.run(work) == ([], 0, 1)


def test_written_rows_arrive_in_order_with_the_events(store: Store) -> None:
    new, over = insert_into(commands), upsert(commands, replace=["result"])

    def work(unit: Unit) -> None:
        unit.append(counted("a", 1))
        unit.write(new, [("main", "x", "h", None, None, "1"), ("main", "y", "h", None, None, "1")])
        unit.write(over, [("main", "x", "other", None, None, "2")])
        unit.write(over, [("main", "x", "other", None, None, "3")])

    store.run(work)
    with store.read() as reader:
        frame = reader.frame(
            select(commands.c.command_id, commands.c.result, commands.c.content_hash).order_by("command_id")
        )
    assert frame.values.tolist() == [["x", "3", "h"], ["y", "1", "h"]]
    assert list(frame.columns) == ["command_id", "result", "content_hash"]


def test_a_reader_keeps_its_moment_while_others_write(store: Store) -> None:
    store.run(lambda unit: unit.append(counted("a", 1)))
    with store.read() as reader:
        assert reader.head.position == 1
        store.run(lambda unit: unit.append(counted("a", 2)))
        assert [stored.event.number for stored in reader.events(upto=99)] == [1]
    assert numbers(store) == [1, 2]


def test_a_reader_cannot_write(store: Store) -> None:
    with pytest.raises(Exception, match=r"read-?only"), store.read() as reader:
        reader.rows(insert_into(commands), ("main", "x", "h", None, None, "1"))
    store.run(lambda unit: unit.append(counted("a", 1)))
    assert numbers(store) == [1]


def test_bulk_gives_the_same_ledger_as_one_by_one(store: Store, ledger_url: str) -> None:
    bulk = [
        EncodedEvent(
            f"s{n % 7}", "test.counted", 1, encode(Counted(number=n)).decode(), NOON, "w", f"c{n}", event_id=f"e{n}"
        )
        for n in range(1200)
    ]
    other = open_store(ledger_url, site="bulk", clock=SteppingClock(1))
    recorded = other.run(lambda unit: unit.append_encoded(bulk))
    assert [where.position for where in recorded] == list(range(1, 1201))
    assert recorded[-1].version == 1 + 1199 // 7
    assert numbers(other) == list(range(1200))
    with other.read() as reader:
        assert reader.root() == reader.root(1200)
    other.close()


def test_the_root_and_the_proofs_of_the_ledger_hold(store: Store) -> None:
    roots = {}
    for n in range(11):
        store.run(lambda unit, n=n: unit.append(counted("a", n)))  # type: ignore[misc]
        with store.read() as reader:
            roots[n + 1] = reader.root()
    with store.read() as reader:
        leaves = list(reader.leaves())
        for size in range(1, 12):
            assert reader.root(size) == roots[size]
            for position in range(1, size + 1):
                path = reader.inclusion_proof(position, size)
                assert verify_inclusion(leaves[position - 1], position - 1, size, path, roots[size])
                proof = reader.consistency_proof(position, size)
                assert verify_consistency(position, size, roots[position], roots[size], proof)
        with pytest.raises(BadInput, match="no event 12"):
            reader.inclusion_proof(12)
        with pytest.raises(BadInput, match="has 11 events, not 12"):
            reader.consistency_proof(1, 12)


def test_threads_of_one_process_take_turns(store: Store) -> None:
    def write(worker: int) -> None:
        for n in range(10):
            store.run(lambda unit, n=n: unit.append(counted(f"thread-{worker}", n)))  # type: ignore[misc]

    threads = [threading.Thread(target=write, args=(worker,)) for worker in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.read() as reader:
        stored = list(reader.events())
    assert [event.position for event in stored] == list(range(1, 61))
    for worker in range(6):
        assert [event.event.number for event in stored if event.stream == f"thread-{worker}"] == list(range(10))


def test_work_that_lost_the_race_is_done_again_on_the_newer_ledger(store: Store, ledger_url: str) -> None:
    rival = open_store(ledger_url)
    seen: list[int] = []

    def work(unit: Unit) -> int:
        seen.append(unit.version("a"))
        if store.dialect == "postgresql" and len(seen) <= 3:  # on SQLite the rival would have to wait for us
            rival.run(lambda other: other.append(counted("a", 100 + len(seen))))
        return unit.append(counted("a", 1, expected_version=seen[-1])).version

    version = store.run(work)
    assert seen == ([0, 1, 2, 3] if store.dialect == "postgresql" else [0])
    assert version == seen[-1] + 1
    rival.close()


def test_exclusive_work_holds_the_ledger_from_the_start(store: Store, ledger_url: str) -> None:
    rival = open_store(ledger_url)
    done = threading.Event()

    def elsewhere() -> None:
        rival.run(lambda unit: unit.append(counted("b", 2)))
        done.set()

    thread = threading.Thread(target=elsewhere)

    def work(unit: Unit) -> int:
        thread.start()
        assert not done.wait(0.15)
        return unit.append(counted("a", 1)).position

    assert store.run(work, exclusive=True) == 1
    thread.join()
    assert numbers(store) == [1, 2]
    rival.close()


def test_a_database_without_a_ledger_says_so(empty_url: str) -> None:
    store = open_store(empty_url)
    with pytest.raises(LedgerNotReady, match=r"there is no ledger at .* yet"):
        store.run(lambda unit: unit.position)
    store.create()
    assert store.run(lambda unit: unit.append(counted("a", 1))).position == 1
    store.create()
    assert numbers(store) == [1]
    store.close()


def test_units_do_not_nest(store: Store) -> None:
    with pytest.raises(RuntimeError, match="units do not nest"):
        store.run(lambda unit: store.run(lambda inner: inner.append(counted("a", 1))))
    assert store.run(lambda unit: unit.append(counted("a", 1))).position == 1


def test_a_list_of_any_length_is_asked_for_with_one_statement(store: Store) -> None:
    store.run(lambda unit: [unit.append(counted(name, n)) for n, name in enumerate(["a", 'b"', "ü", "d"])])
    named = Statement(
        select(events.c.position).where(events.c.site == bindparam("site"), among(events.c.stream, "streams")),
        ["site", "streams"],
    )
    numbered = Statement(
        select(events.c.stream)
        .where(among(events.c.position, "positions"), events.c.site == "main", events.c.stream.like("%"))
        .order_by(events.c.position),
        ["positions"],
    )
    with store.read() as reader:
        assert sorted(reader.rows(named, ("main", '["ü","b\\"","z"]'))) == [(2,), (3,)]
        assert reader.rows(named, ("main", "[]")) == []
        assert reader.rows(numbered, ("[4,1]",)) == [("a",), ("d",)]


def test_a_statement_takes_its_values_in_the_order_its_caller_names(store: Store) -> None:
    store.run(lambda unit: [unit.append(counted("a", n)) for n in range(6)])
    after, upto, site = bindparam("after"), bindparam("upto"), bindparam("site")
    query = (
        select(events.c.position, literal(7))
        .where(events.c.site == site, events.c.position > after, events.c.position <= upto, events.c.version < upto + 1)
        .order_by(events.c.position)
        .limit(2)
    )
    with store.read() as reader:
        assert reader.rows(Statement(query, ["upto", "after", "site"]), (4, 1, "main")) == [(2, 7), (3, 7)]
        assert reader.rows(Statement(query), ("main", 1, 4)) == [(2, 7), (3, 7)]
    with pytest.raises(ValueError, match=r"takes \['after', 'site', 'upto'\], not \['after'\]"):
        Statement(query, ["after"]).on(store.dialect)


def test_an_upsert_adds_replaces_or_keeps(store: Store) -> None:
    add = upsert(commands, add=["first_position"], replace=["result"])
    keep = upsert(commands, keep=True)

    def work(unit: Unit) -> None:
        unit.write(add, [("main", "x", "h", 2, 5, "old")])
        unit.write(add, [("main", "x", "ignored", 40, 99, "new")])
        unit.write(keep, [("main", "x", "k", 1, 1, "kept"), ("main", "y", "k", 1, 1, "kept")])

    store.run(work)
    assert store.run(lambda unit: unit.command("x")) == ("x", "h", 42, 5, "new")
    assert store.run(lambda unit: unit.command("y")) == ("y", "k", 1, 1, "kept")


def test_streamed_rows_are_drawn_while_they_are_written_and_undone_with_the_unit(store: Store) -> None:
    def rows(count: int) -> Iterator[tuple[object, ...]]:
        for n in range(count):
            yield "main", f"c{n:05}", "h", None, None, "{}"
        if count == 700:
            raise RuntimeError("out of sugar")

    with pytest.raises(RuntimeError, match="out of sugar"):
        store.run(lambda unit: unit.stream(insert_into(commands), rows(700)))
    everything = select(commands.c.command_id)
    with store.read() as reader:
        assert len(reader.frame(everything)) == 0
    store.run(lambda unit: unit.stream(insert_into(commands), rows(1300)), exclusive=True)
    store.run(lambda unit: unit.stream(upsert(commands), rows(1400)))
    with store.read() as reader:
        assert len(reader.frame(everything)) == 1400


def test_a_value_the_ledger_does_not_store_is_refused(store: Store) -> None:
    with pytest.raises((TypeError, ProgrammingError), match=r"cannot be sent|not supported"):
        store.run(lambda unit: unit.write(insert_into(commands), [("main", "x", {"a": 1}, None, None, "{}")]))
    assert store.run(lambda unit: unit.append(counted("a", 1))).position == 1
