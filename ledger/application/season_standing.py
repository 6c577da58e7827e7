"""The season as it stands: today's stock and demand with what is left to make of the plan in force; nothing is planned anew."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import Any

from ledger.application import season_plan
from ledger.application.ledger import Ledger
from ledger.application.season_adopt import line_states, read_back
from ledger.application.season_forecast import make_forecast
from ledger.application.season_plan import BEYOND, MOST_AHEAD, PlanMade, Watch
from ledger.application.season_problem import problem_of
from ledger.application.season_settings import MOST_WEEKS, PlanSettings, settings_for
from ledger.domain.postings import iso_week
from ledger.errors import BadInput
from ledger.forecast.calendar import week_number
from ledger.planning import QUICK, Problem, Progress, replan
from ledger.planning.plan import Line, only_lines

WITHOUT_A_PLAN = 13
"""Weeks shown while no plan is in force."""


@dataclass(frozen=True, slots=True)
class Standing:
    """What is left of the plan in force on today's stock and demand; without one, the same with nothing made.

    plan, adopted: its name and day (empty: none is in force). batches: still to make. behind: batches due by now that were not made and for
    which no day is left in their week.
    """

    made: PlanMade
    plan: str = ""
    adopted: str = ""
    batches: int = 0
    behind: int = 0


def standing(ledger: Ledger, progress: Watch | None = None) -> Standing:
    """How the season stands today. No plan is searched for: the lines that are left are costed as they are, and a bound says what no plan could beat.

    Raises BadInput when there is nothing to forecast from.
    """
    began = time.perf_counter()
    if progress is not None:
        progress(Progress("forecast", 0, 1, 0, None))
    (paper, planned), week = _in_force(ledger), iso_week(ledger.today())
    weeks, settings = WITHOUT_A_PLAN, None
    if planned is not None:
        weeks = min(MOST_WEEKS, week_number(planned.weeks[-1].label) - week_number(week) + 1)
        settings = _settings(paper, weeks)
    settings = settings or settings_for(ledger, weeks=weeks)
    asked = problem_of(make_forecast(ledger, min(MOST_AHEAD, weeks + BEYOND)), settings)
    lines = (*asked.problem.frozen, *asked.problem.kept) if paper is not None else ()
    problem = replace(asked.problem, frozen=(), kept=(), frozen_weeks=0, kept_weeks=0)
    if planned is not None:
        problem = _as_cut_back(problem, planned, paper.settings.get("hands"))
    labels = [w.label for w in problem.weeks]
    left = tuple(
        Line(week=x.week, label=labels[x.week], item=x.item, batches=x.batches, grams=0, frozen=False, kettle=x.kettle)
        for x in lines
    )
    plan = replan(only_lines(left), problem, effort=replace(QUICK, moves=0), progress=progress, changed="as it stands")
    made = season_plan.told(asked, problem, plan, (), time.perf_counter() - began)
    if paper is None:
        return Standing(made)
    batches = sum(line.batches for line in plan.lines)
    waiting = sum(1 for s in line_states(ledger, paper) if s["label"] < week and not s["batch"])
    lost = sum(x.batches for x in asked.undone if x.week == 0)
    behind = waiting + lost + sum(x.batches for x in left) - batches
    return Standing(replace(made, in_force=paper.plan), paper.plan, paper.day, batches, behind)


def _in_force(ledger: Ledger) -> tuple[Any, Problem | None]:
    """The newest adopted plan, as long as its weeks last, with the problem it answers; else nothing twice."""
    papers = [p for _, p in ledger.queries.papers("plan")]
    if not papers:
        return None, None
    try:
        _, problem = read_back(papers[-1])
    except BadInput:
        return None, None
    lasts = problem.weeks and problem.weeks[-1].label >= iso_week(ledger.today())
    return (papers[-1], problem) if lasts else (None, None)


def _settings(paper: Any, weeks: int) -> PlanSettings | None:
    """The settings the plan was made with, for the weeks that are left; None where this version does not know them."""
    try:
        origins = paper.settings.get("origins", {})
        return PlanSettings(**(paper.settings["settings"] | {"weeks": max(1, weeks)}), origins=origins)
    except (KeyError, TypeError, BadInput):
        return None


def _as_cut_back(problem: Problem, planned: Problem, whole: list[int] | None) -> Problem:
    """The weeks cut back to what their days carry where the plan found that, as long as the hands of the week are those it counted with (`whole`)."""
    if not whole:
        return problem
    cut = {w.label: (there, w.hands_minutes) for w, there in zip(planned.weeks, whole, strict=False)}
    weeks = tuple(
        replace(w, hands_minutes=cut[w.label][1]) if w.label in cut and cut[w.label][0] == w.hands_minutes else w
        for w in problem.weeks
    )
    return replace(problem, weeks=weeks)


__all__ = ["Standing", "standing"]
