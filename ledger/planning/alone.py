"""One item planned exactly by itself: the least cost of whole batches in any of its kettles, whatever a batch is charged.

Dynamic programming over what has been supplied so far, week by week (in the manner of Wagner and Whitin 1958, with whole
batches, lost sales and several sizes); states that another state beats whatever follows are dropped, and with a plan of the item
in hand those that cannot end cheaper than it (a branch is cut by its bound: Land and Doig 1960, from memory). The costs are those of
``cost.py``; what batches cost the rest of the shop comes in as charges: the prices of the linear program (``priced.py``), or
what is really left beside the other items' plans (``polish.py``). Where a shelf life binds it is not worked out here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from math import inf, prod

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


def best_alone(
    a: Arrays, i: int, charges: Charges, known: dict[int, list[int]] | None = None
) -> tuple[float, dict[int, list[int]]] | None:
    """Least cost of item ``i`` alone under its charges (milli) and its batches by way; None where it is not worked out here.

    ``known``: batches by way that can be made, the better the faster: what cannot end cheaper than they do is not followed.
    """
    if a.shelf[i]:
        return None
    last, sizes = a.end[i], np.array([a.batch[j] for j in a.ways[i]], dtype=np.int64)
    weeks = _weeks(a, i, charges)
    if weeks is None:
        return None
    curve = a.curves[i] or ()
    surely = max((at * 1000 // per + 1 for lines in curve for at, per in lines if per > 0), default=0)
    enough = max(a.cum_demand[i][last], surely) + a.end_cap[i] + max(a.display[i])
    ahead = Ahead(a, i, [(mixes @ sizes, price) for mixes, price in weeks], charges.stock)
    limit = inf if known is None else _cost_of(a, i, charges, known, sizes)
    limit += 1 + 1e-9 * abs(limit)
    states = _start(a, i)
    trail: list[tuple[Whole, Whole]] = []
    for t, (mixes, price) in enumerate(weeks):
        made = mixes @ sizes
        wide = states.supply[:, None] + made[None, :]
        allowed = np.ones(wide.shape, dtype=bool)
        if charges.spare_costs[t]:
            allowed = (wide - sizes.max() <= enough) | (made[None, :] == made.min())
        parent, chosen = np.nonzero(allowed)
        begun = _States(wide[parent, chosen], states.gone[parent], states.cost[parent] + price[chosen])
        ended = _week(a, i, t, begun, charges)
        if t < last and limit < inf:
            hope = np.flatnonzero(ended.cost + ahead.least(t, ended.supply, ended.gone) <= limit)
            ended = _States(ended.supply[hope], ended.gone[hope], ended.cost[hope])
            parent, chosen = parent[hope], chosen[hope]
        kept = _undominated(a, i, t, charges, ended)
        states = _States(ended.supply[kept], ended.gone[kept], ended.cost[kept])
        trail.append((parent[kept], chosen[kept]))
        if not 0 < len(kept) <= MOST_STATES:
            return None
    at = int(np.argmin(states.cost))
    value, rows = float(states.cost[at]), {j: list(a.least[j]) for j in a.ways[i]}
    for t in range(last, -1, -1):
        parents, choice = trail[t]
        for n, j in zip(weeks[t][0][int(choice[at])], a.ways[i], strict=True):
            rows[j][t] = int(n)
        at = int(parents[at])
    return value, rows


@lru_cache(maxsize=256)
def _mixes(limits: tuple[tuple[int, int], ...]) -> Whole:
    """Every mix of batches between the least and the most of each way, a row each."""
    return np.array(list(product(*(range(low, high + 1) for low, high in limits))), dtype=np.int64)


def _weeks(a: Arrays, i: int, charges: Charges) -> list[tuple[Whole, Floats]] | None:
    """Each week's mixes that have room and what they are charged; None when there are too many or none."""
    weeks = []
    for t in range(a.end[i] + 1):
        limits = tuple((a.least[j][t], a.most[j][t]) for j in a.ways[i])
        if prod(high - low + 1 for low, high in limits) > MOST_MIXES:
            return None
        mixes = _mixes(limits)
        price = charges.mixes(t, mixes)
        room = price < inf
        if not room.all():
            mixes, price = mixes[room], price[room]
        if not len(mixes):
            return None
        weeks.append((mixes, price))
    return weeks


