"""How wrong a forecast was, in the usual measures. Weeks that were short are left out before anything is averaged.

MASE: Hyndman and Koehler 2006, *Int. J. Forecasting* 22, 679-688. sMAPE as in the M3 competition: Makridakis and Hibon
2000, *Int. J. Forecasting* 16, 451-476. Pinball loss: Koenker and Bassett 1978, *Econometrica* 46, 33-50.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from ledger.errors import BadInput
from ledger.forecast.history import Floats
from ledger.forecast.settings import QUANTILES

QUANTILE_COLUMNS = tuple(f"q{round(q * 100):02d}" for q in QUANTILES)


def _pair(actual: ArrayLike, forecast: ArrayLike) -> tuple[Floats, Floats]:
    a, f = np.asarray(actual, dtype=float), np.asarray(forecast, dtype=float)
    if a.shape != f.shape or a.size == 0:
        raise BadInput(f"nothing to score: {a.size} actual values against {f.size} forecasts")
    return a, f


def mase(actual: ArrayLike, forecast: ArrayLike, history: ArrayLike, period: int) -> float:
    """Mean absolute error over the in-sample mean absolute error of seasonal naive with lag ``period``."""
    a, f = _pair(actual, forecast)
    past = np.asarray(history, dtype=float)
    if past.size <= period:
        raise BadInput(f"MASE needs more than {period} past values, got {past.size}", limit=period)
    return float(np.abs(a - f).mean() / np.abs(past[period:] - past[:-period]).mean())


def smape(actual: ArrayLike, forecast: ArrayLike) -> float:
    """Symmetric mean absolute percentage error, in percent (0..200)."""
    a, f = _pair(actual, forecast)
    return float(200 * np.mean(np.abs(a - f) / (np.abs(a) + np.abs(f))))


def wape(actual: ArrayLike, forecast: ArrayLike) -> float:
    """Sum of absolute errors over the sum of actuals."""
    a, f = _pair(actual, forecast)
    return float(np.abs(a - f).sum() / a.sum())


def bias(actual: ArrayLike, forecast: ArrayLike) -> float:
    """(forecast - actual) over actual, both summed: above 0 is too much."""
    a, f = _pair(actual, forecast)
    return float((f - a).sum() / a.sum())


def pinball(actual: ArrayLike, quantile_forecast: ArrayLike, probability: float) -> float:
    """Mean pinball loss of one quantile."""
    a, f = _pair(actual, quantile_forecast)
    gap = a - f
    return float(np.mean(np.maximum(probability * gap, (probability - 1) * gap)))


def coverage(actual: ArrayLike, low: ArrayLike, high: ArrayLike) -> float:
    """Share of actuals inside the band, its ends included."""
    a, lower = _pair(actual, low)
    return float(np.mean((a >= lower) & (a <= np.asarray(high, dtype=float))))


def score_table(weekly: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Measures of a backtest's weekly frame per group, with counts.

    Columns: n, origins, mase_ratio (mean MASE over series / that of seasonal
    naive; unknown for totals), error_ratio (summed absolute error
    over that of seasonal naive), wape, bias, coverage_80, coverage_50, pinball_ratio.
    """
    fair = weekly[weekly["fair"]]
    if fair.empty:
        raise BadInput("no week can be scored: every one was short, closed or outside its window")
    rows = []
    for key, part in fair.groupby(by, sort=True, observed=True):
        names = key if isinstance(key, tuple) else (key,)
        rows.append(dict(zip(by, names, strict=True)) | _measures(part))
    return pd.DataFrame(rows)


def _measures(part: pd.DataFrame) -> dict[str, float]:
    actual, mean, naive = (part[c].to_numpy(dtype=float) for c in ("actual", "mean", "naive"))
    error, naive_error = np.abs(actual - mean), np.abs(actual - naive)
    scale = part["mase_scale"].to_numpy(dtype=float)
    per = pd.DataFrame({"f": part["flavour"], "c": part["channel"], "e": error / scale, "n": naive_error / scale})
    each = per[np.isfinite(scale) & (scale > 0)].groupby(["f", "c"], observed=True)[["e", "n"]].mean()
    ours = sum(pinball(actual, part[c], p) for c, p in zip(QUANTILE_COLUMNS, QUANTILES, strict=True))
    theirs = sum(pinball(actual, part[f"naive_{c}"], p) for c, p in zip(QUANTILE_COLUMNS, QUANTILES, strict=True))
    total = actual.sum()
    return {
        "n": float(len(part)),
        "origins": float(part["origin"].nunique()),
        "mase_ratio": float(each["e"].mean() / each["n"].mean()) if len(each) else np.nan,
        "error_ratio": float(error.sum() / naive_error.sum()) if naive_error.sum() > 0 else np.nan,
        "wape": float(error.sum() / total) if total > 0 else np.nan,
        "bias": float((mean - actual).sum() / total) if total > 0 else np.nan,
        "coverage_80": coverage(actual, part["q10"], part["q90"]),
        "coverage_50": coverage(actual, part["q25"], part["q75"]),
        "pinball_ratio": float(ours / theirs) if theirs > 0 else np.nan,
    }
