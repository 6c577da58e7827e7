"""The days of a plan: which are shut, how much of the running week is left, and when a batch must be made before customers."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pandas as pd

from ledger.analytics.compare import monday, week_of
from ledger.analytics.forecast_input import closed_days, days, open_of
from ledger.analytics.weekdays import Weights
from ledger.application.season_history import announced
from ledger.domain.books import entries as e
from ledger.errors import BadInput
from ledger.forecast.calendar import week_number
from ledger.planning import ShowTime
from ledger.quantities import time_span


def shut_days(on: Any) -> set[str]:
    rows = [(p.from_day, p.to_day, p.flavour, p.channel, p.kind) for p in announced(on, "closure")]
    return closed_days(pd.DataFrame(rows, columns=["from_day", "to_day", "flavour", "channel", "kind"]))


def left_open(site: e.Site, start: date, today: date, shut: set[str], weekdays: Weights) -> float:
    """Share of the week's usual sales that is still to come, today's included; ``weekdays``: what each sells, in ordinary days."""
    there = open_of(week_of(start), site.open_days, shut)
    whole = sum(weekdays[d.isoweekday()] for d in there)
    return sum(weekdays[d.isoweekday()] for d in there if d >= today) / whole if whole else 0.0


def show_times(on: Any, labels: list[str], today: date, shut: set[str], notes: list[str]) -> list[ShowTime]:
    """Shows announced, each of their days as week, making day of that week and minutes of the day. Older entries begin their note with the time.

    The days of a week are counted as the planner counts them: making days that are not shut, from today on in the running week.
    """
    found = []
    for paper in announced(on, "show"):
        try:
            start, end = time_span(paper.at or (paper.note.split() or [""])[0])
        except BadInput:
            notes.append(
                f"The show on {paper.from_day} does not say from when to when (`14:00-15:30`); it is left out."
            )
            continue
        for day in days(paper.from_day, paper.to_day):
            label = week_of(day)
            if day < today or label > labels[-1]:
                continue
            first = max(today, monday(label))
            making = [d for d in days(first.isoformat(), (monday(label) + timedelta(days=6)).isoformat())
                      if d.isoweekday() in on.site.making_days and d.isoformat() not in shut]  # fmt: skip
            if day not in making:
                notes.append(
                    f"The show on {day} is on a day on which nothing is made; it is left out. Make that day a making day, or move the show."
                )
                continue
            week = week_number(label) - week_number(labels[0])
            found.append(ShowTime(week=week, day=making.index(day), start=start, end=end))
    return found


__all__ = ["left_open", "show_times", "shut_days"]
