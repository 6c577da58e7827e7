"""The forecast in whole packs: every total shown is the sum of its parts, to the pack, in tables, JSON and CSV alike."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ledger.analytics.whole_packs import whole_packs
from ledger.forecast import Forecast, Override

QUANTILES = ("q10", "q25", "q50", "q75", "q90")
ROUNDED = "Whole packs, rounded so that every total is the sum of its parts."
ALL = "*"


def in_whole_packs(result: Forecast, overrides: Sequence[Override] = ()) -> tuple[pd.DataFrame, pd.DataFrame]:
    """``weekly`` and ``cumulated`` of a forecast with whole numbers; ``model_mean`` is what the model said where nobody says otherwise.

    Means of flavours, channels, the shop and spans of weeks are sums of the whole packs of each flavour in each channel and week. What the owner
    set is met to the pack. Marks of a band are rounded each by itself (they do not add up) and never cross the mean.
    """
    weekly = result.weekly.assign(model_mean=result.weekly.get("model_mean", result.weekly["mean"]))
    series = weekly[weekly["level"] == "series"]
    keys = series[["flavour", "channel"]].drop_duplicates().reset_index(drop=True)
    weeks = sorted(weekly["week"].unique())
    groups = (keys["flavour"].tolist(), keys["channel"].tolist())
    masks = [_cells(o, keys, weeks) for o in overrides]
    cells = {}
    for name in ("mean", "model_mean"):
        packs = series[name].to_numpy(dtype=float).reshape(len(keys), len(weeks))
        cells[name] = whole_packs(packs, groups, masks)
    parts = series[["flavour", "channel", "week"]].assign(**{name: found.ravel() for name, found in cells.items()})
    weekly, cumulated = _summed(weekly, parts), _spans(result.cumulated, parts, weeks)
    return _banded(weekly), _banded(cumulated)


def _cells(said: Override, keys: pd.DataFrame, weeks: list[str]) -> np.ndarray:
    mine = keys["flavour"].isin([said.flavour]) | (said.flavour == ALL)
    mine &= keys["channel"].isin([said.channel]) | (said.channel == ALL)
    when = np.array([said.from_week <= week <= said.to_week for week in weeks])
    return np.asarray(mine.to_numpy()[:, None] & when[None, :])


def _summed(weekly: pd.DataFrame, parts: pd.DataFrame) -> pd.DataFrame:
    out = weekly.copy()
    for name in ("mean", "model_mean"):
        out[name] = 0
        for level, keys in LEVELS.items():
            here = (out["level"] == level).to_numpy()
            sums = parts.groupby(keys)[name].sum()
            at = pd.MultiIndex.from_frame(out.loc[here, keys]) if len(keys) > 1 else out.loc[here, keys[0]]
            out.loc[here, name] = sums.reindex(at).to_numpy()
    return out


def _spans(cumulated: pd.DataFrame, parts: pd.DataFrame, weeks: list[str]) -> pd.DataFrame:
    out = cumulated.assign(model_mean=0)
    for name in ("mean", "model_mean"):
        figures = []
        running = {
            level: parts.groupby([k for k in keys if k != "week"] + ["week"])[name].sum().to_dict()
            for level, keys in LEVELS.items()
        }
        for row in out[["level", "flavour", "channel", "from_week", "to_week"]].itertuples(index=False):
            who = tuple(getattr(row, k) for k in LEVELS[str(row.level)] if k != "week")
            span = [w for w in weeks if str(row.from_week) <= w <= str(row.to_week)]
            figures.append(sum(int(running[str(row.level)].get((*who, w) if who else w, 0)) for w in span))
        out[name] = figures
    return out


def _banded(frame: pd.DataFrame) -> pd.DataFrame:
    out = frame.copy()
    for name in (*QUANTILES, "firm"):
        out[name] = out[name].round()
    out["q10"], out["q90"] = np.minimum(out["q10"], out["mean"]), np.maximum(out["q90"], out["mean"])
    return out.astype(dict.fromkeys(("mean", "model_mean", "firm", *QUANTILES), "int64"))


LEVELS = {
    "series": ["flavour", "channel", "week"],
    "flavour": ["flavour", "week"],
    "channel": ["channel", "week"],
    "shop": ["week"],
}

__all__ = ["ROUNDED", "in_whole_packs"]
