"""A week beside the weeks before it and the same ISO week of last year."""

from __future__ import annotations

import re
from datetime import date, timedelta

import numpy as np
import pandas as pd

from ledger.analytics.flows import FLOWS
from ledger.analytics.yields import RATIOS, with_ratios

BEFORE = 4
_WEEK = re.compile(r"(\d{4})-W(\d{2})")


def monday(week: str) -> date:
    """The Monday of an ISO 8601 week such as `2026-W44`. Raises ValueError for what is no week (`2025-W53`)."""
    match = _WEEK.fullmatch(week)
    if not match:
        raise ValueError(f"`{week}` is no ISO week.")
    return date.fromisocalendar(int(match[1]), int(match[2]), 1)


def week_of(day: date) -> str:
    """The ISO week a day lies in."""
    year, number, _ = day.isocalendar()
    return f"{year:04d}-W{number:02d}"


def shift(week: str, weeks: int) -> str:
    """The week so many weeks later (negative: earlier)."""
    return week_of(monday(week) + timedelta(weeks=weeks))


def same_week_last_year(week: str) -> str:
    """The week of the same number a year before; week 53, which most years lack, is set against week 52."""
    year, number = int(week[:4]) - 1, int(week[6:])
    try:
        return week_of(date.fromisocalendar(year, number, 1))
    except ValueError:
        return week_of(date.fromisocalendar(year, number - 1, 1))


def compare(totals: pd.DataFrame, week: str) -> pd.DataFrame:
    """Each figure of the week beside the mean of the four weeks before and the same week of last year.

    Args:
        totals: `flows` by ``week``, one row a week that had any movement.
        week: the week looked at.

    Returns:
        ``measure`` (a flow or a ratio), ``this``, ``before`` (mean over the four weeks before that had movements; ratios from the summed
        figures, not the mean of ratios), ``change_ratio`` ((this - before) / before for flows; this - before for ratios, in shares),
        ``last_year``, ``year_change_ratio``. Floats; NaN where there is nothing to compare with.
    """
    earlier = [shift(week, -n) for n in range(1, BEFORE + 1)]
    weeks = max(1, int(totals["week"].isin(earlier).sum()))
    spans = ([week], earlier, [same_week_last_year(week)])
    there = [totals["week"].isin(span).to_numpy() for span in spans]
    moved = totals[list(FLOWS)].to_numpy(dtype=np.int64)
    summed = np.stack([moved[found].sum(axis=0) for found in there])
    figures = with_ratios(pd.DataFrame(summed, columns=list(FLOWS)))
    measures = [*FLOWS, *RATIOS]
    rows = []
    for name, values in zip(measures, figures[measures].to_numpy(dtype=np.float64).T.tolist(), strict=True):
        share = name in RATIOS
        this, then, year = (v if found.any() else float("nan") for v, found in zip(values, there, strict=True))
        if not share:
            then /= weeks
        rows.append((name, this, then, _change(this, then, share), year, _change(this, year, share)))
    return pd.DataFrame(rows, columns=["measure", "this", "before", "change_ratio", "last_year", "year_change_ratio"])


def _change(this: float, then: float, share: bool) -> float:
    if share:
        return this - then
    return (this - then) / abs(then) if then else float("nan")


__all__ = ["BEFORE", "compare", "monday", "same_week_last_year", "shift", "week_of"]
