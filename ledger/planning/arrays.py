"""A planning problem laid out as rows of whole numbers, once, for the costing, the rules, the search and the solver.

Costs are whole thousandths of a minor unit ("milli"): grams times minor units per kilo give exactly that, so every cost is
an exact integer and two programs agree to the last digit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import accumulate

from ledger.planning.problem import Problem, Tangents

HANDS = "hands"


@dataclass(slots=True)
class Arrays:
    """The problem by item number i and week number t; see the names of :class:`ledger.planning.problem.Item`."""

    problem: Problem
    n: int
    weeks: int
    batch: list[int]
    demand: list[list[int]]
    cum_demand: list[list[int]]
    opening: list[int]
    material: list[int]  # milli a batch
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
    least: list[list[int]]
    most: list[list[int]]
    fresh_opening: list[list[int]]
    shelf: list[int]  # weeks, or 0 where shelf life cannot bind
    curves: list[tuple[Tangents, ...] | None]
    hands: list[int]
    stations: list[str]
    need: list[list[int]]  # [station][item]
    room: list[list[int]]  # [station][week]
    people: list[int]  # person-minutes a week
    overtime: list[int]
    helpers: list[int]
    store: int | None
    shows: list[int]
    good_to_show: list[bool]
    kept: list[list[int]]  # batches of the plan in force, -1 where moving is free
    _hands_cost: list[dict[int, int]] = field(default_factory=list)

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
    count, weeks = len(problem.items), len(problem.weeks)
    index = {item.key: i for i, item in enumerate(problem.items)}
    least = [[0] * weeks for _ in range(count)]
    most = [[0] * weeks for _ in range(count)]
    kept = [[-1] * weeks for _ in range(count)]
    end, ends_in_season, display, fresh, shelf = [], [], [], [], []
    for i, item in enumerate(problem.items):
        season = item.season
        in_season = season is not None and season.last_week < weeks
        last = season.last_week if season is not None and in_season else weeks - 1
        end.append(last)
        ends_in_season.append(in_season)
        first_shown = max(0, season.first_week) if season else 0
        last_shown = last - 1 if in_season else last
        display.append([item.display_g if first_shown <= t <= last_shown else 0 for t in range(weeks)])
        fresh.append([sum(lot.grams for lot in item.opening if lot.good_through > t) for t in range(weeks)])
        binds = item.shelf_weeks <= last or any(lot.good_through <= last and lot.grams for lot in item.opening)
        shelf.append(item.shelf_weeks if binds else 0)
        for t in range(max(item.earliest_week, problem.frozen_weeks), last + 1):
            if problem.weeks[t].days > 0:
                most[i][t] = item.most_a_week
        if item.batch_g <= 0 or not item.has_recipe:
            most[i] = [0] * weeks
        for t in range(min(problem.kept_weeks, weeks)):
            kept[i][t] = 0 if problem.kept else -1
    for line in problem.frozen:
        if line.item in index and 0 <= line.week < problem.frozen_weeks:
            least[index[line.item]][line.week] = most[index[line.item]][line.week] = line.batches
    for line in problem.kept:
        if line.item in index and 0 <= line.week < min(problem.kept_weeks, weeks):
            kept[index[line.item]][line.week] = line.batches
    stations = sorted({name for item in problem.items for name in item.minutes if name != HANDS})
    hands = [item.minutes.get(HANDS, 0) for item in problem.items]
    need = [[item.minutes.get(name, 0) for item in problem.items] for name in stations]
    room = [[week.stations.get(name, 10**9) for week in problem.weeks] for name in stations]
    people = [week.hands_minutes for week in problem.weeks]
    for t in range(min(problem.frozen_weeks, weeks)):
        for row, wants in zip(room, need, strict=True):
            row[t] = max(row[t], sum(least[i][t] * wants[i] for i in range(count)))
        extra = problem.weeks[t].overtime_minutes + problem.weeks[t].helper_shifts * problem.prices.helper_minutes
        people[t] = max(people[t], sum(least[i][t] * hands[i] for i in range(count)) - extra)
    return Arrays(
        problem=problem,
        n=count,
        weeks=weeks,
        batch=[item.batch_g for item in problem.items],
        demand=[list(item.demand_g) for item in problem.items],
        cum_demand=[list(accumulate(item.demand_g)) for item in problem.items],
        opening=[item.opening_g for item in problem.items],
        material=[item.material_per_kg * item.batch_g for item in problem.items],
        hold=[item.hold_per_kg_week for item in problem.items],
        lost=[item.lost_per_kg for item in problem.items],
        thrown=[item.thrown_per_kg for item in problem.items],
        display=display,
        gap=problem.prices.display_gap_per_kg_week,
        end=end,
        ends_in_season=ends_in_season,
        end_cap=[0 if s else item.closing_cap_g for item, s in zip(problem.items, ends_in_season, strict=True)],
        end_value=[
            item.season.salvage_per_kg if s and item.season else item.closing_value_per_kg
            for item, s in zip(problem.items, ends_in_season, strict=True)
        ],
        end_low=[
            item.season.salvage_per_kg if s and item.season else item.closing_low_per_kg
            for item, s in zip(problem.items, ends_in_season, strict=True)
        ],
        least=least,
        most=most,
        fresh_opening=fresh,
        shelf=shelf,
        curves=[item.loss_curves for item in problem.items],
        hands=hands,
        stations=stations,
        need=need,
        room=room,
        people=people,
        overtime=[week.overtime_minutes for week in problem.weeks],
        helpers=[week.helper_shifts for week in problem.weeks],
        store=problem.store_g,
        shows=[week.shows for week in problem.weeks],
        good_to_show=[item.good_to_show for item in problem.items],
        kept=kept,
        _hands_cost=[{} for _ in range(weeks)],
    )