def _start(a: Arrays, i: int) -> _States:
    return _States(np.array([a.opening[i]], dtype=np.int64), np.zeros(1, dtype=np.int64), np.zeros(1))


def _cost_of(a: Arrays, i: int, charges: Charges, known: dict[int, list[int]], sizes: Whole) -> float:
    """What batches that are known cost under the same charges; infinite where there is no room for them."""
    states = _start(a, i)
    for t in range(a.end[i] + 1):
        mix: Whole = np.array([[known[j][t] for j in a.ways[i]]], dtype=np.int64)
        begun = _States(states.supply + mix @ sizes, states.gone, states.cost + charges.mixes(t, mix))
        states = _week(a, i, t, begun, charges)
    return float(states.cost[0])


class Ahead:
    """The least that the weeks to come can cost item ``i``, whatever is made in them.

    Every mix is charged at least ``rate`` a gram and a fixed sum of its week; a gram that is wanted and not in hand costs that
    rate or is lost; what is left over brings at most what it is worth at the end. Holding and display are left out.
    """

    def __init__(self, a: Arrays, i: int, weeks: Sequence[tuple[Whole, Floats]], stock: Sequence[float]) -> None:
        self.demand = a.cum_demand[i]
        self.last, self.lost = a.end[i], float(a.lost[i])
        self.value, self.low, self.cap = float(a.end_value[i]), float(a.end_low[i]), a.end_cap[i]
        rates = [((price - price[made.argmin()])[made > 0] / made[made > 0]).min(initial=inf) for made, price in weeks]
        self.rate = max(0.0, min(rates)) if min(rates) < inf else self.lost
        fixed = [float((price - self.rate * made).min()) for made, price in weeks]
        self.fixed = np.cumsum([0.0, *fixed[:0:-1]])[::-1]
        self.curve = a.curves[i]
        best_end = max(self.value, self.low)
        self.says = (self.low if self.curve is None else best_end) <= min(self.rate, self.lost)
        self.says &= all(price >= 0 for price in stock)
        if self.curve is not None and self.says:
            lines = [(float(at), per / 1000) for at, per in self.curve[self.last]] + [(0.0, 0.0)]
            turns = sorted({0.0, *((a0 - a1) / (p0 - p1) for a0, p0 in lines for a1, p1 in lines if p0 > p1)})
            self.turns = np.array([turn for turn in turns if turn >= 0])
            self.lines = lines
            at_turns = self._supplied(self.turns)
            self.best = float(self.turns[at_turns.argmin()])

    def least(self, t: int, supply: Whole, gone: Whole) -> Floats:
        """At least so much (milli) after week ``t`` for each state; minus infinity where nothing can be said."""
        if not self.says:
            return np.full(len(supply), -inf)
        if self.curve is None:
            held, wanted = supply - self.demand[t], self.demand[self.last] - self.demand[t]
            each = min(self.rate, self.lost)
            left = np.maximum(0, held - wanted)
            good = np.minimum(left, self.cap)
            ends = self.value * good + self.low * (left - good) + max(0.0, self.value - each) * self.cap
            says: Floats = each * np.maximum(0, wanted - held) - ends + self.fixed[t]
            return says
        e = max(self.value, self.low)
        most: Floats = np.maximum(
            self._supplied(np.maximum(supply, self.best)),
            (self.rate - e) * supply + (self.lost - e) * gone,
        )
        most += e * self.demand[self.last] - self.lost * gone - self.rate * supply + self.fixed[t]
        return most

    def _supplied(self, supply: Floats | Whole) -> Floats:
        """What supplying so much in all costs at least: its batches, what it loses, less what is left at the end's price."""
        e = max(self.value, self.low)
        lost = np.max([at - share * supply for at, share in self.lines], axis=0)
        costs: Floats = (self.rate - e) * supply + (self.lost - e) * lost
        return costs


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
