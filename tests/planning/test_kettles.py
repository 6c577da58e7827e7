"""A shop with two kettles of different sizes: whole loads of either, each with its own minutes, and a bound that stays near."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.planning import Batches, Effort, Item, Load, Opening, Plan, Problem, Week, check_plan, make_plan, replan
from ledger.planning.alone import Charges, best_alone
from ledger.planning.arrays import lay_out
from ledger.planning.cost import cost_table, run_item
from ledger.planning.findings import sort_out
from ledger.planning.polish import polish
from ledger.planning.solve_highs import bound
from ledger.planning.whatif import station_out
from tests.planning.shops import BIG, SMALL, invented_shop, two_kettles

TRY = Effort(moves=30_000)


@pytest.fixture(scope="module")
def shop() -> Problem:
    return two_kettles(invented_shop(10, 14, 5, load=0.9))


@pytest.fixture(scope="module")
def plan(shop: Problem) -> Plan:
    return make_plan(shop, TRY)


def test_every_line_is_a_whole_number_of_loads_of_its_kettle(shop: Problem, plan: Plan) -> None:
    assert {line.kettle for line in plan.lines} == {BIG, SMALL}
    for line in plan.lines:
        load = next(load for load in shop.item(line.item).loads if load.kettle == line.kettle)
        assert line.grams == line.batches * load.batch_g
    for row in plan.items:
        for week, made in enumerate(row.made):
            assert made == sum(line.grams for line in plan.lines if (line.item, line.week) == (row.item, week))
    assert check_plan(plan, shop).agrees
    assert plan.gap_ppm is not None and plan.gap_ppm < 15_000


def test_a_kettle_out_for_a_week_stops_its_own_loads_only(shop: Problem, plan: Plan) -> None:
    week = next(t for t in range(14) if {line.kettle for line in plan.lines if line.week == t} == {BIG, SMALL})
    out = replan(plan, shop, station_out(BIG, [week]), effort=TRY)
    assert {line.kettle for line in out.lines if line.week == week} == {SMALL}
    assert any(line.kettle == BIG for line in out.lines if line.week != week)
    assert any(code == "station-out" and BIG in text for code, _, text in out.findings)


def test_minutes_of_any_kettle_are_charged_to_the_kettle_of_the_load(shop: Problem, plan: Plan) -> None:
    for use in plan.weeks:
        used = {name: minutes for name, minutes, _ in use.stations}
        for kettle in (BIG, SMALL):
            wanted = 0
            for line in plan.lines:
                if (line.week, line.kettle) == (use.week, kettle):
                    way = next(w for w in shop.item(line.item).ways if w.kettle == kettle)
                    wanted += line.batches * (way.minutes or {})[kettle]
            assert used[kettle] == wanted


def test_two_kettles_are_never_worse_than_the_big_one_alone(shop: Problem, plan: Plan) -> None:
    alone = replace(shop, items=tuple(replace(item, loads=item.loads[:1]) for item in shop.items))
    one = make_plan(alone, TRY)
    assert plan.cost_milli <= one.cost_milli
    assert plan.bound_milli is not None and one.bound_milli is not None and plan.bound_milli <= one.bound_milli * 1.001


def test_frozen_and_kept_lines_keep_their_kettle(shop: Problem) -> None:
    frozen = (
        Batches(item="item-00", week=0, batches=2, kettle=SMALL),
        Batches(item="item-00", week=0, batches=1, kettle=BIG),
    )
    kept = (Batches(item="item-01", week=1, batches=1, kettle=SMALL),)
    held = replace(shop, frozen_weeks=1, frozen=frozen, kept=kept, prices=replace(shop.prices, moved_batch=1_000_000))
    made = make_plan(held, TRY)
    lines = {(x.item, x.kettle, x.batches) for x in made.lines}
    assert {(x.item, x.kettle, x.batches) for x in made.lines if x.week == 0} == {
        ("item-00", SMALL, 2),
        ("item-00", BIG, 1),
    }
    assert ("item-01", SMALL, 1) in lines and check_plan(made, held).agrees
    strange = replace(held, frozen=(Batches(item="item-00", week=0, batches=1, kettle="sold"),))
    assert {(x.kettle, x.batches) for x in make_plan(strange, TRY).lines if x.week == 0} == {(BIG, 1)}


def test_a_line_in_a_kettle_that_is_not_there_is_found_out(shop: Problem, plan: Plan) -> None:
    wrong = replace(plan, lines=(replace(plan.lines[0], kettle="sold"), *plan.lines[1:]))
    assert any("in the sold" in text for text in check_plan(wrong, shop).wrong)


def test_a_plan_with_kettles_is_read_back_whole(plan: Plan) -> None:
    assert Plan.from_dict(plan.to_dict()) == plan
    old = plan.to_dict()
    for line in old["lines"]:
        del line["kettle"]
    assert all(line.kettle == "" for line in Plan.from_dict(old).lines)


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.integers(0, 24_000), min_size=3, max_size=4),
    st.tuples(st.sampled_from([9_000, 13_000]), st.sampled_from([5_000, 7_100])),
    st.integers(0, 15_000), st.integers(0, 2), st.integers(400, 1500), st.integers(0, 25), st.sampled_from([0, 2000]), st.data(),
)  # fmt: skip
def test_an_item_alone_is_planned_as_well_as_by_trying_every_plan(
    demand: list[int],
    sizes: tuple[int, int],
    opening: int,
    cap: int,
    lost: int,
    hold: int,
    display: int,
    data: st.DataObject,
) -> None:
    item = Item(
        key="x", name="x", batch_g=sizes[0], demand_g=tuple(demand), lost_per_kg=lost, material_per_kg=200, hold_per_kg_week=hold,
        display_g=display, opening=(Opening(grams=opening),), closing_cap_g=cap * 6000, closing_value_per_kg=320, closing_low_per_kg=90,
        loads=(Load(kettle="a", batch_g=sizes[0]), Load(kettle="b", batch_g=sizes[1])), most_a_week=2,
    )  # fmt: skip
    weeks = len(demand)
    a = lay_out(Problem(items=(item,), weeks=tuple(Week(label=str(t)) for t in range(weeks))))
    charge = [[data.draw(st.integers(0, 4_000_000)) for _ in range(weeks)] for _ in range(2)]
    charges = Charges(
        mixes=lambda t, mixes: (mixes @ np.array([charge[0][t], charge[1][t]])).astype(float),
        stock=[float(hold)] * weeks,
        spare_costs=[all(charge[j][t] >= 90 * sizes[j] for j in (0, 1)) for t in range(weeks)],
    )
    found = best_alone(a, 0, charges)
    assert found is not None
    known = {j: data.draw(st.lists(st.integers(0, 2), min_size=weeks, max_size=weeks)) for j in (0, 1)}
    assert best_alone(a, 0, charges, known) == found
    assert best_alone(a, 0, charges, found[1]) == found
    best = None
    for counts in product(range(3), repeat=2 * weeks):
        table = [list(counts[:weeks]), list(counts[weeks:])]
        cost = sum(run_item(a, 0, a.grams(0, table)).cost)
        cost += sum(charge[j][t] * table[j][t] for j in (0, 1) for t in range(weeks))
        best = cost if best is None else min(best, cost)
    assert found[0] == best


def test_polishing_never_makes_a_plan_dearer_and_keeps_it_possible(shop: Problem) -> None:
    a = lay_out(sort_out(shop)[0])
    start = a.nothing()
    cost, table = polish(a, start)
    assert cost == cost_table(a, table).total < cost_table(a, start).total
    assert cost_table(a, table).broken == [] and bound(a).milli <= cost
