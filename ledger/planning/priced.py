"""Each item planned exactly by itself, with hands, stations and shelf room at the prices the linear program puts on them.

Lagrangian relaxation (Geoffrion 1974, from memory): with the rows that tie items together priced instead of kept, the
problem falls apart by item, and each item's least cost over whole batches is found by dynamic programming over what has been
supplied so far. Never less than what the linear program says of the item, so the bound can only rise; and the items' own best
rows, made to fit together, are a good plan to start from. Items whose shelf life binds keep the linear program's word.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ledger.planning.alone import Charges, Whole, best_alone
from ledger.planning.arrays import Arrays
from ledger.planning.cost import Table
from ledger.planning.model import Floats, Program


@dataclass(slots=True)
class Prices:
    """What the rows that tie items together charge: milli by way, week and number of batches; milli a gram of stock by week."""

    batches: list[list[list[float]]]
    stock: list[list[float]]


def priced(a: Arrays, m: Program, duals: Floats) -> Prices:
    """Prices from the duals of the program's tying rows (hands, stations, store, shows); a moved batch costs what it costs."""
    moved = a.problem.prices.moved_batch * 1000
    tied = [[0.0] * a.weeks for _ in a.of]
    for t in range(a.weeks):
        rows = [(m.hands_row[t], a.hands)]
        rows += [(row, wants) for row, wants in zip(m.station_row[t], a.need, strict=True) if row >= 0]
        if m.show_row[t] >= 0:
            rows.append((m.show_row[t], [int(good) for good in a.good_to_show]))
        for row, wants in rows:
            for j, want in enumerate(wants):
                tied[j][t] -= float(duals[row]) * want * 1000
    batches = [
        [
            [
                n * (a.material[j] + tied[j][t]) + (moved * abs(n - a.kept[j][t]) if m.moved[j][t] >= 0 else 0)
                for n in range(a.most[j][t] + 1)
            ]
            for t in range(a.weeks)
        ]
        for j in range(a.rows)
    ]
    stock = [
        [
            a.hold[i] - (float(duals[m.store_row[t]]) if m.store_row[t] >= 0 else 0.0)
            if not (a.ends_in_season[i] and t == a.end[i])
            else 0.0
            for t in range(a.weeks)
        ]
        for i in range(a.n)
    ]
    return Prices(batches, stock)


def in_program(a: Arrays, m: Program, values: Floats, i: int, prices: Prices) -> float:
    """What item ``i`` costs at a point of the program under the same prices, in milli."""
    cost = 0.0
    for j in a.ways[i]:
        for t in range(a.weeks):
            if m.x[j][t] >= 0:
                one = prices.batches[j][t]
                unit = one[1] - one[0] if a.kept[j][t] < 0 else a.material[j] + _tied(a, prices, j, t)
                cost += unit * float(values[m.x[j][t]])
            if m.moved[j][t] >= 0:
                cost += m.price[m.moved[j][t]] * 1000 * float(values[m.moved[j][t]])
    for t in range(a.end[i] + 1):
        held = float(values[m.stock[i][t]]) * 1000
        cost += prices.stock[i][t] * held - (a.end_low[i] * held if t == a.end[i] else 0)
        for column in (m.lost[i][t], m.gap[i][t], m.thrown[i][t]):
            if column >= 0:
                cost += m.price[column] * 1000 * float(values[column])
    if m.closing[i] >= 0:
        cost += m.price[m.closing[i]] * 1000 * float(values[m.closing[i]])
    return cost


def _tied(a: Arrays, prices: Prices, j: int, t: int) -> float:
    """What the tying rows charge for one batch, without its material and without moving it."""
    one, moved = prices.batches[j][t], a.problem.prices.moved_batch * 1000
    return one[1] - one[0] - a.material[j] - moved * (abs(1 - a.kept[j][t]) - a.kept[j][t])


def charges(a: Arrays, i: int, prices: Prices) -> Charges:
    """Item ``i``'s charges under the prices of the tying rows."""

    def of_mixes(t: int, mixes: Whole) -> Floats:
        price: Floats = np.zeros(len(mixes))
        for k, j in enumerate(a.ways[i]):
            price += np.array(prices.batches[j][t])[mixes[:, k]]
        return price

    rising = [
        all(two - one >= a.end_low[i] * a.batch[j] for j in a.ways[i] for one, two in pairwise(prices.batches[j][t]))
        and all(price >= 0 for price in prices.stock[i])
        for t in range(a.weeks)
    ]
    return Charges(mixes=of_mixes, stock=prices.stock[i], spare_costs=rising)


def raised(
    a: Arrays, m: Program, values: Floats, duals: Floats, known: Table, stop: Callable[[], bool] | None = None
) -> tuple[float, Table | None]:
    """How much the items planned exactly raise the bound (minor units), and their own best rows as a table to fit together.

    ``known``: any plan; the nearer to the best the less is looked at. ``stop``: asked before each item; true ends it, with no table (what the
    items planned by then raise stands).
    """
    prices = priced(a, m, duals)
    table, more = a.nothing(), 0.0
    for i in range(a.n):
        if stop is not None and stop():
            return more, None
        if all(most == 0 for j in a.ways[i] for most in a.most[j]):
            continue
        alone = best_alone(a, i, charges(a, i, prices), {j: known[j] for j in a.ways[i]})
        if alone is None:
            for j in a.ways[i]:
                table[j] = [-1] * a.weeks
            continue
        value, rows = alone
        more += max(0.0, value - in_program(a, m, values, i, prices)) / 1000
        for j, row in rows.items():
            table[j] = row
    return more, table
