"""The statements that pay, compiled once per database."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Table, bindparam, or_, select, update

from ledger.projections.rows import BATCH_MOVES, LOT_MOVES
from ledger.projections.tables import (
    batches,
    book,
    corrections,
    edges,
    flags,
    holding,
    lots,
    on_a_lot,
    papers,
    postings,
)
from ledger.store.statements import Statement, among, insert_into, upsert
from ledger.store.tables import events

INSERT_POSTINGS = insert_into(postings)
INSERT_EDGES = insert_into(edges)
INSERT_PAPERS = insert_into(papers)
INSERT_BOOK = insert_into(book)
PUT_LOTS = upsert(lots)
PUT_BATCHES = upsert(batches)
PUT_FLAGS = upsert(flags)


def moving(table: Table, key: str, names: Sequence[str]) -> Statement:
    """Change only what moves in a row that is there: (site, key, what moves). Its indexes are left in peace."""
    return Statement(
        update(table)
        .where(table.c.site == bindparam("b_site"), table.c[key] == bindparam("b_key"))
        .values({name: bindparam(f"b_{name}") for name in names}),
        ["b_site", "b_key", *(f"b_{name}" for name in names)],
    )


MOVE_LOTS = moving(lots, "lot", LOT_MOVES)
MOVE_BATCHES = moving(batches, "batch", BATCH_MOVES)
PUT_CORRECTIONS = upsert(corrections)


def closing(table: Table) -> Statement:
    """Stop believing the rows of one entry: (known_to, site, known_from)."""
    return Statement(
        update(table)
        .where(table.c.site == bindparam("b_site"), table.c.known_from == bindparam("b_from"))
        .values(known_to=bindparam("b_to")),
        ["b_to", "b_site", "b_from"],
    )


CLOSE_POSTINGS = closing(postings)
CLOSE_EDGES = closing(edges)


def _columns(table: Table) -> list[Any]:
    return [c for c in table.columns if c.name not in ("site", "holds")]


LOT = Statement(
    select(*_columns(lots)).where(lots.c.site == bindparam("site"), lots.c.lot == bindparam("lot")), ["site", "lot"]
)
LOTS_NAMED = Statement(
    select(*_columns(lots)).where(lots.c.site == bindparam("site"), among(lots.c.lot, "lots")), ["site", "lots"]
)
LOTS_OF_BATCH = Statement(
    select(*_columns(lots)).where(lots.c.site == bindparam("site"), lots.c.batch == bindparam("batch")),
    ["site", "batch"],
)
LOTS_OF_ITEM = Statement(
    select(*_columns(lots)).where(
        lots.c.site == bindparam("site"),
        lots.c.item == bindparam("item"),
        holding(),
    ),
    ["site", "item"],
)
HELD = Statement(select(*_columns(lots)).where(lots.c.site == bindparam("site"), lots.c.held != ""), ["site"])
BATCH = Statement(
    select(*_columns(batches)).where(batches.c.site == bindparam("site"), batches.c.batch == bindparam("batch")),
    ["site", "batch"],
)
BATCHES_ON = Statement(
    select(batches.c.batch).where(batches.c.site == bindparam("site"), batches.c.day == bindparam("day")),
    ["site", "day"],
)
CORRECTION = Statement(
    select(corrections.c.position, corrections.c.voided).where(
        corrections.c.site == bindparam("site"), corrections.c.origin == bindparam("origin")
    ),
    ["site", "origin"],
)
FLAGS_FROM = Statement(
    select(*_columns(flags)).where(flags.c.site == bindparam("site"), flags.c.known_from == bindparam("known_from")),
    ["site", "known_from"],
)
_entry = select(
    events.c.position, events.c.event_id, events.c.stream, events.c.occurred_at, events.c.name, events.c.schema_version, events.c.payload
).where(events.c.site == bindparam("site"))  # fmt: skip
ENTRY = Statement(_entry.where(events.c.position == bindparam("position")), ["site", "position"])
LOG_PAGE = 2000
LOG = Statement(
    _entry.where(events.c.position > bindparam("after")).order_by(events.c.position).limit(LOG_PAGE), ["site", "after"]
)
"""The next page of what the fold needs of the log: half the columns of a stored event."""
ORIGINS_OF_LOT = Statement(
    select(postings.c.origin)
    .where(postings.c.site == bindparam("site"), postings.c.account == bindparam("lot"), on_a_lot())
    .distinct(),
    ["site", "lot"],
)
PAPER = Statement(
    select(papers.c.position).where(
        papers.c.site == bindparam("site"), papers.c.kind == bindparam("kind"), papers.c.id == bindparam("id")
    ),
    ["site", "kind", "id"],
)
RECALLS = Statement(
    select(papers.c.kind, papers.c.id, papers.c.position).where(
        papers.c.site == bindparam("site"), or_(papers.c.kind == "recall", papers.c.kind == "recall-closed")
    ),
    ["site"],
)
BOOK_ALL = Statement(
    select(book.c.kind, book.c.version, book.c.data, book.c.position)
    .where(book.c.site == bindparam("site"))
    .order_by(book.c.position),
    ["site"],
)
