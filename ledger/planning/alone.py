"""One item planned exactly by itself: the least cost of whole batches in any of its kettles, whatever a batch is charged.

Dynamic programming over what has been supplied so far, week by week (in the manner of Wagner and Whitin 1958, with whole
batches, lost sales and several sizes); states that another state beats whatever follows are dropped. The costs are those of
``cost.py``; what batches cost the rest of the shop comes in as charges: the prices of the linear program (``priced.py``), or
what is really left beside the other items' plans (``polish.py``). Where a shelf life binds it is not worked out here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product
from math import prod

import numpy as np
import numpy.typing as npt

from ledger.planning.arrays import Arrays
from ledger.planning.model import Floats

Whole = npt.NDArray[np.int64]
MOST_MIXES = 400
"""Most mixes of kettles tried for one item in a week, and most states kept; beyond, nothing is worked out."""
MOST_STATES = 20_000


@dataclass(frozen=True, slots=True)
class Charges:
    """What an item's batches and stock are charged beside its own costs, in milli.

    ``mixes``: of a week's mixes (a row each: batches by way), infinite where there is no room. ``stock``: a gram held a week.
    ``spare_costs``: by week, whether a batch that can only be left over surely costs what it brings. ``store_left``: grams of
    storage left by week, each gram beyond at ``store_over``; None where ``stock`` says it all.
    """

    mixes: Callable[[int, Whole], Floats]
    stock: Sequence[float]
    spare_costs: Sequence[bool]
    store_left: Sequence[int] | None = None
    store_over: int = 0


@dataclass(frozen=True, slots=True)
class _States:
    """What can have been supplied so far (lost demand counted in, unless uncertain), lost so far if uncertain, and at what cost."""

    supply: Whole
    gone: Whole
    cost: Floats


def best_alone(a: Arrays, i: int, charges: Charges) -> tuple[float, dict[int, list[int]]] | None:
    """Least cost of item ``i`` alone under its charges (milli) and its batches by way; None where it is not worked out here."""
    if a.shelf[i]:
        return None
    last, sizes = a.end[i], np.array([a.batch[j] for j in a.ways[i]], dtype=np.int64)
    states = _States(np.array([a.opening[i]], dtype=np.int64), np.zeros(1, dtype=np.int64), np.zeros(1))
    trail: list[tuple[Whole, Whole, Whole]] = []
    curve = a.curves[i] or ()
    surely = max((at * 1000 // per + 1 for lines in curve for at, per in lines if per > 0), default=0)
    enough = max(a.cum_demand[i][last], surely) + a.end_cap[i] + max(a.display[i])
    for t in range(last + 1):
        choices = [range(a.least[j][t], a.most[j][t] + 1) for j in a.ways[i]]
        if prod(len(choice) for choice in choices) > MOST_MIXES:
            return None
        mixes = np.array(list(product(*choices)), dtype=np.int64)
        price = charges.mixes(t, mixes)
        mixes, price = mixes[price < np.inf], price[price < np.inf]
        if not len(mixes):
            return None
        made = mixes @ sizes
        wide = states.supply[:, None] + made[None, :]
        allowed = np.ones(wide.shape, dtype=bool)
        if charges.spare_costs[t]:
            allowed = (wide - sizes.max() <= enough) | (made[None, :] == made.min())
        parent, chosen = np.nonzero(allowed)
        begun = _States(wide[parent, chosen], states.gone[parent], states.cost[parent] + price[chosen])
        ended = _week(a, i, t, begun, charges)
        kept = _undominated(a, i, t, charges, ended)
        states = _States(ended.supply[kept], ended.gone[kept], ended.cost[kept])
        trail.append((mixes, parent[kept], chosen[kept]))
        if len(kept) > MOST_STATES:
            return None
    at = int(np.argmin(states.cost))
    value, rows = float(states.cost[at]), {j: list(a.least[j]) for j in a.ways[i]}
    for t in range(last, -1, -1):
        mixes, parents, choice = trail[t]
        for n, j in zip(mixes[int(choice[at])], a.ways[i], strict=True):
            rows[j][t] = int(n)
        at = int(parents[at])
    return value, rows


def _week(a: Arrays, i: int, t: int, begun: _States, charges: Charges) -> _States:
    """Sell week ``t``: what each state has supplied and lost at its end, and what that costs."""
    supply, gone, demand = begun.supply, begun.gone, a.cum_demand[i][t]
    curve, last = a.curves[i], a.end[i]
    lost = np.maximum(0, demand - supply)
    if curve is None:
        supply = supply + lost
        held = supply - demand
    else:
        for at, per in curve[t]:
            lost = np.maximum(lost, -((supply * per - at * 1000) // 1000))
        lost = np.maximum(0, lost - gone)
        gone = gone + lost
        held = supply - demand + gone
    cost = begun.cost + a.lost[i] * lost + charges.stock[t] * held
    leaves = t == last and a.ends_in_season[i]
    if a.display[i][t] and not leaves:
        cost = cost + a.gap * np.maximum(0, a.display[i][t] - held)
    if charges.store_left is not None and not leaves:
        cost = cost + charges.store_over * np.maximum(0, held - charges.store_left[t])
    if t == last:
        good = np.minimum(held, a.end_cap[i])
        cost = cost - a.end_value[i] * good - a.end_low[i] * (held - good)
    return _States(supply, gone, cost)


def _undominated(a: Arrays, i: int, t: int, charges: Charges, states: _States) -> npt.NDArray[np.intp]:
    """States that no other state beats whatever follows, one of each supply and loss.

    Whoever has a gram less can follow the same batches: it loses that gram's sale once at most, and the shelf shows it less.
    Whoever has a gram more keeps it to the end at most. Where demand is uncertain only equals are told apart.
    """
    supply, gone, cost = states.supply, states.gone, states.cost
    order = np.lexsort((cost, gone, supply))
    first = np.ones(len(order), dtype=bool)
    first[1:] = (supply[order][1:] != supply[order][:-1]) | (gone[order][1:] != gone[order][:-1])
    order = order[first]
    if a.curves[i] is not None:
        return order
    weeks = range(t + 1, a.end[i] + 1)
    over = charges.store_over if charges.store_left is not None else 0
    less: float = max(a.lost[i], a.end_value[i], a.end_low[i]) + a.gap * sum(a.display[i][u] > 0 for u in weeks)
    less += sum(max(0.0, -charges.stock[u]) for u in weeks)
    more = sum(max(0.0, charges.stock[u]) + over for u in weeks) - min(0, a.end_low[i], a.end_value[i])
    y, v = supply[order].astype(float), cost[order]
    below = np.minimum.accumulate(v - less * y)
    above = np.minimum.accumulate((v + more * y)[::-1])[::-1]
    keep = np.ones(len(order), dtype=bool)
    keep[1:] &= v[1:] - less * y[1:] < below[:-1]
    keep[:-1] &= v[:-1] + more * y[:-1] <= above[1:]
    return order[keep]
