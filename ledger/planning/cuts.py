"""One family of inequalities that makes whole-batch plans easy to prove: what whole batches cannot cover is short or held.

For an item and weeks k to l: X batches made in them, need = demand of them, s = stock before k + lost in them. With
q = ceil(need / batch) and r = need - batch (q - 1), every plan has s >= r (q - X): with X >= q the right side is not above 0; with X = q - j,
s >= need - batch (q - j) = r + batch (j - 1) >= r j because r <= batch. The display minimum of week l may join the need (its
gap joins s), and so may the closing stock that has full value. Mixed-integer rounding for a constant batch size (Pochet and
Wolsey 2006, from memory, treat such sets); separated here over all k and l at once.
"""

from __future__ import annotations

import numpy as np

from ledger.planning.arrays import Arrays
from ledger.planning.model import Floats, Program

Cut = tuple[float, list[tuple[int, float]]]
"""(least value, entries): sum of value x column >= least."""


class Separator:
    """Finds the inequalities a fractional point breaks most, remembering those already given."""

    def __init__(self, a: Arrays, m: Program) -> None:
        self.a, self.m = a, m
        self.given: set[tuple[int, int, int, int]] = set()
        self.items = [i for i in range(a.n) if a.batch[i] > 0 and any(v >= 0 for v in m.x[i])]
        self.ready = {i: self._prepare(i) for i in self.items}

    def _prepare(self, i: int) -> list[tuple[int, Floats, Floats]]:
        """Per kind (0 plain, 1 display, 2 closing): whole batches q and rest r by k, l; q = 0 where there is nothing to say."""
        a, weeks, batch = self.a, self.a.end[i] + 1, self.a.batch[i]
        before = np.concatenate([[0], np.cumsum(a.demand[i][:weeks])]).astype(np.int64)
        need = before[None, 1:] - before[:-1, None]
        need[0] -= a.opening[i]
        possible = np.triu(np.ones((weeks, weeks), dtype=bool))
        kinds = []
        for kind in (0, 1, 2):
            more = np.zeros(weeks, dtype=np.int64)
            if kind == 1:
                more = np.array([a.display[i][t] if self.m.gap[i][t] >= 0 else 0 for t in range(weeks)], dtype=np.int64)
            elif kind == 2:
                more[-1] = a.end_cap[i] if self.m.closing[i] >= 0 else 0
            if kind and not more.any():
                continue
            wanted = need + more[None, :]
            useful = possible & (wanted > 0) & ((more > 0)[None, :] if kind else True)
            q = np.where(useful, -(-wanted // batch), 0)
            r = np.where(useful, wanted - batch * (q - 1), 0)
            kinds.append((kind, q.astype(float), r / 1000))
        return kinds

    def find(self, point: Floats, an_item: int = 8, least_break: float = 1e-3) -> list[Cut]:
        """At most ``an_item`` broken inequalities an item, the most broken first."""
        cuts: list[Cut] = []
        a, m = self.a, self.m
        for i in self.items:
            weeks = a.end[i] + 1
            made = np.array([point[m.x[i][t]] if m.x[i][t] >= 0 else 0.0 for t in range(weeks)])
            lost = point[m.lost[i][:weeks]]
            stock = point[m.stock[i][:weeks]]
            x_before = np.concatenate([[0.0], np.cumsum(made)])
            l_before = np.concatenate([[0.0], np.cumsum(lost)])
            entering = np.concatenate([[0.0], stock[:-1]])
            x_sum = x_before[None, 1:] - x_before[:-1, None]
            slack = entering[:, None] + l_before[None, 1:] - l_before[:-1, None]
            found = []
            for kind, q, r in self.ready[i]:
                here = slack
                if kind == 1:
                    here = slack + np.array([point[g] if (g := m.gap[i][t]) >= 0 else 0.0 for t in range(weeks)])[None]
                elif kind == 2:
                    here = slack + (a.end_cap[i] / 1000 - point[m.closing[i]])
                broken = np.where(q > 0, r * (q - x_sum) - here, -1.0)
                for flat in np.argpartition(broken.ravel(), -min(an_item, broken.size))[-an_item:]:
                    k, last = divmod(int(flat), weeks)
                    if broken[k, last] > least_break * max(1.0, r[k, last]):
                        found.append((float(broken[k, last] / (1 + r[k, last])), kind, k, last))
            found.sort(reverse=True)
            for _, kind, k, last in found[:an_item]:
                if (i, kind, k, last) not in self.given:
                    self.given.add((i, kind, k, last))
                    cuts.append(self._cut(i, kind, k, last))
        return cuts

    def _cut(self, i: int, kind: int, k: int, last: int) -> Cut:
        m, a = self.m, self.a
        q, r = next((q[k, last], r[k, last]) for this, q, r in self.ready[i] if this == kind)
        entries = [(m.x[i][t], float(r)) for t in range(k, last + 1) if m.x[i][t] >= 0]
        entries += [(m.lost[i][t], 1.0) for t in range(k, last + 1)]
        least = float(r * q)
        if k:
            entries.append((m.stock[i][k - 1], 1.0))
        if kind == 1:
            entries.append((m.gap[i][last], 1.0))
        elif kind == 2:
            entries.append((m.closing[i], -1.0))
            least -= a.end_cap[i] / 1000
        return least, entries
