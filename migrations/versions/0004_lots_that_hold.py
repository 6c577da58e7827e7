"""Whether a lot holds something is a column of its own, so that a sale leaves the index of such lots alone.

Revision 0004, after 0003.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column, fill it, and index by it."""
    op.add_column("lots", sa.Column("holds", sa.Integer(), nullable=False, server_default="0"))
    op.execute("UPDATE lots SET holds = 1 WHERE packs > 0 OR mass_mg > 0")
    op.drop_index("ix_lots_holding", "lots")
    where = sa.text("holds = 1")
    op.create_index("ix_lots_holding", "lots", ["site", "item"], sqlite_where=where, postgresql_where=where)
