"""The front of season planning: make a plan, change one thing and plan again, check a stored plan.

A plan starts from the best simple rule and from the bound's own answers made whole, is improved item by item and by the search,
and on small problems by branch and bound; the bound says how good it is. Nothing here reads a clock: a ``stopwatch`` may be handed in,
and effort is counted in moves, rounds and nodes, so that the same seed gives the same plan. There is always a plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from ledger.planning.arrays import Arrays, lay_out
from ledger.planning.as_plan import as_plan
from ledger.planning.check import Check, check_plan
from ledger.planning.cost import Table, cost_table, fits
from ledger.planning.finding import Finding
from ledger.planning.findings import sort_out
from ledger.planning.model import build
from ledger.planning.plan import Plan
from ledger.planning.polish import Polisher
from ledger.planning.problem import Problem
from ledger.planning.rules import Room, best_rule
from ledger.planning.search import anneal
from ledger.planning.solve_highs import Bound, SolverFailed, bound, prove, rounded, together

Stopwatch = Callable[[], float]
"""Seconds of any clock; only differences are used."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How hard to try, counted so that it repeats: moves of the search, rounds of inequalities, nodes of the proof.

    ``moves`` 0: a plan before stands as far as it can be made, else the best simple rule does. ``sweeps``: how often every item
    is planned again by itself before and after the search (``polish.py``).
    ``enough_ppm``: gap at which nothing more is looked for. ``target_ppm``: gap at which the proof stops. ``rounds`` below 0: no bound
    at all (it is known already). ``nodes`` 0: no proof by branch and bound. ``proof_cells``: it is only tried on problems of at
    most so many items times weeks. ``rules``: whether the simple rules are tried beside a plan before that can be carried out.
    ``hours``: whether it is worked out what an hour more of each limit is worth.
    """

    seed: int = 1
    moves: int = 200_000
    rounds: int = 25
    sweeps: int = 3
    nodes: int = 0
    target_ppm: int = 3000
    enough_ppm: int = 500
    proof_cells: int = 1000
    rules: bool = True
    hours: bool = True


QUICK = Effort(moves=40_000, rounds=12, enough_ppm=1500)
NORMAL = Effort()
THOROUGH = Effort(moves=1_000_000, nodes=200, target_ppm=1000)


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a long solve is: the stage, how much of it is done, best cost and bound so far (milli).

    ``again``: how often the plan was begun anew because the days carry less than the minutes say (0: the first time).
    """

    stage: str
    done: int
    of: int
    cost_milli: int
    bound_milli: int | None
    again: int = 0


WARM, COLD = (0.002, 0.01), (0.1,)
"""First temperatures of the search, in typical batches: from a good plan twice with half the moves each (the cooler keeps what is good, which is
best in big shops, the warmer leaves a dead end of small ones; tried: 0.002 to 0.03), from a rule's plan once."""
SEARCHED = " + search"

Watch = Callable[[Progress], str | None]
"""Told of progress; answering ``"stop"`` ends the solve with the best so far."""


def make_plan(
    problem: Problem, effort: Effort = NORMAL, progress: Watch | None = None, stopwatch: Stopwatch | None = None
) -> Plan:
    """The best plan found within the effort, never dearer than the best simple rule; see :class:`Plan`."""
    clean, findings = sort_out(problem)
    return _solve(clean, findings, effort, progress, stopwatch, warm=None, changed="")


def replan(
    plan: Plan,
    problem: Problem,
    change: Callable[[Problem], Problem] | None = None,
    effort: Effort = QUICK,
    progress: Watch | None = None,
    stopwatch: Stopwatch | None = None,
    changed: str = "",
) -> Plan:
    """Plan again after a change (see ``whatif.py``), starting from the plan there is."""
    clean, findings = sort_out(change(problem) if change is not None else problem)
    return _solve(clean, findings, effort, progress, stopwatch, warm=plan, changed=changed)


