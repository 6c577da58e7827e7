"""Two families of inequalities that make whole-batch plans easy to prove: what whole batches cannot cover is short or held.

**Whole batches.** For an item and weeks k to l: need = demand of them, s = stock before k + lost in them; every plan has
s + (what is made in them) >= need. With q = ceil(need / size), r = need - size (q - 1) and X whole batches of one size made
in them, s >= r (q - X): with X >= q the right side is not above 0; with X = q - j, s >= need - size (q - j) = r + size (j - 1)
>= r j because r <= size. Where kettles differ, mixed-integer rounding by each ``size`` in turn gives a batch of b the weight
r floor(b / size) + min(r, b mod size) (Nemhauser and Wolsey 1990; Pochet and Wolsey 2006; both from memory). The display
minimum of week l may join the need (its gap joins s), and so may the closing stock that has full value. Separated over all
k and l at once.

**Chords.** Uncertain season demand loses at least f(supply), f convex and falling; supply is the opening stock and whole
batches, so between two neighbouring supplies that can be had the straight line through f at both lies below every plan.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ledger.planning.arrays import Arrays
from ledger.planning.model import Floats, Program, made_in

Cut = tuple[float, list[tuple[int, float]]]
"""(least value, entries): sum of value x column >= least."""
PLAIN, DISPLAY, CLOSING, CHORD = 0, 1, 2, 3
PARTS = (1, 2, 3)
MOST_SUPPLIES = 3000
"""Supplies of different kettles told apart for chords; beyond, the tangents alone stand."""


@dataclass(slots=True)
class _Rounding:
    """Inequalities of one kind and size by k, l: whole batches q, rest r (kg), and by way the weight of a batch (kg)."""

    kind: int
    size: int
    q: Floats
    r: Floats
    weights: list[Floats]


class Separator:
    """Finds the inequalities a fractional point breaks most, remembering those already given."""

    def __init__(self, a: Arrays, m: Program) -> None:
        self.a, self.m = a, m
        self.given: set[tuple[int, int, int, int, int]] = set()
        self.ways = {i: [j for j in a.ways[i] if a.batch[j] > 0 and any(v >= 0 for v in m.x[j])] for i in range(a.n)}
        self.items = [i for i in range(a.n) if self.ways[i]]
        self.ready = {i: list(self._prepare(i)) for i in self.items}
        self.supplies = {i: self._supplies(i) for i in self.items if a.curves[i] is not None}

    def _prepare(self, i: int) -> Iterator[_Rounding]:
        """Every kind and size of inequality that says something; q = 0 where there is nothing to say."""
        a, weeks = self.a, self.a.end[i] + 1
        before = np.concatenate([[0], np.cumsum(a.demand[i][:weeks])]).astype(np.int64)
        need = before[None, 1:] - before[:-1, None]
        need[0] -= a.opening[i]
        possible = np.triu(np.ones((weeks, weeks), dtype=bool))
        for kind in (PLAIN, DISPLAY, CLOSING):
            more = np.zeros(weeks, dtype=np.int64)
            if kind == DISPLAY:
                more = np.array([a.display[i][t] if self.m.gap[i][t] >= 0 else 0 for t in range(weeks)], dtype=np.int64)
            elif kind == CLOSING:
                more[-1] = a.end_cap[i] if self.m.closing[i] >= 0 else 0
            if kind and not more.any():
                continue
            wanted = need + more[None, :]
            useful = possible & (wanted > 0) & ((more > 0)[None, :] if kind else True)
            for size in self._sizes(i):
                q = np.where(useful, -(-wanted // size), 0)
                r = np.where(useful, wanted - size * (q - 1), 0)
                weights = [(r * (a.batch[j] // size) + np.minimum(r, a.batch[j] % size)) / 1000 for j in self.ways[i]]
                yield _Rounding(kind, size, q.astype(float), r / 1000, weights)

    def _sizes(self, i: int) -> list[int]:
        """Sizes to round by: the batch, and where kettles differ also parts of each, which say more about their mixes."""
        batches = {self.a.batch[j] for j in self.ways[i]}
        return sorted({batch // part for batch in batches for part in (PARTS if len(batches) > 1 else (1,))})

    def _supplies(self, i: int) -> list[int]:
        """Every cumulated supply of whole batches up to the one after which nothing more is lost, rising."""
        curve = self.a.curves[i] or ()
        enough = max((at * 1000 // per + 1 for lines in curve for at, per in lines if per > 0), default=0)
        found = {self.a.opening[i]}
        for size in {self.a.batch[j] for j in self.ways[i]}:
            found = {s + n * size for s in found for n in range(max(0, (enough - s) // size + 1) + 1)}
            if len(found) > MOST_SUPPLIES:
                return []
        return sorted(found)

    def find(self, point: Floats, an_item: int = 8, least_break: float = 1e-3) -> list[Cut]:
        """At most ``an_item`` broken inequalities of whole batches an item, the most broken first, and every broken chord."""
        cuts: list[Cut] = []
        a, m = self.a, self.m
        for i in self.items:
            weeks = a.end[i] + 1
            x_sums = []
            for j in self.ways[i]:
                made = np.array([point[m.x[j][t]] if m.x[j][t] >= 0 else 0.0 for t in range(weeks)])
                x_before = np.concatenate([[0.0], np.cumsum(made)])
                x_sums.append(x_before[None, 1:] - x_before[:-1, None])
            lost = point[m.lost[i][:weeks]]
            l_before = np.concatenate([[0.0], np.cumsum(lost)])
            entering = np.concatenate([[0.0], point[m.stock[i][:weeks]][:-1]])
            slack = entering[:, None] + l_before[None, 1:] - l_before[:-1, None]
            found: list[tuple[float, int, int, int]] = []
            for number, rule in enumerate(self.ready[i]):
                here = slack
                if rule.kind == DISPLAY:
                    here = slack + np.array([point[g] if (g := m.gap[i][t]) >= 0 else 0.0 for t in range(weeks)])[None]
                elif rule.kind == CLOSING:
                    here = slack + (a.end_cap[i] / 1000 - point[m.closing[i]])
                covered = sum(weight * x_sum for weight, x_sum in zip(rule.weights, x_sums, strict=True))
                broken = np.where(rule.q > 0, rule.r * rule.q - covered - here, -1.0)
                for flat in np.argpartition(broken.ravel(), -min(an_item, broken.size))[-an_item:]:
                    k, last = divmod(int(flat), weeks)
                    if broken[k, last] > least_break * max(1.0, rule.r[k, last]):
                        found.append((float(broken[k, last] / (1 + rule.r[k, last])), number, k, last))
            found.sort(reverse=True)
            for _, number, k, last in found[:an_item]:
                rule = self.ready[i][number]
                if self._new((i, rule.kind, rule.size, k, last)):
                    cuts.append(self._cut(i, rule, k, last))
            if self.supplies.get(i):
                made_kg = sum(x[0] * a.batch[j] / 1000 for j, x in zip(self.ways[i], x_sums, strict=True))
                cuts += self._chords(i, made_kg, l_before[1:], least_break)
        return cuts

    def _new(self, key: tuple[int, int, int, int, int]) -> bool:
        if key in self.given:
            return False
        self.given.add(key)
        return True

    def _cut(self, i: int, rule: _Rounding, k: int, last: int) -> Cut:
        m, a = self.m, self.a
        entries = [
            (m.x[j][t], float(weight[k, last]))
            for j, weight in zip(self.ways[i], rule.weights, strict=True)
            for t in range(k, last + 1)
            if m.x[j][t] >= 0
        ]
        entries += [(m.lost[i][t], 1.0) for t in range(k, last + 1)]
        least = float(rule.r[k, last] * rule.q[k, last])
        if k:
            entries.append((m.stock[i][k - 1], 1.0))
        if rule.kind == DISPLAY:
            entries.append((m.gap[i][last], 1.0))
        elif rule.kind == CLOSING:
            entries.append((m.closing[i], -1.0))
            least -= a.end_cap[i] / 1000
        return least, entries

    def _chords(self, i: int, made_kg: Floats, lost_kg: Floats, least_break: float) -> list[Cut]:
        """The broken chord of each week: lost so far + slope x made so far >= what the line says at nothing made."""
        a, m, supplies, cuts = self.a, self.m, self.supplies[i], []
        curve = a.curves[i] or ()
        for t in range(a.end[i] + 1):
            if not curve[t]:
                continue
            place = bisect_right(supplies, a.opening[i] + float(made_kg[t]) * 1000) - 1
            if not 0 <= place < len(supplies) - 1:
                continue
            one, two = (_loss(curve[t], supplies[p]) for p in (place, place + 1))
            slope = (one - two) / (supplies[place + 1] - supplies[place])
            least = (one + slope * (supplies[place] - a.opening[i])) / 1000
            if least - slope * made_kg[t] - lost_kg[t] > least_break and self._new((i, CHORD, 0, t, place)):
                entries = [(m.lost[i][u], 1.0) for u in range(t + 1)]
                cuts.append((least, entries + made_in(m, a, i, 0, t, slope)))
        return cuts


def _loss(lines: tuple[tuple[int, int], ...], supply: int) -> float:
    """The highest of the lines at a supply, not rounded (rounding would bend the curve), in grams."""
    return max(0.0, *(at - supply * per / 1000 for at, per in lines))
