"""Indexes of only the rows that are looked up by them: a commit writes fewer pages.

Revision 0003, after 0002.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Lines on lots, lines of batches and lots that hold something are indexed; the rest never was asked for that way."""
    for name, table, condition, columns in (
        ("ix_postings_lot", "postings", "kind LIKE 'lot.%'", ["site", "account", "origin"]),
        ("ix_postings_in_batch", "postings", "batch <> ''", ["site", "batch"]),
        ("ix_lots_holding", "lots", "packs > 0 OR mass_mg > 0", ["site", "item"]),
    ):
        where = sa.text(condition)
        op.create_index(name, table, columns, sqlite_where=where, postgresql_where=where)
    op.drop_index("ix_postings_site_account_origin", "postings")
    op.drop_index("ix_postings_site_batch", "postings")
    op.drop_index("ix_lots_site_item_packs", "lots")
