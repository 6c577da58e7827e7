"""The change a person tries on a plan, from the fields of the Season page."""

from __future__ import annotations

from typing import Any

from dashboard.components.season_table import short
from ledger.application.season_plan import PlanMade
from ledger.errors import BadInput
from ledger.planning.whatif import Change, day_added, demand_changed, design_dropped, helper_added, station_out


def change_of(made: PlanMade, what: str, flavour: str, percent: float, first: str, last: str) -> tuple[Change, str]:
    """The change a person asked for and its words. Raises BadInput with the way out."""
    labels = [w.label for w in made.problem.weeks]
    for week in (first, last):
        if week and week not in labels:
            raise BadInput(f"Week {week} is not in this plan; it runs from {labels[0]} to {labels[-1]}.", value=week)
    start = labels.index(first) if first else 0
    end = labels.index(last) if last else (start if first and what.startswith("kettle") else len(labels) - 1)
    if end < start:
        raise BadInput(f"The last week {last} lies before the first, {first}. Turn them round.", value=last)
    span, when = list(range(start, end + 1)), labels[start] if start == end else f"{labels[start]} to {labels[end]}"
    items = [key for key, (f, _) in made.asked.made_of.items() if f == flavour]
    if what in ("demand", "drop") and not items:
        raise BadInput(
            "That flavour is not in this plan: its season lies outside these weeks, or it has neither pack nor recipe.",
            value=flavour,
        )
    if what == "demand":
        return demand_changed(
            items, int(percent), start, end
        ), f"{made.name(items[0])} sells {percent:+.0f} % in {when}"
    if what.startswith("kettle"):
        name = what.partition(":")[2]
        known = {load.kettle for item in made.problem.items for load in item.loads}
        if name and name in known:
            return station_out(name, span), f"the {short(name)} is out in {when}"
        kettles = max(1, made.asked.floor.counts.get("kettle", 1))
        return station_out(
            "kettle", span, kettles
        ), f"{'the kettle' if kettles == 1 else f'one of {kettles} kettles'} is out in {when}"
    if what == "helper":
        return helper_added(span), f"one more helper shift a week in {when}"
    if what == "day":
        return day_added(span), f"one more making day a week in {when}"

    def dropped(problem: Any) -> Any:
        for key in items:
            problem = design_dropped(key)(problem)
        return problem

    return dropped, f"{made.name(items[0])} is dropped"


__all__ = ["change_of"]
