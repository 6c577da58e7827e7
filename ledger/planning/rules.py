"""Simple rules a planner must beat: what a maker with paper and pencil would do, in whole batches.

Every rule is given the same courtesy: a batch that does not fit its week is pulled ahead to the latest earlier week with
room, else it goes to the next week with room before the item ends, else it is not made. Silver-Meal and part-period are
their whole-batch versions (Silver and Meal 1973; DeMatteis 1968), where the cost of one more "set-up" is the price of a batch.
Where an item can be made in several kettles the biggest with room is taken, and what a smaller one gives less is made up later.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from heapq import heapify, heappop, heapreplace

from ledger.planning.arrays import Arrays
from ledger.planning.cost import Table, cost_table, run_item
from ledger.planning.lotsizing import part_period_groups, silver_meal_groups

BATCH_EFFORT = 6000
"""Minor units a making is taken to cost in effort when a rule weighs it against holding (a rule of ours, no source)."""


class Room:
    """What is still free in each week while a rule fills it."""

    def __init__(self, a: Arrays, with_overtime: bool = True) -> None:
        self.a, self.table = a, [list(row) for row in a.least]
        rows = range(a.rows)
        self.hands = [sum(a.least[j][t] * a.hands[j] for j in rows) for t in range(a.weeks)]
        self.used = [[sum(a.least[j][t] * wants[j] for j in rows) for t in range(a.weeks)] for wants in a.need]
        self.with_overtime = with_overtime

    def fits(self, j: int, t: int) -> bool:
        """Whether one more batch of way ``j`` fits week ``t``."""
        a = self.a
        if self.table[j][t] >= a.most[j][t]:
            return False
        for row, wants, room in zip(self.used, a.need, a.room, strict=True):
            if wants[j] and row[t] + wants[j] > room[t]:
                return False
        minutes = self.hands[t] + a.hands[j]
        if self.with_overtime:
            return bool(a.hands_cost(t, minutes) >= 0)
        return minutes <= a.people[t]

    def put(self, j: int, t: int) -> None:
        """Make one more batch of way ``j`` in week ``t``."""
        self.table[j][t] += 1
        self.hands[t] += self.a.hands[j]
        for row, wants in zip(self.used, self.a.need, strict=True):
            row[t] += wants[j]

    def place(self, ways: Sequence[int], wanted: int, due: int) -> int | None:
        """Put a batch into its week, else pull it ahead, else the next week with room; the way it is made, or None."""
        last = max([due, *(self.a.end[self.a.of[j]] for j in ways)])
        weeks: list[int] = [*range(wanted, -1, -1), *range(wanted + 1, last + 1)]
        for t in weeks:
            for j in ways:
                if self.fits(j, t):
                    self.put(j, t)
                    return j
        return None


def _needs(a: Arrays, i: int) -> list[int]:
    """Net grams wanted each week beyond opening stock, the display minimum asked for in its first week."""
    have, needs = a.opening[i] - max(a.display[i]), []
    for t in range(a.weeks):
        have -= a.demand[i][t]
        needs.append(max(0, -have))
        have = max(0, have)
    return needs


def _whole(a: Arrays, i: int, grouped: list[int], needs: list[int]) -> list[tuple[int, int]]:
    """Whole batches that cover grouped needs: (week its need falls due, week of its lot), each carrying its spare on."""
    size = a.batch[a.ways[i][0]]
    batches: list[tuple[int, int]] = []
    covered, wanted = 0, 0
    due = [t for t in range(a.weeks) if needs[t]]
    reach, ends = [], 0
    for t in due:
        ends += needs[t]
        reach.append((ends, t))
    for t, grams in enumerate(grouped):
        wanted += grams
        while covered < wanted and size:
            first = next((week for total, week in reach if total > covered), t)
            batches.append((max(t, first), t))
            covered += size
    return batches


def _by_lots(a: Arrays, group: Callable[[list[int], int], list[int]]) -> Table:
    """Group each item's needs into lots by a rule, then place the lots' batches, earliest due first, dearest miss first."""
    room = Room(a)
    wanted = []
    for i in range(a.n):
        made = sum(a.grams(i, a.least))
        needs = _needs(a, i)
        for t in range(a.weeks):
            cut = min(made, needs[t])
            needs[t], made = needs[t] - cut, made - cut
        wanted += [(due, -a.lost[i], i, lot) for due, lot in _whole(a, i, group(needs, i), needs)]
    less = [0] * a.n
    for due, _, i, lot in sorted(wanted):
        ways = a.ways[i]
        while (j := room.place(ways, lot, due)) is not None:
            less[i] += a.batch[ways[0]] - a.batch[j]
            if not 0 < a.batch[ways[-1]] <= less[i]:
                break
            less[i] -= a.batch[ways[0]]
    return room.table


def lot_for_lot(a: Arrays) -> Table:
    """Make each week what the week needs, in whole batches, pulled ahead where the week is full."""
    return _by_lots(a, lambda needs, i: needs)


def silver_meal(a: Arrays) -> Table:
    """Join weeks while the average cost a week falls (Silver and Meal 1973), in whole batches, pulled ahead."""
    return _by_lots(a, lambda needs, i: silver_meal_groups(needs, [BATCH_EFFORT * 1000] * a.weeks, a.hold[i]))


def part_period(a: Arrays) -> Table:
    """Join weeks until holding equals the effort of a batch (part-period balancing), in whole batches, pulled ahead."""
    return _by_lots(a, lambda needs, i: part_period_groups(needs, BATCH_EFFORT * 1000, a.hold[i]))


def lowest_cover(a: Arrays) -> Table:
    """Each week make what is lowest, until the week is full or all are covered; the best of a few ways to stop."""
    tables = [_lowest_cover(a, overtime, ahead) for overtime in (False, True) for ahead in (2, 4, 8, 16)]
    return min(tables, key=lambda table: cost_table(a, table).total)


def _lowest_cover(a: Arrays, with_overtime: bool, weeks_ahead: int) -> Table:
    room = Room(a, with_overtime)
    stock = list(a.opening)
    for t in range(a.weeks):
        for i in range(a.n):
            stock[i] += sum(room.table[j][t] * a.batch[j] for j in a.ways[i])
        open_items = {i for j, i in enumerate(a.of) if a.most[j][t] > 0 and a.batch[j] > 0}
        covers = [(_cover(a, i, t, stock[i]), i) for i in open_items]
        heapify(covers)
        while covers and covers[0][0] < weeks_ahead * 1000:
            lowest = covers[0][1]
            way = next((j for j in a.ways[lowest] if room.fits(j, t)), None)
            if way is None:
                heappop(covers)
            else:
                room.put(way, t)
                stock[lowest] += a.batch[way]
                heapreplace(covers, (_cover(a, lowest, t, stock[lowest]), lowest))
        for i in range(a.n):
            stock[i] = max(0, stock[i] - a.demand[i][t])
    return room.table


def _cover(a: Arrays, i: int, t: int, grams: int) -> int:
    """Thousandths of a week that ``grams`` last from week ``t``; very long when nothing more is wanted."""
    left = grams - a.display[i][t]
    for weeks, u in enumerate(range(t, a.end[i] + 1)):
        if a.demand[i][u] > left:
            return weeks * 1000 + max(-1000, left * 1000 // max(1, a.demand[i][u]))
        left -= a.demand[i][u]
    return 10**9


def greedy_by_margin(a: Arrays, most_batches: int = 100_000) -> Table:
    """Always add the batch that saves most a hand-minute, at the latest week that still serves its first shortage."""
    room = Room(a)
    costs = [sum(run_item(a, i, a.grams(i, room.table)).cost) for i in range(a.n)]
    offers: dict[int, tuple[int, int, int, int]] = {}
    stale = {i for j, i in enumerate(a.of) if a.batch[j] > 0}
    for _ in range(most_batches):
        for i in stale:
            offers.pop(i, None)
            offer = _offer(a, room, i, costs[i])
            if offer is not None:
                offers[i] = offer
        if not offers:
            break
        i = max(offers, key=lambda k: (offers[k][0], -k))
        _, week, way, after = offers[i]
        if room.fits(way, week):
            room.put(way, week)
            costs[i] = after
        stale = {i}
    return room.table


def _offer(a: Arrays, room: Room, i: int, cost_now: int) -> tuple[int, int, int, int] | None:
    """(milli saved a hand-minute, week, way, item cost after) of the next batch of item ``i``; None when it does not pay."""
    made = a.grams(i, room.table)
    run = run_item(a, i, made)
    short = next((t for t in range(a.weeks) if run.lost[t] > 0), None)
    if short is None:
        return None
    for t in [*range(short, -1, -1), *range(short + 1, a.end[i] + 1)]:
        best = None
        for j in (j for j in a.ways[i] if a.batch[j] > 0 and room.fits(j, t)):
            made[t] += a.batch[j]
            after = sum(run_item(a, i, made).cost)
            made[t] -= a.batch[j]
            saved = cost_now - after - a.material[j]
            offer = (saved // max(1, a.hands[j]), t, j, after)
            if best is None or offer[0] > best[1][0]:
                best = (saved, offer)
        if best is not None:
            return best[1] if best[0] > 0 else None
    return None


RULES: dict[str, Callable[[Arrays], Table]] = {
    "lot-for-lot": lot_for_lot,
    "silver-meal": silver_meal,
    "part-period": part_period,
    "lowest cover first": lowest_cover,
    "greedy by margin": greedy_by_margin,
}


def run_rules(a: Arrays) -> dict[str, tuple[int, Table]]:
    """Every rule's plan and its exact cost in milli, by name."""
    answers = {}
    for name, rule in RULES.items():
        table = rule(a)
        answers[name] = (cost_table(a, table).total, table)
    return answers


def best_rule(a: Arrays) -> tuple[str, int, Table]:
    """Name, cost and plan of the cheapest rule."""
    answers = run_rules(a)
    name = min(answers, key=lambda rule: answers[rule][0])
    return name, *answers[name]
