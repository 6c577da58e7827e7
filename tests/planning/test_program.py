"""The solver layer on published programs: an aggregate plan (F) and a two-stage decision (G)."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from ledger.planning.model import INF, Program
from ledger.planning.solve_highs import least

DEMAND = (1600, 3000, 3200, 3800, 2200, 2200)


def red_tomato(whole_workers: bool) -> float:
    """Chopra and Meindl, Red Tomato Tools: six months, workers, overtime, backlog, subcontracting (data read)."""
    m = Program()
    before_workers, before_stock, before_backlog = -1, -1, -1
    for t, demand in enumerate(DEMAND):
        workers = m.column(640, whole=whole_workers)
        hired, gone = m.column(300), m.column(500)
        overtime, stock, backlog = m.column(6), m.column(2), m.column(5)
        made, bought = m.column(10), m.column(30)
        entries = [(workers, 1.0), (hired, -1.0), (gone, 1.0)]
        m.row(80 if t == 0 else 0, 80 if t == 0 else 0, entries + ([] if t == 0 else [(before_workers, -1.0)]))
        m.row(-INF, 0, [(made, 1.0), (workers, -40.0), (overtime, -0.25)])
        m.row(-INF, 0, [(overtime, 1.0), (workers, -10.0)])
        balance = [(made, 1.0), (bought, 1.0), (stock, -1.0), (backlog, 1.0)]
        if t:
            balance += [(before_stock, 1.0), (before_backlog, -1.0)]
        wanted = demand - (1000 if t == 0 else 0)
        m.row(wanted, wanted, balance)
        if t == 5:
            m.row(500, INF, [(stock, 1.0)])
            m.row(0, 0, [(backlog, 1.0)])
        before_workers, before_stock, before_backlog = workers, stock, backlog
    return least(m)[0]


def test_the_aggregate_plan_costs_what_the_textbook_prints() -> None:
    assert red_tomato(False) == pytest.approx(422_275, abs=0.01)  # answer from memory
    assert red_tomato(True) == pytest.approx(422_660, abs=0.01)  # answer from memory


Yields = tuple[float, float, float]
GOOD, AVERAGE, BAD = (3, 3.6, 24), (2.5, 3, 20), (2, 2.4, 16)


def farmer(seasons: Sequence[Yields], acres_fixed: Sequence[float] | None = None) -> tuple[float, list[float]]:
    """Birge and Louveaux, the farmer: acres now, buying and selling after the harvest (data read); profit and acres."""
    m = Program()
    acres = [m.column(cost) for cost in (150, 230, 260)]
    m.row(-INF, 500, [(column, 1.0) for column in acres])
    for column, fixed in zip(acres, acres_fixed or (), strict=False):
        m.row(fixed, fixed, [(column, 1.0)])
    for yields in seasons:
        share = len(seasons)
        for crop, need, buy, sell in ((0, 200, 238, 170), (1, 240, 210, 150)):
            bought, sold = m.column(buy / share), m.column(-sell / share)
            m.row(need, INF, [(acres[crop], yields[crop]), (bought, 1.0), (sold, -1.0)])
        good, rest = m.column(-36 / share, high=6000), m.column(-10 / share)
        m.row(-INF, 0, [(good, 1.0), (rest, 1.0), (acres[2], -float(yields[2]))])
    cost, values = least(m)
    return -cost, list(values[acres])


def test_the_farmers_land_earns_what_the_textbook_prints() -> None:
    profit, acres = farmer([GOOD, AVERAGE, BAD])
    assert profit == pytest.approx(108_390, abs=0.01)
    assert acres == pytest.approx([170, 80, 250])


def test_knowing_the_season_and_planning_for_the_mean_are_worth_what_is_printed() -> None:
    known = sum(farmer([season])[0] for season in (GOOD, AVERAGE, BAD)) / 3
    assert known == pytest.approx(115_405.56, abs=0.01)
    assert known - 108_390 == pytest.approx(7_015.56, abs=0.01)  # value of perfect information (read)
    promised, for_the_mean = farmer([AVERAGE])
    assert promised == pytest.approx(118_600, abs=0.01)
    earned = farmer([GOOD, AVERAGE, BAD], for_the_mean)[0]
    assert earned == pytest.approx(107_240, abs=0.01)
    assert 108_390 - earned == pytest.approx(1_150, abs=0.01)  # value of the stochastic plan (read)
