"""What a simulated shop hands to a test: tables as the ledger gives them, and the truth no shop ever sees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ledger.forecast.calendar import week_text
from ledger.forecast.history import DemandHistory
from ledger.forecast.settings import ForecastSettings

FIRST_WEEK = 105_600  # 2024-W44 or so; any number does


@dataclass(frozen=True)
class SimulatedShop:
    """A shop with a known demand rate per series and week."""

    history: DemandHistory
    settings: ForecastSettings
    flavours: tuple[str, ...]
    channels: tuple[str, ...]
    first: int
    rate: np.ndarray  # true mean demand, shape (series, weeks); series are flavour-major
    calm: np.ndarray  # the same but for how lucky each season is, likewise
    weeks: int
    failed: tuple[str, ...] = ()  # flavours whose season of the last year is made to fail

    def week(self, column: int) -> str:
        return week_text(self.first + column)


def tables(
    flavours: list[str],
    channels: list[str],
    first: int,
    demand: np.ndarray,
    sold: np.ndarray,
    share: np.ndarray,
    bulk: np.ndarray,
    promotion: np.ndarray,
    open_days: np.ndarray,
) -> DemandHistory:
    """Long tables out of grids; ``sold`` includes ``bulk``."""
    series = [(f, c) for f in flavours for c in channels]
    weeks = [week_text(first + t) for t in range(sold.shape[1])]

    def long(grid: np.ndarray, name: str, keep: np.ndarray) -> pd.DataFrame:
        at = np.argwhere(keep)
        return pd.DataFrame(
            {
                "week": [weeks[t] for _, t in at],
                "flavour": [series[s][0] for s, _ in at],
                "channel": [series[s][1] for s, _ in at],
                name: grid[keep],
            }
        )

    return DemandHistory(
        sales=long(sold.astype(np.int64), "units", sold > 0),
        exposure=long(share, "share", share < 1),
        open_days=pd.DataFrame({"week": weeks, "days": open_days.astype(float)}),
        promotions=long(promotion, "strength", promotion > 0),
        bulk_orders=long(bulk.astype(np.int64), "units", bulk > 0),
    )
