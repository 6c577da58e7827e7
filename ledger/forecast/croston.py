"""Croston's method for sales that come now and then (Croston 1972, *Operational Research Quarterly* 23, 289-303).

A yardstick for slow all-year flavours. It is no use for flavours of a season: their gaps are the calendar's, not
chance's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ledger.errors import BadInput


@dataclass(frozen=True, slots=True)
class Croston:
    """Smoothed size of a sale, smoothed weeks between sales, and the rates per week: plain and bias-corrected.

    ``corrected`` is the Syntetos-Boylan approximation (2005, *Int. J. Forecasting* 21, 303-314).
    """

    size: float
    interval: float
    rate: float
    corrected: float


def croston(history: ArrayLike, smoothing: float = 0.1) -> Croston:
    """Smooth sizes and intervals of a series of counts, oldest first; both start from the first sale.

    Raises:
        BadInput: smoothing outside 0..1, or no sale at all.
    """
    y = np.asarray(history, dtype=float)
    if not 0 < smoothing <= 1:
        raise BadInput(f"smoothing {smoothing} must lie above 0 and at most 1", value=smoothing)
    sold = np.flatnonzero(y > 0)
    if sold.size == 0:
        raise BadInput("Croston's method needs at least one sale; this series has none")
    sizes, gaps = y[sold], np.diff(np.concatenate([[-1], sold])).astype(float)
    size, interval = float(sizes[0]), float(gaps[0])
    for s, g in zip(sizes[1:], gaps[1:], strict=True):
        size += smoothing * (float(s) - size)
        interval += smoothing * (float(g) - interval)
    rate = size / interval
    return Croston(size, interval, rate, (1 - smoothing / 2) * rate)
