"""Flavours sold only around a feast: exactly nothing outside their window, and inside it the mean of two opinions.

The first is the pooled regression. The second is the whole season's total, spread over the days to the feast as past
seasons were, and moved by what this season has sold so far. Croston-like methods are wrong here: the gaps between
sales are the calendar's, not chance's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ledger.forecast.history import Bools, Floats, Panel
from ledger.forecast.pooled import Fit
from ledger.forecast.settings import Beliefs

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class SeasonForecast:
    """The profile's opinion.

    Attributes:
        mean: units per series and week from the origin on, shape (series, weeks); 0 elsewhere.
        known: series with at least one finished season to go by.
    """

    mean: Floats
    known: Bools


def running_season_factor(panel: Panel, fit: Fit, column: int, weight: float) -> Floats:
    """Factor on the regression from the sales of the season that is running; 1 where none is. Shape (series, weeks)."""
    factor = np.ones(panel.units.shape)
    if column >= panel.weeks:
        return factor
    for s in np.flatnonzero(panel.seasonal & fit.fitted & (panel.season[:, column] >= 0)).tolist():
        same = panel.season[s] == panel.season[s, column]
        factor[s, same] = _update(panel, fit, s, same, fit.mean[s], weight)
    return factor


def season_profile_forecast(panel: Panel, fit: Fit, column: int, beliefs: Beliefs) -> SeasonForecast:
    """Season totals times the averaged profile by days to the feast.

    Past weeks are read per open share, per share in stock and at their promotion-free size, so that a closed day, a
    run-out or a promotion does not bend the profile; a planned promotion lifts its week by the same effect, the
    regression's. Seasons weigh ``season_age`` per season of age; totals are carried forward by the pooled, shrunk trend.
    """
    mean = np.zeros(panel.units.shape)
    known = np.zeros(panel.number_of_series, dtype=bool)
    panel = replace(panel, opening=panel.opening * np.exp(panel.promotion * fit.promotion[:, None]))
    for flavour in sorted({panel.flavours[i] for i in np.flatnonzero(panel.seasonal)}):
        rows = np.array([i for i, f in enumerate(panel.flavours) if f == flavour])
        season = panel.season[rows[0]]
        ends = {int(d): int(np.flatnonzero(season == d).max()) for d in np.unique(season[season >= 0])}
        past = [
            d for d, end in ends.items() if end < column and fit.used[np.ix_(rows, np.flatnonzero(season == d))].any()
        ]
        if not past:
            continue
        weights = np.array([beliefs.season_age ** (len(past) - 1 - i) for i in range(len(past))])
        totals, density = _totals_and_density(panel, fit, rows, season, past, weights, beliefs.profile_weight)
        ahead = np.arange(panel.weeks) >= column
        for s, total, shape in zip(rows, totals, density, strict=True):
            sold = np.isfinite(total)
            if not sold.any():
                continue
            known[s] = True
            for d in (d for d, end in ends.items() if end >= column):
                years = (d - np.array(past)[sold]) / 365.25
                trend = np.clip(fit.trend[s] * years, -0.5, 0.5)
                level = np.exp(np.average(np.log(total[sold]) + trend, weights=weights[sold]))
                same = season == d
                expected = level * shape * panel.opening[s]
                factor = _update(panel, fit, s, same, expected, beliefs.level_weight_season)
                mean[s, same & ahead] = (expected * factor)[same & ahead]
    return SeasonForecast(mean, known)


def _update(panel: Panel, fit: Fit, s: int, same: Bools, expected: Floats, weight: float) -> float:
    """Gamma prior of coefficient of variation 1/sqrt(weight) on the season's size, updated by its sales so far."""
    so_far = same & fit.used[s]
    sold = fit.winsorised[s, so_far].sum() / fit.dispersion[s]
    due = (expected * panel.exposure[s])[so_far].sum() / fit.dispersion[s]
    return float((weight + sold) / (weight + due))


def _totals_and_density(
    panel: Panel, fit: Fit, rows: Ints, season: Ints, past: list[int], weights: Floats, profile_weight: float
) -> tuple[Floats, Floats]:
    """Season totals per channel (rows x past seasons, NaN where nothing sold) and the profile of each week.

    The profile is a density over days to the feast, so that a feast falling on another weekday moves it. Totals and
    density are found in turn, each given the other, as ratio estimates.
    """
    days = panel.first * 7 + 1 + np.arange(panel.weeks)[:, None] * 7 + np.arange(7)[None, :] - season[:, None]
    inside = (season >= 0)[:, None] & (np.abs(days) < 366)
    lowest = int(days[inside].min())
    place = np.where(inside, days - lowest, 0)
    week, day = np.nonzero(inside)[0], place[inside]  # of each day on sale, in order
    size = int(place.max()) + 1
    count = np.maximum(inside.sum(axis=1), 1)
    share = panel.opening[rows] * panel.exposure[rows]
    sold = np.where(fit.used[rows], fit.winsorised[rows], 0.0)
    of_season = np.stack([season == d for d in past])  # past seasons x weeks
    due = np.where(fit.used[rows], share, 0.0)

    def over_weeks(by_day: Floats) -> Floats:
        out: Floats = np.where(inside, by_day[place], 0.0).sum(axis=1) / count
        return out

    density = (season >= 0).astype(float)
    totals = np.zeros((len(rows), len(past)))
    for _ in range(4):
        under = (due * density) @ of_season.T
        totals = np.divide(sold @ of_season.T, under, out=np.zeros_like(totals), where=under > 1e-12)
        carried = (totals * weights) @ of_season
        top = np.bincount(day, (sold * (weights @ of_season)).sum(axis=0)[week], size)
        bottom = np.bincount(day, (due * carried).sum(axis=0)[week], size)
        by_day = np.divide(top, bottom, out=np.zeros(size), where=bottom > 1e-12)
        density = over_weeks(by_day)
    own = np.zeros((len(rows), panel.weeks))
    for r, s in enumerate(rows):
        # the channel's own profile: a Gamma update of the flavour's, day by day
        aged = weights @ of_season / fit.dispersion[s]
        up = np.bincount(day, (sold[r] * aged)[week], size)
        expected = due[r] * ((totals[r] * weights) @ of_season) * density / fit.dispersion[s]
        down = np.bincount(day, expected[week], size)
        own[r] = over_weeks(by_day * (profile_weight + up) / (profile_weight + down))
    scaled = (due * own) @ of_season.T
    totals = np.divide(sold @ of_season.T, scaled, out=np.zeros_like(totals), where=scaled > 1e-12)
    return np.where(totals > 0, totals, np.nan), own
