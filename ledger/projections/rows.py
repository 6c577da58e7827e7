"""From what an entry does to the rows of the kept tables. Used by the live write and by the rebuild alike."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from operator import attrgetter
from typing import Any

import msgspec

from ledger.domain.books.entries import KIND_OF
from ledger.domain.books.events import BOOK_EVENTS
from ledger.domain.papers import paper_of
from ledger.domain.postings import iso_week
from ledger.domain.state import Batch, Lot
from ledger.domain.world import ALWAYS, Effects, Entry, FlagRow

Row = tuple[Any, ...]
LOT_MOVES = ("held", "mass_mg", "pieces", "packs", "cost", "made_mg", "made_pieces", "made_packs")
"""What changes of a lot as it is used."""
BATCH_MOVES = ("last_day", "step", "steps", "last_position", "last_at")
"""What changes of a batch as it goes on."""

_lot = attrgetter(*(f.name for f in fields(Lot)))
_batch = attrgetter(*(f.name for f in fields(Batch)))
lot_moves = attrgetter(*LOT_MOVES)
lot_stays = attrgetter("holds", *(f.name for f in fields(Lot) if f.name not in LOT_MOVES))
batch_moves = attrgetter(*BATCH_MOVES)
batch_stays = attrgetter(*(f.name for f in fields(Batch) if f.name not in BATCH_MOVES))
_flag = attrgetter(*(f.name for f in fields(FlagRow)))


def posting_rows(site: str, position: int, effects: Effects) -> list[Row]:
    """Rows of `postings` for one entry; empty for one that moves nothing."""
    m = effects.movement
    if m is None:
        return []
    entry = (site, position)
    told = (ALWAYS, effects.origin, m.day, iso_week(m.day), m.step, m.batch, m.flavour, m.design, m.station, m.channel)
    return [entry + (number,) + told + line for number, line in enumerate(effects.lines)]  # noqa: RUF005 (sums of tuples: half the time)


def edge_rows(site: str, position: int, effects: Effects) -> list[Row]:
    """Rows of `edges` for one entry."""
    m = effects.movement
    if m is None:
        return []
    return [
        (site, parent, child, position, ALWAYS, effects.origin, m.day, m.step, m.batch, mass)
        for parent, child, mass in effects.edges
    ]


def lot_row(site: str, lot: Lot) -> Row:
    """Row of `lots`."""
    row: Row = (site, *_lot(lot), lot.holds)
    return row


def batch_row(site: str, batch: Batch) -> Row:
    """Row of `batches`."""
    row: Row = (site, *_batch(batch))
    return row


def flag_row(site: str, flag: FlagRow) -> Row:
    """Row of `flags`."""
    row: Row = (site, *_flag(flag))
    return row


def book_rows(site: str, entry: Entry) -> Iterable[Row]:
    """Row of `book`, for an entry that defines something in it."""
    event: Any = entry.event
    if isinstance(event, BOOK_EVENTS):
        data = msgspec.json.encode(event.entry, order="sorted").decode()
        yield (site, KIND_OF[type(event.entry)], event.entry.id, event.version, entry.position, event.day, data)


def paper_rows(site: str, entry: Entry) -> Iterable[Row]:
    """Row of `papers`, for an entry that is one."""
    paper = paper_of(entry.event)
    if paper is not None:
        yield (site, paper[0], paper[1], entry.position, entry.event.day)
