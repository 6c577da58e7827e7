"""How much of one lot is in another: least, most and expected mass.

Three figures, because a bowl of sugar is not a solution. For a lot A somewhere upstream of a lot C:

* **expected**: every lot is perfectly mixed and loses mass evenly. The share of A in C is the mass-weighted mean of
  its share in the lots that went into C; the weights are the masses as taken. (The usual flow calculation on a graph
  of blends.)
* **most / least**: nothing is known about mixing. From a lot of made mass M that holds between ``lo`` and ``hi`` of A,
  a portion of m holds at most ``min(m, hi)`` and at least ``max(0, m - (M - lo))`` of A: all the A might lie in the
  portion, or all of it outside. A loss (evaporation, scrapings) might have been all A or none of it; a gain (the scale
  says more came out than went in) might be all A or none. All bounds are whole milligrams, so they are exact.

No more of A can be in any lot than A weighed (plus gains, which could be anything), so ``most`` is capped by that too.
The bounds are outer bounds: the truth always lies between them, and ``least <= expected <= most`` always holds. The
tests prove it by keeping real parcels of sugar apart in random workshops.

Source: interval bounds worked out here from the conservation of mass; no published source is claimed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ledger.trace.graph import Edge, LotGraph


@dataclass(frozen=True, slots=True)
class Carry:
    """How much of the lot in question another lot carries. ``least_mg`` and ``most_mg`` are exact bounds in milligrams.

    ``of_mg`` is the mass the shares refer to: backward, the mass of the lot asked about; forward, the mass of ``lot``.
    """

    lot: str
    least_mg: int
    most_mg: int
    expected_share: float
    of_mg: int

    @property
    def expected_mg(self) -> float:
        """Mass to expect under perfect mixing, milligrams."""
        return self.expected_share * self.of_mg

    @property
    def least_share(self) -> float:
        """Least share of the mass, 0 to 1."""
        return self.least_mg / self.of_mg if self.of_mg else 0.0

    @property
    def most_share(self) -> float:
        """Most share of the mass, 0 to 1."""
        return self.most_mg / self.of_mg if self.of_mg else 0.0


def standing_mass(graph: LotGraph, lot: str) -> tuple[int, int]:
    """(mass that the lot's outflows can be drawn from, mass that went in), both in milligrams.

    A lot that was overdrawn on paper is taken to have weighed what was drawn: the extra counts as a gain of unknown
    origin.
    """
    taken_in = sum(e.mass_mg for e in graph.into(lot))
    return max(graph.made_mg(lot), sum(e.mass_mg for e in graph.out_of(lot))), taken_in


def shares_forward(graph: LotGraph, start: str, order: Sequence[str]) -> dict[str, Carry]:
    """Mass of ``start`` in each lot of ``order`` (its descendants in making order, without itself)."""
    mass = {lot: standing_mass(graph, lot) for lot in (start, *order)}
    total = mass[start][0]
    low = {start: total}
    high = {start: total}
    expected = {start: 1.0}
    cap = total
    found: dict[str, Carry] = {}
    for lot in order:
        made, taken_in = mass[lot]
        lo = hi = 0
        weighted = 0.0
        for edge in graph.into(lot):
            if edge.parent not in low:
                continue
            lo += max(0, edge.mass_mg - (mass[edge.parent][0] - low[edge.parent]))
            hi += min(edge.mass_mg, high[edge.parent])
            weighted += edge.mass_mg * expected[edge.parent]
        loss = max(0, taken_in - made)
        gain = max(0, made - taken_in) if weighted else 0
        cap += gain
        low[lot] = max(0, lo - loss)
        high[lot] = min(hi + gain, made, cap)
        expected[lot] = weighted / taken_in if taken_in else 0.0
        found[lot] = Carry(lot, low[lot], high[lot], expected[lot], made)
    return found


def shares_backward(graph: LotGraph, start: str, order: Sequence[str], *, columns: Sequence[str]) -> dict[str, Carry]:
    """Mass of each lot of ``columns`` in ``start``; ``order`` is its ancestors in making order, without itself."""
    return shares_in(graph, [start], [*order, start], columns=columns)[start]


def shares_in(
    graph: LotGraph, targets: Sequence[str], order: Sequence[str], *, columns: Sequence[str]
) -> dict[str, dict[str, Carry]]:
    """Mass of each lot of ``columns`` in each of ``targets``, in one pass over ``order``.

    ``order`` holds the targets and all their ancestors in making order. All columns are worked at once (a numpy row a
    lot), so hundreds of supplier lots cost little more than one. A lot that is no ancestor of a target shows with a
    share of nothing.
    """
    place = {lot: i for i, lot in enumerate(columns)}
    width = len(columns)
    wanted = set(targets)
    mass = {lot: standing_mass(graph, lot) for lot in order}
    cap = np.array([mass[lot][0] for lot in columns], dtype=np.int64)
    low: dict[str, np.ndarray] = {}
    high: dict[str, np.ndarray] = {}
    expected: dict[str, np.ndarray] = {}
    found: dict[str, dict[str, Carry]] = {}
    # rows are dropped once every child has read them, so memory follows the width of the path and not its length
    readers = dict.fromkeys(order, 0)
    for lot in order:
        for edge in graph.into(lot):
            readers[edge.parent] += 1
    for lot in order:
        made, taken_in = mass[lot]
        lo = np.zeros(width, dtype=np.int64)
        hi = np.zeros(width, dtype=np.int64)
        weighted = np.zeros(width)
        for edge in graph.into(lot):
            _pour(edge, mass[edge.parent][0], low, high, expected, lo, hi, weighted)
            readers[edge.parent] -= 1
            if not readers[edge.parent]:
                del low[edge.parent], high[edge.parent], expected[edge.parent]
        loss, gain = max(0, taken_in - made), max(0, made - taken_in)
        share = weighted / taken_in if taken_in else weighted
        if gain:
            cap = cap + np.where(share > 0, gain, 0)
            hi = hi + np.where(share > 0, gain, 0)
        lo = np.maximum(lo - loss, 0)
        hi = np.minimum(np.minimum(hi, made), cap)
        if lot in wanted:
            bounds = zip(columns, lo.tolist(), hi.tolist(), share.tolist(), strict=True)
            found[lot] = {name: Carry(name, a, b, s, made) for name, a, b, s in bounds}
        own = place.get(lot)
        if own is not None:
            lo[own] = hi[own] = made
            share[own] = 1.0
        low[lot], high[lot], expected[lot] = lo, hi, share
    return found


def _pour(
    edge: Edge,
    parent_mg: int,
    low: dict[str, np.ndarray],
    high: dict[str, np.ndarray],
    expected: dict[str, np.ndarray],
    lo: np.ndarray,
    hi: np.ndarray,
    weighted: np.ndarray,
) -> None:
    """Add what one portion of a parent brings into a lot's running bounds."""
    lo += np.maximum(edge.mass_mg - (parent_mg - low[edge.parent]), 0)
    hi += np.minimum(high[edge.parent], edge.mass_mg)
    weighted += edge.mass_mg * expected[edge.parent]
