"""Simulated annealing on whole batches, in plain Python, repeatable by seed and number of moves (Kirkpatrick et al. 1983).

Moves: shift a batch by up to six weeks (or to another kettle), swap the weeks (or the kettles) of two batches, add one, remove
one, make another item instead. Only the touched items and weeks are costed again. A move that breaks a limit is not made, so the plan can always be carried out
and is never dearer than the plan the search started from.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp, log
from random import Random

from ledger.planning.arrays import Arrays
from ledger.planning.cost import Table, cost_table, fits
from ledger.planning.standing import Edit, Standing, WeekEdit

Report = Callable[[int, int], bool]
"""Called with (moves tried, best cost in milli); True asks the search to stop."""

SHIFT, SWAP, ADD, REMOVE = 0.38, 0.58, 0.72, 0.86  # upper ends of the shares of the moves; the rest replaces
TO_ANOTHER_KETTLE = 0.3
"""Share of shifts that take a batch to another kettle, half of them in the same week, and of swaps that swap kettles."""


def typical_batch(a: Arrays) -> int:
    """Milli that missing the sale of a middling batch costs: the scale of the search's temperatures."""
    worth = sorted(a.lost[i] * a.batch[j] for j, i in enumerate(a.of) if a.batch[j] > 0)
    return max(1, worth[len(worth) // 2]) if worth else 1


Move = tuple[list[tuple[int, Edit]], list[tuple[int, WeekEdit]], list[int], list[tuple[int, int]]]
"""Edits by item, what their weeks see of them, the numbers of the batches that leave, and (way, week) of those that come."""


class Moves:
    """Draws moves of a plan's batches; knows where every batch that may move stands."""

    def __init__(self, a: Arrays, start: Table, draw: Callable[[], float]) -> None:
        self.a, self.draw = a, draw
        rows = range(a.rows)
        self.state = Standing(a, start)
        self.made = [(j, t) for j in rows for t in range(a.weeks) for _ in range(start[j][t] - a.least[j][t])]
        self.open_weeks = [[t for t in range(a.weeks) if a.most[j][t] > a.least[j][t]] for j in rows]
        self.open_ways = [j for j in rows if self.open_weeks[j]]
        several = any(len(ways) > 1 for ways in a.ways)
        self.twins = {(i, a.kettle[j]): j for j, i in enumerate(a.of) if self.open_weeks[j]} if several else {}
        self.other_ways = [[k for k in a.ways[i] if k != j and self.open_weeks[k]] for j, i in enumerate(a.of)]

    def next(self) -> Move | None:
        """A move drawn at random; None when what was drawn cannot be."""
        pick = self.draw()
        if pick < SHIFT and self.made:
            return self._shift()
        if pick < SWAP and len(self.made) > 1:
            return self._swap()
        if pick < ADD or not self.made:
            return self._add()
        return self._remove() if pick < REMOVE else self._replace()

    def carry_out(self, move: Move) -> None:
        """Make a move whose change was asked for just before."""
        edits, weeks, leaving, coming = move
        self.state.make(edits, weeks)
        for number, place in zip(leaving, coming, strict=False):
            self.made[number] = place
        if len(coming) > len(leaving):
            self.made.append(coming[0])
        elif len(leaving) > len(coming):
            self.made[leaving[0]] = self.made[-1]
            self.made.pop()

    def _full(self, j: int, t: int) -> bool:
        return self.state.table[j][t] >= self.a.most[j][t]

    def _shift(self) -> Move | None:
        draw = self.draw
        where = int(draw() * len(self.made))
        j, t = self.made[where]
        k, u, others = j, t, self.other_ways[j]
        if others and draw() < TO_ANOTHER_KETTLE:
            k = others[int(draw() * len(others))]
        if k == j or draw() < 0.5:
            u = t + (1 if draw() < 0.5 else -1) * (1 + int(draw() * 6))
        if not 0 <= u < self.a.weeks or self._full(k, u):
            return None
        weeks: list[tuple[int, WeekEdit]] = [(t, (j, k))] if t == u else [(t, (j, -1)), (u, (-1, k))]
        return [(self.a.of[j], (j, t, k, u))], weeks, [where], [(k, u)]

    def _swap(self) -> Move | None:
        a, draw, of = self.a, self.draw, self.a.of
        where, other = int(draw() * len(self.made)), int(draw() * len(self.made))
        (j, t), (k, u) = self.made[where], self.made[other]
        weeks: list[tuple[int, WeekEdit]]
        if self.twins and a.kettle[j] != a.kettle[k] and draw() < TO_ANOTHER_KETTLE:
            one, two = self.twins.get((of[j], a.kettle[k])), self.twins.get((of[k], a.kettle[j]))
            if one is None or two is None or self._full(one, t) or self._full(two, u):
                return None
            if t == u and of[j] == of[k]:
                return None
            weeks = [(t, (j, one, k, two))] if t == u else [(t, (j, one)), (u, (k, two))]
            new_one, new_two = (one, t), (two, u)
        elif j == k or t == u or self._full(j, u) or self._full(k, t):
            return None
        else:
            weeks = [(t, (j, k)), (u, (k, j))]
            new_one, new_two = (j, u), (k, t)
        first, second = (j, t, *new_one), (k, u, *new_two)
        edits: list[tuple[int, Edit]] = (
            [(of[j], first + second)] if of[j] == of[k] else [(of[j], first), (of[k], second)]
        )
        return edits, weeks, [where, other], [new_one, new_two]

    def _add(self) -> Move | None:
        j = self.open_ways[int(self.draw() * len(self.open_ways))]
        t = self.open_weeks[j][int(self.draw() * len(self.open_weeks[j]))]
        if self._full(j, t):
            return None
        return [(self.a.of[j], (-1, 0, j, t))], [(t, (-1, j))], [], [(j, t)]

    def _remove(self) -> Move:
        where = int(self.draw() * len(self.made))
        j, t = self.made[where]
        return [(self.a.of[j], (j, t, -1, 0))], [(t, (j, -1))], [where], []

    def _replace(self) -> Move | None:
        where = int(self.draw() * len(self.made))
        j, t = self.made[where]
        k = self.open_ways[int(self.draw() * len(self.open_ways))]
        if j == k or self._full(k, t):
            return None
        one, two = self.a.of[j], self.a.of[k]
        edits: list[tuple[int, Edit]] = (
            [(one, (j, t, k, t))] if one == two else [(one, (j, t, -1, 0)), (two, (-1, 0, k, t))]
        )
        return edits, [(t, (j, k))], [where], [(k, t)]


def anneal(
    a: Arrays,
    start: Table,
    *,
    seed: int,
    moves: int,
    hot: float = 0.1,
    enough: float = float("-inf"),
    report: Report | None = None,
) -> tuple[int, Table, int]:
    """Improve ``start``; (cost in milli, table, moves tried).

    ``hot``: the first temperature in typical batches. ``enough``: a cost (milli) at which looking further is not worth it.
    """
    draw = Random(seed).random
    plan = Moves(a, start, draw)
    cost = cost_table(a, start).total
    best, best_table = cost, [list(row) for row in start]
    if not plan.open_ways or moves <= 0 or best <= enough or not fits(a, start):
        return best, best_table, 0
    scale = typical_batch(a)
    high, low = hot * scale, 0.0003 * scale
    cooling = exp(log(low / high) / max(1, moves // 500))
    temperature, tried = high, 0
    for tried in range(1, moves + 1):
        if tried % 500 == 0:
            temperature *= cooling
            if tried % 10_000 == 0 and ((report is not None and report(tried, best)) or best <= enough):
                break
        move = plan.next()
        if move is None:
            continue
        limit = -temperature * log(draw() or 1e-300)
        change = plan.state.change(move[0], move[1], limit)
        if change > limit:
            continue
        plan.carry_out(move)
        cost += change
        if cost < best:
            best, best_table = cost, [list(row) for row in plan.state.table]
    return best, best_table, tried
