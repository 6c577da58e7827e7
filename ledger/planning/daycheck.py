"""From weeks to days: does each week's plan pass the floor day by day, and if not, plan again with what does.

The week plan counts minutes; the table of day mixes knows that steps follow each other. A week whose batches find no day is
named with those batches, and its hands are cut back to what the days can carry before the next plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ledger.planning.changeover import best_sequence
from ledger.planning.day import Batch, DayPlan, DayShop, day_mixes, plan_day, spread_week
from ledger.planning.plan import Plan
from ledger.planning.problem import Problem, ShowTime
from ledger.planning.season import NORMAL, Effort, Watch, make_plan, replan

Mixes = set[tuple[int, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekDays:
    """A week's batches by day (item keys), those that find no day, and the days' charts where they were asked for."""

    week: int
    label: str
    days: tuple[tuple[str, ...], ...]
    homeless: tuple[str, ...]
    charts: tuple[DayPlan, ...] = ()

    @property
    def fits(self) -> bool:
        """Whether every batch has a day, and every day asked for can be worked."""
        return not self.homeless and all(chart.fits for chart in self.charts)


def kinds_of(problem: Problem, shop: DayShop) -> tuple[str, ...]:
    """The kinds of design the plan can ask for and the floor has steps for, in a fixed order."""
    return tuple(sorted({item.kind for item in problem.items} & set(shop.steps)))


def check_days(
    plan: Plan,
    problem: Problem,
    shop: DayShop,
    mixes: Mixes | None = None,
    charts_for: Sequence[int] = (),
    use_solver: bool | None = None,
) -> list[WeekDays]:
    """Spread every week of a plan over its making days; charts of the days for the weeks in ``charts_for``.

    A batch of a kind without steps finds no day. ``mixes`` may be handed in where it was computed before.
    """
    kinds = kinds_of(problem, shop)
    table = day_mixes(shop, kinds, use_solver=use_solver) if mixes is None else mixes
    items = {item.key: item for item in problem.items}
    weeks = []
    for use in plan.weeks:
        keys = [line.item for line in plan.lines if line.week == use.week for _ in range(line.batches)]
        known = [key for key in keys if items[key].kind in kinds]
        strange = [key for key in keys if items[key].kind not in kinds]
        batches = [_batch(problem, key, number) for number, key in enumerate(known)]
        shows = [show for show in problem.show_times if show.week == use.week]
        show_days = [show.day for show in shows]
        days, left = spread_week(batches, use.days, table, kinds, show_days)
        days = by_colour(batches, days)
        charts: list[DayPlan] = []
        if use.week in charts_for:
            charts = _charts(days, batches, shows, shop, problem.opens, use_solver)
            crowded = {day for day in show_days if day < len(charts) and not charts[day].fits and len(days[day]) > 1}
            # a show pins its batch to its hours: its day to it alone, the rest to the other days or to none
            if crowded:
                days, left = spread_week(batches, use.days, table, kinds, show_days, crowded)
                days = by_colour(batches, days)
                charts = _charts(days, batches, shows, shop, problem.opens, use_solver)
        weeks.append(
            WeekDays(
                week=use.week,
                label=use.label,
                days=tuple(tuple(known[n] for n in numbers) for numbers in days),
                homeless=tuple([known[n] for n in left] + strange),
                charts=tuple(charts),
            )
        )
    return weeks


def _charts(
    days: Sequence[Sequence[int]], batches: Sequence[Batch], shows: Sequence[ShowTime], shop: DayShop, opens: int,
    use_solver: bool | None,
) -> list[DayPlan]:  # fmt: skip
    """The chart of each day of a week with its batches and its shows."""
    return [
        plan_day([batches[n] for n in numbers], shop, [s for s in shows if s.day == day], opens, use_solver)
        for day, numbers in enumerate(days)
    ]


def by_colour(batches: Sequence[Batch], days: Sequence[Sequence[int]]) -> list[list[int]]:
    """Each day's batches (numbers) in the order that changes colour least often, beginning with the colour left standing before."""
    families = sorted({batch.family for batch in batches})
    change = [[int(one != two) for two in families] for one in families]
    ordered: list[list[int]] = []
    before: int | None = None
    for numbers in days:
        due = [[len(numbers) - 1] * sum(batches[n].family == family for n in numbers) for family in families]
        waiting, day = list(numbers), []
        for item in best_sequence(due, len(numbers), 0, change, before).items:
            number = next(n for n in waiting if item is not None and batches[n].family == families[item])
            waiting.remove(number)
            day.append(number)
            before = item
        ordered.append(day)
    return ordered


def _batch(problem: Problem, key: str, number: int) -> Batch:
    item = problem.item(key)
    return Batch(name=f"{item.name} ({number + 1})", kind=item.kind, family=item.family, good_to_show=item.good_to_show)


def within_days(problem: Problem, plan: Plan, checks: Sequence[WeekDays]) -> Problem:
    """The problem with the hands of every week that does not fit cut back to the batches that found a day."""
    minutes = {item.key: item.minutes.get("hands", 0) for item in problem.items}
    placed = {check.week: sum(minutes[key] for day in check.days for key in day) for check in checks if check.homeless}
    return replace(
        problem,
        weeks=tuple(
            replace(week, hands_minutes=min(week.hands_minutes, placed[t]), overtime_minutes=0, helper_shifts=0)
            if t in placed
            else week
            for t, week in enumerate(problem.weeks)
        ),
    )


def make_plan_by_days(
    problem: Problem,
    shop: DayShop,
    effort: Effort = NORMAL,
    progress: Watch | None = None,
    rounds: int = 3,
    use_solver: bool | None = None,
) -> tuple[Plan, Problem, list[WeekDays]]:
    """A plan whose weeks pass the day check, as far as ``rounds`` of cutting back bring it.

    Gives the plan, the problem it was made for (hands cut back where days are fuller than minutes say; check the plan against
    this one), and the day check. The bound of the plan is that of the cut-back problem.
    """
    mixes = day_mixes(shop, kinds_of(problem, shop), use_solver=use_solver)
    plan = make_plan(problem, effort, progress)
    checks = check_days(plan, problem, shop, mixes)
    for _ in range(rounds):
        if all(check.fits for check in checks) or plan.stopped:
            break
        problem = within_days(problem, plan, checks)
        plan = replan(plan, problem, effort=effort, progress=progress, changed="cut back to what the days carry")
        checks = check_days(plan, problem, shop, mixes)
    return plan, problem, checks
