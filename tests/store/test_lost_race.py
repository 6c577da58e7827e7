"""A writer on PostgreSQL that is beaten three times takes the site's lock from the start and cannot be beaten again."""

from __future__ import annotations

import threading

import pytest

from ledger.store import Recorded, Store, Unit, open_store
from ledger.store.postgres_backend import LOSSES_BEFORE_LOCK
from tests.store.sugar import counted


def test_after_three_lost_races_a_writer_holds_the_others_off(postgres_url: str) -> None:
    slow, quick = open_store(postgres_url), open_store(postgres_url)
    attempts: list[int] = []
    waiting: list[threading.Thread] = []

    def work(unit: Unit) -> Recorded:
        attempts.append(unit.head.position)
        if len(attempts) <= LOSSES_BEFORE_LOCK:
            add(quick, f"quick-{len(attempts)}")
        else:
            waiting.append(threading.Thread(target=add, args=(quick, "patient")))
            waiting[0].start()
            waiting[0].join(0.4)
            assert waiting[0].is_alive()  # held off, not refused
        return unit.append(counted("slow", 1))

    try:
        recorded = slow.run(work)
        waiting[0].join(20)
        with slow.read() as reader:
            order = [event.stream for event in reader.events()]
    finally:
        slow.close()
        quick.close()
    assert attempts == [0, 1, 2, 3]
    assert recorded.position == LOSSES_BEFORE_LOCK + 1
    assert order == ["quick-1", "quick-2", "quick-3", "slow", "patient"]


def add(store: Store, stream: str) -> None:
    store.run(lambda unit: unit.append(counted(stream, 1)))


pytestmark = pytest.mark.postgres
