"""Small shops planned by another program on another solver: SCIP (through ortools), written from the problem's own words.

Nothing here uses the planner's arrays, program or costing, so that a mistake in them cannot agree with itself. Every plan of a
shop of two or three items cannot be tried one by one; the solver's optimum is proven.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.planning import Batches, Effort, Item, Load, Opening, Prices, Problem, Season, Week, make_plan
from ledger.planning.arrays import lay_out
from ledger.planning.cost import cost_table, fits
from ledger.planning.findings import sort_out
from ledger.planning.solve_highs import bound, prove

pywraplp = pytest.importorskip("ortools.linear_solver.pywraplp", reason="ortools (the days extra) is not installed")


@st.composite
def small_shops(draw: st.DrawFn) -> Problem:
    """Two or three items, four to six weeks, two kettles for the first, every limit but shelf life and uncertain demand."""
    weeks = draw(st.integers(4, 6))
    items = []
    for i in range(draw(st.integers(2, 3))):
        last = draw(st.sampled_from([None, None, weeks - 2]))
        season = None if last is None else Season(first_week=1, last_week=last, salvage_per_kg=draw(st.integers(0, 60)))
        demand = tuple(draw(st.integers(0, 22_000)) if last is None or t <= last else 0 for t in range(weeks))
        minutes = {"hands": draw(st.sampled_from([100, 170])), "slab": 20, "kettle": 30}
        batch = draw(st.sampled_from([9_000, 13_000]))
        loads = (
            Load(kettle="big", batch_g=batch),
            Load(kettle="small", batch_g=6_500, minutes={"hands": 90, "slab": 15, "kettle": 30}),
        )
        items.append(
            Item(
                key=f"i{i}", name=f"i{i}", batch_g=batch, demand_g=demand, minutes=minutes, loads=loads if i == 0 else (),
                price_per_kg=1800, material_per_kg=draw(st.integers(150, 300)), lost_per_kg=draw(st.integers(600, 1500)),
                hold_per_kg_week=draw(st.integers(0, 20)), display_g=draw(st.sampled_from([0, 2000])),
                opening=(Opening(grams=draw(st.integers(0, 15_000))),), season=season, earliest_week=draw(st.integers(0, 1)),
                closing_cap_g=draw(st.sampled_from([0, 10_000])), closing_value_per_kg=draw(st.integers(0, 400)),
                closing_low_per_kg=draw(st.integers(0, 100)), good_to_show=draw(st.booleans()), most_a_week=2,
            )
        )  # fmt: skip
    return Problem(
        items=tuple(items),
        weeks=tuple(
            Week(
                label=f"w{t}", days=draw(st.sampled_from([0, 5, 5, 5])), hands_minutes=draw(st.integers(100, 400)),
                overtime_minutes=draw(st.sampled_from([0, 90])), helper_shifts=draw(st.integers(0, 1)),
                stations={"slab": draw(st.sampled_from([20, 60, 200])), "small": draw(st.sampled_from([0, 60])), "big": 60, "kettle": 60},
                shows=draw(st.integers(0, 1)),
            )
            for t in range(weeks)
        ),
        prices=Prices(overtime_per_hour=1200, helper_shift=2000, helper_minutes=100, missed_show=1500, moved_batch=700),
        store_g=draw(st.sampled_from([None, 12_000])),
        kept=(Batches(item="i1", week=0, batches=1),) if draw(st.booleans()) else (),
    )  # fmt: skip


def by_scip(problem: Problem) -> tuple[float, list[Batches]]:
    """Least cost (minor units) and a plan that has it. What can be sold is sold: nothing is held back while a sale is missed."""
    s = pywraplp.Solver.CreateSolver("SCIP")
    price, cost, made = problem.prices, 0.0, {}
    weeks = range(len(problem.weeks))

    def amount(most: float = s.infinity()) -> Any:
        return s.NumVar(0, most, "")

    held_in: list[list[Any]] = [[] for _ in weeks]
    for item in problem.items:
        last = min(weeks[-1], item.season.last_week) if item.season else weeks[-1]
        ends = item.season is not None and item.season.last_week <= weeks[-1]
        ways = item.loads or (Load(kettle="", batch_g=item.batch_g, minutes=item.minutes),)
        stock: Any = item.opening_g / 1000
        much = item.opening_g / 1000 + 40 * len(weeks)
        for t in weeks:
            for load in ways:
                may = problem.weeks[t].days > 0 and item.earliest_week <= t <= last
                batches = s.IntVar(0, item.most_a_week if may else 0, "")
                made[item.key, load.kettle, t] = batches
                cost += batches * (load.batch_g * item.material_per_kg / 1000)
                if problem.kept and t < problem.kept_weeks:
                    first = load is ways[0]
                    kept = sum(k.batches for k in problem.kept if (k.item, k.week) == (item.key, t)) if first else 0
                    moved = amount()
                    s.Add(moved >= batches - kept)
                    s.Add(moved >= kept - batches)
                    cost += moved * price.moved_batch
            if t > last:
                continue
            wanted = item.demand_g[t] / 1000
            lost, left, out = amount(wanted), amount(), s.BoolVar("")
            s.Add(stock + sum(made[item.key, w.kettle, t] * (w.batch_g / 1000) for w in ways) - wanted + lost == left)
            s.Add(lost <= wanted * out)
            s.Add(left <= much * (1 - out))
            cost += lost * item.lost_per_kg
            if not (ends and t == last):
                cost += left * item.hold_per_kg_week
                held_in[t].append(left)
                if item.display_g and (item.season is None or t >= item.season.first_week):
                    gap = amount()
                    s.Add(gap >= item.display_g / 1000 - left)
                    cost += gap * price.display_gap_per_kg_week
            stock = left
        if ends and item.season is not None:
            cost -= stock * item.season.salvage_per_kg
        else:
            full = amount(item.closing_cap_g / 1000)
            s.Add(full <= stock)
            cost -= full * item.closing_value_per_kg + (stock - full) * item.closing_low_per_kg
    for t, week in enumerate(problem.weeks):
        asked: dict[str, Any] = {}
        for item in problem.items:
            for load in item.ways:
                for name, minutes in (load.minutes or {}).items():
                    asked[name] = asked.get(name, 0) + made[item.key, load.kettle, t] * minutes
        overtime, helpers = amount(week.overtime_minutes), s.IntVar(0, week.helper_shifts, "")
        s.Add(asked.pop("hands") <= week.hands_minutes + overtime + helpers * price.helper_minutes)
        cost += overtime * (price.overtime_per_hour / 60) + helpers * price.helper_shift
        for name, minutes in asked.items():
            s.Add(minutes <= week.stations[name])
        missed = amount()
        showable = [made[i.key, w.kettle, t] for i in problem.items if i.good_to_show for w in i.ways]
        s.Add(missed >= week.shows - sum(showable))
        cost += missed * price.missed_show
        if problem.store_g is not None and held_in[t]:
            over = amount()
            s.Add(over >= sum(held_in[t]) - problem.store_g / 1000)
            cost += over * price.store_over_per_kg_week
    s.Minimize(cost)
    assert s.Solve() == pywraplp.Solver.OPTIMAL
    plan = [
        Batches(item=item, week=t, batches=round(x.solution_value()), kettle=kettle)
        for (item, kettle, t), x in made.items()
    ]
    return float(s.Objective().Value()), [row for row in plan if row.batches]


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(small_shops())
def test_another_program_on_another_solver_finds_the_same_least_cost(problem: Problem) -> None:
    clean, _ = sort_out(problem)
    a = lay_out(clean)
    least, lines = by_scip(clean)
    table = a.table_of(lines)
    assert fits(a, table)
    near = 20 + abs(least) * 1e-4  # minor units: overtime is rounded up to the thousandth, the solver stops at 1e-4
    assert cost_table(a, table).total / 1000 == pytest.approx(least, abs=near)
    lp, plan = bound(a), make_plan(clean, Effort(moves=3000))
    proof = prove(a, a.table_of(plan.lines), lp, gap_ppm=0, nodes=3000)
    assert lp.milli / 1000 <= least + near and proof.milli / 1000 <= least + near
    assert least - near <= proof.cost / 1000 <= least + near
    assert plan.cost_milli / 1000 <= least * 1.02 + 4000
