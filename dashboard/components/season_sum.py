"""A plan in one breath: what it costs, how good it is, and for the plan in force what is left of it."""

from __future__ import annotations

from ledger.application.season_plan import PlanMade
from ledger.application.season_report import money
from ledger.application.season_standing import Standing

WORTH_PLANNING_PPM = 20_000
"""How far above the best possible the plan in force may be before the page says to plan again."""


def sum_words(made: PlanMade, standing: Standing | None = None) -> str:
    """What the plan on the desk costs, what no plan can cost less than, and whether to plan again."""
    plan = made.plan
    if made.in_force and standing is not None:
        return _stands(made, standing)
    bound = (
        " How near it is to the best possible is not known."
        if plan.bound_milli is None
        else f" No plan can cost less than {money(made, plan.bound_milli)}: it is at most {(plan.gap_ppm or 0) / 1e4:.2f} % away."
    )
    rule = f" The best simple rule ({plan.rule}) would cost {money(made, plan.rule_milli)}."
    how = "changed by hand" if plan.changed == "changed by hand" else f"found in {made.seconds:.1f} s"
    stopped = ", when it was stopped: the best so far" if plan.stopped else ""
    weeks = f"{made.problem.weeks[0].label} to {made.problem.weeks[-1].label}"
    return f"{len(plan.lines)} lines from {weeks}, cost {money(made, plan.cost_milli)}, {how}{stopped}.{bound}{rule}"


def _stands(made: PlanMade, standing: Standing) -> str:
    """The plan in force in one breath: what is left of it, what it costs from here, and whether to plan again."""
    plan, last = made.plan, made.problem.weeks[-1].label
    text = (
        f"Plan {standing.plan}, adopted on {standing.adopted}, is in force until {last}. With today's stock and demand its "
        f"{standing.batches} batches still to make cost {money(made, plan.cost_milli)}"
    )
    if plan.bound_milli is not None:
        text += f"; no plan from here can cost less than {money(made, plan.bound_milli)}"
    text += "."
    if standing.behind:
        one = standing.behind == 1
        text += f" {standing.behind} {'batch' if one else 'batches'} due by now {'was' if one else 'were'} not made."
    if (plan.gap_ppm or 0) > WORTH_PLANNING_PPM:
        text += " Make the plan anew: the shop has moved on since it was made."
    return text


__all__ = ["sum_words"]
