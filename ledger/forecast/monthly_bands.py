"""Bands of a monthly forecast, from how wrong the same pool of methods was at earlier months of the same series.

Split conformal as for weeks (Vovk, Gammerman and Shafer 2005), on the ratio of what came to what was said: every earlier origin with two whole
years behind it is replayed, and ratios are pooled over the series and over months about as far ahead.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ledger.forecast.fallback import forecast_months
from ledger.forecast.history import Floats

LEAST_RATIOS = 20
"""Fewer errors than these tell nothing about a tenth of all cases."""
MOST_ORIGINS = 12
MOST_FITS = 24
"""Earlier origins replayed in all, spread over a year of each series: each takes some tenths of a second."""
GUESS = (0.5, 1.6)
"""Low and high of a band that is a guess, as shares of what is expected; common practice, no source."""


def monthly_ratios(histories: Sequence[Floats], horizon: int, period: int = 12) -> list[list[float]]:
    """What came over what was said, per month ahead, from the last origins of every series that leave two years behind and a month ahead."""
    found: list[list[float]] = [[] for _ in range(horizon)]
    most = max(2, min(MOST_ORIGINS, MOST_FITS // max(1, len(histories))))
    for y in histories:
        first = max(2 * period, y.size - MOST_ORIGINS)
        for origin in np.unique(np.linspace(first, y.size - 1, most).round().astype(int)) if y.size > first else ():
            said = forecast_months(y[:origin], min(horizon, y.size - origin), period).mean
            for ahead, (came, mean) in enumerate(zip(y[origin:], said, strict=False)):
                if mean > 0:
                    found[ahead].append(float(came / mean))
    return found


def monthly_bands(ratios: Sequence[Sequence[float]], low: float = 0.1, high: float = 0.9) -> tuple[Floats, bool]:
    """Shares of what is expected, shape (months ahead, 2), and whether they are a guess.

    A month with too few errors of its own takes those of the months nearer by too; bands never narrow further ahead.
    """
    pooled: list[float] = []
    out = np.tile(np.array(GUESS), (len(ratios), 1))
    guess = True
    for ahead, mine in enumerate(ratios):
        pooled = [*(pooled if len(mine) < LEAST_RATIOS else ()), *mine]
        if len(pooled) >= LEAST_RATIOS:
            n = len(pooled)
            ends = np.quantile(pooled, [max(0.0, low - low / n), min(1.0, high + (1 - high) / n)])
            before = out[ahead - 1] if ahead and not guess else (1.0, 1.0)
            out[ahead] = min(ends[0], before[0], 1.0), max(ends[1], before[1], 1.0)
            guess = False
        elif not guess:
            out[ahead] = out[ahead - 1]
    return out, guess


__all__ = ["monthly_bands", "monthly_ratios"]
