"""A week that sells otherwise than the regression says in the same week of every year: a fair that nobody named.

The yearly waves are too smooth for two busy days. So each channel's all-year flavours together leave a residual a week,
and a week of the year is either ordinary (its residuals are noise about nothing) or, seldom, one with an effect of its
own. How far it is believed is the posterior mean under that mixture, a spike and a slab (Mitchell and Beauchamp 1988,
*J. American Statistical Association* 83, 1023-1032): nearly nothing for one lucky year, nearly all of it for a fair seen
three times. Naming the feast is better still: its days move, and this looks a whole number of weeks back.
"""

from __future__ import annotations

import numpy as np

from ledger.forecast.calendar import days_to_next
from ledger.forecast.history import Bools, Floats, Panel
from ledger.forecast.pooled import NORMAL_MEDIAN_SQUARE, Fit, groups_of
from ledger.forecast.settings import Beliefs, ForecastSettings

LAGS = (52, 104, 157, 209)
"""The same week of one to four years before."""
LEAST_YEARS = 2
AROUND = 4
"""Weeks on each side that say what level a week is held against."""
LEAST_COUNTS = 20.0
"""With fewer dispersion-corrected counts due in a week its residual is luck and its log is skewed."""
MOST = 1.0
NEAR_DAYS = 14


def far_from_feasts(panel: Panel, settings: ForecastSettings) -> Bools:
    """Weeks with no ticked feast within two weeks, shape (weeks,): what lies nearer, the feast's own bumps explain."""
    numbers = np.arange(panel.first, panel.first + panel.weeks, dtype=np.int64)
    near = np.zeros(panel.weeks, dtype=bool)
    for feast in settings.feasts:
        away = days_to_next(feast, numbers, after=NEAR_DAYS)
        near |= (np.abs(np.where(np.isnan(away), 9999.0, away)) <= NEAR_DAYS).any(axis=1)
    return ~near


def recurring_factors(panel: Panel, fit: Fit, column: int, all_year: int, far: Bools, beliefs: Beliefs) -> Floats:
    """Factor on the mean of the weeks from ``column`` on, shape (lines, weeks); 1 for season-only lines and past weeks.

    Args:
        panel: lines, the first ``all_year`` of them all-year.
        fit: the regression at ``column``.
        far: by ``far_from_feasts``.
    """
    factor = np.ones(panel.units.shape)
    channels = groups_of(panel.channels)[:all_year]
    ahead = np.arange(column, panel.weeks)
    back = ahead[None, :] - np.array(LAGS)[:, None]
    there = (back >= 0) & (back < column)
    for channel in np.unique(channels):
        rows = np.flatnonzero(channels == channel)
        residual = _residuals(panel, fit, column, rows)
        if not np.isfinite(residual).any():
            continue
        noise = beliefs.recurring_caution * float(np.nanmedian(residual**2)) / NORMAL_MEDIAN_SQUARE
        seen = np.where(there, np.where(far[:column], residual, np.nan)[np.where(there, back, 0)], np.nan)
        years = np.isfinite(seen).sum(axis=0)
        mean = np.where(np.isfinite(seen), seen, 0.0).sum(axis=0) / np.maximum(years, 1)
        effect = believed(mean, max(noise, 1e-4) / np.maximum(years, 1), beliefs)
        effect = np.where((years >= LEAST_YEARS) & far[column:], effect, 0.0)
        factor[np.ix_(rows, ahead)] = np.exp(effect)[None, :]
    return factor


def believed(mean: Floats, variance: Floats, beliefs: Beliefs) -> Floats:
    """Posterior mean of an effect whose residuals averaged ``mean`` with that ``variance``, log scale."""
    share, square = beliefs.recurring_share, beliefs.recurring_spread**2
    wide = variance + square
    odds = np.log(share / (1 - share)) + 0.5 * np.log(variance / wide) + 0.5 * mean**2 * (1 / variance - 1 / wide)
    out: Floats = mean * square / wide / (1 + np.exp(-np.clip(odds, -50.0, 50.0)))
    return out


def _residuals(panel: Panel, fit: Fit, column: int, rows: np.ndarray) -> Floats:
    """Log of sold over expected, less the same of the weeks around; NaN where too little was expected."""
    counts = fit.used[rows, :column] / fit.dispersion[rows, None]
    sold = (counts * fit.winsorised[rows, :column]).sum(axis=0)
    due = (counts * fit.mean[rows, :column] * panel.exposure[rows, :column]).sum(axis=0)
    seen = due > LEAST_COUNTS
    kernel = np.ones(2 * AROUND + 1)
    kernel[AROUND] = 0.0
    sold_near, due_near = (np.convolve(np.where(seen, x, 0.0), kernel)[AROUND : AROUND + column] for x in (sold, due))
    told = seen & (due_near > 0)
    own = np.log((sold + 2) / (due + 2)) - np.log((sold_near + 2) / (due_near + 2))
    out: Floats = np.where(told, np.clip(own, -MOST, MOST), np.nan)
    return out
