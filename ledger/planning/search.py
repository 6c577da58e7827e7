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
from ledger.planning.cost import Table, cost_table, expected_loss, fits

Report = Callable[[int, int], bool]
"""Called with (moves tried, best cost in milli); True asks the search to stop."""

SHIFT, SWAP, ADD, REMOVE = 0.38, 0.58, 0.72, 0.86  # upper ends of the shares of the moves; the rest replaces
TO_ANOTHER_KETTLE = 0.3
"""Share of shifts that take a batch to another kettle, half of them in the same week, and of swaps that swap kettles."""


def typical_batch(a: Arrays) -> int:
    """Milli that missing the sale of a middling batch costs: the scale of the search's temperatures."""
    worth = sorted(a.lost[i] * a.batch[j] for j, i in enumerate(a.of) if a.batch[j] > 0)
    return max(1, worth[len(worth) // 2]) if worth else 1


class Search:
    """A plan being improved: whole batches by way and week, with grams made, stock, cost and room kept beside them."""

    def __init__(self, a: Arrays, start: Table) -> None:
        self.a = a
        self.table = [list(row) for row in start]
        self.grams = [a.grams(i, start) for i in range(a.n)]
        self.stock = [[0] * a.weeks for _ in range(a.n)]
        self.item_cost = [[0] * a.weeks for _ in range(a.n)]
        for i in range(a.n):
            self._run(i, 0, a.weeks, keep=True)
        rows = range(a.rows)
        self.hands = [sum(self.table[j][t] * a.hands[j] for j in rows) for t in range(a.weeks)]
        self.used = [[sum(self.table[j][t] * wants[j] for j in rows) for t in range(a.weeks)] for wants in a.need]
        self.showing = [sum(self.table[j][t] for j in rows if a.good_to_show[j]) for t in range(a.weeks)]
        self.all_stock = [sum(self.stock[i][t] for i in range(a.n)) for t in range(a.weeks)]
        self.made = [(j, t) for j in rows for t in range(a.weeks) for _ in range(self.table[j][t] - a.least[j][t])]
        self.open_weeks = [[t for t in range(a.weeks) if a.most[j][t] > a.least[j][t]] for j in rows]
        self.open_ways = [j for j in rows if self.open_weeks[j]]
        several = any(len(ways) > 1 for ways in a.ways)
        self.twins = {(i, a.kettle[j]): j for j, i in enumerate(a.of) if self.open_weeks[j]} if several else {}
        self.other_ways = [[k for k in a.ways[i] if k != j and self.open_weeks[k]] for j, i in enumerate(a.of)]

    def _run(self, i: int, first: int, last_change: int, keep: bool = False) -> tuple[int, int, list[int], list[int]]:
        """Cost item ``i`` again from week ``first``: (change in milli, first, stocks, costs), stopping where stock agrees."""
        a = self.a
        stock, costs, made, demand = self.stock[i], self.item_cost[i], self.grams[i], a.demand[i]
        hold, lost, gap, display, last = a.hold[i], a.lost[i], a.gap, a.display[i], a.end[i]
        shelf, curve = a.shelf[i], a.curves[i]
        if curve is not None:
            return self._run_in_full(i, keep)
        new_stock: list[int] = []
        new_cost: list[int] = []
        delta = 0
        in_hand = stock[first - 1] if first else a.opening[i]
        for t in range(first, last + 1):
            in_hand += made[t] - demand[t]
            if in_hand < 0:
                cost = -lost * in_hand
                in_hand = 0
            else:
                cost = 0
                if shelf and in_hand:
                    fresh = a.fresh_opening[i][t] + sum(made[t - shelf + 2 if t >= shelf - 1 else 0 : t + 1])
                    if in_hand > fresh:
                        cost = a.thrown[i] * (in_hand - fresh)
                        in_hand = fresh
            if t == last:
                good = min(in_hand, a.end_cap[i])
                cost -= a.end_value[i] * good + a.end_low[i] * (in_hand - good)
                if a.ends_in_season[i]:
                    in_hand = 0
            cost += hold * in_hand
            if in_hand < display[t]:
                cost += gap * (display[t] - in_hand)
            new_stock.append(in_hand)
            new_cost.append(cost)
            delta += cost - costs[t]
            same = t > last_change and in_hand == stock[t] and t < last and not keep
            if same and (not shelf or not in_hand or t >= last_change + shelf):
                break
        if keep:
            stock[first : first + len(new_stock)] = new_stock
            costs[first : first + len(new_cost)] = new_cost
        return delta, first, new_stock, new_cost

    def _run_in_full(self, i: int, keep: bool) -> tuple[int, int, list[int], list[int]]:
        """The same for an item with a loss curve or a shelf life that binds: the whole season again."""
        a = self.a
        made, demand, curve, shelf, last = self.grams[i], a.demand[i], a.curves[i], a.shelf[i], a.end[i]
        in_hand, supply, lost_so_far = a.opening[i], a.opening[i], 0
        new_stock, new_cost = [0] * a.weeks, [0] * a.weeks
        for t in range(last + 1):
            supply += made[t]
            in_hand += made[t] - demand[t]
            missing = -in_hand if in_hand < 0 else 0
            if curve is not None and curve[t]:
                missing = max(missing, expected_loss(curve[t], supply) - lost_so_far)
            in_hand += missing
            lost_so_far += missing
            cost = a.lost[i] * missing
            if shelf:
                fresh = a.fresh_opening[i][t] + sum(made[max(0, t - shelf + 2) : t + 1])
                if in_hand > fresh:
                    cost += a.thrown[i] * (in_hand - fresh)
                    supply -= in_hand - fresh
                    in_hand = fresh
            if t == last:
                good = min(in_hand, a.end_cap[i])
                cost -= a.end_value[i] * good + a.end_low[i] * (in_hand - good)
                if a.ends_in_season[i]:
                    in_hand = 0
            cost += a.hold[i] * in_hand + a.gap * max(0, a.display[i][t] - in_hand)
            new_stock[t], new_cost[t] = in_hand, cost
        delta = sum(new_cost) - sum(self.item_cost[i])
        if keep:
            self.stock[i], self.item_cost[i] = new_stock, new_cost
        return delta, 0, new_stock, new_cost

    def _week_change(self, t: int, changes: list[tuple[int, int]]) -> int | None:
        """Change in milli of week ``t``'s hands, shows and moved lines when batches change; None when they do not fit."""
        a = self.a
        for row, wants, room in zip(self.used, a.need, a.room, strict=True):
            more = 0
            for j, by in changes:
                more += wants[j] * by
            if more > 0 and row[t] + more > room[t]:
                return None
        minutes, showing, delta, prices = self.hands[t], 0, 0, a.problem.prices
        before = a.hands_cost(t, minutes)
        for j, by in changes:
            minutes += a.hands[j] * by
            if a.good_to_show[j]:
                showing += by
            if a.kept[j][t] >= 0:
                now = self.table[j][t]
                delta += prices.moved_batch * 1000 * (abs(now + by - a.kept[j][t]) - abs(now - a.kept[j][t]))
        after = a.hands_cost(t, minutes)
        if after < 0:
            return None
        if showing and a.shows[t]:
            was = max(0, a.shows[t] - self.showing[t])
            delta += prices.missed_show * 1000 * (max(0, a.shows[t] - self.showing[t] - showing) - was)
        return delta + after - before

    def _store_change(self, runs: list[tuple[int, tuple[int, int, list[int], list[int]]]]) -> int:
        """Change in milli of the store's overflow when items' stocks become those of ``runs``."""
        store = self.a.store
        if store is None:
            return 0
        change: dict[int, int] = {}
        for i, (_, first, stocks, _) in runs:
            for k, value in enumerate(stocks):
                if value != self.stock[i][first + k]:
                    change[first + k] = change.get(first + k, 0) + value - self.stock[i][first + k]
        price = self.a.problem.prices.store_over_per_kg_week
        return price * sum(
            max(0, self.all_stock[t] + by - store) - max(0, self.all_stock[t] - store) for t, by in change.items()
        )

    def try_changes(self, changes: list[tuple[int, int, int]], threshold: float) -> int | None:
        """Make changes (way, week, by) if their cost change is at most ``threshold`` milli; the change, or None if not made."""
        a = self.a
        weeks: dict[int, list[tuple[int, int]]] = {}
        spans: dict[int, list[int]] = {}
        delta = 0
        for j, t, by in changes:
            weeks.setdefault(t, []).append((j, by))
            spans.setdefault(a.of[j], []).append(t)
            delta += a.material[j] * by
        for t, moved in weeks.items():
            week = self._week_change(t, moved)
            if week is None:
                return None
            delta += week
        table, grams, of, batch = self.table, self.grams, a.of, a.batch
        for j, t, by in changes:
            table[j][t] += by
            grams[of[j]][t] += batch[j] * by
        runs = []
        for i, touched in spans.items():
            run = self._run(i, min(touched), max(touched))
            delta += run[0]
            runs.append((i, run))
        if a.store is not None:
            delta += self._store_change(runs)
        if delta > threshold:
            for j, t, by in changes:
                table[j][t] -= by
                grams[of[j]][t] -= batch[j] * by
            return None
        for i, (_, first, stocks, costs) in runs:
            if a.store is not None:
                for k, value in enumerate(stocks):
                    self.all_stock[first + k] += value - self.stock[i][first + k]
            self.stock[i][first : first + len(stocks)] = stocks
            self.item_cost[i][first : first + len(costs)] = costs
        for j, t, by in changes:
            self.hands[t] += a.hands[j] * by
            if a.good_to_show[j]:
                self.showing[t] += by
            for row, wants in zip(self.used, a.need, strict=True):
                row[t] += wants[j] * by
        return delta


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
    state = Search(a, start)
    cost = cost_table(a, start).total
    best, best_table = cost, [list(row) for row in start]
    if not state.open_ways or moves <= 0 or best <= enough or not fits(a, start):
        return best, best_table, 0
    random = Random(seed)
    draw = random.random
    scale = typical_batch(a)
    high, low = hot * scale, 0.0003 * scale
    cooling = exp(log(low / high) / max(1, moves // 500))
    temperature, tried = high, 0
    made, open_ways, open_weeks, most, twins = state.made, state.open_ways, state.open_weeks, a.most, state.twins
    for tried in range(1, moves + 1):
        if tried % 500 == 0:
            temperature *= cooling
            if tried % 10_000 == 0 and ((report is not None and report(tried, best)) or best <= enough):
                break
        pick = draw()
        where, other, fresh, fresh_other = -1, -1, (0, 0), (0, 0)
        if pick < SHIFT and made:
            where = int(draw() * len(made))
            j, t = made[where]
            k, u = j, t
            others = state.other_ways[j]
            if others and draw() < TO_ANOTHER_KETTLE:
                k = others[int(draw() * len(others))]
            if k == j or draw() < 0.5:
                u = t + (1 if draw() < 0.5 else -1) * (1 + int(draw() * 6))
            if not 0 <= u < a.weeks or state.table[k][u] >= most[k][u]:
                continue
            changes, fresh = [(j, t, -1), (k, u, 1)], (k, u)
        elif pick < SWAP and len(made) > 1:
            where, other = int(draw() * len(made)), int(draw() * len(made))
            (j, t), (k, u) = made[where], made[other]
            if twins and a.kettle[j] != a.kettle[k] and draw() < TO_ANOTHER_KETTLE:
                one, two = twins.get((a.of[j], a.kettle[k])), twins.get((a.of[k], a.kettle[j]))
                if (
                    one is None
                    or two is None
                    or state.table[one][t] >= most[one][t]
                    or state.table[two][u] >= most[two][u]
                ):
                    continue
                fresh, fresh_other = (one, t), (two, u)
            elif j == k or t == u or state.table[j][u] >= most[j][u] or state.table[k][t] >= most[k][t]:
                continue
            else:
                fresh, fresh_other = (j, u), (k, t)
            changes = [(j, t, -1), (*fresh, 1), (k, u, -1), (*fresh_other, 1)]
        elif pick < ADD or not made:
            j = open_ways[int(draw() * len(open_ways))]
            t = open_weeks[j][int(draw() * len(open_weeks[j]))]
            if state.table[j][t] >= most[j][t]:
                continue
            changes, fresh = [(j, t, 1)], (j, t)
        elif pick < REMOVE:
            where = int(draw() * len(made))
            j, t = made[where]
            changes = [(j, t, -1)]
        else:
            where = int(draw() * len(made))
            j, t = made[where]
            k = open_ways[int(draw() * len(open_ways))]
            if j == k or state.table[k][t] >= most[k][t]:
                continue
            changes, fresh = [(j, t, -1), (k, t, 1)], (k, t)
        change = state.try_changes(changes, -temperature * log(draw() or 1e-300))
        if change is None:
            continue
        cost += change
        if other >= 0:
            made[where], made[other] = fresh, fresh_other
        elif len(changes) == 2:
            made[where] = fresh
        elif changes[0][2] > 0:
            made.append(fresh)
        else:
            made[where] = made[-1]
            made.pop()
        if cost < best:
            best, best_table = cost, [list(row) for row in state.table]
    return best, best_table, tried
