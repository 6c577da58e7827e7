"""The two recursive queries of a path, as plain SQL that SQLite and PostgreSQL both read.

``UNION`` (not ``UNION ALL``) drops a lot that was met before, so a lot reached by many ways is followed once. Each
statement hands over every edge into each lot of the path, which is what shares and tables need. ``CROSS JOIN`` keeps
the order of the join. **Never run ANALYZE on this table in SQLite**: with statistics its planner builds a Bloom filter
over the whole table inside the recursion (measured 2026-11: 15 ms in place of 0.03 ms). ``known_from + 0`` keeps SQLite
from walking the index on that column instead of the one on the lot (55 ms in place of 0.1 ms on a three-year shop). Parameters: ``site``, ``lot``
and ``known`` (the ledger position as of which to ask; use ``NOW`` for the present).
"""

from __future__ import annotations

NOW = 2**53 - 2
"""A position later than any but below the mark of rows that are still believed, so it asks for the present."""

_BELIEVED = "e.known_from + 0 <= :known AND e.known_to > :known"
_COLUMNS = "e.parent, e.child, e.mass_mg, e.step, e.batch, e.day, e.known_from, e.origin"

FORWARD_LOTS = f"""
WITH RECURSIVE reach(lot) AS (
  SELECT :lot
  UNION
  SELECT e.child FROM reach r CROSS JOIN edges e WHERE e.parent = r.lot AND e.site = :site AND {_BELIEVED}
)
SELECT lot FROM reach
"""

BACKWARD_LOTS = f"""
WITH RECURSIVE reach(lot) AS (
  SELECT :lot
  UNION
  SELECT e.parent FROM reach r CROSS JOIN edges e WHERE e.child = r.lot AND e.site = :site AND {_BELIEVED}
)
SELECT lot FROM reach
"""


def _edges_into(lots: str) -> str:
    head, _ = lots.rsplit("SELECT lot FROM reach", 1)
    return f"{head}SELECT {_COLUMNS} FROM reach r CROSS JOIN edges e WHERE e.child = r.lot AND e.site = :site AND {_BELIEVED}\n"


FORWARD_EDGES = _edges_into(FORWARD_LOTS)
"""Every edge into each lot made with ``lot`` (and into ``lot`` itself)."""

BACKWARD_EDGES = _edges_into(BACKWARD_LOTS)
"""Every edge into ``lot`` and each of its ancestors."""
