"""Two pools of lines: flavours sold all year, and flavours sold only around a feast, one line a window.

A flavour sold for two feasts a year is two lines with one name: each has its own season total and its own build-up, and
their means are added up again. The season-only pool leans on what the all-year flavours of its channel say of growth,
promotions, yearly waves and the pull of feasts, and shares a build-up of its own: a flavour that is only there for a
feast climbs to it far more steeply than one that is there all year.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ledger.forecast.features import Features, season_features, shared_features
from ledger.forecast.history import Bools, Floats, Panel
from ledger.forecast.pooled import Fit, PooledFit, damped_time, fit_pooled
from ledger.forecast.recurring import far_from_feasts
from ledger.forecast.settings import Beliefs, ForecastSettings

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Lines:
    """A panel laid out for fitting.

    Attributes:
        panel: one row a line: the all-year series first, then each season-only series once for each of its feasts.
        source: row of the series in the panel it came from, per line.
        all_year: how many lines are all-year.
        plain: features of the all-year lines.
        own: features of the season-only lines.
        far: weeks with no ticked feast near, shape (weeks,).
    """

    panel: Panel
    source: Ints
    all_year: int
    plain: Features
    own: Features
    far: Bools

    def summed(self, grid: Floats, series: int) -> Floats:
        """Lines added up to series, shape (series, ...)."""
        out = np.zeros((series, *grid.shape[1:]))
        np.add.at(out, self.source, grid)
        return out


@dataclass(frozen=True, eq=False)
class TwoPools:
    """Both regressions of one origin and what they say together, per line."""

    all_year: PooledFit
    season: PooledFit
    lines: Fit


def build_lines(panel: Panel, settings: ForecastSettings) -> Lines:
    """Lay a panel out as lines with their features; done once for all origins."""
    plain_rows = np.flatnonzero(~panel.seasonal)
    source, feasts = plain_rows.tolist(), [-1] * plain_rows.size
    for row in np.flatnonzero(panel.seasonal).tolist():
        mine = np.unique(panel.feast[row][panel.feast[row] >= 0]).tolist() or [0]
        source += [row] * len(mine)
        feasts += mine
    lines = _rows(panel, np.array(source, dtype=np.int64))
    kind = np.array(feasts, dtype=np.int64)[:, None]
    there = (kind < 0) | (lines.feast == kind)
    lines = replace(
        lines,
        flavours=tuple(
            f if k < 0 else f"{f} @ {settings.feasts[k].name}" for f, k in zip(lines.flavours, feasts, strict=True)
        ),
        units=np.where(there, lines.units, 0.0),
        in_window=lines.in_window & there,
        season=np.where(there, lines.season, -1),
        feast=np.where(there, lines.feast, -1),
    )
    first, rest = np.arange(plain_rows.size), np.arange(plain_rows.size, len(source))
    return Lines(
        lines,
        np.array(source, dtype=np.int64),
        plain_rows.size,
        shared_features(_rows(lines, first), settings),
        season_features(_rows(lines, rest), settings, np.array(feasts, dtype=np.int64)[rest]),
        far_from_feasts(panel, settings),
    )


def fit_lines(lines: Lines, column: int, beliefs: Beliefs, start_from: TwoPools | None = None) -> TwoPools:
    """Fit the all-year pool, then the season-only pool around what it says."""
    cut = lines.all_year
    number = lines.panel.number_of_series
    plain = _rows(lines.panel, np.arange(cut))
    season = _rows(lines.panel, np.arange(cut, number))
    before = (None, None) if start_from is None else (start_from.all_year, start_from.season)
    all_year = fit_pooled(plain, lines.plain, column, beliefs, before[0])
    lean, growth, promotion = _lean(lines, plain, season, all_year, column, beliefs)
    only = fit_pooled(season, lines.own, column, beliefs, before[1], lean, _other_season(lines))
    both = Fit(
        np.concatenate([all_year.mean, only.mean]),
        np.concatenate([all_year.dispersion, only.dispersion]),
        np.concatenate([all_year.fitted, only.fitted]),
        np.concatenate([all_year.used, only.used]),
        np.concatenate([all_year.winsorised, only.winsorised]),
        np.concatenate([all_year.trend, only.trend + growth]),
        np.concatenate([all_year.promotion, only.promotion + promotion]),
    )
    return TwoPools(all_year, only, both)


def _other_season(lines: Lines) -> Ints:
    """For each season-only line the line of the same series and another feast that has sold most; -1 where it is the only one."""
    source, sold = lines.source[lines.all_year :], lines.panel.units[lines.all_year :].sum(axis=1)
    out = np.full(source.size, -1, dtype=np.int64)
    for row, series in enumerate(source.tolist()):
        others = np.flatnonzero((source == series) & (np.arange(source.size) != row))
        if others.size:
            out[row] = others[np.argmax(sold[others])]
    return out


def never_sold(lines: Lines, fit: Fit, column: int) -> tuple[str, ...]:
    """Season-only lines of weeks ahead, as `flavour @ feast in channel`, whose series has sold for another feast but never for this one."""
    other = _other_season(lines)
    found = []
    for row in range(other.size):
        line = lines.all_year + row
        known = other[row] >= 0 and fit.fitted[lines.all_year + other[row]]
        if known and not fit.fitted[line] and fit.mean[line, column:].any():
            found.append(f"{lines.panel.flavours[line]} in {lines.panel.channels[line]}")
    return tuple(found)


def of_series(lines: Lines, fit: Fit, panel: Panel) -> Fit:
    """A fit of lines told per series of the panel: means added up, the rest of the line that has sold most weeks."""
    series = panel.number_of_series
    known = fit.used.sum(axis=1)
    chief = np.zeros(series, dtype=np.int64)
    for line in np.argsort(known, kind="stable"):
        chief[lines.source[line]] = line
    used: Bools = lines.summed(fit.used.astype(float), series) > 0
    fitted: Bools = lines.summed(fit.fitted.astype(float), series) > 0
    return Fit(
        lines.summed(fit.mean, series),
        fit.dispersion[chief],
        fitted,
        used,
        lines.summed(np.where(lines.panel.in_window, fit.winsorised, 0.0), series),
        fit.trend[chief],
        fit.promotion[chief],
    )


def _lean(
    lines: Lines, plain: Panel, season: Panel, fit: PooledFit, column: int, beliefs: Beliefs
) -> tuple[Floats, Floats, Floats]:
    """Log effects of time, feasts, waves and promotions by the all-year flavours of each line's channel; the growth a
    year and the effect of one promotion among them, per line.
    """
    lean, (growth, promotion) = np.zeros(season.units.shape), np.zeros((2, season.number_of_series))
    if not fit.fitted.any() or not season.number_of_series:
        return lean, growth, promotion
    channels, wanted = np.array(plain.channels), np.array(season.channels)
    values = lines.plain.values[0, :, :-1].copy()
    values[:, 1] = damped_time(values[None, :, 1], column, beliefs.trend_damping)[0]
    for channel in np.unique(wanted):
        kin = fit.fitted & (channels == channel)
        effect = fit.parent_coefficients[kin if kin.any() else fit.fitted].mean(axis=0)
        mine = wanted == channel
        lean[mine] = values[:, 1:] @ effect[1:-1] + season.promotion[mine] * effect[-1]
        growth[mine], promotion[mine] = effect[1], effect[-1]
    return lean, growth, promotion


def _rows(panel: Panel, rows: Ints) -> Panel:
    return replace(
        panel,
        flavours=tuple(panel.flavours[i] for i in rows),
        channels=tuple(panel.channels[i] for i in rows),
        units=panel.units[rows],
        exposure=panel.exposure[rows],
        opening=panel.opening[rows],
        in_window=panel.in_window[rows],
        promotion=panel.promotion[rows],
        firm=panel.firm[rows],
        seasonal=panel.seasonal[rows],
        season=panel.season[rows],
        feast=panel.feast[rows],
    )
