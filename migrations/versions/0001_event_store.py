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
        "CREATE TRIGGER events_no_replace BEFORE INSERT ON events BEGIN SELECT CASE "
        "WHEN EXISTS (SELECT 1 FROM events WHERE site = NEW.site AND event_id = NEW.event_id) "
        "THEN RAISE(ABORT, 'event id taken') "
        "WHEN EXISTS (SELECT 1 FROM events WHERE site = NEW.site AND position = NEW.position) OR "
        "EXISTS (SELECT 1 FROM events WHERE site = NEW.site AND stream = NEW.stream AND version = NEW.version) "
        f"THEN RAISE(ABORT, '{REFUSAL}') END; END"
    )


def _guard_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION slabbook_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ "
        f"BEGIN RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'SB002'; END $$"
    )
    op.execute(
        "CREATE TRIGGER events_no_change BEFORE UPDATE OR DELETE ON events "
        "FOR EACH ROW EXECUTE FUNCTION slabbook_refuse_change()"
    )
    op.execute(
        "CREATE TRIGGER events_no_truncate BEFORE TRUNCATE ON events "
        "FOR EACH STATEMENT EXECUTE FUNCTION slabbook_refuse_change()"
    )
    op.execute(HOLD)
    op.execute(TAKE_HEAD)
    op.execute(WRITER)


HOLD = """
CREATE FUNCTION slabbook_hold(of_site text) RETURNS void LANGUAGE plpgsql SET lock_timeout = '30s' AS $$
BEGIN
    PERFORM pg_advisory_xact_lock(hashtextextended('slabbook:' || of_site, 0));
END $$
"""
"""Take the one lock of a site; it goes with the transaction."""

TAKE_HEAD = """
CREATE FUNCTION slabbook_take_head(of_site text, based_on bigint) RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    now_at bigint;
BEGIN
    PERFORM slabbook_hold(of_site);
    -- a statement of its own, so that at READ COMMITTED it sees what the last holder of the lock committed
    SELECT position INTO now_at FROM heads WHERE site = of_site;
    IF coalesce(now_at, 0) <> based_on THEN
        RAISE EXCEPTION 'the ledger of % moved on from % to %', of_site, based_on, now_at USING ERRCODE = 'SB001';
    END IF;
END $$
"""
"""Take the lock, and raise SB001 if another writer was faster since the head was read."""

WRITER = """
DO $$
BEGIN
    IF NOT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = 'slabbook_writer') THEN
        IF EXISTS (SELECT 1 FROM pg_roles WHERE rolname = current_user AND (rolsuper OR rolcreaterole)) THEN
            BEGIN
                CREATE ROLE slabbook_writer NOLOGIN;
            EXCEPTION WHEN duplicate_object OR unique_violation THEN
                NULL;
            END;
        ELSE
            RAISE NOTICE 'no right to create the role slabbook_writer: an administrator may do so and grant the rights';
            RETURN;
        END IF;
    END IF;
    EXECUTE format('GRANT USAGE ON SCHEMA %I TO slabbook_writer', current_schema());
    ALTER DEFAULT PRIVILEGES GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO slabbook_writer;
    GRANT SELECT, INSERT, UPDATE, DELETE ON heads, commands TO slabbook_writer;
    GRANT SELECT ON alembic_version TO slabbook_writer;
    GRANT SELECT, INSERT ON events TO slabbook_writer;
    REVOKE UPDATE, DELETE, TRUNCATE ON events FROM slabbook_writer;
END $$
"""
"""The service's own role: it may add events and read them, nothing else. Made if the migrating user may make roles."""
