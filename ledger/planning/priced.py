"""Each item planned exactly by itself, with hands, stations and shelf room at the prices the linear program puts on them.

Lagrangian relaxation (Geoffrion 1974, from memory): with the rows that tie items together priced instead of kept, the
problem falls apart by item, and each item's least cost over whole batches is found by dynamic programming over what has been
supplied so far. Never less than what the linear program says of the item, so the bound can only rise; and the items' own best
rows, made to fit together, are a good plan to start from. Items whose shelf life binds keep the linear program's word.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt

from ledger.planning.arrays import Arrays
from ledger.planning.cost import Table
from ledger.planning.model import Floats, Program

Whole = npt.NDArray[np.int64]
MOST_MIXES = 400
"""Most mixes of kettles tried for one item in a week, and most states kept; beyond, the linear program's word stands."""
MOST_STATES = 20_000


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
                n * (a.material[j] + tied[j][t]) + (moved * abs(n - a.kept[j][t]) if a.kept[j][t] >= 0 else 0)
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


def best_alone(a: Arrays, i: int, prices: Prices) -> tuple[float, dict[int, list[int]]] | None:
    """Least cost of item ``i`` alone under the prices (milli) and its batches by way; None where it is not worked out here."""
    if a.shelf[i]:
        return None
    last, curve = a.end[i], a.curves[i]
    supply: Whole = np.array([a.opening[i]], dtype=np.int64)
    gone: Whole = np.zeros(1, dtype=np.int64)  # lost so far; counted into the supply where demand is as forecast
    cost: Floats = np.zeros(1)
    trail: list[tuple[list[tuple[int, ...]], Whole, Whole]] = []
    demand = [0, *a.cum_demand[i]]
    surely = max((at * 1000 // per + 1 for lines in curve or () for at, per in lines if per > 0), default=0)
    enough = max(demand[last + 1], surely) + a.end_cap[i] + max(a.display[i])
    for t in range(last + 1):
        mixes = list(product(*(range(a.least[j][t], a.most[j][t] + 1) for j in a.ways[i])))
        if len(mixes) > MOST_MIXES:
            return None
        made = np.array(
            [sum(n * a.batch[j] for n, j in zip(mix, a.ways[i], strict=True)) for mix in mixes], dtype=np.int64
        )
        price = np.array([sum(prices.batches[j][t][n] for n, j in zip(mix, a.ways[i], strict=True)) for mix in mixes])
        wide = supply[:, None] + made[None, :]
        allowed = np.ones(wide.shape, dtype=bool)
        if _extra_never_pays(a, i, t, prices):
            allowed = (wide - max(a.batch[j] for j in a.ways[i]) <= enough) | (made[None, :] == made.min())
        parent, mix_of = np.nonzero(allowed)
        now_supply, now_gone = wide[parent, mix_of], gone[parent]
        now = cost[parent] + price[mix_of]
        if curve is None:
            lost = np.maximum(0, demand[t + 1] - now_supply)
            now_supply = now_supply + lost
            held = now_supply - demand[t + 1]
        else:
            worst = np.maximum(0, demand[t + 1] - now_supply)
            for at, per in curve[t]:
                worst = np.maximum(worst, -((now_supply * per - at * 1000) // 1000))
            lost = np.maximum(0, worst - now_gone)
            now_gone = now_gone + lost
            held = now_supply - demand[t + 1] + now_gone
        now = now + a.lost[i] * lost + prices.stock[i][t] * held
        if not (t == last and a.ends_in_season[i]) and a.display[i][t]:
            now = now + a.gap * np.maximum(0, a.display[i][t] - held)
        if t == last:
            good = np.minimum(held, a.end_cap[i])
            now = now - a.end_value[i] * good - a.end_low[i] * (held - good)
        kept = _undominated(a, i, t, prices, now_supply, now_gone, now)
        supply, gone, cost = now_supply[kept], now_gone[kept], now[kept]
        trail.append((mixes, parent[kept], mix_of[kept]))
        if len(cost) > MOST_STATES:
            return None
    at = int(np.argmin(cost))
    value, rows = float(cost[at]), {j: [0] * a.weeks for j in a.ways[i]}
    for t in range(last, -1, -1):
        mixes, parents, chosen = trail[t]
        for n, j in zip(mixes[int(chosen[at])], a.ways[i], strict=True):
            rows[j][t] = n
        at = int(parents[at])
    return value, rows


def _extra_never_pays(a: Arrays, i: int, t: int, prices: Prices) -> bool:
    """Whether a batch that can only be left over costs at least what it brings then, in week ``t`` and any number of it."""
    return all(
        two - one >= a.end_low[i] * a.batch[j]
        for j in a.ways[i]
        for one, two in zip(prices.batches[j][t], prices.batches[j][t][1:], strict=False)
    ) and all(price >= 0 for price in prices.stock[i])


def _undominated(
    a: Arrays, i: int, t: int, prices: Prices, supply: Whole, gone: Whole, cost: Floats
) -> npt.NDArray[np.intp]:
    """States that no other state beats whatever follows, one of each supply and loss.

    Whoever has a gram less can follow the same batches: it loses that gram's sale once at most, and the shelf shows it less.
    Whoever has a gram more keeps it to the end at most. Where demand is uncertain only equals are told apart.
    """
    order = np.lexsort((cost, gone, supply))
    first = np.ones(len(order), dtype=bool)
    first[1:] = (supply[order][1:] != supply[order][:-1]) | (gone[order][1:] != gone[order][:-1])
    order = order[first]
    if a.curves[i] is not None:
        return order
    weeks = range(t + 1, a.end[i] + 1)
    less: float = max(a.lost[i], a.end_value[i], a.end_low[i]) + a.gap * sum(a.display[i][u] > 0 for u in weeks)
    more = sum(max(0.0, prices.stock[i][u]) for u in weeks) - min(0, a.end_low[i], a.end_value[i])
    less += sum(max(0.0, -prices.stock[i][u]) for u in weeks)
    y, v = supply[order].astype(float), cost[order]
    below = np.minimum.accumulate(v - less * y)
    above = np.minimum.accumulate((v + more * y)[::-1])[::-1]
    keep = np.ones(len(order), dtype=bool)
    keep[1:] &= v[1:] - less * y[1:] < below[:-1]
    keep[:-1] &= v[:-1] + more * y[:-1] <= above[1:]
    return order[keep]


def raised(a: Arrays, m: Program, values: Floats, duals: Floats) -> tuple[float, Table]:
    """How much the items planned exactly raise the bound (minor units), and their own best rows as a table to fit together."""
    prices = priced(a, m, duals)
    table, more = a.nothing(), 0.0
    for i in range(a.n):
        if all(most == 0 for j in a.ways[i] for most in a.most[j]):
            continue
        alone = best_alone(a, i, prices)
        if alone is None:
            for j in a.ways[i]:
                table[j] = [-1] * a.weeks
            continue
        value, rows = alone
        more += max(0.0, value - in_program(a, m, values, i, prices)) / 1000
        for j, row in rows.items():
            table[j] = row
    return more, table
