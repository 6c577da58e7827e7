"""The checker of a kept plan: one unit changed anywhere in what follows from the lines, and it disagrees (mutation tests)."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import fields, replace
from typing import Any

import pytest

from ledger.planning import Batches, Effort, Plan, Problem, check_plan, make_plan, replan
from ledger.planning.as_plan import retold
from ledger.planning.check import floor_breaks
from ledger.planning.whatif import demand_changed, hours_added
from tests.planning.shops import invented_shop, two_kettles

SOLVER_SAYS = {"rule", "rule_milli", "method", "seed", "moves", "nodes", "rounds", "stopped", "findings", "changed"}
"""What does not follow from the lines; the reasons of a shortage and the worth of an hour neither."""


@pytest.fixture(scope="module")
def shop() -> Problem:
    return two_kettles(invented_shop(5, 8, 3, load=1.3))


@pytest.fixture(scope="module")
def plan(shop: Problem) -> Plan:
    made = make_plan(shop, Effort(moves=2_000, rounds=6))
    assert made.shortages and made.lines and any(w.overtime_minutes for w in made.weeks)
    return made


def mutants(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """The stored plan with one number one higher, one text changed, or one entry of a list gone or there twice; with where."""
    if isinstance(value, bool):
        yield path, not value
    elif isinstance(value, int):
        yield path, value + 1
    elif isinstance(value, str):
        yield path, value + "x"
    elif isinstance(value, dict):
        for key, inner in value.items():
            for where, changed in mutants(inner, (*path, key)):
                yield where, value | {key: changed}
    elif isinstance(value, list):
        for n, inner in enumerate(value):
            for where, changed in mutants(inner, (*path, n)):
                yield where, [*value[:n], changed, *value[n + 1 :]]
        if value:
            yield (*path, "less"), value[1:]
            yield (*path, "twice"), [value[0], *value]


def follows(path: tuple[Any, ...]) -> bool:
    """Whether what stands at a place of a stored plan follows from its lines and its problem."""
    if path[0] in SOLVER_SAYS or path[0] == "milliseconds":
        return False
    if path[0] == "bound_milli" or (path[0] == "shortages" and "reasons" in path):
        return False
    return not (path[0] == "weeks" and {"hour_of_hands", "hour_of_stations"} & set(path))


def test_one_unit_changed_anywhere_is_found(shop: Problem, plan: Plan) -> None:
    """Every figure of the plan in turn, some thousands of them; those of one kind beyond the first few are sampled."""
    stored = json.loads(json.dumps(plan.to_dict()))
    assert check_plan(Plan.from_dict(stored), shop).agrees
    seen: dict[tuple[Any, ...], int] = {}
    missed = []
    for path, changed in mutants(stored):
        kind = tuple("n" if isinstance(x, int) else x for x in path)
        seen[kind] = seen.get(kind, 0) + 1
        if not follows(path) or seen[kind] > 6:
            continue
        try:
            if check_plan(Plan.from_dict(changed), shop).agrees:
                missed.append(path)
        except (TypeError, ValueError):
            assert path[-1] in ("less", "twice") and path[0] in ("parts", "settings", "weeks"), (
                path
            )  # no plan's form any more
    assert not missed
    assert {kind[0] for kind in seen} >= {f.name for f in fields(Plan)} - {"milliseconds", "findings", "changed"}
    assert sum(1 for kind in seen if follows(kind)) > 60


def test_a_bound_moved_without_its_gap_is_found(shop: Problem, plan: Plan) -> None:
    assert plan.bound_milli is not None
    for bound in (plan.bound_milli - 10_000, plan.cost_milli + 1, None):
        assert not check_plan(replace(plan, bound_milli=bound), shop).agrees


def test_a_plan_is_not_one_of_a_changed_problem(shop: Problem, plan: Plan) -> None:
    """One gram of demand, one minute of hands, one coin of a price more."""
    item = shop.items[0]
    for changed in (
        shop.with_item(replace(item, demand_g=(item.demand_g[0] + 1, *item.demand_g[1:]))),
        hours_added([3], 1)(shop),
        replace(shop, prices=replace(shop.prices, helper_shift=shop.prices.helper_shift + 1)),
        shop.with_item(replace(item, hold_per_kg_week=item.hold_per_kg_week + 1)),
    ):
        assert not check_plan(plan, changed).agrees


def test_lines_told_as_the_plan_of_another_problem_agree_with_it(shop: Problem, plan: Plan) -> None:
    more = demand_changed([shop.items[0].key], 10)(shop)
    again = retold(plan, more)
    assert not [text for text in check_plan(again, more).wrong if "bound" not in text]
    assert [(x.item, x.week, x.batches) for x in again.lines] == [(x.item, x.week, x.batches) for x in plan.lines]
    assert [w.hour_of_hands for w in again.weeks] == [w.hour_of_hands for w in plan.weeks]
    same = replan(plan, shop, effort=Effort(moves=0, rounds=-1, rules=False))
    assert same.cost_milli == plan.cost_milli and retold(plan, shop) == replace(plan, milliseconds=None)


def test_what_a_floor_cannot_carry_is_named(shop: Problem, plan: Plan) -> None:
    assert floor_breaks(plan, shop) == ()
    bare = replace(
        shop, weeks=tuple(replace(w, hands_minutes=0, overtime_minutes=0, helper_shifts=0) for w in shop.weeks)
    )
    assert any("hands need" in text for text in floor_breaks(plan, bare))


def test_a_plan_typed_by_hand_and_kept_before_it_was_retold_still_agrees(shop: Problem, plan: Plan) -> None:
    """Kept plans stay valid: it was told for a problem with every week fixed, and kept beside one without."""
    lines = tuple(Batches(item=x.item, week=x.week, batches=x.batches, kettle=x.kettle) for x in plan.lines)
    typed = replace(shop, frozen_weeks=8, frozen=lines)
    kept = replan(plan, typed, effort=Effort(moves=0, rounds=-1), changed="changed by hand")
    assert all(x.frozen for x in kept.lines) and check_plan(kept, shop).agrees
    assert not check_plan(replace(kept, changed=""), shop).agrees
    assert not check_plan(replace(kept, cost_milli=kept.cost_milli + 1), shop).agrees
