"""Bad input: each thing wrong is named with the value, the limit and the way out; the rest of the plan is made."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ledger.errors import BadInput
from ledger.planning import Effort, Item, Kettle, Load, Problem, Season, ShowTime, Week, check_plan, make_plan
from ledger.planning.findings import sort_out

QUICKLY = Effort(moves=300, rounds=3)


def item(key: str, **changes: object) -> Item:
    base = Item(
        key=key, name=f"rock {key}", batch_g=10_000, load_g=11_000, demand_g=(6_000,) * 4, minutes={"hands": 100},
        price_per_kg=1500, material_per_kg=200, lost_per_kg=900, good_to_show=True,
    )  # fmt: skip
    return replace(base, **changes)  # type: ignore[arg-type]


def shop(*items: Item, **changes: object) -> Problem:
    weeks = tuple(Week(label=f"W{t + 40}", days=5, hands_minutes=1000) for t in range(4))
    return replace(Problem(items=(item("good"), *items), weeks=weeks), **changes)  # type: ignore[arg-type]


def codes(problem: Problem) -> set[str]:
    return {finding.code for finding in sort_out(problem)[1]}


def test_a_good_problem_has_nothing_wrong_with_it() -> None:
    assert codes(shop()) == set()


@pytest.mark.parametrize(
    ("problem", "code", "says"),
    [
        (shop(item("x", has_recipe=False)), "no-recipe", "rock x has no recipe"),
        (shop(item("x", batch_g=0)), "no-yield", "a batch of 0 g"),
        (shop(item("x", demand_g=(0, 0, 0, 0))), "no-demand", "sells nothing"),
        (shop(item("x", demand_g=(-5, 1, 1, 1))), "demand-below-nothing", "-5 g"),
        (shop(item("x", demand_g=(5,))), "demand-length", "1 weeks, 4 planned"),
        (shop(item("x", season=Season(first_week=-9, last_week=-3))), "feast-in-the-past", "3 weeks before"),
        (shop(item("x", load_g=50_000), kettles=(Kettle(name="big", size_g=20_000),)), "no-kettle-fits", "50000 g"),
        (shop(kettles=(Kettle(name="old", size_g=3000, minimum_g=4000), Kettle(name="big", size_g=20_000))), "kettle-too-small", "3000 g, less than its minimum load of 4000 g"),
        (shop(store_g=-1), "store-below-nothing", "-1 g"),
        (shop(show_times=(ShowTime(week=0, day=6, start=600, end=660),)), "show-cannot-be", "day without making"),
        (shop(show_times=(ShowTime(week=0, day=1, start=700, end=660),)), "show-cannot-be", "ends before it begins"),
        (shop(show_times=(ShowTime(week=0, day=1, start=60, end=90),)), "show-cannot-be", "outside making hours"),
        (shop(show_times=(ShowTime(week=9, day=1, start=600, end=660),)), "show-cannot-be", "outside the weeks"),
        (shop(show_times=(ShowTime(week=0, day=1, start=600, end=660), ShowTime(week=0, day=1, start=630, end=690))), "show-cannot-be", "overlaps the show 10:00-11:00"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_and_the_rest_is_planned(problem: Problem, code: str, says: str) -> None:
    findings = {finding.code: finding for finding in sort_out(problem)[1]}
    assert code in findings and says in findings[code].message
    plan = make_plan(problem, QUICKLY)
    assert sum(line.batches for line in plan.lines if line.item == "good") >= 2
    assert (code, findings[code].about, findings[code].message) in plan.findings


WEEK_40 = Week(label="W40", days=5, hands_minutes=1000)
BAD_INPUT = [
    (
        shop(weeks=tuple(Week(label=f"W{t}", days=0) for t in range(4))),
        "no week has a making day (0 in 4 weeks): only stock is sold; enter the making days",
    ),
    (
        shop(kettles=(Kettle(name="old", size_g=3000, minimum_g=4000), Kettle(name="big", size_g=20_000))),
        "kettle old holds 3000 g, less than its minimum load of 4000 g: nothing is planned in it; correct the size or the minimum load",
    ),
    (
        shop(item("x", season=Season(first_week=-9, last_week=-3))),
        "rock x: its feast was 3 weeks before the plan; it is left out; enter its next date",
    ),
    (
        shop(weeks=(replace(WEEK_40, hands_minutes=0), *(replace(WEEK_40, label=f"W{t}") for t in (41, 42, 43)))),
        "W40 has 5 making days but no hands (0 person-minutes, overtime or helper shifts): nothing can be made; enter somebody's hours, overtime or a helper",
    ),
    (
        shop(weeks=(replace(WEEK_40, stations={"slab": 0}), *(replace(WEEK_40, label=f"W{t}") for t in (41, 42, 43)))),
        "W40: the slab has 0 minutes in 5 making days, so nothing that needs it is made; give it minutes or take the days out",
    ),
    (
        shop(weeks=tuple(replace(WEEK_40, label=f"W{t}", stations={"hands who cook": 0 if t < 43 else 9}) for t in (40, 41, 42, 43))),
        "W40 to W42: the hands who cook have 0 minutes in 15 making days, so nothing that needs them is made; give them minutes or take the days out",
    ),
    (
        shop(item("x", demand_g=(0, 0, 0, 0))),
        "rock x sells nothing (0 g) in the 4 weeks planned: nothing is made but its display; look at its forecast or drop it",
    ),
    (
        shop(item("x", has_recipe=False)),
        "rock x has no recipe: no batch is planned, its demand counts as short; give it a recipe",
    ),
    (
        shop(show_times=(ShowTime(week=0, day=1, start=600, end=660), ShowTime(week=0, day=1, start=630, end=690))),
        "show W40 day 2 10:30-11:30 overlaps the show 10:00-11:00: it is left out; change or remove it",
    ),
    (
        shop(item("x", loads=(Load(kettle="pot", batch_g=9000, load_g=30_000), Load(kettle="big", batch_g=9000, load_g=10_000))),
             kettles=(Kettle(name="pot", size_g=12_000, minimum_g=4000), Kettle(name="big", size_g=20_000))),
        "rock x: the load in the pot of 30000 g does not fit a kettle of 4000 to 12000 g; change the load or the kettle",
    ),
    (
        shop(item("x", loads=(Load(kettle="vat", batch_g=9000), Load(kettle="big", batch_g=9000))), kettles=(Kettle(name="big", size_g=20_000),)),
        "rock x: the load in the vat is in none of the kettles (big); name one of them",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("problem", "message"), BAD_INPUT, ids=range(len(BAD_INPUT)))
def test_bad_input_is_told_with_its_value_its_limit_and_the_way_out_and_the_rest_is_planned(
    problem: Problem, message: str
) -> None:
    plan = make_plan(problem, QUICKLY)
    assert [text for _, _, text in plan.findings] == [message]
    assert check_plan(plan, problem).agrees
    if any(week.days for week in problem.weeks):
        assert sum(line.batches for line in plan.lines if line.item == "good") >= 2
    for shortage in plan.shortages:
        assert shortage.reasons


def test_of_two_loads_only_the_one_that_can_be_cooked_is_planned() -> None:
    loads = (Load(kettle="pot", batch_g=9000, load_g=30_000), Load(kettle="big", batch_g=9000, load_g=10_000))
    kettles = (Kettle(name="pot", size_g=12_000, minimum_g=4000), Kettle(name="big", size_g=20_000))
    plan = make_plan(shop(item("x", loads=loads), kettles=kettles), QUICKLY)
    assert {line.kettle for line in plan.lines if line.item == "x"} == {"big"}
    none = make_plan(shop(item("x", loads=loads[:1]), kettles=kettles), QUICKLY)
    assert {code for code, _, _ in none.findings} == {"load-cannot-be", "no-kettle-fits"}
    assert not any(line.item == "x" for line in none.lines)
    assert {r.code for s in none.shortages if s.item == "x" for r in s.reasons} == {"cannot-be-made"}


def test_a_flavour_without_a_recipe_is_short_for_that_reason() -> None:
    plan = make_plan(shop(item("x", has_recipe=False)), QUICKLY)
    short = [s for s in plan.shortages if s.item == "x"]
    assert len(short) == 4 and {r.code for s in short for r in s.reasons} == {"no-recipe"}


def test_no_making_days_and_no_hands_are_named_and_everything_is_short() -> None:
    closed = shop(weeks=tuple(Week(label=f"W{t}", days=0) for t in range(4)))
    assert "no-making-days" in codes(closed)
    plan = make_plan(closed, QUICKLY)
    assert plan.lines == () and {r.code for s in plan.shortages for r in s.reasons} == {"closed"}
    idle = shop(weeks=tuple(Week(label=f"W{t}", days=5, stations={"slab": 0}) for t in range(4)))
    assert {"no-hands", "station-out"} <= codes(idle)
    assert make_plan(idle, QUICKLY).lines == ()


def test_shows_without_a_design_to_show_are_named() -> None:
    weeks = tuple(Week(label=f"W{t}", days=5, hands_minutes=1000, shows=1) for t in range(4))
    assert "nothing-to-show" in codes(Problem(items=(item("x", good_to_show=False),), weeks=weeks))


def test_a_shop_without_items_has_an_empty_plan() -> None:
    empty = Problem(items=(), weeks=(Week(label="W1", hands_minutes=10),))
    assert make_plan(empty, QUICKLY).lines == ()


def test_no_weeks_or_two_items_of_one_key_cannot_be_planned_at_all() -> None:
    with pytest.raises(BadInput, match="no week to plan"):
        make_plan(shop(weeks=()))
    with pytest.raises(BadInput, match="two items are called good"):
        make_plan(shop(item("good")))
