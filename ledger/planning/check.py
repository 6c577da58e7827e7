"""A stored plan told from its lines a second time: every figure that follows from them must be the one it holds. No solver is called."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from ledger.planning.arrays import Arrays, lay_out
from ledger.planning.as_plan import gap_of, item_weeks, settings_of, week_use
from ledger.planning.cost import Costing, Table, cost_table, unavoidable
from ledger.planning.findings import sort_out
from ledger.planning.plan import Plan, Shortage, WeekUse
from ledger.planning.problem import Batches, Problem
from ledger.planning.reasons import ENOUGH_TO_NAME, margin_of

BY_HAND = "changed by hand"
"""How a plan says that its lines were typed."""


@dataclass(frozen=True, slots=True)
class Check:
    """What a checker found on replay: whether all agrees, and each disagreement in words."""

    agrees: bool
    wrong: tuple[str, ...]
    cost_milli: int


def check_plan(plan: Plan, problem: Problem) -> Check:
    """Recompute a stored plan from its lines: cost and its parts, room, stock, weeks, what is missing, and how near the bound it is.

    What only a solver can say is taken as it stands: the bound, the best simple rule, what an hour more is worth, the reasons of a shortage.
    """
    problem = _as_typed(plan, problem)
    a, table, wrong = _laid_out(plan, problem)
    wrong += [
        f"line {x.item} in {x.label} is {'' if x.frozen else 'not '}said to be fixed"
        for x in plan.lines
        if x.frozen != (x.week < problem.frozen_weeks)
    ]
    costing = cost_table(a, table)
    wrong += costing.broken
    wrong += _costs(plan, a, costing)
    wrong += _items(plan, a, table, costing)
    wrong += _weeks(plan, a, table, costing)
    wrong += _missing(plan, problem)
    if plan.settings != settings_of(a.problem):
        wrong.append("its settings are not those of its problem")
    return Check(not wrong, tuple(wrong), costing.total)


def _as_typed(plan: Plan, problem: Problem) -> Problem:
    """The problem a plan changed by hand was told for: until `retold` did it, that was one with every typed week fixed, and such plans are kept."""
    fixed = dict(plan.settings).get("frozen_weeks", 0)
    if plan.changed != BY_HAND or fixed == problem.frozen_weeks:
        return problem
    frozen = tuple(
        Batches(item=x.item, week=x.week, batches=x.batches, kettle=x.kettle) for x in plan.lines if x.week < fixed
    )
    return replace(problem, frozen_weeks=fixed, frozen=frozen)


def floor_breaks(plan: Plan, problem: Problem) -> tuple[str, ...]:
    """What of a plan's lines the floor of another problem cannot carry, in words."""
    a, table, wrong = _laid_out(plan, problem)
    return (*wrong, *cost_table(a, table).broken)


def _laid_out(plan: Plan, problem: Problem) -> tuple[Arrays, Table, list[str]]:
    """The problem as rows, the lines as its table, and what is wrong with the lines themselves."""
    clean, _ = sort_out(problem)
    a = lay_out(clean)
    table, wrong, seen = a.nothing(), [], set()
    for line in plan.lines:
        j, what = a.way(line.item, line.kettle), f"line {line.item} in {line.label}"
        if j is None or a.kettle[j] != line.kettle or not 0 <= line.week < a.weeks:
            where = f" in the {line.kettle}" if line.kettle else ""
            wrong.append(f"line {line.item}{where} in {line.label} is not in the problem")
            continue
        table[j][line.week] += line.batches
        if line.grams != line.batches * a.batch[j]:
            wrong.append(f"{what} says {line.grams} g for {line.batches} x {a.batch[j]} g")
        if line.label != clean.weeks[line.week].label:
            wrong.append(f"{what} is in week {line.week}, which is {clean.weeks[line.week].label}")
        if line.batches < 1 or (j, line.week) in seen:
            wrong.append(f"{what} has {line.batches} batches" + (" and is there twice" if line.batches > 0 else ""))
        seen.add((j, line.week))
    return a, table, wrong


def _costs(plan: Plan, a: Arrays, costing: Costing) -> Iterator[str]:
    if costing.total != plan.cost_milli:
        yield f"the plan says it costs {plan.cost_milli} milli, its lines cost {costing.total}"
    for name, milli in costing.parts.items():
        if dict(plan.parts).get(name) != milli:
            yield f"its {name} is said to cost {dict(plan.parts).get(name)} milli and costs {milli}"
    if set(dict(plan.parts)) - set(costing.parts) or len(plan.parts) != len(costing.parts):
        yield "it has parts of the cost that are none"
    if plan.unavoidable_milli != unavoidable(a):
        yield f"it says {plan.unavoidable_milli} milli cannot be avoided; it is {unavoidable(a)}"
    if plan.bound_milli is None:
        if plan.gap_ppm is not None:
            yield "it has a gap and no bound"
    elif plan.bound_milli > plan.cost_milli:
        yield f"the bound {plan.bound_milli} lies above the cost {plan.cost_milli}"
    elif plan.gap_ppm != gap_of(plan.cost_milli, plan.bound_milli):
        yield f"the gap is said to be {plan.gap_ppm} ppm and is {gap_of(plan.cost_milli, plan.bound_milli)}"


def _items(plan: Plan, a: Arrays, table: Table, costing: Costing) -> Iterator[str]:
    stored = {row.item: row for row in plan.items}
    for row in item_weeks(a, table, costing):
        if stored.pop(row.item, None) != row:
            yield f"stock of {row.item} does not follow from the lines"
    if stored or len(plan.items) != a.n:
        yield f"it has {len(plan.items)} items and its problem {a.n}"


def _weeks(plan: Plan, a: Arrays, table: Table, costing: Costing) -> Iterator[str]:
    def told(use: WeekUse) -> WeekUse:
        return replace(use, hour_of_hands=0, hour_of_stations=())

    for use, now in zip(plan.weeks, week_use(a, table, costing), strict=False):
        if told(use) != now:
            yield f"hands, stations or days of {now.label} do not follow from the lines"
    if len(plan.weeks) != a.weeks:
        yield f"it has {len(plan.weeks)} weeks and its problem {a.weeks}"


def _missing(plan: Plan, problem: Problem) -> Iterator[str]:
    """Shortages are those of the items' weeks, and none of a kilo or more is left out."""
    items, labels = {item.key: item for item in problem.items}, {t: w.label for t, w in enumerate(problem.weeks)}
    short = {(row.item, t): grams for row in plan.items for t, grams in enumerate(row.short)}
    said: dict[tuple[str, int], Shortage] = {}
    for s in plan.shortages:
        grams = short.get((s.item, s.week))
        if grams != s.grams or (s.item, s.week) in said or s.label != labels.get(s.week):
            yield f"{s.grams} g of {s.item} are said to be missing in {s.label}; its weeks say {grams}"
        elif s.worth != margin_of(items[s.item]) * s.grams // 1000:
            yield f"{s.item} missing in {s.label} is said to be worth {s.worth}"
        said[(s.item, s.week)] = s
    for (item, t), grams in short.items():
        if grams >= ENOUGH_TO_NAME and (item, t) not in said:
            yield f"{grams} g of {item} are missing in {labels.get(t)} and not said to be"
