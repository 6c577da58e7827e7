"""The change a person tries on a plan, from the fields of the Season page."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from dashboard.components.season_table import short
from ledger.application.season_plan import PlanMade
from ledger.domain.books import entries as e
from ledger.errors import BadInput
from ledger.planning.whatif import Change, day_added, demand_changed, design_dropped, helper_added, station_out

FEAST = "feast:"
"""What stands before a feast's id where a flavour is asked for: every flavour of that feast."""


def change_of(made: PlanMade, what: str, flavour: str, percent: float, first: str, last: str) -> tuple[Change, str]:
    """The change a person asked for and its words. Raises BadInput with the way out."""
    labels = [w.label for w in made.problem.weeks]
    first, last = week_named(first, labels), week_named(last, labels)
    for week in (first, last):
        if week and week not in labels:
            raise BadInput(f"Week {week} is not in this plan; it runs from {labels[0]} to {labels[-1]}.", value=week)
    start = labels.index(first) if first else 0
    end = labels.index(last) if last else (start if first and what.startswith("kettle") else len(labels) - 1)
    if end < start:
        raise BadInput(f"The last week {last} lies before the first, {first}. Turn them round.", value=last)
    span, when = list(range(start, end + 1)), labels[start] if start == end else f"{labels[start]} to {labels[end]}"
    feast = flavour.removeprefix(FEAST) if flavour.startswith(FEAST) else ""
    items = [
        key for key, (f, _) in made.asked.made_of.items() if (_for_feast(made, f, feast) if feast else f == flavour)
    ]
    if what in ("demand", "drop") and not items:
        said = f"No flavour for {_feast_name(made, feast)}" if feast else "That flavour"
        raise BadInput(
            f"{said} is {'' if feast else 'not '}in this plan: its season lies outside these weeks, or it has neither pack nor recipe.",
            value=flavour,
        )
    name = f"Everything for {_feast_name(made, feast)}" if feast else made.name(items[0]) if items else ""
    if what == "demand":
        when = when if first or last else "all these weeks"
        return demand_changed(items, int(percent), start, end), f"{name} sells {percent:+.0f} % in {when}"
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

    return dropped, f"{name} is dropped"


def feasts_of(flavour: e.Flavour) -> list[str]:
    """The feasts a flavour is sold for, by id; none for one sold all year."""
    return [id.strip() for id in flavour.feast.split(",") if id.strip()]


def _for_feast(made: PlanMade, flavour: str, feast: str) -> bool:
    known = made.asked.forecast.seen.on.book.find(e.Flavour, flavour)
    return known is not None and feast in feasts_of(known)


def _feast_name(made: PlanMade, feast: str) -> str:
    known = made.asked.forecast.seen.on.book.find(e.Feast, feast)
    return known.name if known is not None else feast


def week_named(text: str, labels: Sequence[str]) -> str:
    """A week as people write it, `2026-W50`, `w50` or `50`, as the plan names it; what is none of these, or not in the plan, stays as it is."""
    found = re.fullmatch(r"(?:(\d{4})-?)?[wW]?(\d{1,2})", text.strip())
    if found is None:
        return text.strip()
    end = f"W{int(found[2]):02d}"
    return next((x for x in labels if x.endswith(end) and x.startswith(found[1] or "")), text.strip())


__all__ = ["FEAST", "change_of", "feasts_of", "week_named"]
