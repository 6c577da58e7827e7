"""Many processes write at once, and one is killed in the middle: nothing is lost, doubled or put out of order."""

from __future__ import annotations

import subprocess
import sys
from collections import defaultdict
from pathlib import Path

import pytest

from ledger.store import StoredEvent, open_store, verify_tree
from tests.store.sugar import counted

ROOT = Path(__file__).resolve().parents[2]
WRITERS = 8
EVENTS = 25


def writer(url: str, worker: int, count: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.store.writer", url, str(worker), str(count)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def start(processes: list[subprocess.Popen[str]]) -> None:
    for process in processes:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()


def verified(url: str) -> list[StoredEvent]:
    store = open_store(url)
    with store.read() as reader:
        report = verify_tree(reader)
        events = list(reader.events())
    store.close()
    assert report.position == len(events)
    return events


def test_eight_writing_processes_lose_double_and_reorder_nothing(ledger_url: str) -> None:
    processes = [writer(ledger_url, worker, EVENTS) for worker in range(WRITERS)]
    start(processes)
    told: list[list[int]] = []
    for process in processes:
        out, _ = process.communicate(timeout=120)
        assert process.returncode == 0
        told.append([int(line) for line in out.split()])

    events = verified(ledger_url)
    assert [event.position for event in events] == list(range(1, WRITERS * EVENTS + 1))
    assert len({event.event_id for event in events}) == WRITERS * EVENTS
    assert sorted(position for positions in told for position in positions) == [event.position for event in events]
    recorded = [event.recorded_at for event in events]
    assert recorded == sorted(recorded)

    by_writer: dict[int, list[StoredEvent]] = defaultdict(list)
    by_stream: dict[str, list[int]] = defaultdict(list)
    for event in events:
        by_writer[int(event.event_id.split(".")[0])].append(event)
        by_stream[event.stream].append(event.version)
    for worker, positions in enumerate(told):
        assert [event.position for event in by_writer[worker]] == positions
        assert [event.event.number for event in by_writer[worker]] == list(range(EVENTS))
    for versions in by_stream.values():
        assert versions == list(range(1, len(versions) + 1))


def test_a_reader_following_by_position_misses_nothing_while_others_write(ledger_url: str) -> None:
    """The trap of numbers given out before the commit: a follower passes a number that only becomes visible later."""
    processes = [writer(ledger_url, worker, 20) for worker in range(4)]
    start(processes)
    store = open_store(ledger_url)
    seen: list[str] = []
    last = 0
    while len(seen) < 80:
        with store.read() as reader:
            for event in reader.events(after=last):
                seen.append(event.event_id)
                last = event.position
        if all(process.poll() is not None for process in processes) and last >= 80:
            break
    for process in processes:
        process.communicate(timeout=60)
        assert process.returncode == 0
    store.close()
    assert sorted(seen) == sorted(f"{worker}.{number}" for worker in range(4) for number in range(20))


@pytest.mark.parametrize("acknowledged", [1, 40])
def test_what_was_acknowledged_survives_the_writer_being_killed(ledger_url: str, acknowledged: int) -> None:
    process = writer(ledger_url, 0, 0)
    start([process])
    assert process.stdout is not None
    told = [int(process.stdout.readline()) for _ in range(acknowledged)]
    process.kill()  # SIGKILL: no chance to tidy up
    told += [int(line) for line in process.stdout.read().split("\n") if line.strip().isdigit()]
    process.wait(10)

    events = verified(ledger_url)
    assert told == list(range(1, len(told) + 1))
    # at most one more was stored than the writer lived to tell of
    assert len(events) - len(told) in (0, 1)
    store = open_store(ledger_url)
    after = store.run(lambda unit: unit.append(counted("after", 1)))
    assert after.position - len(told) in (1, 2)  # a server may still have finished the last one meanwhile
    store.close()
    verified(ledger_url)
