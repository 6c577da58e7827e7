"""One item, no capacity: the classic lot-sizing rules, exact on whole numbers.

A lot made in a period serves it and later periods; holding is charged on stock at the end of a period. Wagner and Whitin
1958 (optimal), Silver and Meal 1973 (average cost a period), part-period balancing (DeMatteis 1968), the economic order
quantity (Harris 1913) and its version with a finite making rate. The checks and the simple rules of ``rules.py`` use these.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from ledger.errors import BadInput


@dataclass(frozen=True, slots=True)
class LotPlan:
    """Lots by period and what they cost (in the unit the costs came in)."""

    lots: tuple[int, ...]
    cost: int


def lot_plan_cost(demand: Sequence[int], lots: Sequence[int], setup: Sequence[int], hold: int, opening: int = 0) -> int:
    """Set-ups and holding of given lots; BadInput when a period would run short."""
    stock, cost = opening, 0
    for period, (wanted, lot) in enumerate(zip(demand, lots, strict=True)):
        stock += lot - wanted
        if stock < 0:
            raise BadInput(f"period {period + 1} is {-stock} short: make more before it", period=period, short=-stock)
        cost += hold * stock + (setup[period] if lot else 0)
    return cost


def net_demand(demand: Sequence[int], opening: int) -> list[int]:
    """Demand left after opening stock is used up, first periods first."""
    left, net = opening, []
    for wanted in demand:
        used = min(left, wanted)
        net.append(wanted - used)
        left -= used
    return net


def wagner_whitin(demand: Sequence[int], setup: Sequence[int], hold: int, opening: int = 0) -> LotPlan:
    """The cheapest lots when capacity never binds (Wagner and Whitin 1958), by dynamic programming over the last lot."""
    periods = len(demand)
    net = net_demand(demand, opening)
    best = [0] + [-1] * periods
    made_in = [0] * (periods + 1)
    for last in range(1, periods + 1):
        holding = 0
        for first in range(last, 0, -1):
            holding += hold * sum(net[first:last])
            wanted = any(net[first - 1 : last])
            cost = best[first - 1] + (setup[first - 1] if wanted else 0) + holding
            if best[last] < 0 or cost < best[last]:
                best[last], made_in[last] = cost, first
    lots, last = [0] * periods, periods
    while last > 0:
        first = made_in[last]
        lots[first - 1] = sum(net[first - 1 : last])
        last = first - 1
    return LotPlan(tuple(lots), lot_plan_cost(demand, lots, setup, hold, opening))


def silver_meal_groups(demand: Sequence[int], setup: Sequence[int], hold: int) -> list[int]:
    """Lots by Silver and Meal's rule: a lot takes in one more period while the average cost a period does not rise."""
    lots, first = [0] * len(demand), 0
    while first < len(demand):
        if demand[first] == 0:
            first += 1
            continue
        covered, cost = 1, setup[first]
        while first + covered < len(demand):
            more = cost + hold * covered * demand[first + covered]
            if more * covered > cost * (covered + 1):
                break
            cost, covered = more, covered + 1
        lots[first] = sum(demand[first : first + covered])
        first += covered
    return lots


def silver_meal(demand: Sequence[int], setup: Sequence[int], hold: int) -> LotPlan:
    """Silver and Meal's rule and what its lots cost."""
    lots = silver_meal_groups(demand, setup, hold)
    return LotPlan(tuple(lots), lot_plan_cost(demand, lots, setup, hold))


def part_period_groups(demand: Sequence[int], setup: int, hold: int) -> list[int]:
    """Lots by part-period balancing: take in periods until holding comes nearest to the set-up cost."""
    lots, first = [0] * len(demand), 0
    while first < len(demand):
        if demand[first] == 0:
            first += 1
            continue
        covered, holding = 1, 0
        while first + covered < len(demand):
            more = holding + hold * covered * demand[first + covered]
            if more > setup and more - setup > setup - holding:
                break
            holding, covered = more, covered + 1
            if holding > setup:
                break
        lots[first] = sum(demand[first : first + covered])
        first += covered
    return lots


def part_period(demand: Sequence[int], setup: int, hold: int) -> LotPlan:
    """Part-period balancing and what its lots cost."""
    lots = part_period_groups(demand, setup, hold)
    return LotPlan(tuple(lots), lot_plan_cost(demand, lots, [setup] * len(demand), hold))


@dataclass(frozen=True, slots=True)
class SteadyLot:
    """A steady lot: size, cost a unit of time, time between lots, length of a run and the highest stock."""

    quantity: float
    cost: float
    cycle: float
    run: float
    peak: float


def economic_lot(rate: float, setup: float, hold: float, making_rate: float | None = None) -> SteadyLot:
    """Economic order quantity at steady demand ``rate`` (Harris 1913), with a finite ``making_rate`` if there is one.

    ``hold`` is per unit and unit of time. BadInput when a figure is not positive or demand outruns making.
    """
    if rate <= 0 or setup <= 0 or hold <= 0:
        raise BadInput(f"rate {rate}, set-up {setup} and holding {hold} must all be above 0", rate=rate)
    if making_rate is not None and making_rate <= rate:
        raise BadInput(f"making {making_rate} cannot keep up with demand {rate}: no steady lot exists", rate=rate)
    share = 1.0 if making_rate is None else 1 - rate / making_rate
    quantity = sqrt(2 * setup * rate / (hold * share))
    run = 0.0 if making_rate is None else quantity / making_rate
    return SteadyLot(quantity, sqrt(2 * setup * rate * hold * share), quantity / rate, run, quantity * share)
