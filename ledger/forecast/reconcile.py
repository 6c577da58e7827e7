"""Making numbers at several levels agree, and laying an owner's judgement over a forecast so that they still do.

Our own forecasts are summed from the bottom and agree by construction. Weighted least squares with structural weights
(Wickramasuriya, Athanasopoulos and Hyndman 2019, *J. Am. Stat. Assoc.* 114, 804-819; weights: how many bottom series a
row sums) reconciles forecasts that do not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from ledger.errors import BadInput
from ledger.forecast.forecast import Forecast
from ledger.forecast.history import Floats
from ledger.forecast.levels import ALL
from ledger.forecast.scoring import QUANTILE_COLUMNS


def bottom_up(sums: ArrayLike, bottom: ArrayLike) -> Floats:
    """All rows from the bottom ones: ``sums`` is the 0/1 matrix rows x bottom."""
    out: Floats = np.asarray(sums, dtype=float) @ np.asarray(bottom, dtype=float)
    return out


def wls_struct(sums: ArrayLike, base: ArrayLike) -> Floats:
    """The coherent forecasts nearest to ``base`` (one per row of ``sums``), errors weighted by 1 / bottom series."""
    matrix = np.asarray(sums, dtype=float)
    given = np.asarray(base, dtype=float)
    if matrix.ndim != 2 or given.shape[0] != matrix.shape[0]:
        raise BadInput(f"{given.shape[0]} base forecasts do not fit a hierarchy of {matrix.shape[0]} rows")
    weighted = matrix / matrix.sum(axis=1, keepdims=True)
    bottom = np.linalg.solve(matrix.T @ weighted, weighted.T @ given)
    out: Floats = matrix @ bottom
    return out


def whole_units(values: ArrayLike) -> NDArray[np.int64]:
    """Whole numbers that add up to the rounded total: largest remainders get the units that are left."""
    exact = np.asarray(values, dtype=float)
    floor = np.floor(exact)
    left = round(exact.sum()) - int(floor.sum())
    order = np.argsort(-(exact - floor), kind="stable")
    out: NDArray[np.int64] = floor.astype(np.int64)
    out[order[:left]] += 1
    return out


@dataclass(frozen=True, slots=True)
class Override:
    """The owner's word: this many units of a flavour, channel or the shop over some weeks, and the reason.

    ``*`` stands for all flavours or all channels. The caller keeps it as an event beside what the model said.
    """

    flavour: str
    channel: str
    from_week: str
    to_week: str
    units: float
    reason: str

    def __post_init__(self) -> None:
        if not self.reason.strip():
            raise BadInput("an override needs a reason, so that next year somebody knows why", units=self.units)
        if self.units < 0 or self.from_week > self.to_week:
            raise BadInput(
                f"an override needs 0 units or more and weeks in order, got {self.units} from {self.from_week} to "
                f"{self.to_week}",
                units=self.units,
            )


def apply_override(result: Forecast, override: Override) -> Forecast:
    """The forecast with the override spread down to series and weeks, and summed up again.

    The difference is spread by variance, read from each cell's own band: the less is known of a cell, the more of the
    difference it takes. No cell falls below 0 and a structural zero stays 0. Quantiles move in proportion to the mean.
    ``weekly`` gains ``model_mean``, what the model had said, and ``reason``. Cumulated sums move likewise.

    Raises:
        BadInput: the override names no forecast week, or all its cells are closed or out of season.
    """
    weekly = result.weekly.copy()
    if "model_mean" not in weekly:
        weekly["model_mean"], weekly["reason"] = weekly["mean"], ""
    bottom = weekly["level"] == "series"
    mine = bottom & weekly["week"].between(override.from_week, override.to_week)
    if override.flavour != ALL:
        mine &= weekly["flavour"] == override.flavour
    if override.channel != ALL:
        mine &= weekly["channel"] == override.channel
    cells = weekly.loc[mine]
    if cells.empty or not (cells["mean"] > 0).any():
        raise BadInput(
            f"no open week of {override.flavour} in {override.channel} lies between {override.from_week} and "
            f"{override.to_week} in this forecast ({result.origin}, {result.horizon} weeks)",
            flavour=override.flavour,
            channel=override.channel,
        )
    mean = cells["mean"].to_numpy(dtype=float)
    spread = ((cells["q90"] - cells["q10"]).to_numpy(dtype=float) / 2.563) ** 2
    weekly.loc[mine, "mean"] = spread_difference(mean, np.where(mean > 0, spread + 1e-9, 0.0), override.units)
    weekly.loc[mine, "reason"] = override.reason
    before = weekly["mean"].copy()
    before[mine] = mean
    weekly = _resummed(weekly)
    factor = np.divide(weekly["mean"], before, out=np.ones(len(weekly)), where=(before > 0).to_numpy())
    for name in QUANTILE_COLUMNS:
        weekly[name] = weekly[name] * factor
    return replace(result, weekly=weekly, cumulated=_cumulated_moved(result.cumulated, weekly))


def spread_difference(mean: Floats, variance: Floats, total: float) -> Floats:
    """Means moved to add up to ``total``, the difference shared by variance; nobody below 0, fixed where variance is 0."""
    out = mean.astype(float).copy()
    for _ in range(len(mean) + 1):
        gap = total - out.sum()
        free = (variance > 0) & ((out > 0) | (gap > 0))
        if abs(gap) <= 1e-9 * max(total, 1.0) or not free.any():
            break
        out[free] = np.maximum(out[free] + gap * variance[free] / variance[free].sum(), 0.0)
    return out


def _resummed(weekly: pd.DataFrame) -> pd.DataFrame:
    series = weekly[weekly["level"] == "series"]
    for level, keys in (("flavour", ["flavour", "week"]), ("channel", ["channel", "week"]), ("shop", ["week"])):
        sums = series.groupby(keys)["mean"].sum()
        here = weekly["level"] == level
        index = pd.MultiIndex.from_frame(weekly.loc[here, keys]) if len(keys) > 1 else weekly.loc[here, "week"]
        weekly.loc[here, "mean"] = sums.reindex(index).to_numpy()
    return weekly


def _cumulated_moved(cumulated: pd.DataFrame, weekly: pd.DataFrame) -> pd.DataFrame:
    out = cumulated.copy()
    if "model_mean" not in out:
        out["model_mean"] = out["mean"]
    keys = ["level", "flavour", "channel"]
    running = weekly[[*keys, "week", "mean"]].sort_values("week", kind="stable")
    running["mean"] = running.groupby(keys)["mean"].cumsum()
    moved = out[[*keys, "to_week"]].merge(running, left_on=[*keys, "to_week"], right_on=[*keys, "week"], how="left")
    fresh, old = moved["mean"].to_numpy(dtype=float), out["mean"].to_numpy(dtype=float)
    factor = np.divide(fresh, old, out=np.ones(len(out)), where=old > 0)
    for name in QUANTILE_COLUMNS:
        out[name] = out[name] * factor
    out["mean"] = fresh
    return out
