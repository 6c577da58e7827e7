"""The one exact costing of a set of plan lines, in whole thousandths of a minor unit. Everything else is measured by it.

Given the batches, the rest follows: what can be sold is sold, oldest first; what is missing is lost; what passes its shelf
life or its feast leaves. Overtime and helpers are the cheapest that do the work. A limit that cannot bend (stations, hands
beyond overtime and helpers, a closed week) is reported as broken, never priced away.
"""

from __future__ import annotations

from dataclasses import dataclass

from ledger.planning.arrays import Arrays

Table = list[list[int]]
"""Whole batches by way (see ``arrays.py``; where no kettles are told apart, by item) and week."""


@dataclass(frozen=True, slots=True)
class ItemRun:
    """One item's season under a plan: end-of-week stock, lost and thrown grams a week, what is left at the end, milli."""

    stock: list[int]
    lost: list[int]
    thrown: list[int]
    left: int
    cost: list[int]  # by week, without material


@dataclass(frozen=True, slots=True)
class Costing:
    """A plan costed: total in milli, its parts by name, each item's run, each week's overtime minutes and helper shifts."""

    total: int
    parts: dict[str, int]
    runs: list[ItemRun]
    overtime: list[int]
    helpers: list[int]
    broken: list[str]


def expected_loss(tangents: tuple[tuple[int, int], ...], supply: int) -> int:
    """Grams lost in expectation at a cumulative supply: the highest tangent there, rounded up to a whole gram."""
    worst = 0
    for at_nothing, per_kilo in tangents:
        loss = -((supply * per_kilo - at_nothing * 1000) // 1000)
        if loss > worst:
            worst = loss
    return worst


def run_item(a: Arrays, i: int, made: list[int]) -> ItemRun:
    """Sell item ``i`` through the season with ``made`` grams a week; shelf life under first-in-first-out."""
    weeks = a.weeks
    stock, lost, thrown, cost = [0] * weeks, [0] * weeks, [0] * weeks, [0] * weeks
    curve, shelf, last, demand, display = a.curves[i], a.shelf[i], a.end[i], a.demand[i], a.display[i]
    missed, hold, gap = a.lost[i], a.hold[i], a.gap
    in_hand, supply, lost_so_far, left = a.opening[i], a.opening[i], 0, 0
    for t in range(last + 1):
        supply += made[t]
        in_hand += made[t] - demand[t]
        missing = -in_hand if in_hand < 0 else 0
        if curve is not None and curve[t]:
            expected = expected_loss(curve[t], supply) - lost_so_far
            if expected > missing:
                missing = expected
        here = 0
        if missing:
            in_hand += missing
            lost_so_far += missing
            lost[t] = missing
            here = missed * missing
        if shelf:
            fresh = a.fresh_opening[i][t] + sum(made[max(0, t - shelf + 2) : t + 1])
            if in_hand > fresh:
                thrown[t] = in_hand - fresh
                supply -= thrown[t]
                in_hand = fresh
                here += a.thrown[i] * thrown[t]
        if t == last:
            good = min(in_hand, a.end_cap[i])
            here -= a.end_value[i] * good + a.end_low[i] * (in_hand - good)
            left = in_hand
        if t != last or not a.ends_in_season[i]:
            stock[t] = in_hand
            here += hold * in_hand
            if in_hand < display[t]:
                here += gap * (display[t] - in_hand)
        cost[t] = here
    return ItemRun(stock, lost, thrown, left, cost)


def week_limits(a: Arrays, table: Table, t: int) -> list[str]:
    """Every limit of week ``t`` that the batches break, in words; empty when they fit."""
    label, broken = a.problem.weeks[t].label, []
    for name, wants, room in zip(a.stations, a.need, a.room, strict=True):
        used = sum(table[j][t] * wants[j] for j in range(a.rows))
        if used > room[t]:
            broken.append(f"{label}: the {name} needs {used} minutes and has {room[t]}")
    hands = sum(table[j][t] * a.hands[j] for j in range(a.rows))
    if a.hands_choice(t, hands) is None:
        broken.append(
            f"{label}: hands need {hands} person-minutes and have {a.people[t]} with overtime and helpers on top"
        )
    for j, i in enumerate(a.of):
        if not a.least[j][t] <= table[j][t] <= a.most[j][t]:
            key = a.problem.items[i].key + (f" in the {a.kettle[j]}" if a.kettle[j] else "")
            broken.append(f"{label}: {table[j][t]} batches of {key}, allowed {a.least[j][t]} to {a.most[j][t]}")
    return broken


def fits(a: Arrays, table: Table) -> bool:
    """Whether every limit that cannot bend is kept."""
    return not any(week_limits(a, table, t) for t in range(a.weeks))


def cost_table(a: Arrays, table: Table) -> Costing:
    """Cost the batches of ``table`` exactly."""
    prices = a.problem.prices
    runs = [run_item(a, i, a.grams(i, table)) for i in range(a.n)]
    parts = dict.fromkeys(
        ("material", "lost", "hold", "display", "thrown", "closing", "hands", "store", "shows", "moved"), 0
    )
    overtime, helpers, broken = [0] * a.weeks, [0] * a.weeks, []
    for i, run in enumerate(runs):
        parts["lost"] += a.lost[i] * sum(run.lost)
        parts["thrown"] += a.thrown[i] * sum(run.thrown)
        parts["hold"] += a.hold[i] * sum(run.stock)
        shown = range(a.end[i] + (0 if a.ends_in_season[i] else 1))
        parts["display"] += a.gap * sum(max(0, a.display[i][t] - run.stock[t]) for t in shown)
        good = min(run.left, a.end_cap[i])
        parts["closing"] -= a.end_value[i] * good + a.end_low[i] * (run.left - good)
    for j, row in enumerate(table):
        parts["material"] += a.material[j] * sum(row)
        for t in range(a.weeks):
            if a.kept[j][t] >= 0:
                parts["moved"] += prices.moved_batch * 1000 * abs(row[t] - a.kept[j][t])
    for t in range(a.weeks):
        broken += week_limits(a, table, t)
        choice = a.hands_choice(t, sum(table[j][t] * a.hands[j] for j in range(a.rows)))
        if choice is not None:
            parts["hands"] += choice[0]
            overtime[t], helpers[t] = choice[1], choice[2]
        if a.store is not None:
            over = max(0, sum(run.stock[t] for run in runs) - a.store)
            parts["store"] += prices.store_over_per_kg_week * over
        shown_batches = sum(table[j][t] for j in range(a.rows) if a.good_to_show[j])
        parts["shows"] += prices.missed_show * 1000 * max(0, a.shows[t] - shown_batches)
    return Costing(sum(parts.values()), parts, runs, overtime, helpers, broken)


def unavoidable(a: Arrays) -> int:
    """The part of the cost no plan can avoid, in milli: material of what will be sold beyond opening stock.

    Labour in normal hours is paid whether a batch is made or not and is in no plan's cost.
    """
    total = 0
    for i in range(a.n):
        wanted = a.cum_demand[i][a.end[i]] - a.opening[i]
        total += max(0, wanted) * (a.problem.items[i].material_per_kg if any(a.batch[j] for j in a.ways[i]) else 0)
    return total
