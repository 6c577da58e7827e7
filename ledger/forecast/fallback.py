"""Where only a monthly (or quarterly) series is known, without a calendar: the median of different methods.

No single automatic method is safe on short growing seasonal series; the median of several is. Four come from
``statsmodels`` (optional extra ``forecast-plus``): Holt-Winters with damped trend, the same on logs, Theta, and STL
with an exponentially smoothed remainder; the fifth, a ridge regression, needs no library and stands alone without the
extra. Where a method fails or is not installed its place is left empty and the result says so. A sanity cap keeps the median within what the series has ever
done in that season, with room for growth.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from ledger.errors import BadInput
from ledger.forecast.history import Floats

CAP_GROWTH = 1.5
"""A forecast may exceed the highest value the season has had, grown at the series' own rate, by half at most."""


@dataclass(frozen=True, eq=False)
class MonthlyForecast:
    """A monthly forecast: values, the methods whose median they are, what each said, and what was left out or capped."""

    mean: Floats
    members: dict[str, Floats]
    why: str
    left_out: dict[str, str] = field(default_factory=dict)


def forecast_months(history: ArrayLike, horizon: int, period: int = 12) -> MonthlyForecast:
    """Forecast ``horizon`` periods ahead of a plain series, oldest first.

    Args:
        history: at least two whole seasons of values, 0 or more.
        horizon: periods ahead, 1 or more.
        period: periods in a year: 12 for months, 4 for quarters.

    Raises:
        BadInput: too short, negative or unknown values, or no method could be run at all.
    """
    y = np.asarray(history, dtype=float)
    if horizon < 1:
        raise BadInput(f"horizon {horizon} must be 1 or more", value=horizon)
    if y.ndim != 1 or y.size < 2 * period:
        raise BadInput(
            f"a monthly forecast needs two whole years, {2 * period} values; got {y.size}. Wait, or enter older months",
            value=int(y.size),
            limit=2 * period,
        )
    if not np.isfinite(y).all() or (y < 0).any():
        raise BadInput("monthly values must be known and 0 or more; enter 0 for a month without sales")
    if y.max() <= 0:
        return MonthlyForecast(np.zeros(horizon), {}, "nothing was ever sold: zero")
    members: dict[str, Floats] = {}
    left_out: dict[str, str] = {}
    for name, method in METHODS.items():
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                said = np.maximum(method(y, horizon, period), 0.0)
        except ImportError:
            left_out[name] = "statsmodels is not installed (extra forecast-plus)"
        except (ValueError, np.linalg.LinAlgError, IndexError, ZeroDivisionError, OverflowError) as error:
            left_out[name] = f"failed on this series: {error}"
        else:
            if np.isfinite(said).all():
                members[name] = said
            else:
                left_out[name] = "gave no finite answer"
    middle = np.median(np.stack(list(members.values())), axis=0)
    cap = _cap(y, horizon, period)
    capped = int((middle > cap).sum())
    why = f"median of {len(members)}: {', '.join(members)}"
    if capped:
        why += f"; {capped} of {horizon} periods held at the sanity cap"
    if left_out:
        why += f"; without {', '.join(left_out)}"
    return MonthlyForecast(np.minimum(middle, cap), members, why, left_out)


def _cap(y: Floats, horizon: int, period: int) -> Floats:
    """The most that is believed of each period: its season's record, grown twice at the usual rate, and half more."""
    years = [y[i : i + period].sum() for i in range(y.size % period, y.size - period + 1, period)]
    rates = [b / a for a, b in pairwise(years) if a > 0]
    growth = float(np.clip(max([*rates, 1.0]), 1.0, 2.0))
    record = np.array([y[(y.size + h) % period :: period].max() for h in range(horizon)])
    ahead = np.arange(horizon) // period + 1
    cap: Floats = np.maximum(record, y[-period:].mean()) * growth**ahead * CAP_GROWTH
    return cap


def _holt_winters(y: Floats, horizon: int, period: int) -> Floats:
    from statsmodels.tsa.holtwinters import ExponentialSmoothing

    season = "mul" if y.min() > 0 else "add"
    model = ExponentialSmoothing(
        y, trend="add", damped_trend=True, seasonal=season, seasonal_periods=period, initialization_method="estimated"
    )
    return np.asarray(model.fit().forecast(horizon), dtype=float)


def _log_holt_winters(y: Floats, horizon: int, period: int) -> Floats:
    from statsmodels.tsa.holtwinters import ExponentialSmoothing

    model = ExponentialSmoothing(
        np.log1p(y),
        trend="add",
        damped_trend=True,
        seasonal="add",
        seasonal_periods=period,
        initialization_method="estimated",
    )
    return np.asarray(np.expm1(model.fit().forecast(horizon)), dtype=float)


def _theta(y: Floats, horizon: int, period: int) -> Floats:
    from statsmodels.tsa.forecasting.theta import ThetaModel

    model = ThetaModel(y, period=period, method="multiplicative" if y.min() > 0 else "additive")
    return np.asarray(model.fit().forecast(horizon), dtype=float)


def _stl(y: Floats, horizon: int, period: int) -> Floats:
    from statsmodels.tsa.holtwinters import SimpleExpSmoothing
    from statsmodels.tsa.seasonal import STL

    logs = np.log1p(y)
    parts = STL(logs, period=period, robust=True).fit()
    season = np.asarray(parts.seasonal)[-period:]
    level = SimpleExpSmoothing(logs - np.asarray(parts.seasonal), initialization_method="estimated").fit()
    ahead = np.asarray(level.forecast(horizon), dtype=float)
    return np.asarray(np.expm1(ahead + season[np.arange(horizon) % period]), dtype=float)


def seasonal_regression(y: Floats, horizon: int, period: int) -> Floats:
    """Ridge regression on logs: season dummies, a trend shrunk to none and the last values' level. Needs no library."""
    logs, time = np.log1p(y), (np.arange(y.size + horizon) - (y.size - 1)) / period
    ahead = np.where(time > 0, 0.7 * time, time)
    season = (np.arange(y.size + horizon)[:, None] % period == np.arange(period)[None, :]).astype(float)
    x = np.concatenate([np.ones((y.size + horizon, 1)), ahead[:, None], season], axis=1)
    past = x[: y.size]
    noise = 0.15**2
    penalty = np.concatenate([[1e-8], [noise / 0.15**2], np.full(period, noise / 0.8**2)])
    b = np.linalg.solve(past.T @ past + np.diag(penalty), past.T @ logs)
    gap = logs - past @ b
    weight = 0.7 ** np.arange(y.size)[::-1]
    level = (weight * gap).sum() / (weight.sum() + 1.0)
    out: Floats = np.expm1(x[y.size :] @ b + level)
    return out


METHODS: dict[str, Callable[[Floats, int, int], Floats]] = {
    "seasonal regression": seasonal_regression,
    "Holt-Winters": _holt_winters,
    "Holt-Winters on logs": _log_holt_winters,
    "Theta": _theta,
    "STL": _stl,
}
