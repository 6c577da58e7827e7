"""A plan just made beside what is left of the plan in force, both over the same weeks, on today's stock and demand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ledger.application.season_adopt import read_back
from ledger.application.season_plan import AS_IT_IS, PlanMade, told
from ledger.application.season_problem import Asked, problem_of
from ledger.errors import BadInput
from ledger.planning import Problem, replan
from ledger.planning.plan import Line, only_lines
from ledger.planning.problem import Batches

COSTED = replace(AS_IT_IS, rounds=-1, rules=False, hours=False)
"""The lines are costed as they are: nothing is searched and no bound looked for."""


@dataclass(frozen=True, slots=True)
class Beside:
    """The plan in force (`plan`, its name) and the new one, costed on one problem through the week `through`; the new plan's last week."""

    plan: str
    through: str
    old: PlanMade
    new: PlanMade
    looks_on_to: str


def beside(made: PlanMade) -> Beside | None:
    """What is left of the plan in force beside a plan made anew; None where none is in force, or it has no week left.

    Both are costed over the weeks that both cover, so a new plan that reaches further is not dearer for that. Hands are counted as the weeks have
    them, not cut back to the days of either plan.
    """
    paper = made.asked.in_force
    if paper is None:
        return None
    try:
        last = read_back(paper)[1].weeks[-1].label
    except (BadInput, IndexError):
        return None
    common = sum(week.label <= last for week in made.problem.weeks)
    if not common:
        return None
    asked = made.asked
    if common < len(asked.problem.weeks):
        asked = problem_of(asked.forecast, replace(asked.settings, weeks=common))
    kept = (*made.asked.problem.frozen, *made.asked.problem.kept)
    problem = replace(asked.problem, frozen=(), kept=(), frozen_weeks=0, kept_weeks=0)
    through = problem.weeks[-1].label
    old, new = _costed(asked, problem, kept), _costed(asked, problem, made.plan.lines, made.seconds)
    return Beside(paper.plan, through, old, new, made.problem.weeks[-1].label)


def _costed(asked: Asked, problem: Problem, lines: Sequence[Line | Batches], seconds: float = 0.0) -> PlanMade:
    """These lines, as far as the weeks of the problem go, as a plan of it."""
    labels = [week.label for week in problem.weeks]
    mine = tuple(
        Line(week=x.week, label=labels[x.week], item=x.item, batches=x.batches, grams=0, kettle=x.kettle)
        for x in lines
        if x.week < len(labels)
    )
    plan = replan(only_lines(mine), problem, effort=COSTED, changed="as it stands")
    return told(asked, problem, plan, (), seconds)


__all__ = ["Beside", "beside"]
