"""A path through lots: from one lot backward to its sources, or forward to everything it became part of.

``trace_path`` answers the first two questions of any audit. The answer is a ``Path``: the lots in making order, the
steps between them, the share each lot carries (see ``ledger.trace.shares``), a table to print and coordinates to draw.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ledger.trace.graph import Direction, Edge, Leaf, Lot, LotGraph
from ledger.trace.shares import Carry, shares_backward, shares_forward

ALL_COLUMNS_UP_TO = 1500
"""Backward, shares are worked out for every lot of the path up to this many; beyond it for lots without parents
only."""

TABLE_COLUMNS = (
    "order", "day", "person", "step", "batch", "parent", "parent_kind", "child", "child_kind",
    "mass_in_mg", "step_in_mg", "step_out_mg", "difference_mg", "event",
)  # fmt: skip
LOT_COLUMNS = (
    "lot", "kind", "label", "day", "made_mg", "made_pieces", "made_packs", "supplier", "supplier_lot",
    "least_share", "expected_share", "most_share", "least_mg", "expected_mg", "most_mg",
)  # fmt: skip


@dataclass(frozen=True)
class Path:
    """The answer to "what is in this lot" (backward) or "where did this lot go" (forward).

    ``lots`` stands in making order and holds the lot asked about; ``carries`` has a share for every other lot
    (backward, on very long paths, for the sources only); ``leaves`` is what left those lots for good (forward only).
    """

    start: str
    direction: Direction
    lots: tuple[Lot, ...]
    edges: tuple[Edge, ...]
    carries: dict[str, Carry]
    leaves: tuple[Leaf, ...]
    graph: LotGraph

    @property
    def others(self) -> tuple[str, ...]:
        """Lot marks of the path without the lot asked about, in making order."""
        return tuple(lot.lot for lot in self.lots if lot.lot != self.start)

    @property
    def sources(self) -> tuple[Lot, ...]:
        """The lots of the path that nothing went into: supplier lots (and mains water)."""
        return tuple(lot for lot in self.lots if not self.graph.into(lot.lot))

    def table(self) -> pd.DataFrame:
        """One row for each portion taken: date, person, step, mass in, and the whole step's mass in, out and
        difference.

        A step's figures are the child lot's: mass of everything that went into it and mass as made (both milligrams);
        the difference is what evaporated, was lost, or is unexplained.
        """
        kinds = {lot.lot: lot.kind for lot in self.lots}
        rows = []
        for n, edge in enumerate(self.edges, start=1):
            step_in = sum(e.mass_mg for e in self.graph.into(edge.child))
            out = self.graph.made_mg(edge.child)
            rows.append(
                (
                    n, edge.day, edge.person, edge.step, edge.batch,
                    edge.parent, kinds.get(edge.parent, ""), edge.child, kinds.get(edge.child, ""),
                    edge.mass_mg, step_in, out, step_in - out, edge.event,
                )
            )  # fmt: skip
        return pd.DataFrame(rows, columns=list(TABLE_COLUMNS))

    def lots_table(self) -> pd.DataFrame:
        """One row for each lot of the path with the share of mass it carries (0 to 1, and milligrams)."""
        rows = []
        for lot in self.lots:
            carry = self.carries.get(lot.lot)
            shares: tuple[float | None, ...] = (None,) * 6
            if carry is not None:
                shares = (
                    carry.least_share, carry.expected_share, carry.most_share,
                    carry.least_mg, carry.expected_mg, carry.most_mg,
                )  # fmt: skip
            rows.append(
                (lot.lot, lot.kind, lot.label, lot.day, lot.made_mg, lot.made_pieces, lot.made_packs, lot.supplier,
                 lot.supplier_lot, *shares)
            )  # fmt: skip
        return pd.DataFrame(rows, columns=list(LOT_COLUMNS))


def trace_path(graph: LotGraph, start: str, direction: Direction) -> Path:
    """Follow ``start`` backward to its sources or forward to everything made with it.

    Raises:
        UnknownThing: no such lot.
        LedgerDamaged: the lots on the way are made out of each other in a ring.
    """
    reached = graph.reach(start, direction)
    order = graph.in_making_order(reached)
    if direction == "forward":
        carries = shares_forward(graph, start, order)
        names = [start, *order]
        inside = {start, *order}
        edges = [e for lot in order for e in graph.into(lot) if e.parent in inside]
        leaves = tuple(leaf for lot in names for leaf in graph.leaves_of(lot))
    else:
        columns = order if len(order) <= ALL_COLUMNS_UP_TO else [lot for lot in order if not graph.into(lot)]
        carries = shares_backward(graph, start, order, columns=columns)
        names = [*order, start]
        edges = [e for lot in names for e in graph.into(lot)]
        leaves = ()
    return Path(start, direction, tuple(graph.lot(n) for n in names), tuple(edges), carries, leaves, graph)
