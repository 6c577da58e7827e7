"""A plan polished item by item: each is planned again exactly (``alone.py``) in the room the others leave, until none gains.

A neighbourhood no search of single moves covers: all batches of an item move at once. The plan only ever gets cheaper.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable

import numpy as np

from ledger.planning.alone import Charges, Whole, best_alone
from ledger.planning.arrays import Arrays
from ledger.planning.cost import Table, cost_table
from ledger.planning.model import Floats
from ledger.planning.standing import Edit, Standing, WeekEdit

Rows = dict[int, list[int]]
"""Batches of one item by way and week."""

Report = Callable[[int, int, int], bool]


class Polisher:
    """Polishes plans of one problem; an item that finds the room it found before is not planned again."""

    def __init__(self, a: Arrays) -> None:
        self.a = a
        self.free = [i for i in range(a.n) if not a.shelf[i] and any(a.most[j] != a.least[j] for j in a.ways[i])]
        self.best: dict[tuple[int, Hashable], Rows | None] = {}

    def polish(
        self, start: Table, *, sweeps: int = 6, enough: float = float("-inf"), report: Report | None = None
    ) -> tuple[int, Table]:
        """Plan every item again in turn, at most ``sweeps`` times round; (cost in milli, table), never dearer than the start.

        ``enough``: a cost (milli) at which going on is not worth it. ``report``: told before each item how many were planned, of how many at
        most, and the cost; true ends it.
        """
        a, cost, plan, idle = self.a, cost_table(self.a, start).total, Standing(self.a, start), 0
        most = sweeps * len(self.free)
        for turn in range(most):
            if idle >= len(self.free) or cost <= enough or (report is not None and report(turn, most, cost)):
                break
            i = self.free[turn % len(self.free)]
            idle += 1
            before = {j: list(plan.table[j]) for j in a.ways[i]}
            rows = self._best(plan, i, before)
            if rows is None or rows == before:
                continue
            edits, weeks = _edits(a, i, before, rows)
            gain = plan.change(edits, weeks, limit=0)
            if gain < 0:
                plan.make(edits, weeks)
                cost, idle = cost + gain, 0
        return cost, plan.table

    def _best(self, plan: Standing, i: int, before: Rows) -> Rows | None:
        """The best batches of item ``i`` beside the others; None where they are not worked out."""
        around = Around(plan, i)
        key = (i, around.key())
        if key not in self.best:
            found = best_alone(self.a, i, around.charges(), before)
            self.best[key] = None if found is None else found[1]
        return self.best[key]


def polish(a: Arrays, start: Table, *, sweeps: int = 6) -> tuple[int, Table]:
    """Polish one plan by itself; see :meth:`Polisher.polish`."""
    return Polisher(a).polish(start, sweeps=sweeps)


def _edits(a: Arrays, i: int, before: Rows, after: Rows) -> tuple[list[tuple[int, Edit]], list[tuple[int, WeekEdit]]]:
    """One item's batches changed from ``before`` to ``after``, as the standing plan is told it."""
    edit: list[int] = []
    weeks: dict[int, list[int]] = {}
    for j in a.ways[i]:
        for t, (was, now) in enumerate(zip(before[j], after[j], strict=True)):
            for _ in range(abs(now - was)):
                edit += (j, t, -1, 0) if now < was else (-1, 0, j, t)
                weeks.setdefault(t, []).extend((j, -1) if now < was else (-1, j))
    return [(i, tuple(edit))], [(t, tuple(seen)) for t, seen in weeks.items()]


class Around:
    """What the other items leave to item ``i``: hands, stations, shows and shelf room by week."""

    def __init__(self, plan: Standing, i: int) -> None:
        a, table = plan.a, plan.table
        self.a, self.i, self.mine = a, i, a.ways[i]
        self.hands = [hands - sum([table[j][t] * a.hands[j] for j in self.mine]) for t, hands in enumerate(plan.hands)]
        self.used = [
            [used - sum([table[j][t] * wants[j] for j in self.mine]) for t, used in enumerate(row)]
            for row, wants in zip(plan.used, a.need, strict=True)
        ]
        self.good = a.good_to_show[self.mine[0]]
        own = [sum([table[j][t] for j in self.mine]) if self.good else 0 for t in range(a.weeks)]
        self.showing = [showing - mine for showing, mine in zip(plan.showing, own, strict=True)]
        self.left = (
            None
            if a.store is None
            else [a.store - held + mine for held, mine in zip(plan.all_stock, plan.stock[i], strict=True)]
        )

    def key(self) -> Hashable:
        """What tells one such surrounding from another."""
        parts = (self.hands, *self.used, self.showing if self.good else (), self.left or ())
        return tuple(tuple(part) for part in parts)

    def charges(self) -> Charges:
        """What item ``i`` is charged there."""
        a, i, mine = self.a, self.i, self.mine
        moved, missed = a.problem.prices.moved_batch * 1000, a.problem.prices.missed_show * 1000
        material: Floats = np.array([a.material[j] for j in mine], dtype=float)
        asks: Whole = np.array([a.hands[j] for j in mine], dtype=np.int64)
        wants: list[tuple[Whole, list[int], list[int]]] = [
            (np.array([want[j] for j in mine], dtype=np.int64), used, room)
            for want, used, room in zip(a.need, self.used, a.room, strict=True)
            if any(want[j] for j in mine)
        ]

        def of_mixes(t: int, mixes: Whole) -> Floats:
            price: Floats = mixes @ material
            already = a.hands_cost(t, self.hands[t])
            for at, minutes in enumerate((mixes @ asks).tolist()):
                cost = a.hands_cost(t, self.hands[t] + minutes)
                price[at] += np.inf if cost < 0 else cost - already
            for want, used, room in wants:
                asked = mixes @ want
                price[(asked > 0) & (asked > room[t] - used[t])] = np.inf
            for k, j in enumerate(mine):
                if a.kept[j][t] >= 0:
                    price += moved * np.abs(mixes[:, k] - a.kept[j][t])
            if self.good and a.shows[t]:
                price += missed * np.maximum(0, a.shows[t] - self.showing[t] - mixes.sum(axis=1))
            return price

        spare = all(a.material[j] >= a.end_low[i] * a.batch[j] for j in mine)
        return Charges(
            mixes=of_mixes,
            stock=[0.0 if t == a.end[i] and a.ends_in_season[i] else float(a.hold[i]) for t in range(a.weeks)],
            spare_costs=[
                spare and not (self.good and a.shows[t]) and all(a.kept[j][t] <= 0 for j in mine)
                for t in range(a.weeks)
            ],
            store_left=self.left,
            store_over=a.problem.prices.store_over_per_kg_week,
        )
