"""Does the stored ledger agree with itself, and with roots that left the house?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from sqlalchemy import bindparam, func, or_, select

from ledger.errors import LedgerDamaged
from ledger.store.canonical import leaf_of
from ledger.store.merkle import MARK_EVERY, Frontier
from ledger.store.reader import Reader
from ledger.store.records import StoredEvent
from ledger.store.statements import Statement
from ledger.store.tables import events

Progress = Callable[[int, int], None]
FAULTS_SHOWN = 20
EVERY = 1000

_broken = or_(func.count() != func.max(events.c.version), func.min(events.c.version) != 1)
BROKEN_STREAMS = Statement(
    select(events.c.stream, func.count(), func.max(events.c.version))
    .where(events.c.site == bindparam("site"))
    .group_by(events.c.stream)
    .having(_broken)
    .order_by(events.c.stream)
    .limit(FAULTS_SHOWN),
    ["site"],
)


class TreeReport(NamedTuple):
    """A ledger found sound: its size, the root over it, when its last event was recorded."""

    position: int
    root: bytes
    recorded_at: str


class Fault(NamedTuple):
    """Something wrong at a position (0: not at one)."""

    position: int
    what: str


def verify_tree(
    reader: Reader,
    progress: Progress | None = None,
    *,
    known_roots: Mapping[int, bytes] | None = None,
    read_events: bool = True,
) -> TreeReport:
    """Check every event of the ledger: its hash, the positions and versions without gaps, times in order, the stored
    frontier.

    ``known_roots`` are roots that left the house, by ledger size: only they catch somebody who rewrote the database
    and all its
    hashes. ``read_events`` also decodes every event. ``progress`` is called with (done, all) now and then.

    The marks that roots of the past are worked out from are held against the events as well. Raises LedgerDamaged naming the first twenty faults (all of them in ``.faults``).
    """
    known = dict(known_roots or {})
    faults: list[Fault] = []
    frontier, marks = Frontier(), reader.marks()
    before = ""
    for event in reader.events():
        position = frontier.size + 1
        if event.position != position:
            faults.append(Fault(position, f"the next event is {event.position}: events are missing"))
            break  # every later hash would be in the wrong place
        faults.extend(_faults_of(event, before, read_events))
        before = event.recorded_at
        frontier.append(leaf_of(event))
        if not position % MARK_EVERY and marks.pop(position, None) != bytes(frontier):
            faults.append(Fault(position, "the mark kept here is missing or not that of the events before it"))
        if position in known and known.pop(position) != frontier.root():
            found = frontier.root().hex()
            faults.append(Fault(position, f"the root over the first {position} events is {found}, not the known one"))
        if progress is not None and position % EVERY == 0:
            progress(position, reader.head.position)
        if len(faults) >= FAULTS_SHOWN:
            break
    else:
        faults.extend(_faults_of_head(reader, frontier, before))
        faults.extend(Fault(0, f"a mark is kept at {size} events, where none belongs") for size in sorted(marks))
        faults.extend(Fault(0, f"a root is known for {size} events, the ledger has fewer") for size in sorted(known))
    faults.extend(
        Fault(0, f"stream {stream} has {count} events but its last version is {last}")
        for stream, count, last in reader.rows(BROKEN_STREAMS, (reader.site,))
    )
    if progress is not None:
        progress(frontier.size, reader.head.position)
    if faults:
        told = "; ".join(f"event {fault.position}: {fault.what}" if fault.position else fault.what for fault in faults)
        raise LedgerDamaged(
            f"the ledger of {reader.site} is damaged: {told}. Keep this database as it is, and restore the last good backup "
            "into a new one",
            faults=tuple(faults),
            site=reader.site,
        )
    return TreeReport(frontier.size, frontier.root(), reader.head.recorded_at)


def _faults_of(event: StoredEvent, before: str, read: bool) -> list[Fault]:
    faults = []
    if leaf_of(event) != event.leaf_hash:
        faults.append(Fault(event.position, f"it was changed after it was recorded ({event.name}, {event.stream})"))
    if event.recorded_at < before:
        faults.append(Fault(event.position, f"it was recorded at {event.recorded_at}, before the event before it"))
    if read:
        try:
            _ = event.event
        except LedgerDamaged as error:
            faults.append(Fault(event.position, error.message))
    return faults


def _faults_of_head(reader: Reader, frontier: Frontier, last_recorded: str) -> list[Fault]:
    head = reader.head
    if head.position != frontier.size:
        return [Fault(0, f"the head says {head.position} events, there are {frontier.size}")]
    if bytes(head.frontier) != bytes(frontier):
        return [Fault(0, "the stored frontier is not that of the stored events")]
    if head.recorded_at != last_recorded:
        return [Fault(0, f"the head says the last event was recorded at {head.recorded_at}, it was at {last_recorded}")]
    return []
