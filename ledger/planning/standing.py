"""A plan being improved: what it costs item by item and week by week, and what any small edit would change.

The change of an item's cost depends on that item's batches alone, the change of a week's cost on that week's batches alone. So
both are worked out once and remembered until the item or the week is touched: most of what a search tries it has tried
before. All figures are whole milli, those of ``cost.py``.
"""

from __future__ import annotations

from ledger.planning.arrays import Arrays
from ledger.planning.cost import Table, run_item

Edit = tuple[int, ...]
"""Batches of one item that move, four numbers each: out of way j in week t, into way k in week u; way -1 where it only comes or goes."""
WeekEdit = tuple[int, ...]
"""The same seen by one week, two numbers each: way out, way in (-1: none)."""
Run = tuple[int, list[int], list[int]]
"""First week that changes, the stocks and the costs from there."""

NO_ROOM = 1 << 62
"""The change of a week that would break a limit: more than any threshold."""


class Standing:
    """Whole batches by way and week, with the grams made, stock, cost and room they leave."""

    def __init__(self, a: Arrays, start: Table) -> None:
        self.a = a
        rows, weeks = range(a.rows), range(a.weeks)
        self.table = [list(row) for row in start]
        self.grams = [a.grams(i, start) for i in range(a.n)]
        self.stock = [[0] * a.weeks for _ in range(a.n)]
        self.item_cost = [[0] * a.weeks for _ in range(a.n)]
        for i in range(a.n):
            self._settle(i, self._run(i, 0, a.weeks))
        self.hands = [sum(self.table[j][t] * a.hands[j] for j in rows) for t in weeks]
        self.used = [[sum(self.table[j][t] * wants[j] for j in rows) for t in weeks] for wants in a.need]
        self.showing = [sum(self.table[j][t] for j in rows if a.good_to_show[j]) for t in weeks]
        self.all_stock = [sum(stock[t] for stock in self.stock) for t in weeks]
        self.shelf_room = self._shelf_room()
        self.items: list[dict[Edit, tuple[int, int]]] = [{} for _ in range(a.n)]
        self.weeks: list[dict[WeekEdit, int]] = [{} for _ in weeks]

    def change(self, edits: list[tuple[int, Edit]], weeks: list[tuple[int, WeekEdit]], limit: float) -> int:
        """What edits of items (number, edit), seen by their weeks (number, edit), would change; above ``limit`` it may be any number above."""
        delta = rise = 0
        for t, seen in weeks:
            known = self.weeks[t].get(seen)
            delta += self._week(t, seen) if known is None else known
        if delta >= NO_ROOM // 2:
            return delta
        for i, edit in edits:
            found = self.items[i].get(edit) or self._item(i, edit)
            delta += found[0]
            rise += found[1]
        if rise > self.shelf_room and (delta <= limit or self.shelf_room < 0):
            delta += self._over_store(edits)
        return delta

    def make(self, edits: list[tuple[int, Edit]], weeks: list[tuple[int, WeekEdit]]) -> None:
        """Carry out edits whose change was asked for just before."""
        a = self.a
        for i, edit in edits:
            self._move(i, edit)
            self._settle(i, self._run(i, *_span(edit)))
            self.items[i].clear()
        for t, seen in weeks:
            for at in range(0, len(seen), 2):
                for j, by in ((seen[at], -1), (seen[at + 1], 1)):
                    if j >= 0:
                        self.hands[t] += a.hands[j] * by
                        self.showing[t] += by if a.good_to_show[j] else 0
                        for row, wants in zip(self.used, a.need, strict=True):
                            row[t] += wants[j] * by
            self.weeks[t].clear()
        if a.store is not None:
            self.all_stock = [sum(stocks) for stocks in zip(*self.stock, strict=True)]
            self.shelf_room = self._shelf_room()

    def _shelf_room(self) -> float:
        """Grams by which stock may rise in every week before the store is full; below 0 where it is."""
        return float("inf") if self.a.store is None else self.a.store - max(self.all_stock)

    def _move(self, i: int, edit: Edit, by: int = 1) -> None:
        """Move the batches of an edit (``by`` -1: back again)."""
        table, grams, batch = self.table, self.grams[i], self.a.batch
        for at in range(0, len(edit), 4):
            j, t, k, u = edit[at : at + 4]
            if j >= 0:
                table[j][t] -= by
                grams[t] -= batch[j] * by
            if k >= 0:
                table[k][u] += by
                grams[u] += batch[k] * by

    def _item(self, i: int, edit: Edit) -> tuple[int, int]:
        """Change of an item's own cost, material in it, and the most its stock can rise in a week: what comes."""
        a, change, rise = self.a, 0, 0
        for at in range(0, len(edit), 2):
            j = edit[at]
            if j >= 0:
                change += a.material[j] if at % 4 else -a.material[j]
                rise += a.batch[j] if at % 4 else 0
        first, _, costs = self._if_moved(i, edit)
        change += sum(costs) - sum(self.item_cost[i][first : first + len(costs)])
        self.items[i][edit] = change, rise
        return change, rise

    def _if_moved(self, i: int, edit: Edit) -> Run:
        """The run of item ``i`` if the batches of an edit moved."""
        self._move(i, edit)
        run = self._run(i, *_span(edit))
        self._move(i, edit, -1)
        return run

    def _run(self, i: int, first: int, last_change: int) -> Run:
        """Sell item ``i`` again from week ``first`` with what is made now, stopping where the stock is as before."""
        a = self.a
        if a.curves[i] is not None:
            run = run_item(a, i, self.grams[i])
            return 0, run.stock, run.cost
        stock, made, demand = self.stock[i], self.grams[i], a.demand[i]
        hold, lost, gap, display, last, shelf = a.hold[i], a.lost[i], a.gap, a.display[i], a.end[i], a.shelf[i]
        stocks: list[int] = []
        costs: list[int] = []
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
            stocks.append(in_hand)
            costs.append(cost)
            if t > last_change and in_hand == stock[t] and (not shelf or not in_hand or t >= last_change + shelf):
                break
        return first, stocks, costs

    def _settle(self, i: int, run: Run) -> None:
        """Let a run of item ``i`` be what it holds and costs from now on."""
        first, stocks, costs = run
        self.stock[i][first : first + len(stocks)] = stocks
        self.item_cost[i][first : first + len(costs)] = costs

    def _week(self, t: int, seen: WeekEdit) -> int:
        """Change of week ``t``'s hands, shows and moved lines; ``NO_ROOM`` when the batches do not fit."""
        a, prices = self.a, self.a.problem.prices
        by = [(j, -1 if at % 2 == 0 else 1) for at, j in enumerate(seen) if j >= 0]
        delta, minutes, showing = 0, self.hands[t], 0
        for row, wants, room in zip(self.used, a.need, a.room, strict=True):
            more = sum([wants[j] * n for j, n in by])
            if more > 0 and row[t] + more > room[t]:
                self.weeks[t][seen] = NO_ROOM
                return NO_ROOM
        before = a.hands_cost(t, minutes)
        for j, n in by:
            minutes += a.hands[j] * n
            showing += n if a.good_to_show[j] else 0
            kept, now = a.kept[j][t], self.table[j][t]
            if kept >= 0:
                delta += prices.moved_batch * 1000 * (abs(now + n - kept) - abs(now - kept))
        after = a.hands_cost(t, minutes)
        if showing and a.shows[t]:
            was = max(0, a.shows[t] - self.showing[t])
            delta += prices.missed_show * 1000 * (max(0, a.shows[t] - self.showing[t] - showing) - was)
        delta = NO_ROOM if after < 0 else delta + after - before
        self.weeks[t][seen] = delta
        return delta

    def _over_store(self, edits: list[tuple[int, Edit]]) -> int:
        """Change of what the full store costs when items' stocks become those of their edits."""
        store, rises = self.a.store, [0] * self.a.weeks
        if store is None:
            return 0
        for i, edit in edits:
            first, stocks, _ = self._if_moved(i, edit)
            for t, (now, was) in enumerate(zip(stocks, self.stock[i][first:], strict=False), first):
                rises[t] += now - was
        over = sum(
            max(0, held + rise - store) - max(0, held - store)
            for held, rise in zip(self.all_stock, rises, strict=True)
            if rise
        )
        return self.a.problem.prices.store_over_per_kg_week * over


def _span(edit: Edit) -> tuple[int, int]:
    """First and last week an edit touches."""
    weeks = [edit[at + 1] for at in range(0, len(edit), 2) if edit[at] >= 0]
    return min(weeks), max(weeks)
