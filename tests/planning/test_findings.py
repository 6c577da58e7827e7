"""Bad input: each thing wrong is named with the value, the limit and the way out; the rest of the plan is made."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ledger.errors import BadInput
from ledger.planning import Effort, Item, Kettle, Load, Opening, Problem, Season, ShowTime, Week, check_plan, make_plan
from ledger.planning.arrays import lay_out
from ledger.planning.findings import sort_out

QUICKLY = Effort(moves=300, rounds=3)


def item(key: str, **changes: object) -> Item:
    base = Item(
        key=key, name=f"rock {key}", batch_g=10_000, load_g=11_000, demand_g=(6_000,) * 4, minutes={"hands": 100, "slab": 10, "hands who cook": 1},
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
        (shop(item("x", batch_g=0)), "no-yield", "a batch of 0.0 g"),
        (shop(item("x", demand_g=(0, 0, 0, 0))), "no-demand", "sells nothing"),
        (shop(item("x", demand_g=(-5, 1, 1, 1))), "demand-below-nothing", "-5.0 g"),
        (shop(item("x", demand_g=(5,))), "demand-length", "1 week, 4 planned"),
        (shop(item("x", season=Season(first_week=-9, last_week=-3))), "feast-in-the-past", "3 weeks before"),
        (shop(item("x", load_g=50_000), kettles=(Kettle(name="big", size_g=20_000),)), "no-kettle-fits", "50.000 kg"),
        (shop(kettles=(Kettle(name="old", size_g=3000, minimum_g=4000), Kettle(name="big", size_g=20_000))), "kettle-too-small", "3.000 kg, less than its minimum load of 4.000 kg"),
        (shop(store_g=-1), "store-below-nothing", "-1.0 g"),
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
        "kettle old holds 3.000 kg, less than its minimum load of 4.000 kg: nothing is planned in it; correct the size or the minimum load",
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
        shop(weeks=tuple(replace(WEEK_40, label=f"W{t}", stations={"hands who cook": 0 if t < 41 else 9}) for t in (40, 41, 42, 43))),
        "W40: nobody who can cook has any hours in 5 making days, so nothing that needs it is made; give somebody who can more hours, or enter who else can",
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
        "rock x: the load in the pot of 30.000 kg does not fit a kettle of 4.000 kg to 12.000 kg; change the load or the kettle",
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


def test_what_is_wrong_with_several_flavours_alike_is_said_once() -> None:
    """Two kettles that nothing can be cooked in were three findings for each flavour."""
    loads = (Load(kettle="pot", batch_g=9000, load_g=30_000), Load(kettle="big", batch_g=9000, load_g=31_000))
    kettles = (Kettle(name="pot", size_g=12_000, minimum_g=4000), Kettle(name="big", size_g=20_000))
    problem = Problem(
        items=tuple(item(key, loads=loads) for key in "xyz"), weeks=(replace(WEEK_40, hands_minutes=900),) * 4, kettles=kettles
    )  # fmt: skip
    assert [finding.message for finding in sort_out(problem)[1]] == [
        "rock x, rock y and rock z: the load in the pot of 30.000 kg does not fit a kettle of 4.000 kg to 12.000 kg; change the load or the kettle",
        "rock x, rock y and rock z: the load in the big of 31.000 kg does not fit a kettle of up to 20.000 kg; change the load or the kettle",
        "rock x, rock y and rock z: none of their loads can be cooked; nothing of them is planned",
    ]
    many = Problem(items=tuple(item(f"{n}", has_recipe=False) for n in range(30)), weeks=(WEEK_40,) * 4)
    (said,) = [finding.message for finding in sort_out(many)[1]]
    assert said.startswith("rock 0, rock 1, ") and "and 22 more have no recipe" in said


def test_a_mass_in_a_finding_is_in_the_shops_units() -> None:
    pounds = replace(shop(item("x", load_g=50_000), kettles=(Kettle(name="big", size_g=20_000),)), units="us")
    assert (
        "a load of 110.23 lb fits no kettle (up to 44.09 lb)" in sort_out(pounds)[1][0].message
    )  # 50 kg, 20 kg / 0.45359237


def test_a_station_that_nothing_needs_may_be_out() -> None:
    idle = tuple(replace(WEEK_40, label=f"W{t}", stations={"roller": 0, "hands who blend": 0}) for t in range(4))
    assert codes(shop(weeks=idle)) == set()


def test_two_bad_inputs_at_once_are_both_named_and_the_rest_is_planned() -> None:
    problem = shop(
        item("x", has_recipe=False, season=Season(first_week=-9, last_week=-3)), item("y", batch_g=0, demand_g=(-5, 0, 0, 0)),
        show_times=(ShowTime(week=1, day=9, start=600, end=660), ShowTime(week=9, day=1, start=660, end=600)), store_g=-1,
    )  # fmt: skip
    plan = make_plan(problem, QUICKLY)
    assert {
        "no-recipe",
        "feast-in-the-past",
        "no-yield",
        "demand-below-nothing",
        "show-cannot-be",
        "store-below-nothing",
    } <= {code for code, _, _ in plan.findings}
    assert check_plan(plan, problem).agrees and sum(x.batches for x in plan.lines if x.item == "good") >= 2


def test_a_lot_that_is_sold_before_its_date_binds_no_shelf_life() -> None:
    """First to expire, first sold: 12 kg dated through the second week go into a demand of 6 kg a week; 13 kg do not."""
    for grams, binds in ((12_000, False), (13_000, True)):
        one = shop(item("x", opening=(Opening(grams=grams, good_through=1), Opening(grams=500, good_through=9))))
        assert bool(lay_out(one).shelf[1]) is binds
    plan = make_plan(one, QUICKLY)
    assert sum(plan.of("x").thrown) == 1000 and check_plan(plan, one).agrees
