"""One item, no capacity: published examples A1-A7 and steady lots D1-D5, and brute force on small cases."""

from __future__ import annotations

import csv
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.errors import BadInput
from ledger.planning.lotsizing import economic_lot, lot_plan_cost, part_period, silver_meal, wagner_whitin
from tests.support.shared import shared_path

TENTHS = 10  # costs below are in tenths, so that 0.2 and 0.40 are whole numbers

# A1 Wagner and Whitin 1958 (data read in re-implementations, 864 read in one); A2 Silver and Peterson (read), that
# Silver-Meal gives it (from memory); A3 Snyder and Shen 2019 ex. 3.9 (read); A4 Hillier and Lieberman (read);
# A6 Nahmias (from memory); A7 Pochet and Wolsey 2006 (from memory, incl. 100 for each of 7000 units made).
OPTIMA = {"A1": 864, "A2": 501.2, "A3": 1380, "A4": 4.8, "A5": 310, "A6": 248, "A7": 736_000 - 100 * 7000}


def load(example: str) -> tuple[list[int], list[int], int, int]:
    """Demand, set-ups and holding in tenths, opening stock of a published example."""
    with shared_path("planning-checks", "lotsizing.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if row["id"] == example]
    demand = [int(row["demand"]) for row in rows]
    setup = [round(float(row["setup_cost"]) * TENTHS) for row in rows]
    return demand, setup, round(float(rows[0]["hold_per_unit_period"]) * TENTHS), int(rows[0]["opening_stock"])


@pytest.mark.shared
@pytest.mark.parametrize("example", sorted(OPTIMA))
def test_dynamic_lot_sizes_cost_what_the_textbooks_print(example: str) -> None:
    demand, setup, hold, opening = load(example)
    assert wagner_whitin(demand, setup, hold, opening).cost == round(OPTIMA[example] * TENTHS)


@pytest.mark.shared
def test_the_only_best_lots_of_wagner_and_whitin_are_found() -> None:
    demand, setup, hold, _ = load("A1")
    assert wagner_whitin(demand, setup, hold).lots == (98, 0, 97, 0, 121, 0, 0, 112, 0, 67, 135, 0)  # computed, unique
    first = [wagner_whitin(demand[:n], setup[:n], hold).cost // TENTHS for n in range(1, 13)]
    assert first == [85, 114, 186, 277, 348, 400, 469, 555, 600, 710, 789, 864]


BEST_LOTS = {
    "A2": {(84, 0, 0, 130, 283, 0, 140, 0, 124, 160, 279, 0)},  # Silver and Peterson (read), the only one (computed)
    "A3": {(210, 0, 150, 0)},  # Snyder and Shen 2019, ex. 3.9 (read)
    "A4": {(10, 0, 0, 0), (5, 0, 5, 0)},  # Hillier and Lieberman, two best plans (read)
    "A5": {(48, 0, 47, 0, 20), (48, 0, 67, 0, 0)},  # Nahmias; that both are best: computed only
    "A6": {(52, 110, 0, 56)},  # Nahmias (from memory)
    "A7": {(600, 0, 1600, 0, 1200, 1200, 1200, 1200)},  # Pochet and Wolsey 2006 (from memory)
}


@pytest.mark.shared
@pytest.mark.parametrize("example", sorted(BEST_LOTS))
def test_the_lots_are_those_of_the_textbooks(example: str) -> None:
    demand, setup, hold, opening = load(example)
    assert wagner_whitin(demand, setup, hold, opening).lots in BEST_LOTS[example]
    for lots in BEST_LOTS[example]:
        assert lot_plan_cost(demand, lots, setup, hold, opening) == round(OPTIMA[example] * TENTHS)


@pytest.mark.shared
def test_cost_to_go_from_each_period_is_the_printed_one() -> None:
    demand, setup, hold, _ = load("A3")  # Snyder and Shen 2019, ex. 3.9 (read)
    costs = [wagner_whitin(demand[n:], setup[n:], hold).cost // TENTHS for n in range(4)]
    assert costs == [1380, 940, 640, 500]


@pytest.mark.shared
def test_making_each_period_what_it_needs_costs_648() -> None:
    demand, setup, hold, _ = load("A2")
    assert lot_plan_cost(demand, demand, setup, hold) == 6480  # computed independently only


@pytest.mark.shared
def test_silver_and_meal_stop_when_the_average_cost_rises() -> None:
    demand, setup, hold, _ = load("A2")
    plan = silver_meal(demand, setup, hold)  # Silver and Peterson, from memory
    assert plan.lots == (84, 0, 0, 130, 283, 0, 140, 0, 124, 160, 279, 0)
    assert plan.cost == 5012
    demand, setup, hold, _ = load("A5")
    assert silver_meal(demand, setup, hold).lots == (48, 0, 47, 0, 20)  # Nahmias, read


@pytest.mark.shared
def test_part_period_balancing_takes_the_nearest() -> None:
    demand, setup, hold, _ = load("A2")
    assert part_period(demand, setup[0], hold).cost == 6000  # computed independently only
    demand, setup, hold, _ = load("A5")
    assert part_period(demand, setup[0], hold).lots == (48, 0, 67, 0, 0)  # computed independently only


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 40), st.integers(1, 90)), min_size=1, max_size=7),
    st.integers(0, 4),
    st.integers(0, 50),
)
def test_no_other_lots_are_cheaper(periods: list[tuple[int, int]], hold: int, opening: int) -> None:
    demand, setup = [d for d, _ in periods], [s for _, s in periods]
    found = wagner_whitin(demand, setup, hold, opening)
    best = None
    for made in product((False, True), repeat=len(demand)):
        lots = cover(demand, made, opening)
        if lots is not None:
            cost = lot_plan_cost(demand, lots, setup, hold, opening)
            best = cost if best is None else min(best, cost)
    assert found.cost == best
    assert silver_meal(demand, setup, hold).cost >= wagner_whitin(demand, setup, hold).cost