def _solve(
    clean: Problem,
    findings: list[Finding],
    effort: Effort,
    progress: Watch | None,
    stopwatch: Stopwatch | None,
    warm: Plan | None,
    changed: str,
) -> Plan:
    began = stopwatch() if stopwatch is not None else None
    a = lay_out(clean)
    polisher = Polisher(a)
    before = carried(a, warm) if warm is not None else None
    if warm is not None and before is not None and not effort.rules and fits(a, before):
        rule, rule_cost, table = warm.rule, warm.rule_milli, before
        cost, method = cost_table(a, table).total, "plan before"
    else:
        rule, rule_cost, table = best_rule(a)
        cost, method = rule_cost, rule
        if before is not None and fits(a, before) and ((now := cost_table(a, before).total) < cost or not effort.moves):
            cost, table, method = now, before, "plan before"
    lp: Bound | None = None
    stopped = False

    def told(stage: str, done: int, of: int, best: int) -> bool:
        nonlocal stopped
        if progress is not None and not stopped:
            stopped = progress(Progress(stage, done, of, best, lp.milli if lp is not None else None)) == "stop"
        return stopped

    def polishing(best: int) -> Callable[[int, int, int], bool]:
        return lambda turn, of, now: told("items", turn, of, min(now, best))

    told("rules", 1, 1, cost)
    if not stopped and effort.rounds >= 0:
        try:
            lp = bound(a, rounds=effort.rounds, hours=effort.hours, stop=lambda: told("bound", 0, effort.rounds, cost))
        except SolverFailed as failure:
            findings = [
                *findings,
                Finding("no-bound", "plan", f"{failure.message}; the plan is not measured by a bound"),
            ]
    tried = nodes = 0
    if effort.moves:
        for name, start in starts(a, lp, table if method == "plan before" else None):
            if stopped or cost <= _enough(lp, cost, effort):
                break
            if fits(a, start):
                here, start = polisher.polish(
                    start, sweeps=effort.sweeps, enough=_enough(lp, cost, effort), report=polishing(cost)
                )
                if here < cost:
                    cost, table, method = here, start, name
    if not stopped and effort.moves and cost > _enough(lp, cost, effort):
        good, start = lp is not None or warm is not None, table
        for share, hot in enumerate(WARM if good else COLD):
            half = effort.moves // (2 if good else 1)
            found, best, done = anneal(
                a, start, seed=effort.seed, moves=half, hot=hot, enough=_enough(lp, cost, effort),
                report=lambda n, now, past=share * half: told("search", past + n, effort.moves, now),  # type: ignore[misc]
            )  # fmt: skip
            tried += done
            if found < cost:
                cost, table = found, best
                method += "" if method.endswith(SEARCHED) else SEARCHED
            if stopped or cost <= _enough(lp, cost, effort):
                break
        if not stopped:
            cost, table = polisher.polish(
                table, sweeps=effort.sweeps, enough=_enough(lp, cost, effort), report=polishing(cost)
            )
    milli = lp.milli if lp is not None else None
    small = a.n * a.weeks <= effort.proof_cells
    if (
        lp is not None
        and effort.nodes
        and small
        and not stopped
        and (cost - lp.milli) * 10**6 > effort.target_ppm * cost
    ):
        proof = prove(
            a, table, lp, gap_ppm=effort.target_ppm, nodes=effort.nodes,
            stop=lambda: told("proof", 0, effort.nodes, cost),
        )  # fmt: skip
        milli, nodes = proof.milli, proof.nodes
        if proof.cost < cost:
            cost, table, method = proof.cost, proof.table, f"{method} + branch and bound"
    if milli is not None:
        milli = min(milli, cost)
    return as_plan(
        a, table, cost_table(a, table), findings, lp=lp,
        bound_milli=milli, rule=rule, rule_milli=rule_cost, method=method, seed=effort.seed, moves=tried, nodes=nodes,
        rounds=lp.rounds if lp is not None else 0, stopped=stopped, changed=changed,
        milliseconds=None if stopwatch is None or began is None else round((stopwatch() - began) * 1000),
    )  # fmt: skip


def starts(a: Arrays, lp: Bound | None, before: Table | None) -> Iterator[tuple[str, Table]]:
    """Plans worth polishing, by name: the plan before, the bound's point made whole, the items' own best fitted together."""
    if before is not None:
        yield "plan before", before
    if lp is not None:
        yield "bound made whole", rounded(a, build(a), lp.values)
        if lp.alone is not None:
            yield "items fitted together", together(a, lp)


def _enough(lp: Bound | None, cost: int, effort: Effort) -> float:
    """The cost (milli) at which the search may stop: within ``enough_ppm`` of the bound."""
    return float("-inf") if lp is None else lp.milli + abs(cost) * effort.enough_ppm / 10**6


def carried(a: Arrays, plan: Plan) -> Table:
    """The lines of another plan as far as they are possible here: the closest start for a changed problem."""
    room = Room(a)
    for line in plan.lines:
        j = a.way(line.item, line.kettle)
        if j is None or not line.week < a.weeks:
            continue
        for _ in range(line.batches - a.least[j][line.week]):
            way = next((k for k in (j, *a.ways[a.of[j]]) if room.fits(k, line.week)), None)
            if way is not None:
                room.put(way, line.week)
    return room.table


__all__ = [
    "NORMAL",
    "QUICK",
    "THOROUGH",
    "Check",
    "Effort",
    "Progress",
    "Watch",
    "carried",
    "check_plan",
    "make_plan",
    "replan",
]
