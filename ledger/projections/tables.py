"""Tables kept in the same transaction as the events. All can be dropped and rebuilt from the log, row for row."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    ColumnElement,
    Index,
    Integer,
    PrimaryKeyConstraint,
    Table,
    Text,
    and_,
    literal_column,
    text,
)

from ledger.store.metadata import metadata


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False)


def _whole(name: str) -> Column[int]:
    return Column(name, BigInteger, nullable=False)


ON_A_LOT = "kind LIKE 'lot.%'"
IN_A_BATCH = "batch <> ''"
HOLDING = "holds = 1"


def _of_some(name: str, condition: str, *columns: str) -> Index:
    """An index of only those rows that are ever looked up by it: every other row costs a commit nothing.

    A query must say the condition too (`on_a_lot`, `in_batch`, `holding`) to be served by it.
    """
    return Index(name, *columns, sqlite_where=text(condition), postgresql_where=text(condition))


postings = Table(
    "postings", metadata,
    _text("site"), _whole("known_from"), Column("line", Integer, nullable=False), _whole("known_to"), _whole("origin"),
    _text("day"), _text("week"), _text("step"), _text("batch"), _text("flavour"), _text("design"), _text("station"), _text("channel"),
    _text("kind"), _text("account"), _text("item"),
    _whole("mass_mg"), _whole("pieces"), _whole("packs"), _whole("seconds"), _whole("money"), _whole("solids_mg"), _whole("theory_mg"),
    PrimaryKeyConstraint("site", "known_from", "line"),
    Index(None, "site", "week"),
    _of_some("ix_postings_lot", ON_A_LOT, "site", "account", "origin"),
    _of_some("ix_postings_in_batch", IN_A_BATCH, "site", "batch"),
)  # fmt: skip
"""Every movement as balanced lines. Believed from position `known_from` up to (not with) `known_to`; `origin` is the entry they
speak of. The five measures mass_mg, pieces, packs, seconds, money each sum to zero over one (known_from)."""

edges = Table(
    "edges", metadata,
    _text("site"), _text("parent"), _text("child"), _whole("known_from"), _whole("known_to"), _whole("origin"),
    _text("day"), _text("step"), _text("batch"), _whole("mass_mg"),
    PrimaryKeyConstraint("site", "parent", "child", "known_from"),
    Index(None, "site", "child", "parent"),
    Index(None, "site", "known_from"),
)  # fmt: skip
"""Which lot went into which: mg of the parent in the child."""

lots = Table(
    "lots", metadata,
    _text("site"), _text("lot"), _text("kind"), _text("item"), _text("batch"), _text("flavour"), _text("design"), _text("portion"),
    _text("colour"), _text("treatment"), _text("day"), _text("best_before"), _text("supplier"), _text("supplier_lot"), _text("held"),
    _whole("mass_mg"), _whole("pieces"), _whole("packs"), _whole("cost"), _whole("made_mg"), _whole("made_pieces"),
    _whole("made_packs"), _whole("position"), Column("holds", Integer, nullable=False, server_default="0"),
    PrimaryKeyConstraint("site", "lot"),
    Index(None, "site", "batch"),
    _of_some("ix_lots_holding", HOLDING, "site", "item"),
    Index(None, "site", "kind", "flavour"),
)  # fmt: skip
"""Every lot with what it holds now and what arrived in it over its life. `holds` is 1 while anything is left in it: it seldom
changes, so that a sale leaves the index of lots that hold something alone."""

batches = Table(
    "batches", metadata,
    _text("site"), _text("batch"), _text("flavour"), _text("design"), _text("recipe"), _whole("recipe_version"), _text("day"),
    _text("last_day"), _text("step"), _text("steps"), _text("status"), _whole("end_temperature_mc"), _whole("temperature_tolerance_mc"),
    _whole("moisture_ppm"), _whole("moisture_low_ppm"), _whole("moisture_high_ppm"), _whole("process_yield_ppm"),
    _whole("unexplained_ppm"), _whole("piece_mg"), _text("plan_line"), _whole("position"), _whole("last_position"), _text("last_at"),
    PrimaryKeyConstraint("site", "batch"),
    Index(None, "site", "status", "day"),
    Index(None, "site", "day"),
)  # fmt: skip
"""Every batch with the step it has reached."""

flags = Table(
    "flags", metadata,
    _text("site"), _whole("known_from"), Column("line", Integer, nullable=False), _whole("known_to"), _whole("origin"), _text("day"),
    _text("week"), _text("batch"), _text("flavour"), _text("code"), _text("text"), _text("answer"), _whole("answered"),
    _text("answered_day"),
    PrimaryKeyConstraint("site", "known_from", "line"),
    Index(None, "site", "week"),
)  # fmt: skip
"""What was strange, and what somebody answered."""

corrections = Table(
    "corrections", metadata,
    _text("site"), _whole("origin"), _whole("position"), Column("voided", Integer, nullable=False),
    PrimaryKeyConstraint("site", "origin"),
)  # fmt: skip
"""The newest correction of each corrected entry."""

papers = Table(
    "papers", metadata,
    _text("site"), _text("kind"), _text("id"), _whole("position"), _text("day"),
    PrimaryKeyConstraint("site", "kind", "id", "position"),
)  # fmt: skip
"""Where sheets, forecasts, plans, recalls, checks and promotions stand in the log."""

book = Table(
    "book", metadata,
    _text("site"), _text("kind"), _text("id"), _whole("version"), _whole("position"), _text("day"), _text("data"),
    PrimaryKeyConstraint("site", "kind", "id", "version"),
    Index(None, "site", "position"),
)  # fmt: skip
"""Every version of every book entry, as JSON."""

contacts = Table(
    "contacts", metadata,
    _text("site"), _text("kind"), _text("id"), _text("name"), _text("address"), _text("phone"),
    PrimaryKeyConstraint("site", "kind", "id"),
)  # fmt: skip
"""Names of people and businesses, editable, so that a name can be erased without touching history. Not rebuilt from the log."""

REBUILT = (postings, edges, lots, batches, flags, corrections, papers, book)


def on_a_lot(table: Table = postings) -> ColumnElement[bool]:
    """Lines on the account of a lot, said so that the index of them serves."""
    return table.c.kind.like(literal_column("'lot.%'"))


def in_batch(table: Table, batch: Any) -> ColumnElement[bool]:
    """Lines of one batch, said so that the index of them serves."""
    return and_(table.c.batch == batch, table.c.batch != literal_column("''"))


def holding() -> ColumnElement[bool]:
    """Lots with something left in them, said so that the index of them serves."""
    return lots.c.holds == literal_column("1")


NOUGHT: ColumnElement[int] = literal_column("0")
"""A nought written in the statement, so that it is no parameter."""
