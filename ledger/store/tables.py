"""The tables of the event store: what happened, where each site's ledger stands, and which commands were answered.

Times are 27-character UTC text (``ledger.store.times``), hashes raw bytes. All primary keys lead with the site.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Integer, LargeBinary, PrimaryKeyConstraint, Table, Text, UniqueConstraint

from ledger.store.metadata import metadata

events = Table(
    "events",
    metadata,
    Column("site", Text, nullable=False),
    Column("position", BigInteger, nullable=False, autoincrement=False),
    Column("stream", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("event_id", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("schema_version", Integer, nullable=False),
    Column("occurred_at", Text, nullable=False),
    Column("recorded_at", Text, nullable=False),
    Column("recorded_by", Text, nullable=False),
    Column("command_id", Text, nullable=False),
    Column("corrects", Text),
    Column("payload", Text, nullable=False),
    Column("leaf_hash", LargeBinary, nullable=False),
    PrimaryKeyConstraint("site", "position"),
    UniqueConstraint("site", "stream", "version"),
    UniqueConstraint("site", "event_id"),
)
"""What happened, append-only (triggers abort any change). ``corrects`` is the id of the event a correction speaks
of.
"""

heads = Table(
    "heads",
    metadata,
    Column("site", Text, nullable=False),
    Column("position", BigInteger, nullable=False),
    Column("recorded_at", Text, nullable=False),
    Column("frontier", LargeBinary, nullable=False),
    PrimaryKeyConstraint("site"),
)
"""Where each site's ledger stands: last position, when it was recorded, and the Merkle frontier over all leaves."""

marks = Table(
    "marks",
    metadata,
    Column("site", Text, nullable=False),
    Column("position", BigInteger, nullable=False, autoincrement=False),
    Column("frontier", LargeBinary, nullable=False),
    PrimaryKeyConstraint("site", "position"),
)
"""The Merkle frontier as it was at every ``merkle.MARK_EVERY``-th event: a root of the past is worked out from the mark before it, at any length of
history. `verify` holds them against the events."""

commands = Table(
    "commands",
    metadata,
    Column("site", Text, nullable=False),
    Column("command_id", Text, nullable=False),
    Column("content_hash", Text, nullable=False),
    Column("first_position", BigInteger),
    Column("last_position", BigInteger),
    Column("result", Text, nullable=False),
    PrimaryKeyConstraint("site", "command_id"),
)
"""Commands already answered: the same id with the same content gets the first answer again."""
