"""The plan in force, seen from today: which of its lines are still to make, which of them are frozen."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from ledger.analytics.compare import monday
from ledger.planning import Batches


def plan_in_force(on: Any) -> Any:
    """The newest adopted plan as known (None: there is none)."""
    papers = [p for position, p in on.queries.papers("plan") if position <= on.known]
    return papers[-1] if papers else None


def lines_in_force(
    on: Any, paper: Any, labels: list[str], origin: str, made_of: Mapping[str, tuple[str, str]]
) -> tuple[tuple[Batches, ...], tuple[Batches, ...], int]:
    """Frozen lines, kept lines and how many weeks are frozen, of the plan in force.

    A batch opened from one of its lines is taken off that line, whenever it was due; one made beside the plan this week off a line of this week.
    """
    if paper is None:
        return (), (), 0
    first = min(monday(origin), date.fromisoformat(paper.day) - timedelta(days=1))
    opened = on.queries.batches(first_day=first.isoformat())
    opened = opened[opened["status"] != "void"]
    names = set(opened["plan_line"])
    beside: dict[tuple[str, str], int] = {}
    for row in opened[(opened["day"] >= monday(origin).isoformat()) & (opened["position"] > paper.as_of)].to_dict(
        "records"
    ):
        if not str(row["plan_line"]).startswith(f"{paper.plan}/"):
            key = (str(row["flavour"]), str(row["design"]))
            beside[key] = beside.get(key, 0) + 1
    frozen: list[Batches] = []
    kept: list[Batches] = []
    for line in paper.lines:
        if line["item"] not in made_of or line["label"] not in labels:
            continue
        week, batches = labels.index(line["label"]), sum(name not in names for name in line["plan_lines"])
        if week == 0:
            thing = made_of[line["item"]]
            used = min(batches, beside.get(thing, 0))
            beside[thing] = beside.get(thing, 0) - used
            batches -= used
        if batches > 0:
            row = Batches(item=line["item"], week=week, batches=batches, kettle=str(line.get("kettle", "")))
            (frozen if line["label"] <= paper.frozen_until else kept).append(row)
    frozen_weeks = sum(label <= paper.frozen_until for label in labels)
    return tuple(frozen), tuple(kept), frozen_weeks


__all__ = ["lines_in_force", "plan_in_force"]
