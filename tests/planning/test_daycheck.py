"""A week plan against the days it has: what fits is spread, what does not is named, and the next plan is cut back."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

from ledger.planning import Batches, Effort, ShowTime, check_plan, make_plan
from ledger.planning.day import STEPS, Batch, DayShop, day_mixes, minutes_of
from ledger.planning.daycheck import by_colour, check_days, kinds_of, make_plan_by_days
from tests.planning.shops import invented_shop

SHOP = DayShop(
    steps=STEPS,
    stations={"kettle": 1, "slab": 1, "puller": 1, "table": 1, "roller": 1, "bench": 1},
    people=3,
    minutes=450,
)
TRY = Effort(moves=4000)


def real_minutes_shop():
    problem = invented_shop(8, 10, 6)
    items = tuple(replace(item, minutes=minutes_of(STEPS[item.kind])) for item in problem.items)
    weeks = tuple(replace(w, hands_minutes=3 * 450 * w.days, stations={}) for w in problem.weeks)
    return replace(problem, items=items, weeks=weeks)


def test_every_batch_of_a_plan_has_a_day_or_is_named() -> None:
    problem = real_minutes_shop()
    plan = make_plan(problem, TRY)
    checks = check_days(plan, problem, SHOP, use_solver=False)
    for check in checks:
        planned = sorted(line.item for line in plan.lines if line.week == check.week for _ in range(line.batches))
        assert sorted([key for day in check.days for key in day] + list(check.homeless)) == planned
        assert len(check.days) == plan.weeks[check.week].days


def test_a_plan_made_by_days_passes_the_day_check() -> None:
    problem = real_minutes_shop()
    problem = replace(
        problem, items=tuple(replace(i, demand_g=tuple(3 * d for d in i.demand_g)) for i in problem.items)
    )
    first = check_days(make_plan(problem, TRY), problem, SHOP, use_solver=False)
    assert any(not check.fits for check in first)  # a shop too full in minutes alone
    plan, cut, checks = make_plan_by_days(problem, SHOP, TRY, rounds=8, use_solver=False)
    assert all(check.fits for check in checks)
    assert check_plan(plan, cut).agrees


def test_a_days_batches_are_ordered_so_that_colours_change_least() -> None:
    batches = [Batch(name=str(n), kind="plain", family=family) for n, family in enumerate("abaccb")]
    assert by_colour(batches, [[0, 1, 2, 3], [4, 5]]) == [[0, 2, 3, 1], [5, 4]]
    assert by_colour(batches, [[], [0]]) == [[], [0]]


def test_charts_come_for_the_weeks_asked_with_their_shows() -> None:
    problem = real_minutes_shop()
    picture = next(item for item in problem.items if item.good_to_show)
    week = next(t for t, w in enumerate(problem.weeks) if w.days)
    problem = replace(
        problem,
        show_times=(ShowTime(week=week, day=1, start=13 * 60, end=13 * 60 + 30),),
        frozen_weeks=week + 1,
        frozen=(Batches(item=picture.key, week=week, batches=1),),
    )
    plan = make_plan(problem, Effort(moves=100))
    mixes = day_mixes(SHOP, kinds_of(problem, SHOP), most=3, use_solver=False)
    check = check_days(plan, problem, SHOP, mixes, charts_for=[week], use_solver=False)[week]
    assert check.fits and check.days[1] == (picture.key,)
    shown = [bar for bar in check.charts[1].bars if bar.batch and bar.step not in ("cook", "pack")]
    assert min(bar.start for bar in shown) <= 240 and max(bar.end for bar in shown) >= 270


def test_a_show_day_that_cannot_be_worked_with_two_batches_is_given_to_one() -> None:
    """Two batches of one picture like to share a day; on a day with a show they cannot, so the other day takes the second."""
    problem = real_minutes_shop()
    picture = next(item for item in problem.items if item.good_to_show)
    week = next(t for t, w in enumerate(problem.weeks) if w.days > 1)
    show = ShowTime(week=week, day=1, start=10 * 60, end=12 * 60 + 30)
    two = Batches(item=picture.key, week=week, batches=2)
    problem = replace(problem, frozen_weeks=week + 1, frozen=(two,))
    plan = make_plan(problem, Effort(moves=100))
    kinds = kinds_of(problem, SHOP)
    any_day = set(product(range(3), repeat=len(kinds)))
    crowded = check_days(plan, problem, SHOP, any_day, use_solver=False)[week]
    assert 2 in [len(day) for day in crowded.days]  # without the show they share a day
    check = check_days(plan, replace(problem, show_times=(show,)), SHOP, any_day, charts_for=[week], use_solver=False)[
        week
    ]
    assert not check.homeless and check.days[1] == (picture.key,)
    assert check.charts[1].fits, check.charts[1].why
