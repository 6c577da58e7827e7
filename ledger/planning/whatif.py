"""One change at a time: what if the feast sells more, a kettle is out, somebody helps, a design is dropped.

Each function gives a change: a problem in, the changed problem out, nothing touched. ``season.replan`` solves it from the
plan there is; ``compare`` puts both plans side by side.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ledger.errors import UnknownThing
from ledger.planning.plan import Plan
from ledger.planning.problem import Item, Problem, Week

Change = Callable[[Problem], Problem]


def demand_changed(items: Sequence[str], percent: int, first_week: int = 0, last_week: int = 10_000) -> Change:
    """Demand of some items up or down by ``percent`` in weeks first to last (loss curves move with it)."""

    def change(problem: Problem) -> Problem:
        _known(problem, items)

        def scaled(item: Item) -> Item:
            if item.key not in items:
                return item
            factor = max(0, 100 + percent)
            demand = tuple(
                d * factor // 100 if first_week <= t <= last_week else d for t, d in enumerate(item.demand_g)
            )
            curves = item.loss_curves
            if curves is not None and sum(item.demand_g) > 0:
                now, before = sum(demand), sum(item.demand_g)
                curves = tuple(tuple((at * now // before, per) for at, per in lines) for lines in curves)
            return replace(item, demand_g=demand, loss_curves=curves)

        return replace(problem, items=tuple(scaled(item) for item in problem.items))

    return change


def station_out(station: str, weeks: Sequence[int], of: int = 1) -> Change:
    """One of ``of`` stations of that name (a kettle, say) is out in some weeks: its share of the minutes is gone."""

    def change(problem: Problem) -> Problem:
        if not any(station in week.stations for week in problem.weeks):
            names = sorted({name for week in problem.weeks for name in week.stations})
            raise UnknownThing(f"no station {station}: there are {', '.join(names) or 'none'}", station=station)

        def less(week: Week) -> Week:
            return replace(
                week,
                stations={n: (m * (of - 1) // of if n == station else m) for n, m in week.stations.items()},
            )

        return _weeks(problem, weeks, less)

    return change


def helper_added(weeks: Sequence[int], shifts: int = 1) -> Change:
    """A helper may be called in for ``shifts`` more shifts in each of some weeks, at the price of a shift."""
    return lambda problem: _weeks(problem, weeks, lambda week: replace(week, helper_shifts=week.helper_shifts + shifts))


def hours_added(weeks: Sequence[int], minutes: int) -> Change:
    """``minutes`` more (or fewer) person-minutes in normal hours in each of some weeks."""
    return lambda problem: _weeks(
        problem, weeks, lambda week: replace(week, hands_minutes=max(0, week.hands_minutes + minutes))
    )


def station_added(station: str, weeks: Sequence[int], minutes: int) -> Change:
    """``minutes`` more of a station in each of some weeks in which its minutes are stated."""
    return lambda problem: _weeks(
        problem,
        weeks,
        lambda week: replace(week, stations={n: m + minutes if n == station else m for n, m in week.stations.items()}),
    )


def day_added(weeks: Sequence[int]) -> Change:
    """One more making day in each of some weeks: hands and stations grow by a day's share."""

    def more(week: Week) -> Week:
        if week.days <= 0:
            return week
        return replace(
            week,
            days=week.days + 1,
            hands_minutes=week.hands_minutes * (week.days + 1) // week.days,
            stations={name: minutes * (week.days + 1) // week.days for name, minutes in week.stations.items()},
        )

    return lambda problem: _weeks(problem, weeks, more)


def design_dropped(item: str) -> Change:
    """A design is no longer made or wanted; what is in stock is not counted."""

    def change(problem: Problem) -> Problem:
        _known(problem, [item])
        return replace(problem, items=tuple(row for row in problem.items if row.key != item))

    return change


def material_sooner(item: str, weeks: int = 1) -> Change:
    """What an item waits for comes ``weeks`` sooner."""

    def change(problem: Problem) -> Problem:
        _known(problem, [item])
        old = problem.item(item)
        return problem.with_item(replace(old, earliest_week=max(0, old.earliest_week - weeks)))

    return change


def store_added(grams: int) -> Change:
    """More room to store."""
    return lambda problem: problem if problem.store_g is None else replace(problem, store_g=problem.store_g + grams)


def _weeks(problem: Problem, weeks: Sequence[int], change: Callable[[Week], Week]) -> Problem:
    return replace(problem, weeks=tuple(change(week) if t in weeks else week for t, week in enumerate(problem.weeks)))


def _known(problem: Problem, items: Sequence[str]) -> None:
    for key in items:
        if all(item.key != key for item in problem.items):
            raise UnknownThing(f"no item {key} in the plan: there are {len(problem.items)} others", item=key)


@dataclass(frozen=True, slots=True)
class Side:
    """One figure of two plans side by side."""

    what: str
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class MovedLine:
    """Batches of an item in a week, before and after."""

    item: str
    week: int
    label: str
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two plans side by side: figures, and every line that differs."""

    figures: tuple[Side, ...]
    lines: tuple[MovedLine, ...]


def compare(before: Plan, after: Plan) -> Comparison:
    """Costs in milli, grams made, short and left over, overtime, shifts; then the lines that differ."""

    def figures(plan: Plan) -> dict[str, int]:
        return {
            "cost_milli": plan.cost_milli,
            "made_g": sum(sum(row.made) for row in plan.items),
            "sold_g": sum(sum(row.sold) for row in plan.items),
            "short_g": sum(sum(row.short) for row in plan.items),
            "left_g": sum(row.left for row in plan.items),
            "overtime_minutes": sum(week.overtime_minutes for week in plan.weeks),
            "helper_shifts": sum(week.helper_shifts for week in plan.weeks),
        }

    one, two = figures(before), figures(after)
    labels = {(line.item, line.week): line.label for plan in (before, after) for line in plan.lines}
    moved = [
        MovedLine(item, week, label, before.batches(item, week), after.batches(item, week))
        for (item, week), label in sorted(labels.items(), key=lambda entry: (entry[0][1], entry[0][0]))
        if before.batches(item, week) != after.batches(item, week)
    ]
    return Comparison(tuple(Side(name, one[name], two[name]) for name in one), tuple(moved))
