"""Why something is short, week by week, and what an hour more would be worth.

For a shortage of an item look at every week up to it and name what stops one more batch there. The worth of more room is the
difference of two bounds, which has no search noise in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from ledger.planning.arrays import Arrays, lay_out
from ledger.planning.cost import Costing, Table, run_item
from ledger.planning.finding import is_or_are
from ledger.planning.plan import Reason, Shortage
from ledger.planning.problem import Item, Problem, Week
from ledger.planning.solve_highs import bound

ENOUGH_TO_NAME = 1000
"""Grams missing of an item, over all weeks, from which it is explained."""
ENOUGH_IN_A_WEEK = 100
"""Grams from which one week of such an item is: many small weeks are a shortage too."""


def margin_of(item: Item) -> int:
    """Margin of a kilo that is missed, in minor units; what missing it is taken to cost, where it has none."""
    return max(0, item.price_per_kg - item.material_per_kg) or item.lost_per_kg


def shortages(a: Arrays, table: Table, costing: Costing, least_g: int = ENOUGH_TO_NAME) -> tuple[Shortage, ...]:
    """Every week's shortage of the items that miss ``least_g`` or more together, the dearest first, each with what binds in the weeks before it."""
    rows = range(a.rows)
    hands = [sum(table[j][t] * a.hands[j] for j in rows) for t in range(a.weeks)]
    used = [[sum(table[j][t] * wants[j] for j in rows) for t in range(a.weeks)] for wants in a.need]
    stock = [sum(run.stock[t] for run in costing.runs) for t in range(a.weeks)]
    found = []
    for i, run in enumerate(costing.runs):
        item = a.problem.items[i]
        if sum(run.lost) < least_g:
            continue
        least = min(ENOUGH_IN_A_WEEK, max(run.lost))
        for t, grams in enumerate(run.lost):
            if grams >= least:
                codes = [_what_stops(a, table, costing, i, u, t, hands, used, stock) for u in range(t + 1)]
                found.append(
                    Shortage(
                        item=item.key,
                        week=t,
                        label=a.problem.weeks[t].label,
                        grams=grams,
                        worth=margin_of(item) * grams // 1000,
                        reasons=_join(codes),
                    )
                )
    return tuple(sorted(found, key=lambda s: (-s.worth, s.week, s.item)))


def _what_stops(
    a: Arrays,
    table: Table,
    costing: Costing,
    i: int,
    u: int,
    t: int,
    hands: list[int],
    used: list[list[int]],
    stock: list[int],
) -> tuple[str, str, str]:
    """(code, resource, words) of what stops one more batch of item ``i`` in week ``u`` for a shortage in week ``t``."""
    item, week = a.problem.items[i], a.problem.weeks[u]
    if not item.has_recipe:
        return "no-recipe", item.key, "it has no recipe"
    if all(a.batch[j] <= 0 for j in a.ways[i]) or item.most_a_week == 0:
        return "cannot-be-made", item.key, "no batch of it can be made"
    if week.days <= 0:
        return "closed", "days", "closed"
    if u < a.problem.frozen_weeks:
        return "frozen", "plan", "fixed by the plan in force"
    if u < item.earliest_week:
        return "material", item.key, item.not_yet
    if a.shelf[i] and u + a.shelf[i] <= t:
        return "too-old", item.key, "it would be too old"
    stops = [_what_stops_way(a, table, costing, j, u, t, hands, used, stock) for j in a.ways[i]]
    return max(stops, key=lambda stop: HOW_NEAR.index(stop[0]))


HOW_NEAR = (
    "most-a-week", "station-full", "no-hands", "store-full", "not-worth-a-batch", "overtime-dearer", "plan-in-force", "found-too-late",
)  # fmt: skip
"""Of several kettles the one that is least in the way is told: what stops it is what would have to change."""