def cover(demand: list[int], made: tuple[bool, ...], opening: int) -> list[int] | None:
    """Smallest lots in the periods marked, each to the next one; None when a period runs short."""
    lots, stock = [0] * len(demand), opening
    for t, wanted in enumerate(demand):
        if made[t]:
            reach = next((u for u in range(t + 1, len(demand)) if made[u]), len(demand))
            lots[t] = max(0, sum(demand[t:reach]) - stock)
            stock += lots[t]
        stock -= wanted
        if stock < 0:
            return None
    return lots


def test_lots_that_run_short_are_refused_with_the_period() -> None:
    with pytest.raises(BadInput, match="period 2 is 3 short"):
        lot_plan_cost([4, 5], [6, 0], [1, 1], 1)


def test_steady_lots_are_those_of_the_textbooks() -> None:
    eoq = economic_lot(1300, 8, 0.225)  # Snyder and Shen 2019, ex. 3.1 (read)
    assert eoq.quantity == pytest.approx(304.046780026, rel=1e-9)
    assert eoq.cost == pytest.approx(68.410525506, rel=1e-9)
    epq = economic_lot(200, 100, 5, making_rate=1000)  # Gallego's notes (read)
    assert (epq.quantity, epq.run, epq.cycle, epq.peak, epq.cost) == pytest.approx((100, 0.1, 0.5, 80, 400))
    assert economic_lot(3120, 12, 0.005).quantity == pytest.approx(3870, abs=0.5)  # Nahmias, from memory, rounded
    nahmias = economic_lot(2500, 50, 0.6, making_rate=10_000)  # Nahmias, from memory, rounded
    assert nahmias.quantity == pytest.approx(745, abs=0.5) and nahmias.cycle == pytest.approx(0.298, abs=5e-4)
    assert economic_lot(2400, 3.2, 0.096).quantity == pytest.approx(400)  # Silver and Peterson, from memory


def test_demand_that_outruns_making_has_no_steady_lot() -> None:
    with pytest.raises(BadInput, match="cannot keep up"):
        economic_lot(200, 100, 5, making_rate=150)
