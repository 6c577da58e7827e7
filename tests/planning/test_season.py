"""Season plans: exact costing, bound below cost, never dearer than a rule, repeatable, checked on replay."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.planning import (
    Batches,
    Effort,
    Item,
    Load,
    Opening,
    Plan,
    Prices,
    Problem,
    Season,
    Week,
    check_plan,
    make_plan,
    replan,
)
from ledger.planning import season as front
from ledger.planning.arrays import lay_out
from ledger.planning.cost import cost_table, fits
from ledger.planning.expected_loss import with_curves
from ledger.planning.findings import sort_out
from ledger.planning.rules import run_rules
from ledger.planning.search import anneal
from ledger.planning.solve_highs import bound, prove
from tests.planning.shops import invented_shop

pytestmark = pytest.mark.slow

SMALL = Effort(moves=3000, rounds=15)


@st.composite
def tiny_shops(draw: st.DrawFn) -> Problem:
    """One or two items, three or four weeks, with every kind of limit: small enough to try every plan."""
    weeks = draw(st.integers(3, 4))
    items = []
    for i in range(draw(st.integers(1, 2))):
        season = None
        if draw(st.booleans()):
            last = draw(st.integers(1, weeks - 1))
            season = Season(
                first_week=draw(st.integers(0, last)), last_week=last, salvage_per_kg=draw(st.integers(0, 60))
            )
        demand = [draw(st.integers(0, 25_000)) if season is None or t <= season.last_week else 0 for t in range(weeks)]
        item = Item(
            key=f"i{i}",
            name=f"i{i}",
            batch_g=draw(st.sampled_from([9_000, 13_000])),
            demand_g=tuple(demand),
            minutes={"hands": draw(st.sampled_from([100, 170])), "slab": 20},
            price_per_kg=1800,
            material_per_kg=draw(st.integers(150, 300)),
            lost_per_kg=draw(st.integers(500, 1500)),
            hold_per_kg_week=draw(st.integers(0, 20)),
            thrown_per_kg=draw(st.integers(0, 30)),
            display_g=draw(st.sampled_from([0, 2000])),
            shelf_weeks=draw(st.sampled_from([1, 2, 40])),
            opening=(Opening(grams=draw(st.integers(0, 15_000)), good_through=draw(st.integers(0, 5))),),
            season=season,
            earliest_week=draw(st.integers(0, 1)),
            closing_cap_g=draw(st.sampled_from([0, 10_000])),
            closing_value_per_kg=draw(st.integers(0, 400)),
            closing_low_per_kg=draw(st.integers(0, 100)),
            good_to_show=draw(st.booleans()),
            most_a_week=2,
        )
        if i == 0 and draw(st.booleans()):
            item = replace(
                item,
                loads=(
                    Load(kettle="big", batch_g=item.batch_g),
                    Load(kettle="small", batch_g=6_500, minutes={"hands": 90, "slab": 20}),
                ),
            )
        if draw(st.booleans()) and season is not None:
            item = with_curves(item, [sum(demand[: t + 1]) * 3 // 10 for t in range(weeks)])
        items.append(item)
    kept = (Batches(item="i0", week=0, batches=1),) if draw(st.booleans()) else ()
    return Problem(
        items=tuple(items),
        weeks=tuple(
            Week(
                label=f"w{t}",
                days=draw(st.sampled_from([0, 5, 5])),
                hands_minutes=draw(st.integers(100, 400)),
                overtime_minutes=draw(st.sampled_from([0, 90])),
                helper_shifts=draw(st.integers(0, 1)),
                stations={"slab": draw(st.sampled_from([20, 60, 200]))},
                shows=draw(st.integers(0, 1)),
            )
            for t in range(weeks)
        ),
        prices=Prices(overtime_per_hour=1000, helper_shift=2000, helper_minutes=100, missed_show=1500, moved_batch=700),
        store_g=draw(st.sampled_from([None, 8_000])),
        kept=kept,
    )


def every_plan(problem: Problem) -> int:
    """Least cost over all plans, found by trying each (milli)."""
    a = lay_out(problem)
    cells = [(j, t) for j in range(a.rows) for t in range(a.weeks) if a.most[j][t]]
    best = None
    for counts in product(range(3), repeat=len(cells)):
        table = a.nothing()
        for (j, t), count in zip(cells, counts, strict=True):
            table[j][t] = count
        if fits(a, table):
            cost = cost_table(a, table).total
            best = cost if best is None else min(best, cost)
    assert best is not None
    return best


@settings(max_examples=25, deadline=None)
@given(tiny_shops())
def test_the_proven_plan_is_the_best_of_every_plan(problem: Problem) -> None:
    clean, _ = sort_out(problem)
    a = lay_out(clean)
    if sum(1 for row in a.most for most in row if most) > 6:
        clean = replace(clean, items=clean.items[:1])
        a = lay_out(clean)
    if sum(1 for row in a.most for most in row if most) > 8:
        clean = replace(clean, items=tuple(replace(item, loads=item.loads[:1]) for item in clean.items))
        a = lay_out(clean)
    best = every_plan(clean)
    lp = bound(a)
    assert lp.milli <= best
    plan = make_plan(clean, SMALL)
    table = a.table_of(plan.lines)
    proof = prove(a, table, lp, gap_ppm=0, nodes=2000)
    assert lp.milli <= proof.milli <= best <= proof.cost <= plan.cost_milli
    assert plan.cost_milli <= best * 1.02 + 50_000_000
    if all(item.loss_curves is None for item in clean.items) and not any(
        a.shelf
    ):  # the program throws out less than a shelf does
        assert proof.cost <= best + max(20_000, abs(best) // 10_000)


@settings(max_examples=40, deadline=None)
@given(tiny_shops(), st.integers(0, 10_000))
def test_search_keeps_the_exact_cost_and_bound_stays_below(problem: Problem, seed: int) -> None:
    clean, _ = sort_out(problem)
    a = lay_out(clean)
    start = a.nothing()
    cost, table, _ = anneal(a, start, seed=seed, moves=400, hot=0.5)
    assert cost == cost_table(a, table).total <= cost_table(a, start).total
    assert fits(a, table)
    assert bound(a).milli <= cost


def by_hand(item: Item, batches: list[int]) -> tuple[list[int], int]:
    """Stock and lost grams by lots kept one by one, oldest sold first: a second program for the same thing."""
    lots = [[lot.good_through, lot.grams] for lot in item.opening]
    stock, lost = [], 0
    for t, count in enumerate(batches):
        lots.append([t + item.shelf_weeks - 1, count * item.batch_g])
        wanted = item.demand_g[t]
        for lot in sorted(lots, key=lambda row: row[0]):
            sold = min(lot[1], wanted)
            lot[1] -= sold
            wanted -= sold
        lost += wanted
        lots = [lot for lot in lots if lot[0] > t]
        stock.append(sum(lot[1] for lot in lots))
    return stock, lost


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 20_000)), min_size=3, max_size=8), st.integers(1, 4))
def test_stock_is_that_of_lots_sold_oldest_first(weeks: list[tuple[int, int]], shelf: int) -> None:
    item = Item(
        key="x", name="x", batch_g=10_000, demand_g=tuple(d for _, d in weeks), shelf_weeks=shelf,
        opening=(Opening(grams=5_000, good_through=0),), lost_per_kg=1,
    )  # fmt: skip
    a = lay_out(Problem(items=(item,), weeks=tuple(Week(label=str(t)) for t in range(len(weeks)))))
    batches = [count for count, _ in weeks]
    run = cost_table(a, [batches]).runs[0]
    stock, lost = by_hand(item, batches)
    assert (run.stock, sum(run.lost)) == (stock, lost)


@pytest.fixture(scope="module")
def shop() -> Problem:
    return invented_shop(15, 16, 4)


@pytest.fixture(scope="module")
def plan(shop: Problem) -> Plan:
    return make_plan(shop, Effort(moves=20_000))


def test_a_plan_is_never_dearer_than_any_rule_and_its_bound_never_above(shop: Problem, plan: Plan) -> None:
    rules = run_rules(lay_out(sort_out(shop)[0]))
    assert plan.cost_milli <= min(cost for cost, _ in rules.values()) == plan.rule_milli
    assert plan.bound_milli is not None and plan.bound_milli <= plan.cost_milli
    assert plan.gap_ppm is not None and plan.gap_ppm < 30_000
    assert plan.cost_milli >= plan.unavoidable_milli - sum(abs(v) for name, v in plan.parts if name == "closing")


def test_the_same_seed_and_moves_give_the_same_plan(shop: Problem, plan: Plan) -> None:
    assert make_plan(shop, Effort(moves=20_000)) == plan
    ticks = iter(range(100))
    assert make_plan(shop, Effort(moves=20_000), stopwatch=lambda: float(next(ticks))).milliseconds == 1000


def test_a_stored_plan_is_checked_without_a_solver(shop: Problem, plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("a solver was called on replay")

    for name in ("bound", "prove", "anneal", "best_rule"):
        monkeypatch.setattr(front, name, never)
    stored = Plan.from_dict(json.loads(json.dumps(plan.to_dict())))
    assert stored == plan
    assert check_plan(stored, shop).agrees


def test_a_stored_plan_that_was_changed_is_found_out(shop: Problem, plan: Plan) -> None:
    cheaper = replace(plan, cost_milli=plan.cost_milli - 1)
    assert any("its lines cost" in wrong for wrong in check_plan(cheaper, shop).wrong)
    line = plan.lines[0]
    more = replace(plan, lines=(replace(line, batches=line.batches + 9, grams=line.grams), *plan.lines[1:]))
    wrong = check_plan(more, shop).wrong
    assert any("says" in text for text in wrong) and any("needs" in text or "allowed" in text for text in wrong)


def test_stored_plans_hold_whole_numbers_and_text_only(plan: Plan) -> None:
    def walk(value: object) -> None:
        if isinstance(value, dict):
            for inner in value.values():
                walk(inner)
        elif isinstance(value, list):
            for inner in value:
                walk(inner)
        else:
            assert value is None or isinstance(value, int | str)

    walk(plan.to_dict())


def test_frozen_weeks_stay_as_they_are_even_when_they_are_too_full(shop: Problem) -> None:
    frozen = tuple(Batches(item=f"item-{i:02d}", week=0, batches=3) for i in range(15))
    held = replace(shop, frozen_weeks=2, frozen=frozen)
    made = make_plan(held, SMALL)
    assert {(line.item, line.batches) for line in made.lines if line.week < 2} == {(f.item, 3) for f in frozen}
    assert check_plan(made, held).agrees


def test_moving_a_line_in_force_costs_so_the_next_plan_stays_near(shop: Problem, plan: Plan) -> None:
    kept = tuple(Batches(item=line.item, week=line.week, batches=line.batches) for line in plan.lines if line.week < 2)
    dear = replace(shop, kept=kept, prices=replace(shop.prices, moved_batch=1_000_000))
    again = make_plan(dear, SMALL)
    assert {(k.item, k.week, k.batches) for k in kept} == {
        (line.item, line.week, line.batches) for line in again.lines if line.week < 2
    }


def test_a_long_solve_reports_and_stops_with_the_best_so_far(shop: Problem) -> None:
    heard: list[front.Progress] = []

    def stop_in_search(progress: front.Progress) -> str | None:
        heard.append(progress)
        return "stop" if progress.stage == "search" else None

    made = make_plan(shop, Effort(moves=500_000), stop_in_search)
    assert made.stopped and made.moves == 10_000
    assert {"rules", "bound", "search"} <= {p.stage for p in heard}
    assert made.cost_milli <= made.rule_milli and check_plan(made, shop).agrees
    at_once = make_plan(shop, Effort(moves=500_000), lambda _: "stop")
    assert at_once.stopped and at_once.moves == 0 and at_once.bound_milli is None


def test_replanning_starts_from_the_plan_there_is(shop: Problem, plan: Plan) -> None:
    again = replan(plan, shop, effort=Effort(moves=0))
    assert again.cost_milli <= plan.cost_milli


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["many", "none", "closed", "no store", "stale", "no oil", "no hands"]))
def test_odd_shops_all_get_a_plan(seed: int, odd: str) -> None:
    problem = invented_shop(4, 8, seed)
    items, weeks = problem.items, problem.weeks
    if odd == "many":
        items = tuple(replace(i, demand_g=tuple(d * 20 for d in i.demand_g)) for i in items)
    elif odd == "none":
        items = tuple(replace(i, demand_g=(0,) * 8) for i in items)
    elif odd == "closed":
        weeks = tuple(replace(w, days=0) for w in weeks)
    elif odd == "no store":
        problem = replace(problem, store_g=0)
    elif odd == "stale":
        items = tuple(replace(i, shelf_weeks=1) for i in items)
    elif odd == "no oil":
        items = tuple(replace(i, earliest_week=99) for i in items)
    else:
        weeks = tuple(replace(w, hands_minutes=0, overtime_minutes=0, helper_shifts=0) for w in weeks)
    problem = replace(problem, items=items, weeks=weeks)
    plan = make_plan(problem, Effort(moves=500, rounds=4))
    assert check_plan(plan, problem).agrees
    assert plan.bound_milli is not None and plan.bound_milli <= plan.cost_milli <= plan.rule_milli
    for shortage in plan.shortages:
        assert sum(plan.of(shortage.item).short) >= 1000 and shortage.grams >= 100 and shortage.reasons
