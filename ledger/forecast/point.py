"""One origin, one grid of means: the regression, its level, the season profile and the new flavours put together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ledger.forecast.features import Features
from ledger.forecast.history import Bools, Floats, Panel
from ledger.forecast.level import level_factors
from ledger.forecast.new_flavour import WEEKS_TO_HAVE_A_SHAPE, WEEKS_TO_STAND_ALONE, lean_on_analogues, weeks_known
from ledger.forecast.pooled import PooledFit, fit_pooled
from ledger.forecast.seasonal_only import running_season_factor, season_profile_forecast
from ledger.forecast.settings import ForecastSettings

QUIET_WEEKS = 13
QUIET_COUNTS = 10.0


@dataclass(frozen=True, eq=False)
class PointForecast:
    """Means of one origin.

    Attributes:
        column: the origin's column in the panel.
        mean: demand per series and week from the origin on, shape (series, horizon).
        noise: the part of each week's variance that adds up over series and weeks, same shape.
        model, why: per series, which model made it and for what reason.
        has_forecast: False where nothing at all is known of a series.
    """

    column: int
    mean: Floats
    noise: Floats
    model: tuple[str, ...]
    why: tuple[str, ...]
    has_forecast: Bools
    fit: PooledFit


def point_forecast(
    panel: Panel,
    features: Features,
    column: int,
    horizon: int,
    settings: ForecastSettings,
    start_from: PooledFit | None = None,
) -> PointForecast:
    """Means for ``horizon`` weeks from ``column`` on, from the weeks before it."""
    beliefs = settings.beliefs
    fit = fit_pooled(panel, features, column, beliefs, start_from)
    levelled = replace(fit, mean=fit.mean * level_factors(panel, fit, column, beliefs)[:, None])
    regression = levelled.mean * running_season_factor(panel, levelled, column, beliefs.level_weight_season)
    profile = season_profile_forecast(panel, fit, column, beliefs)
    mean = np.where(profile.known[:, None], 0.5 * regression + 0.5 * profile.mean, regression)
    mean[:, :column] = fit.mean[:, :column]
    mean = lean_on_analogues(panel, fit, column, mean, settings)
    dropped = gone_quiet(panel, levelled, column)
    mean[dropped, column:] = 0.0
    ahead = slice(column, column + horizon)
    mean = mean[:, ahead]
    known = weeks_known(fit)
    has_forecast = fit.fitted | (mean.sum(axis=1) > 0)
    phi = _dispersion_for_all(fit)
    noise = np.where(mean > 0, phi[:, None] * mean + beliefs.scale_floor * phi[:, None] ** 2, 0.0)
    told = [
        _told(panel, s, float(known[s]), bool(profile.known[s]), bool(has_forecast[s]), bool(dropped[s]), settings)
        for s in range(panel.number_of_series)
    ]
    return PointForecast(column, mean, noise, tuple(m for m, _ in told), tuple(w for _, w in told), has_forecast, fit)


def gone_quiet(panel: Panel, fit: PooledFit, column: int) -> Bools:
    """All-year series to be taken as dropped: not one sale in the last 13 weeks they were on sale, open and in stock.

    Only where so many sales were expected that chance would not do it: ten dispersion-corrected counts, e^-10 by
    Poisson. A single sale brings the forecast back.
    """
    out = np.zeros(panel.number_of_series, dtype=bool)
    for s in np.flatnonzero(fit.fitted & ~panel.seasonal).tolist():
        last = np.flatnonzero(fit.used[s])[-QUIET_WEEKS:]
        expected = float((fit.mean[s, last] * panel.exposure[s, last]).sum() / fit.dispersion[s])
        out[s] = last.size == QUIET_WEEKS and panel.units[s, last].sum() == 0 and expected > QUIET_COUNTS
    return out


def _dispersion_for_all(fit: PooledFit) -> Floats:
    typical = float(np.median(fit.dispersion[fit.fitted])) if fit.fitted.any() else 1.0
    return np.where(fit.fitted, fit.dispersion, typical)


def _told(
    panel: Panel, s: int, known: float, profile: bool, has_forecast: bool, dropped: bool, settings: ForecastSettings
) -> tuple[str, str]:
    flavour = panel.flavours[s]
    analogue = settings.analogue_of(flavour)
    if dropped:
        return "dropped", f"not one sale in its last {QUIET_WEEKS} weeks on the shelf, so taken as no longer sold"
    if not has_forecast:
        return "none", "never sold here, and no flavour was named that it is like"
    if analogue is not None and known < WEEKS_TO_STAND_ALONE:
        return "analogue", f"{known:.0f} weeks of its own, the rest from {analogue.like}, which the owner named"
    window = settings.window_of(flavour)
    if window is not None:
        where = f"sold only from {window.days_before} days before {window.feast} to {window.days_after} after"
        if profile:
            return "season", f"{where}: mean of the pooled regression and past seasons' totals spread over the days"
        return "pooled", f"{where}: no finished season of its own, so the shared shapes at its own level"
    if known < WEEKS_TO_HAVE_A_SHAPE:
        return "new flavour", f"only {known:.0f} weeks sold: its level is a guess, its shape is the other flavours'"
    if known < WEEKS_TO_STAND_ALONE:
        return "new flavour", f"{known:.0f} weeks sold, under a year: shared feast and season shapes at its own level"
    return "pooled", f"{known:.0f} weeks of its own, pooled with the other flavours' feast and season shapes"
