"""Which lot went into which: the graph of lots, built from plain rows.

A *lot* is anything with its own mark: a delivered sack, a cooked mass, a log, rods, pieces, packs, a tub of re-boil.
An *edge* says that so many milligrams of a parent lot were taken into a child lot at a step. A *leaf* is mass or packs
that left a lot for good or came back: a delivery, a counter sale, a sample, scrap, a return.

Corrections never erase a row. A row that was voided has ``kept=False``; a row that was amended has the ledger position
from which it stopped being believed in ``known_to``. ``LotGraph.as_known`` gives the graph as it stood at a position,
so a recall can be asked "as known on the day".

Nothing here touches a database, a clock or a screen. Shares of mass are worked out in ``ledger.trace.shares``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from ledger.errors import LedgerDamaged, UnknownThing

Direction = Literal["backward", "forward"]

LOT_KINDS = ("material", "water", "mass", "log", "rods", "pieces", "packs", "reboil")
LEAF_KINDS = ("delivery", "counter", "sample", "scrap", "return", "loss", "unexplained")


@dataclass(frozen=True, slots=True)
class Lot:
    """One lot. Masses in milligrams, pieces and packs in whole counts; ``made`` is what came into being (or was
    received)."""

    lot: str
    kind: str
    label: str = ""
    made_mg: int | None = None
    made_pieces: int | None = None
    made_packs: int | None = None
    on_hand_mg: int = 0
    on_hand_pieces: int = 0
    on_hand_packs: int = 0
    day: str = ""
    supplier: str = ""
    supplier_lot: str = ""
    place: str = ""
    document: str = ""
    carrier: str = ""


class Edge(NamedTuple):
    """``mass_mg`` of ``parent`` were taken into ``child`` at ``step`` of ``batch`` on ``day`` (ISO date) by
    ``person``."""

    parent: str
    child: str
    mass_mg: int
    step: str = ""
    batch: str = ""
    day: str = ""
    person: str = ""
    kept: bool = True
    known_from: int = 0
    known_to: int | None = None
    event: str = ""
    packs: int = 0
    """Packs opened, when the parent is a lot of packs (re-packing, or returned goods that go to re-boil)."""


@dataclass(frozen=True, slots=True)
class Leaf:
    """What left ``lot`` for good (or, for a ``return``, came back): mass in milligrams, packs and pieces in counts."""

    lot: str
    kind: str
    day: str = ""
    mass_mg: int = 0
    pieces: int = 0
    packs: int = 0
    party: str = ""
    address: str = ""
    phone: str = ""
    document: str = ""
    person: str = ""
    kept: bool = True
    known_from: int = 0
    known_to: int | None = None
    event: str = ""


def believed(row: Edge | Leaf, position: int | None) -> bool:
    """Is this row part of the story as known at ``position`` (None = now)?"""
    if not row.kept:
        return False
    if position is None:
        return row.known_to is None
    return row.known_from <= position and (row.known_to is None or position < row.known_to)


@dataclass(frozen=True)
class LotGraph:
    """The believed edges and leaves between lots, with both directions at hand.

    Build it with ``LotGraph.build``. The graph may be the whole ledger or only the rows around one question; a backward
    question needs every edge into each lot of its path, a forward question every edge into and out of each lot of its
    path.
    """

    lots: Mapping[str, Lot]
    edges: tuple[Edge, ...]
    leaves: tuple[Leaf, ...]
    _in: Mapping[str, list[Edge]] = field(repr=False, default_factory=dict)
    _out: Mapping[str, list[Edge]] = field(repr=False, default_factory=dict)
    _leaves: Mapping[str, list[Leaf]] = field(repr=False, default_factory=dict)

    @classmethod
    def build(
        cls,
        lots: Iterable[Lot],
        edges: Iterable[Edge],
        leaves: Iterable[Leaf] = (),
        *,
        as_known: int | None = None,
    ) -> LotGraph:
        """Index the rows believed at ledger position ``as_known`` (None = as known now).

        A lot that an edge names without a row of its own gets an empty row of kind ``unknown``, so a path never hides
        it.

        Raises:
            LedgerDamaged: an edge carries a negative mass, or joins a lot to itself.
        """
        nodes = {lot.lot: lot for lot in lots}
        into: dict[str, list[Edge]] = {}
        out_of: dict[str, list[Edge]] = {}
        kept: list[Edge] = []
        for edge in edges:
            if not believed(edge, as_known):
                continue
            if edge.mass_mg < 0 or edge.parent == edge.child:
                raise LedgerDamaged(
                    f"The step {edge.step or '?'} of batch {edge.batch or '?'} takes {edge.mass_mg} mg from "
                    f"{edge.parent} into "
                    f"{edge.child}; a lot is never put into itself and mass is never negative. Check event "
                    f"{edge.event or '?'}.",
                    parent=edge.parent,
                    child=edge.child,
                    mass_mg=edge.mass_mg,
                )
            kept.append(edge)
            into.setdefault(edge.child, []).append(edge)
            out_of.setdefault(edge.parent, []).append(edge)
            for name in (edge.parent, edge.child):
                if name not in nodes:
                    nodes[name] = Lot(name, "unknown")
        ends: dict[str, list[Leaf]] = {}
        left = tuple(leaf for leaf in leaves if believed(leaf, as_known))
        for leaf in left:
            ends.setdefault(leaf.lot, []).append(leaf)
        return cls(nodes, tuple(kept), left, into, out_of, ends)

    def into(self, lot: str) -> list[Edge]:
        """The edges by which other lots came into this one."""
        return self._in.get(lot, [])

    def out_of(self, lot: str) -> list[Edge]:
        """The edges by which this lot went into others."""
        return self._out.get(lot, [])

    def leaves_of(self, lot: str) -> list[Leaf]:
        """What left this lot for good, or came back to it."""
        return self._leaves.get(lot, [])

    def lot(self, lot: str) -> Lot:
        """The row of one lot.

        Raises:
            UnknownThing: no such lot in this graph.
        """
        found = self.lots.get(lot)
        if found is None:
            raise UnknownThing(
                f"There is no lot {lot!r} here. Check the mark on the label; the usual form is year-day and a letter.",
                lot=lot,
            )
        return found

    def reach(self, start: str, direction: Direction) -> set[str]:
        """Every lot met from ``start`` (not counted itself), each once, however many ways lead to it."""
        return self.reach_of([start], direction) - {start}

    def reach_of(self, starts: Iterable[str], direction: Direction) -> set[str]:
        """Every lot met from any of ``starts``, these included, in one walk."""
        steps = self._in if direction == "backward" else self._out
        todo = [self.lot(start).lot for start in starts]
        seen = set(todo)
        while todo:
            for edge in steps.get(todo.pop(), ()):
                other = edge.parent if direction == "backward" else edge.child
                if other not in seen:
                    seen.add(other)
                    todo.append(other)
        return seen

    def in_making_order(self, lots: set[str]) -> list[str]:
        """``lots`` with every parent before its children (ties by name, so the order never wavers).

        Raises:
            LedgerDamaged: some of the lots are made out of each other in a ring; re-boil always makes a new lot, so a
            ring
                means the record is wrong.
        """
        waiting = {lot: sum(1 for e in self.into(lot) if e.parent in lots) for lot in lots}
        ready = sorted((lot for lot, n in waiting.items() if n == 0), reverse=True)
        order: list[str] = []
        while ready:
            lot = ready.pop()
            order.append(lot)
            freed: list[str] = []
            for edge in self.out_of(lot):
                if edge.child in waiting:
                    waiting[edge.child] -= 1
                    if waiting[edge.child] == 0:
                        freed.append(edge.child)
            ready.extend(sorted(freed, reverse=True))
        if len(order) < len(lots):
            ring = sorted(lots - set(order))
            raise LedgerDamaged(
                f"The lots {', '.join(ring[:8])} are made out of each other in a ring. Re-boil makes a new lot; find "
                f"the step that "
                "put mass back into a lot it came from and correct it.",
                lots=ring,
            )
        return order

    def made_mg(self, lot: str) -> int:
        """Mass of the lot as made: its own weight, else the sum of what went in, else the sum of what came out."""
        row = self.lot(lot)
        if row.made_mg is not None:
            return row.made_mg
        taken_in = sum(e.mass_mg for e in self.into(lot))
        return taken_in or sum(e.mass_mg for e in self.out_of(lot))
