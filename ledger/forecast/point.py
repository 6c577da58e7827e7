"""One origin, one grid of means: the regression, its level, the season profile and the new flavours put together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ledger.forecast.history import Bools, Floats, Panel
from ledger.forecast.level import level_factors
from ledger.forecast.lines import Lines, TwoPools, fit_lines, of_series
from ledger.forecast.new_flavour import WEEKS_TO_HAVE_A_SHAPE, WEEKS_TO_STAND_ALONE, lean_on_analogues, weeks_known
from ledger.forecast.pooled import Fit
from ledger.forecast.recurring import recurring_factors
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
        dispersion: quasi-Poisson variance over mean, per series.
        pools: to start the next origin's fit from.
    """

    column: int
    mean: Floats
    noise: Floats
    model: tuple[str, ...]
    why: tuple[str, ...]
    has_forecast: Bools
    dispersion: Floats
    pools: TwoPools


def point_forecast(
    panel: Panel,
    lines: Lines,
    column: int,
    horizon: int,
    settings: ForecastSettings,
    start_from: TwoPools | None = None,
) -> PointForecast:
    """Means for ``horizon`` weeks from ``column`` on, from the weeks before it; ``lines`` by ``build_lines``."""
    beliefs, series = settings.beliefs, panel.number_of_series
    pools = fit_lines(lines, column, beliefs, start_from)
    each = pools.lines
    levelled = replace(each, mean=each.mean * level_factors(lines.panel, each, column, beliefs)[:, None])
    again = recurring_factors(lines.panel, each, column, lines.all_year, lines.far, beliefs)
    levelled = replace(levelled, mean=levelled.mean * again)
    running = running_season_factor(lines.panel, levelled, column, beliefs.level_weight_season)
    regression = levelled.mean * running
    profile = season_profile_forecast(lines.panel, each, column, beliefs)
    split = np.where(profile.known[:, None], 0.5 * regression + 0.5 * profile.mean, regression)
    split[:, :column] = each.mean[:, :column]
    dropped = gone_quiet(lines.panel, levelled, column)
    split[dropped, column:] = 0.0
    fit = of_series(lines, each, panel)
    mean = lean_on_analogues(panel, fit, column, lines.summed(split, series), settings)
    mean = mean[:, column : column + horizon]
    known = weeks_known(fit)
    has_forecast = fit.fitted | (mean.sum(axis=1) > 0)
    phi = _dispersion_for_all(fit)
    noise = np.where(mean > 0, phi[:, None] * mean + beliefs.scale_floor * phi[:, None] ** 2, 0.0)
    whole, quiet = (lines.summed(flag.astype(float), series) > 0 for flag in (profile.known, dropped))
    told = [
        _told(panel, s, float(known[s]), bool(whole[s]), bool(has_forecast[s]), bool(quiet[s]), settings)
        for s in range(series)
    ]
    model, why = tuple(m for m, _ in told), tuple(w for _, w in told)
    return PointForecast(column, mean, noise, model, why, has_forecast, phi, pools)


def gone_quiet(panel: Panel, fit: Fit, column: int) -> Bools:
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


def _dispersion_for_all(fit: Fit) -> Floats:
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
    windows = settings.windows_of(flavour)
    if windows:
        spans = [f"from {w.days_before} days before {w.feast} to {w.days_after} after" for w in windows]
        where = f"sold only {' and '.join(spans)}"
        if profile:
            return (
                "season",
                f"{where}: mean of the build-up all season flavours share and past seasons' totals spread over the days",
            )
        return (
            "pooled",
            f"{where}: no finished season of its own, so the build-up all season flavours share, at its own level",
        )
    if known < WEEKS_TO_HAVE_A_SHAPE:
        return "new flavour", f"only {known:.0f} weeks sold: its level is a guess, its shape is the other flavours'"
    if known < WEEKS_TO_STAND_ALONE:
        return "new flavour", f"{known:.0f} weeks sold, under a year: shared feast and season shapes at its own level"
    return "pooled", f"{known:.0f} weeks of its own, pooled with the other flavours' feast and season shapes"
