"""Ledgers with a clock and ids that tests can hold in their hands."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any
from uuid import UUID

from ledger.application.ledger import Ledger, open_ledger
from ledger.domain.movement import Movement
from ledger.errors import SlabbookError
from ledger.projections.sql_world import decode_amendment
from ledger.projections.tables import REBUILT
from ledger.store.codec import decode
from tests.support.histories import history


class Clock:
    """Starts at noon of a day and moves by a minute at each look."""

    def __init__(
        self, start: datetime = datetime(2026, 11, 1, 12, tzinfo=UTC), step: timedelta = timedelta(minutes=1)
    ) -> None:
        self.now, self.step = start, step

    def __call__(self) -> datetime:
        self.now += self.step
        return self.now


class Ids:
    """Ids one after another, so that two ledgers told the same are the same."""

    def __init__(self) -> None:
        self.number = 0

    def __call__(self) -> str:
        self.number += 1
        return str(UUID(int=(0x0190 << 112) | (7 << 76) | (2 << 62) | self.number))


def ledger_at(url: str, clock: Any = None) -> Ledger:
    """A ledger with a test clock and test ids."""
    return open_ledger(url, clock=clock or Clock(), create=False, ids=Ids())


def live(ledger: Ledger, seed: int, length: int) -> int:
    """Tell a ledger a random history; returns how many commands were refused."""
    random, refused, number = Random(seed), 0, 0
    events: dict[int, Any] = {}

    def state() -> tuple[list[str], dict[str, str], int, dict[int, Any]]:
        queries = ledger.queries
        lots = queries.lots(holding=False)
        new = queries.log(after=max(events, default=0), most=100_000)
        for row in new.itertuples(index=False):  # what is in the log stays as it is: each entry is read once
            events[int(row.position)] = decode(row.name, int(row.schema_version), row.payload)
        corrections = queries.corrections()
        changed = dict(zip(corrections.origin, corrections.position, strict=True))
        voided = set(corrections[corrections.voided == 1].origin)
        moved = {}
        for position, event in events.items():
            if isinstance(event, Movement) and position not in voided:
                newest = events[changed[position]] if position in changed else None
                moved[position] = decode_amendment(newest.name, newest.schema, newest.data) if newest else event
        kinds = dict(zip(lots.lot, lots.kind, strict=True))
        return sorted(queries.batches().batch), kinds, queries.as_of().position, moved

    for command in history(random, length, state):
        number += 1
        try:
            ledger.do(command, "AB", command_id=f"c{number}")
        except SlabbookError:
            refused += 1
    return refused


def tables(ledger: Ledger) -> dict[str, list[tuple[Any, ...]]]:
    """Every kept row, sorted."""
    from sqlalchemy import select

    found = {}
    with ledger.store.read() as reader:
        for table in REBUILT:
            frame = reader.frame(select(table))
            found[table.name] = sorted(tuple(row) for row in frame.astype(object).itertuples(index=False))
    return found
