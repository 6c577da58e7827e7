"""The day check: every step in its order, nobody in two places, hot candy not left waiting, shows kept."""

from __future__ import annotations

import pytest

from ledger.errors import UnknownThing
from ledger.planning.day import STEPS, Batch, DayPlan, DayShop, day_mixes, largest, minutes_of, plan_day, spread_week
from ledger.planning.floor import solver_there
from ledger.planning.problem import ShowTime

SHOP = DayShop(
    steps=STEPS,
    stations={"kettle": 1, "slab": 1, "puller": 1, "table": 1, "roller": 1, "bench": 1},
    people=3,
    minutes=450,
)
PLAIN, STRIPED, PICTURE = (
    Batch(name="lemon", kind="plain", family="yellow"),
    Batch(name="mint", kind="striped", family="green"),
    Batch(name="heart", kind="picture", family="red", good_to_show=True),
)
SOLVERS = [False, pytest.param(True, marks=pytest.mark.skipif(not solver_there(), reason="ortools is not installed"))]


def holds(plan: DayPlan, shop: DayShop) -> None:
    """Check a chart step by step, independently of how it was made."""
    for minute in range(plan.finish):
        running = [bar for bar in plan.bars if bar.start <= minute < bar.end]
        people = [person for bar in running for person in bar.people]
        assert len(people) == len(set(people)) <= shop.people
        for station, count in shop.stations.items():
            assert sum(bar.station == station for bar in running) <= count
    for name in {bar.batch for bar in plan.bars if bar.batch}:
        bars = sorted((bar for bar in plan.bars if bar.batch == name), key=lambda bar: bar.start)
        kind = next(batch.kind for batch in (PLAIN, STRIPED, PICTURE) if batch.name == name.split(" ")[0])
        assert [bar.step for bar in bars] == [step.name for step in shop.steps[kind]]
        for before, bar, step in zip(bars, bars[1:], shop.steps[kind][1:], strict=False):
            assert bar.start >= before.end
            assert step.most_wait is None or bar.start - before.end <= step.most_wait
            assert len(bar.people) == step.people
    assert plan.finish <= shop.minutes


@pytest.mark.parametrize("use_solver", SOLVERS)
def test_a_days_chart_can_be_worked(use_solver: bool) -> None:
    plan = plan_day([PLAIN, PICTURE], SHOP, use_solver=use_solver)
    assert plan.fits
    holds(plan, SHOP)
    assert sum(bar.step == "lunch" for bar in plan.bars) == 3


@pytest.mark.parametrize("use_solver", SOLVERS)
def test_a_show_has_a_picture_under_way(use_solver: bool) -> None:
    show = ShowTime(week=0, day=0, start=14 * 60, end=14 * 60 + 40)
    plan = plan_day([PLAIN, PICTURE], SHOP, shows=[show], opens=9 * 60, use_solver=use_solver)
    assert plan.fits
    holds(plan, SHOP)
    heart = [bar for bar in plan.bars if bar.batch == "heart" and bar.step not in ("cook", "pack")]
    assert min(bar.start for bar in heart) <= 300 and max(bar.end for bar in heart) >= 340


def test_a_show_that_cannot_be_says_why() -> None:
    show = ShowTime(week=0, day=0, start=14 * 60, end=15 * 60)
    assert "no batch good to show" in plan_day([PLAIN], SHOP, shows=[show], opens=540).why
    long = ShowTime(week=0, day=0, start=11 * 60, end=15 * 60)
    assert (
        "the show lasts 240 minutes and a batch is at most 152"
        in plan_day([PICTURE], SHOP, shows=[long], opens=540).why
    )
    early = ShowTime(week=0, day=0, start=6 * 60, end=7 * 60)
    assert "outside the day" in plan_day([PICTURE], SHOP, shows=[early], opens=540).why


def test_too_many_batches_are_refused_with_the_minutes_on_both_sides() -> None:
    plan = plan_day([PICTURE] * 5, SHOP)
    assert not plan.fits and "5 batches ask for" in plan.why and "3 people have 1260" in plan.why


def test_a_kind_without_steps_is_named() -> None:
    with pytest.raises(UnknownThing, match="no steps are known for kind lace"):
        plan_day([Batch(name="x", kind="lace")], SHOP)


def test_the_table_of_day_mixes_only_holds_days_that_fit() -> None:
    kinds = ("plain", "striped", "picture")
    mixes = day_mixes(SHOP, kinds, most=4, use_solver=False)
    assert (0, 0, 0) in mixes and (1, 0, 1) in mixes and (0, 0, 4) not in mixes
    for mix in mixes:
        assert all(tuple(n - (k == j) for j, n in enumerate(mix)) in mixes for k in range(3) if mix[k])
    assert all(any(all(x <= y for x, y in zip(mix, top, strict=True)) for top in largest(mixes)) for mix in mixes)


def test_a_week_is_spread_over_its_days_and_what_does_not_fit_is_named() -> None:
    kinds = ("plain", "striped", "picture")
    mixes = day_mixes(SHOP, kinds, most=3, use_solver=False)
    week = [PLAIN, PLAIN, STRIPED, PICTURE, PICTURE]
    days, homeless = spread_week(week, 3, mixes, kinds, show_days=[2])
    assert homeless == [] and sorted(n for day in days for n in day) == [0, 1, 2, 3, 4]
    assert any(week[n].good_to_show for n in days[2])
    for day in days:
        assert tuple(sum(week[n].kind == kind for n in day) for kind in kinds) in mixes
    _, homeless = spread_week([PICTURE] * 9, 2, mixes, kinds)
    assert len(homeless) >= 5


def test_what_a_batch_asks_of_each_station_is_summed_from_its_steps() -> None:
    assert minutes_of(STEPS["plain"]) == {
        "hands": 40 + 30 + 8 + 20 + 50 + 35, "kettle": 40, "slab": 15, "puller": 8, "table": 20, "roller": 25, "bench": 35,
    }  # fmt: skip
