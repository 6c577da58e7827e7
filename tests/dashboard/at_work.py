"""A desk on which the planner works until a test is over."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from ledger.application.season_jobs import Desk
from ledger.application.season_work import Job


@contextmanager
def working(desk: Desk, what: str, say: Callable[[Job], object] = lambda job: None) -> Iterator[Desk]:
    """Begin work of this name, let it ``say`` where it is, and keep it going until the block is left."""
    begun, over = threading.Event(), threading.Event()

    def work(job: Job) -> None:
        say(job)
        begun.set()
        over.wait(20)

    desk._start(what, work)
    assert begun.wait(5)
    yield desk
    over.set()
    desk.wait()
