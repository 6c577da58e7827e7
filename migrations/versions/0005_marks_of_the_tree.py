"""Frontiers of the tree are kept on the way: a root of the past no longer reads every leaf before it.

Revision 0005, after 0004.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from ledger.store.merkle import MARK_EVERY, Frontier

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table, and fill it from the leaves of the ledgers that are there."""
    marks = op.create_table(
        "marks",
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("position", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("frontier", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("site", "position", name="pk_marks"),
    )
    bind = op.get_bind()
    for (site,) in bind.execute(sa.text("SELECT site FROM heads")).all():
        tree, found = Frontier(), []
        leaves = sa.text("SELECT leaf_hash FROM events WHERE site = :site ORDER BY position")
        for (leaf,) in bind.execute(leaves.execution_options(stream_results=True), {"site": site}):
            tree.append(bytes(leaf))
            if not tree.size % MARK_EVERY:
                found.append({"site": site, "position": tree.size, "frontier": bytes(tree)})
        if found:
            op.bulk_insert(marks, found)
