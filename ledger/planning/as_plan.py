"""A table of batches told as a plan: its lines, what they sell and use and cost."""

from __future__ import annotations

from dataclasses import replace

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
    gap = None if bound_milli is None else gap_of(cost, bound_milli)
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


def retold(plan: Plan, problem: Problem) -> Plan:
    """A plan's lines told as the plan of another problem of the same weeks, with what only a solver knows (bound, rule, worth of an hour) as it was."""
    clean, _ = sort_out(problem)
    a = lay_out(clean)
    table = a.table_of(plan.lines)
    now = as_plan(
        a, table, cost_table(a, table), [], lp=None, bound_milli=plan.bound_milli, rule=plan.rule, rule_milli=plan.rule_milli,
        method=plan.method, seed=plan.seed, moves=plan.moves, nodes=plan.nodes, rounds=plan.rounds, stopped=plan.stopped,
        changed=plan.changed, milliseconds=plan.milliseconds,
    )  # fmt: skip
    weeks = tuple(
        replace(w, hour_of_hands=was.hour_of_hands, hour_of_stations=was.hour_of_stations)
        for w, was in zip(now.weeks, plan.weeks, strict=True)
    )
    return replace(now, weeks=weeks, findings=plan.findings)


def gap_of(cost_milli: int, bound_milli: int) -> int:
    """How far a cost lies above a bound, in millionths of the cost, rounded up."""
    return max(0, -(-(cost_milli - bound_milli) * 10**6 // max(1, abs(cost_milli))))


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
