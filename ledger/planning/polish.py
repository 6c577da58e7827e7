"""A plan polished item by item: each is planned again exactly (``alone.py``) in the room the others leave, until none gains.

A neighbourhood no search of single moves covers: all batches of an item move at once. The plan only ever gets cheaper.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ledger.planning.alone import Charges, Whole, best_alone
from ledger.planning.arrays import Arrays
from ledger.planning.cost import Table, cost_table, run_item
from ledger.planning.model import Floats


def polish(a: Arrays, start: Table, *, sweeps: int = 6, stop: Callable[[], bool] | None = None) -> tuple[int, Table]:
    """Plan every item again in turn, at most ``sweeps`` times round; (cost in milli, table), never dearer than the start."""
    table, cost = [list(row) for row in start], cost_table(a, start).total
    free = [i for i in range(a.n) if not a.shelf[i] and any(a.most[j] != a.least[j] for j in a.ways[i])]
    idle = 0
    for turn in range(sweeps * len(free)):
        if idle >= len(free) or (stop is not None and stop()):
            break
        i = free[turn % len(free)]
        idle += 1
        found = best_alone(a, i, beside(a, table, i))
        if found is None:
            continue
        before = [table[j] for j in a.ways[i]]
        for j, row in found[1].items():
            table[j] = row
        if [table[j] for j in a.ways[i]] == before:
            continue
        now = cost_table(a, table).total
        if now < cost:
            cost, idle = now, 0
        else:
            for j, row in zip(a.ways[i], before, strict=True):
                table[j] = row
    return cost, table


def beside(a: Arrays, table: Table, i: int) -> Charges:
    """What item ``i`` is charged beside all the others as they stand."""
    mine, rest = a.ways[i], [j for j in range(a.rows) if a.of[j] != i]
    hands = [sum(table[j][t] * a.hands[j] for j in rest) for t in range(a.weeks)]
    used = [[sum(table[j][t] * wants[j] for j in rest) for t in range(a.weeks)] for wants in a.need]
    showing = [sum(table[j][t] for j in rest if a.good_to_show[j]) for t in range(a.weeks)]
    moved, missed = a.problem.prices.moved_batch * 1000, a.problem.prices.missed_show * 1000
    material = np.array([a.material[j] for j in mine], dtype=float)
    asks: Whole = np.array([a.hands[j] for j in mine], dtype=np.int64)
    wants: list[Whole] = [np.array([want[j] for j in mine], dtype=np.int64) for want in a.need]
    good = a.good_to_show[mine[0]]

    def of_mixes(t: int, mixes: Whole) -> Floats:
        price: Floats = mixes @ material
        for s, want in enumerate(wants):
            asked = mixes @ want
            price[(asked > 0) & (used[s][t] + asked > a.room[s][t])] = np.inf
        minutes, already = mixes @ asks, a.hands_cost(t, hands[t])
        for asked_minutes in np.unique(minutes):
            cost = a.hands_cost(t, hands[t] + int(asked_minutes))
            price[minutes == asked_minutes] += np.inf if cost < 0 else cost - already
        for k, j in enumerate(mine):
            if a.kept[j][t] >= 0:
                price += moved * np.abs(mixes[:, k] - a.kept[j][t])
        if good and a.shows[t]:
            price += missed * np.maximum(0, a.shows[t] - showing[t] - mixes.sum(axis=1))
        return price

    left = None
    if a.store is not None:
        others = [run_item(a, k, a.grams(k, table)).stock for k in range(a.n) if k != i]
        left = [a.store - sum(stock[t] for stock in others) for t in range(a.weeks)]
    spare = all(a.material[j] >= a.end_low[i] * a.batch[j] for j in mine)
    return Charges(
        mixes=of_mixes,
        stock=[0.0 if t == a.end[i] and a.ends_in_season[i] else float(a.hold[i]) for t in range(a.weeks)],
        spare_costs=[
            spare and not (good and a.shows[t]) and all(a.kept[j][t] <= 0 for j in mine) for t in range(a.weeks)
        ],
        store_left=left,
        store_over=a.problem.prices.store_over_per_kg_week,
    )
