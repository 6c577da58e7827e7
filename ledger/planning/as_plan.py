"""A table of batches told as a plan: its lines, what they sell and use and cost; and a stored plan told from its lines again."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ledger.planning.arrays import Arrays, lay_out
from ledger.planning.cost import Costing, Table, cost_table, unavoidable
from ledger.planning.finding import Finding
from ledger.planning.findings import sort_out
from ledger.planning.plan import ItemWeeks, Line, Plan, WeekUse
from ledger.planning.problem import Problem
from ledger.planning.reasons import shortages
from ledger.planning.solve_highs import Bound


def as_plan(
    a: Arrays, table: Table, costing: Costing, findings: list[Finding], *, lp: Bound | None, bound_milli: int | None, rule: str,
    rule_milli: int, method: str, seed: int, moves: int, nodes: int, rounds: int, stopped: bool, changed: str,
    milliseconds: int | None,
) -> Plan:  # fmt: skip
    """The plan of a table that is costed and measured."""
    problem, cost = a.problem, costing.total
    gap = None if bound_milli is None else max(0, -(-(cost - bound_milli) * 10**6 // max(1, abs(cost))))
    return Plan(
        lines=tuple(
            Line(
                week=t, label=problem.weeks[t].label, item=problem.items[i].key, batches=table[j][t],
                grams=table[j][t] * a.batch[j], frozen=t < problem.frozen_weeks, kettle=a.kettle[j],
            )
            for t in range(a.weeks) for j, i in enumerate(a.of) if table[j][t]
        ),
        items=item_weeks(a, table, costing),
        weeks=week_use(a, table, costing, lp),
        shortages=shortages(a, table, costing),
        cost_milli=cost,
        parts=tuple(sorted(costing.parts.items())),
        unavoidable_milli=unavoidable(a),
        bound_milli=bound_milli,
        gap_ppm=gap,
        rule=rule,
        rule_milli=rule_milli,
        method=method,
        seed=seed,
        moves=moves,
        nodes=nodes,
        rounds=rounds,
        stopped=stopped,
        findings=tuple((f.code, f.about, f.message) for f in findings),
        settings=settings_of(problem),
        changed=changed,
        milliseconds=milliseconds,
    )  # fmt: skip


def item_weeks(a: Arrays, table: Table, costing: Costing) -> tuple[ItemWeeks, ...]:
    """Made, sold, short, thrown and in stock, by item and week."""
    return tuple(
        ItemWeeks(
            item=a.problem.items[i].key,
            demand=tuple(a.demand[i]),
            made=tuple(a.grams(i, table)),
            sold=tuple(wanted - lost for wanted, lost in zip(a.demand[i], run.lost, strict=True)),
            short=tuple(run.lost),
            thrown=tuple(run.thrown),
            stock=tuple(run.stock),
            left=run.left,
        )
        for i, run in enumerate(costing.runs)
    )


def week_use(a: Arrays, table: Table, costing: Costing, lp: Bound | None = None) -> tuple[WeekUse, ...]:
    """What each week uses of hands and stations, and what an hour more of them is worth by the bound."""

    return tuple(
        WeekUse(
            week=t,
            label=a.problem.weeks[t].label,
            days=a.problem.weeks[t].days,
            hands_used=sum(table[j][t] * a.hands[j] for j in range(a.rows)),
            hands_there=a.people[t],
            overtime_minutes=costing.overtime[t],
            helper_shifts=costing.helpers[t],
            stations=tuple(
                (name, sum(table[j][t] * wants[j] for j in range(a.rows)), room[t])
                for name, wants, room in zip(a.stations, a.need, a.room, strict=True)
                if room[t] < 10**9
            ),
            hour_of_hands=round(lp.hour_of_hands[t] * 1000) if lp is not None else 0,
            hour_of_stations=tuple(
                (name, round(worth[t] * 1000))
                for name, worth in (lp.hour_of_station if lp is not None else {}).items()
                if round(worth[t] * 1000) > 0
            ),
        )
        for t in range(a.weeks)
    )


def settings_of(problem: Problem) -> tuple[tuple[str, int], ...]:
    """The prices and limits a plan was made with, to be kept beside it."""
    prices = problem.prices
    pairs = [(name, int(getattr(prices, name))) for name in prices.__slots__]
    pairs += [("store_g", -1 if problem.store_g is None else problem.store_g)]
    pairs += [("frozen_weeks", problem.frozen_weeks), ("kept_weeks", problem.kept_weeks)]
    return tuple(pairs)


@dataclass(frozen=True, slots=True)
class Check:
    """What a checker found on replay: whether all agrees, and each disagreement in words."""

    agrees: bool
    wrong: tuple[str, ...]
    cost_milli: int


def check_plan(plan: Plan, problem: Problem) -> Check:
    """Recompute cost, room and stock of a stored plan's lines; no solver is called."""
    clean, _ = sort_out(problem)
    a = lay_out(replace(clean))
    table = a.nothing()
    wrong: list[str] = []
    for line in plan.lines:
        j = a.way(line.item, line.kettle)
        if j is None or a.kettle[j] != line.kettle or not 0 <= line.week < a.weeks:
            where = f" in the {line.kettle}" if line.kettle else ""
            wrong.append(f"line {line.item}{where} in {line.label} is not in the problem")
            continue
        table[j][line.week] += line.batches
        if line.grams != line.batches * a.batch[j]:
            wrong.append(f"line {line.item} in {line.label} says {line.grams} g for {line.batches} x {a.batch[j]} g")
    costing = cost_table(a, table)
    wrong += costing.broken
    if costing.total != plan.cost_milli:
        wrong.append(f"the plan says it costs {plan.cost_milli} milli, its lines cost {costing.total}")
    if plan.bound_milli is not None and plan.bound_milli > plan.cost_milli:
        wrong.append(f"the bound {plan.bound_milli} lies above the cost {plan.cost_milli}")
    stored = {row.item: row for row in plan.items}
    for row in item_weeks(a, table, costing):
        if stored.get(row.item) != row:
            wrong.append(f"stock of {row.item} does not follow from the lines")
    return Check(not wrong, tuple(wrong), costing.total)
