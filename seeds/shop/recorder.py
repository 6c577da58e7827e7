"""The shop's tablet: entries wait here until they are typed in, some of them days late, and are then given to the ledger a week at a time."""

from __future__ import annotations

import heapq
import random
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from ledger.application.ledger import Ledger, Order, Outcome, open_ledger
from ledger.domain.batch.commands import Amend, Void
from ledger.store.ids import uuid7_from
from ledger.store.times import utc_text


def at(day: date, hour: float, zone: ZoneInfo) -> datetime:
    """A moment of the shop's day: 9.5 is half past nine."""
    seconds = round(hour * 3600)
    return datetime.combine(day, time(), zone) + timedelta(seconds=seconds)


class Recorder:
    """Keeps what is told, in the order in which it is typed in, and moves the ledger's clock along."""

    def __init__(
        self, url: str, rng: random.Random, zone: ZoneInfo, now: datetime, ids: Callable[[], str] | None = None
    ) -> None:
        self.rng, self.zone, self.now = rng, zone, now
        self.ledger: Ledger = open_ledger(url, clock=lambda: self.now, ids=ids or self._id)
        self.outcomes: dict[str, Outcome] = {}
        self.orders: dict[str, Order] = {}
        self.told = self.events = 0
        self._waiting: list[tuple[datetime, int, Order, str]] = []

    def _id(self) -> str:
        return uuid7_from(round(self.now.timestamp() * 1000), self.rng.randbytes(10))

    def tell(self, command: Any, actor: str, when: datetime, recorded: datetime | None = None, tag: str = "") -> None:
        """Something happened at `when`; it is typed in at `recorded` (left out: a few minutes later). tag: to find its outcome by."""
        typed = recorded or when + timedelta(minutes=2)
        self.told += 1
        order = Order(command, actor, "", utc_text(when))
        if tag:
            self.orders[tag] = order
        heapq.heappush(self._waiting, (typed, self.told, order, tag))

    def flush(self, until: datetime | None = None) -> None:
        """Give everything typed in up to `until` (left out: everything) to the ledger, in one transaction."""
        batch = []
        while self._waiting and (until is None or self._waiting[0][0] <= until):
            batch.append(heapq.heappop(self._waiting))
        if not batch:
            return
        before = self.now
        while True:
            self.now = max(before, batch[0][0])
            refused = self._give(batch)
            if not refused:
                return
            batch = [one for number, one in enumerate(batch) if number not in refused]

    def _give(self, batch: list[tuple[datetime, int, Order, str]]) -> set[int]:
        """Record these in one transaction. Corrections that later steps stand in the way of are given back and nothing is written:
        the shop lets them be, and counts its lots at the next stock-take.
        """
        orders = []
        for typed, _, order, _tag in batch:
            stamp = round(typed.timestamp() * 1000)
            orders.append(order._replace(command_id=uuid7_from(stamp, self.rng.randbytes(10))))

        def each(number: int) -> None:
            if number + 1 < len(batch):
                self.now = max(self.now, batch[number + 1][0])

        given = self.ledger.do_rows(orders, each=each)
        for number, error in given.refused:
            if not isinstance(orders[number].command, (Amend, Void)):
                raise error
        if given.refused:
            return {number for number, _ in given.refused}
        for (_, _, _, tag), outcome in zip(batch, given.outcomes, strict=True):
            self.events += outcome.last - outcome.first + 1 if outcome.last else 0
            if tag:
                self.outcomes[tag] = outcome
        return set()
