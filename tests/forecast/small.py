"""Small made-up tables for tests of the forecast; demo figures, no source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from ledger.forecast import DemandHistory
from ledger.forecast.calendar import week_number, week_text


def steady(
    weeks: int = 130,
    first: str = "2022-W01",
    levels: tuple[tuple[str, str, float], ...] = (
        ("lime", "counter", 20.0),
        ("lime", "post", 8.0),
        ("rose", "counter", 30.0),
    ),
    seed: int = 1,
) -> DemandHistory:
    """Poisson sales with a mild Christmas, the same shape for everybody."""
    rng = np.random.default_rng(seed)
    start = week_number(first)
    rows = []
    for flavour, channel, level in levels:
        for t in range(weeks):
            name = week_text(start + t)
            peak = 1.8 if 47 <= int(name[-2:]) <= 51 else 1.0
            rows.append((name, flavour, channel, int(rng.poisson(level * peak))))
    return DemandHistory(pd.DataFrame(rows, columns=["week", "flavour", "channel", "units"]))


def with_sales(history: DemandHistory, *rows: tuple[str, str, str, int]) -> DemandHistory:
    """The same history with rows of sales added."""
    extra = pd.DataFrame(list(rows), columns=["week", "flavour", "channel", "units"])
    return replace(history, sales=pd.concat([history.sales, extra], ignore_index=True))
