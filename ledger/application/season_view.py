"""Figures behind the Season page: cumulated demand with its band against what the plan supplies and what the hands could make."""

from __future__ import annotations

from itertools import accumulate

import pandas as pd

from ledger.application.season_plan import PlanMade
from ledger.planning.day import HANDS

COLUMNS = ["week", "mean", "low", "high", "supply", "could"]


def cumulated(made: PlanMade, item: str = "") -> pd.DataFrame:
    """Kilograms cumulated from the first week planned, for one item or (empty) all of them.

    ``mean``, ``low``, ``high``: demand with its 80 % band, calibrated on sums. ``supply``: stock now and what the plan makes. ``could``: the same
    and what the hands left free could make on top.
    """
    plan, problem = made.plan, made.problem
    rows = [r for r in plan.items if not item or r.item == item]
    items = [problem.item(r.item) for r in rows]
    demand = [sum(r.demand[t] for r in rows) / 1000 for t in range(len(problem.weeks))]
    made_kg = [sum(r.made[t] for r in rows) / 1000 for t in range(len(problem.weeks))]
    opening = sum(i.opening_g for i in items) / 1000
    batch = sum(i.batch_g for i in items) / max(1, len(items)) / 1000
    hands = sum(i.minutes.get(HANDS, 0) for i in items) / max(1, len(items))
    free = [max(0, w.hands_there - w.hands_used) / hands * batch if hands else 0.0 for w in plan.weeks]
    mean = list(accumulate(demand))
    band = _ratios(made, items[0].flavour if item and items else "*")
    ratios = [_between(band, n) for n in range(1, len(mean) + 1)]
    supply = [opening + x for x in accumulate(made_kg)]
    could = [s + f for s, f in zip(supply, accumulate(free), strict=True)]
    data = zip((w.label for w in problem.weeks), mean, (m * r[0] for m, r in zip(mean, ratios, strict=True)),
               (m * r[1] for m, r in zip(mean, ratios, strict=True)), supply, could, strict=True)  # fmt: skip
    frame = pd.DataFrame(list(data), columns=COLUMNS)
    for name in ("low", "high"):
        frame[name] = frame[name].cummax()
    return frame


def _ratios(made: PlanMade, flavour: str) -> list[tuple[int, float, float]]:
    """(weeks, low / mean, high / mean) of the sums that are calibrated, shortest first."""
    table = made.asked.forecast.result.cumulated
    level = "shop" if flavour == "*" else "flavour"
    rows = table[(table["level"] == level) & (table["flavour"] == flavour) & (table["mean"] > 0)]
    numbers = rows[["weeks", "q10", "q90", "mean"]].to_numpy(dtype=float)
    return sorted((int(n), float(low / mean), float(high / mean)) for n, low, high, mean in numbers)


def _between(points: list[tuple[int, float, float]], at: int) -> tuple[float, float]:
    if not points:
        return 1.0, 1.0
    before, after = [p for p in points if p[0] <= at], [p for p in points if p[0] >= at]
    if not before or not after:
        only = before[-1] if before else after[0]
        return only[1], only[2]
    one, two = before[-1], after[0]
    share = 0.0 if one[0] == two[0] else (at - one[0]) / (two[0] - one[0])
    return one[1] + share * (two[1] - one[1]), one[2] + share * (two[2] - one[2])


__all__ = ["COLUMNS", "cumulated"]
