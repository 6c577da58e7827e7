"""Forecasts nobody should lose to, always computed and shown beside ours: seasonal naive and its Easter-aligned kin."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ledger.forecast.calendar import easter, monday_of, week_of
from ledger.forecast.history import Floats, Panel

YEAR = 52


def seasonal_naive(panel: Panel, column: int, shift: NDArray[np.int64] | None = None) -> Floats:
    """What sold 52 weeks before, per series and week from ``column`` on, shape (series, weeks - column).

    A week that cannot be read a year back (not yet listed) falls back on the mean of the last eight weeks known.
    ``shift`` (weeks ahead,) moves the week that is looked up.
    """
    ahead = np.arange(column, panel.weeks)
    back = ahead - YEAR
    while np.any(back >= column):
        back = np.where(back >= column, back - YEAR, back)
    if shift is not None:
        back = np.minimum(back + shift, column - 1)
    usable = panel.usable(column, 0.0)
    out = np.zeros((panel.number_of_series, ahead.size))
    for s in range(panel.number_of_series):
        seen = np.flatnonzero(usable[s])
        recent = panel.units[s, seen[-8:]].mean() if seen.size else 0.0
        listed = int(seen[0]) if seen.size else column
        there = (back >= 0) & (back >= listed)
        out[s] = np.where(there, panel.units[s, np.maximum(back, 0)], recent)
    out[~panel.in_window[:, column:]] = 0.0
    return out


def easter_aligned_naive(panel: Panel, column: int) -> Floats:
    """Seasonal naive that, within nine weeks before and one after Easter, looks up the week as far from last Easter."""
    shift = np.zeros(panel.weeks - column, dtype=np.int64)
    for i, t in enumerate(range(column, panel.weeks)):
        number = panel.first + t
        day = easter(monday_of(number).year)
        gap = number - week_of(day)
        if -9 <= gap <= 1:
            before = week_of(easter(day.year - 1))
            shift[i] = before + gap - (number - YEAR)
    return seasonal_naive(panel, column, shift)


def naive_scale(panel: Panel, column: int) -> Floats:
    """In-sample mean absolute error of seasonal naive per series: the denominator of MASE (Hyndman and Koehler 2006).

    Only over weeks on the shelf, open and not short in both years; NaN where there is no such pair.
    """
    fair = panel.not_short() & panel.usable(column, 0.0)
    out = np.full(panel.number_of_series, np.nan)
    if column <= YEAR:
        return out
    both = fair[:, YEAR:column] & fair[:, : column - YEAR]
    error = np.abs(panel.units[:, YEAR:column] - panel.units[:, : column - YEAR])
    counts = both.sum(axis=1)
    known = counts > 0
    out[known] = (error * both).sum(axis=1)[known] / counts[known]
    return out