def _what_stops_way(
    a: Arrays,
    table: Table,
    costing: Costing,
    j: int,
    u: int,
    t: int,
    hands: list[int],
    used: list[list[int]],
    stock: list[int],
) -> tuple[str, str, str]:
    i = a.of[j]
    item = a.problem.items[i]
    if table[j][u] >= a.most[j][u]:
        return "most-a-week", item.key, f"already {table[j][u]} batches that week, the most allowed"
    for name, wants, row, room in zip(a.stations, a.need, used, a.room, strict=True):
        if wants[j] and row[u] + wants[j] > room[u]:
            return "station-full", name, f"the {name} {is_or_are(name, 'is', 'are')} full"
    now, more = a.hands_cost(u, hands[u]), a.hands_cost(u, hands[u] + a.hands[j])
    if more < 0:
        return "no-hands", "hands", "no hands left even with overtime and helpers"
    made = a.grams(i, table)
    made[u] += a.batch[j]
    after = run_item(a, i, made)
    gain = sum(costing.runs[i].cost) - sum(after.cost) - a.material[j]
    store = _over_store(a, stock, costing.runs[i].stock, after.stock)
    moved = _moved(a, j, u, table[j][u])
    if gain > more - now + store + moved:
        return "found-too-late", item.key, "one more batch would pay: plan again, or let it search longer"
    if gain <= 0:
        return "not-worth-a-batch", item.key, "a whole batch costs more than what is missing"
    if store and gain > more - now:
        return "store-full", "store", "the store is full"
    if moved and gain > more - now + store:
        return "plan-in-force", "plan", "another batch beside the plan in force is dearer than the sale"
    return "overtime-dearer", "hands", "only with overtime or a helper, dearer than the sale"


def _over_store(a: Arrays, stock: list[int], was: list[int], now: list[int]) -> int:
    """Milli that an item's changed stock costs beyond what the store holds."""
    if a.store is None:
        return 0
    grams = sum(
        max(0, held - one + two - a.store) - max(0, held - a.store)
        for held, one, two in zip(stock, was, now, strict=True)
    )
    return grams * a.problem.prices.store_over_per_kg_week


def _moved(a: Arrays, j: int, u: int, batches: int) -> int:
    """Milli that one more batch costs as a move away from the plan in force (below 0: it brings the plan back to it)."""
    kept = a.kept[j][u]
    return 0 if kept < 0 else a.problem.prices.moved_batch * 1000 * (abs(batches + 1 - kept) - abs(batches - kept))


def _join(codes: list[tuple[str, str, str]]) -> tuple[Reason, ...]:
    """Weeks in a row with the same reason as one reason."""
    joined: list[Reason] = []
    for t, (code, resource, words) in enumerate(codes):
        last = joined[-1] if joined else None
        if last is not None and (last.code, last.resource) == (code, resource) and last.words == words:
            joined[-1] = replace(last, last=t)
        else:
            joined.append(Reason(code=code, first=t, last=t, resource=resource, words=words))
    return tuple(joined)


@dataclass(frozen=True, slots=True)
class Worth:
    """What a change of room is worth: milli saved between two bounds, and in which weeks."""

    what: str
    weeks: tuple[int, ...]
    saves_milli: int


def worth_of_hours(problem: Problem, weeks: tuple[int, ...], minutes: int = 60) -> Worth:
    """What ``minutes`` more person-minutes in each of ``weeks`` would save, as the difference of two bounds."""
    return _worth(
        problem,
        f"{minutes} more person-minutes a week",
        weeks,
        lambda week: replace(week, hands_minutes=week.hands_minutes + minutes),
    )


def worth_of_station(problem: Problem, station: str, weeks: tuple[int, ...], minutes: int = 60) -> Worth:
    """What ``minutes`` more of a station in each of ``weeks`` would save."""

    def more(week: Week) -> Week:
        there = week.stations.get(station)
        return week if there is None else replace(week, stations={**week.stations, station: there + minutes})

    return _worth(problem, f"{minutes} more minutes of the {station} a week", weeks, more)


def _worth(problem: Problem, what: str, weeks: tuple[int, ...], change: Callable[[Week], Week]) -> Worth:
    changed = tuple(change(week) if t in weeks else week for t, week in enumerate(problem.weeks))
    before = bound(lay_out(problem), alone=False).milli
    after = bound(lay_out(replace(problem, weeks=changed)), alone=False).milli
    return Worth(what, weeks, max(0, before - after))
