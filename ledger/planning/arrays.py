"""A planning problem laid out as rows of whole numbers, once, for the costing, the rules, the search and the solver.

An item has one way to be made, or one for each kettle it has a load for. A table of a plan has a row for every way; what
an item sells and holds is counted by item from the grams of all its ways.

Costs are whole thousandths of a minor unit ("milli"): grams times minor units per kilo give exactly that, so every cost is
an exact integer and two programs agree to the last digit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import accumulate

from ledger.planning.plan import Line
from ledger.planning.problem import Batches, Item, Problem, Tangents

HANDS = "hands"


@dataclass(slots=True)
class Arrays:
    """The problem by item number i, way number j and week number t; see the names of :class:`ledger.planning.problem.Item`.

    ``of``: the item of each way. ``ways``: the ways of each item, the biggest batch first. ``kettle``: the kettle of each way.
    """

    problem: Problem
    n: int
    weeks: int
    of: list[int]
    ways: list[list[int]]
    kettle: list[str]
    batch: list[int]  # [way]
    demand: list[list[int]]
    cum_demand: list[list[int]]
    opening: list[int]
    material: list[int]  # [way], milli a batch
    hold: list[int]
    lost: list[int]
    thrown: list[int]
    display: list[list[int]]
    gap: int
    end: list[int]  # last week with stock: the feast week, or the last week planned
    ends_in_season: list[bool]
    end_cap: list[int]
    end_value: list[int]  # per kg up to end_cap
    end_low: list[int]  # per kg beyond
    least: list[list[int]]  # [way][week]
    most: list[list[int]]  # [way][week]
    fresh_opening: list[list[int]]
    shelf: list[int]  # weeks, or 0 where shelf life cannot bind
    curves: list[tuple[Tangents, ...] | None]
    hands: list[int]  # [way]
    stations: list[str]
    need: list[list[int]]  # [station][way]
    room: list[list[int]]  # [station][week]
    people: list[int]  # person-minutes a week
    overtime: list[int]
    helpers: list[int]
    store: int | None
    shows: list[int]
    good_to_show: list[bool]  # [way]
    kept: list[list[int]]  # [way][week], batches of the plan in force, -1 where moving is free
    _hands_cost: list[dict[int, int]] = field(default_factory=list)

    @property
    def rows(self) -> int:
        """Number of ways: the rows of a plan's table."""
        return len(self.of)

    def nothing(self) -> list[list[int]]:
        """A table with no batches."""
        return [[0] * self.weeks for _ in self.of]

    def grams(self, i: int, table: list[list[int]]) -> list[int]:
        """What item ``i`` gets each week from a table's batches."""
        mine = self.ways[i]
        if len(mine) == 1:
            batch = self.batch[mine[0]]
            return [batch * batches for batches in table[mine[0]]]
        return [sum(self.batch[j] * table[j][t] for j in mine) for t in range(self.weeks)]

    def way(self, item: str, kettle: str) -> int | None:
        """The way of an item's key in a kettle (its first way where the kettle is not among them); None for an unknown item."""
        mine = next((w for row, w in zip(self.problem.items, self.ways, strict=True) if row.key == item), None)
        if not mine:
            return None
        first = self.problem.items[self.of[mine[0]]].ways[0].kettle
        named = {self.kettle[j]: j for j in mine}
        return named.get(kettle, named.get(first, mine[0]))

    def table_of(self, lines: Iterable[Batches | Line]) -> list[list[int]]:
        """A table of lines; KeyError names an item that is not here."""
        table = self.nothing()
        for line in lines:
            j = self.way(line.item, line.kettle)
            if j is None:
                raise KeyError(line.item)
            table[j][line.week] += line.batches
        return table

    def hands_cost(self, week: int, minutes: int) -> int:
        """Cheapest overtime and helpers (milli) that give ``minutes`` person-minutes; -1 when no hands can do it."""
        known = self._hands_cost[week]
        if minutes not in known:
            choice = self.hands_choice(week, minutes)
            known[minutes] = -1 if choice is None else choice[0]
        return known[minutes]

    def hands_choice(self, week: int, minutes: int) -> tuple[int, int, int] | None:
        """(cost in milli, overtime minutes, helper shifts) of the cheapest way, or None when it cannot be done."""
        prices = self.problem.prices
        excess = max(0, minutes - self.people[week])
        best: tuple[int, int, int] | None = None
        for shifts in range(self.helpers[week] + 1):
            rest = max(0, excess - shifts * prices.helper_minutes)
            if rest <= self.overtime[week]:
                cost = shifts * prices.helper_shift * 1000 + -(-rest * prices.overtime_per_hour * 1000 // 60)
                if best is None or cost < best[0]:
                    best = (cost, rest, shifts)
            if rest == 0:
                break
        return best


def lay_out(problem: Problem) -> Arrays:
    """Lay a clean problem (see ``findings.sort_out``) out as rows; lines that are frozen widen the room they need."""
    items, weeks = problem.items, len(problem.weeks)
    made = [(i, load) for i, item in enumerate(items) for load in item.ways]
    of = [i for i, _ in made]
    ways = [
        sorted((j for j, (o, _) in enumerate(made) if o == i), key=lambda j: -made[j][1].batch_g)
        for i in range(len(items))
    ]
    minutes = [load.minutes or {} for _, load in made]
    end, ends_in_season, display, fresh, shelf = [], [], [], [], []
    for item in items:
        season = item.season
        in_season = season is not None and season.last_week < weeks
        last = season.last_week if season is not None and in_season else weeks - 1
        end.append(last)
        ends_in_season.append(in_season)
        first_shown = max(0, season.first_week) if season else 0
        last_shown = last - 1 if in_season else last
        display.append([item.display_g if first_shown <= t <= last_shown else 0 for t in range(weeks)])
        fresh.append([sum(lot.grams for lot in item.opening if lot.good_through > t) for t in range(weeks)])
        shelf.append(item.shelf_weeks if item.shelf_weeks <= last + 1 or _outlives(item, last) else 0)
    stations = sorted({name for asked in minutes for name in asked if name != HANDS})
    a = Arrays(
        problem=problem,
        n=len(items),
        weeks=weeks,
        of=of,
        ways=ways,
        kettle=[load.kettle for _, load in made],
        batch=[load.batch_g for _, load in made],
        demand=[list(item.demand_g) for item in items],
        cum_demand=[list(accumulate(item.demand_g)) for item in items],
        opening=[item.opening_g for item in items],
        material=[items[i].material_per_kg * load.batch_g for i, load in made],
        hold=[item.hold_per_kg_week for item in items],
        lost=[item.lost_per_kg for item in items],
        thrown=[item.thrown_per_kg for item in items],
        display=display,
        gap=problem.prices.display_gap_per_kg_week,
        end=end,
        ends_in_season=ends_in_season,
        end_cap=[0 if s else item.closing_cap_g for item, s in zip(items, ends_in_season, strict=True)],
        end_value=[
            item.season.salvage_per_kg if s and item.season else item.closing_value_per_kg
            for item, s in zip(items, ends_in_season, strict=True)
        ],
        end_low=[
            item.season.salvage_per_kg if s and item.season else item.closing_low_per_kg
            for item, s in zip(items, ends_in_season, strict=True)
        ],
        least=[[0] * weeks for _ in made],
        most=[[0] * weeks for _ in made],
        fresh_opening=fresh,
        shelf=shelf,
        curves=[item.loss_curves for item in items],
        hands=[asked.get(HANDS, 0) for asked in minutes],
        stations=stations,
        need=[[asked.get(name, 0) for asked in minutes] for name in stations],
        room=[[week.stations.get(name, 10**9) for week in problem.weeks] for name in stations],
        people=[week.hands_minutes for week in problem.weeks],
        overtime=[week.overtime_minutes for week in problem.weeks],
        helpers=[week.helper_shifts for week in problem.weeks],
        store=problem.store_g,
        shows=[week.shows for week in problem.weeks],
        good_to_show=[items[i].good_to_show for i in of],
        kept=[[-1] * weeks for _ in made],
        _hands_cost=[{} for _ in range(weeks)],
    )
    _limits(a)
    return a


def _outlives(item: Item, last: int) -> bool:
    """Whether a lot in the house can pass its date before it is sold: the first to expire go first, ahead of what will be made.

    Where demand is uncertain any lot with a date by then may.
    """
    for t in sorted({lot.good_through for lot in item.opening if lot.good_through <= last and lot.grams}):
        lying = sum(lot.grams for lot in item.opening if lot.good_through <= t)
        if item.loss_curves is not None or lying > sum(item.demand_g[: t + 1]):
            return True
    return False


def _limits(a: Arrays) -> None:
    """Least and most batches of each way and week, what is kept of the plan in force, and room for what is frozen."""
    problem, weeks = a.problem, a.weeks
    for j, i in enumerate(a.of):
        item = problem.items[i]
        if a.batch[j] > 0 and item.has_recipe:
            for t in range(max(item.earliest_week, problem.frozen_weeks), a.end[i] + 1):
                if problem.weeks[t].days > 0:
                    a.most[j][t] = item.most_a_week
        for t in range(min(problem.kept_weeks, weeks)):
            a.kept[j][t] = 0 if problem.kept else -1
    for line in problem.frozen:
        row = a.way(line.item, line.kettle)
        if row is not None and 0 <= line.week < min(problem.frozen_weeks, weeks):
            a.least[row][line.week] += line.batches
            a.most[row][line.week] = a.least[row][line.week]
    for line in problem.kept:
        row = a.way(line.item, line.kettle)
        if row is not None and 0 <= line.week < min(problem.kept_weeks, weeks):
            a.kept[row][line.week] += line.batches
    for t in range(min(problem.frozen_weeks, weeks)):
        for room, wants in zip(a.room, a.need, strict=True):
            room[t] = max(room[t], sum(a.least[j][t] * wants[j] for j in range(a.rows)))
        extra = a.overtime[t] + a.helpers[t] * problem.prices.helper_minutes
        a.people[t] = max(a.people[t], sum(a.least[j][t] * a.hands[j] for j in range(a.rows)) - extra)
