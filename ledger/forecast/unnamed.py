"""Weeks that beat the forecast every year: perhaps a feast, a fair or a market that nobody has named yet.

The yearly waves of the model are too smooth for two busy days, so a feast that is not in the book is seen only here, as
a week of the year that sold more than expected each time. It is told to the owner, who knows what it is. Until it is
named, ``recurring`` expects the same week of the year to be busy again, which is right only for a day that does not move.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from ledger.forecast.calendar import monday_of, week_of, week_text
from ledger.forecast.history import Floats
from ledger.forecast.lines import Lines
from ledger.forecast.pooled import Fit
from ledger.forecast.settings import ForecastSettings

YEAR = 52
LEAST_YEARS = 2
LEAST_EXCESS = 0.15
"""Less than so much above what was expected is not worth a note."""
CLEAR = 2.5
"""How many robust standard deviations above an ordinary week each year's week must lie."""
NEAR_WEEKS = 2
MOST_NOTES = 3


def unnamed_peaks(lines: Lines, fit: Fit, column: int, settings: ForecastSettings) -> list[str]:
    """Sentences about weeks of the year that beat the forecast in each of the last two or three years.

    The same feast may fall a week earlier or later, so each year's best of the week and its neighbours counts.
    """
    excess = _excess(lines, fit, column)
    if column < LEAST_YEARS * YEAR or not np.isfinite(excess).any():
        return []
    spread = 1.4826 * float(np.nanmedian(np.abs(excess - np.nanmedian(excess))))
    bar = max(LEAST_EXCESS, CLEAR * spread)
    found: list[tuple[float, int, list[int]]] = []
    for back in range(1, YEAR + 1):
        weeks = [t for k in range(3) if (t := column - back - YEAR * k) >= 1]
        best = [_best_near(excess, t, column) for t in weeks]
        if len(weeks) >= LEAST_YEARS and all(value > bar for value, _ in best):
            found.append((float(np.mean([value for value, _ in best])), back, [place for _, place in best]))
    notes: list[str] = []
    told: set[int] = set()
    for size, _, places in sorted(found, reverse=True):
        numbers = [lines.panel.first + t for t in places]
        if told & {n + d for n in numbers for d in (-2, -1, 0, 1, 2)} or named(numbers, settings):
            continue
        told |= set(numbers)
        *before, last = (week_text(n) for n in sorted(numbers))
        notes.append(
            f"The weeks {', '.join(before)} and {last} each sold about {100 * size:.0f} % more than expected, and no feast "
            "in the book lies near them. If there is a feast or a fair, enter its days, and the forecast will know it."
        )
    return notes[:MOST_NOTES]


def _excess(lines: Lines, fit: Fit, column: int) -> Floats:
    """Share by which all-year lines together sold more than expected each week before the origin, less the year's drift."""
    plain = slice(0, lines.all_year)
    used = fit.used[plain, :column]
    sold = np.where(used, lines.panel.units[plain, :column], 0.0).sum(axis=0)
    due = np.where(used, fit.mean[plain, :column] * lines.panel.exposure[plain, :column], 0.0).sum(axis=0)
    share = np.divide(sold, due, out=np.full(column, np.nan), where=due > 0)
    drift = np.array([_middle(share[max(t - 6, 0) : t + 7]) for t in range(column)])
    out: Floats = np.divide(share, drift, out=np.full(column, np.nan), where=drift > 0) - 1
    return out


def _middle(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else np.nan


def _best_near(excess: Floats, week: int, column: int) -> tuple[float, int]:
    near = [(float(excess[t]), t) for t in range(max(week - 1, 0), min(week + 2, column)) if np.isfinite(excess[t])]
    return max(near, default=(-1.0, week))


def named(numbers: list[int], settings: ForecastSettings) -> bool:
    """A ticked feast lies within two weeks of one of these weeks."""
    for number in numbers:
        monday = monday_of(number)
        first, last = monday - timedelta(weeks=NEAR_WEEKS), monday + timedelta(weeks=NEAR_WEEKS + 1)
        if any(abs(week_of(d) - number) <= NEAR_WEEKS for f in settings.feasts for d in f.days(first, last)):
            return True
    return False
