"""The front door: sales so far and settings in, a coherent forecast with honest bands out.

::

    result = forecast(history, settings, origin="2026-W36", horizon=13)
    result.weekly        # series, flavours, channels and the shop x week
    result.cumulated     # their sums over 2, 4, 8 weeks and the rest of the season

Nothing here reads a clock or a database. ``result.calibration`` may be handed to the next call for another horizon or
a what-if from the same origin and history: replaying earlier origins is what costs time.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ledger.errors import BadInput
from ledger.forecast.backtest import SPAN_NAMES, FixedHistory, calibration_origins, feast_weeks, replay
from ledger.forecast.calendar import week_number, week_text
from ledger.forecast.history import DemandHistory, HistoryAsKnown, Panel, build_panel
from ledger.forecast.intervals import Bands, Cast, outcome_of, quantiles_from, scale_of, span_lengths, totals
from ledger.forecast.levels import LEVELS, Levels, levels_of, season_lengths
from ledger.forecast.lines import build_lines, never_sold
from ledger.forecast.point import PointForecast, point_forecast
from ledger.forecast.scoring import QUANTILE_COLUMNS
from ledger.forecast.settings import ForecastSettings
from ledger.forecast.unnamed import unnamed_peaks

LONGEST_HORIZON = 60


@dataclass(frozen=True, eq=False)
class Calibration:
    """Earlier origins' forecasts, kept to say how wrong the next one may be. Reusable for the same history."""

    horizon: int
    casts: tuple[Cast, ...] = field(default=())


@dataclass(frozen=True, eq=False)
class Forecast:
    """A forecast of one origin.

    Attributes:
        origin: the first week forecast; everything sold before it was known, nothing after.
        horizon: weeks forecast.
        weekly: level (series, flavour, channel, shop), flavour, channel (``*`` where summed), week, mean, q10, q25,
            q50, q75, q90, firm (bulk orders promised for that week, on top of the mean), season_only, model, why.
        cumulated: level, flavour, channel, span ('2', '4', '8', 'season'), from_week, to_week, weeks, mean and its own
            quantiles, firm, season_only, model, why.
        notes: what was strange, in words; what has no forecast and why; which bands are a guess.
        calibration: to hand to the next call.
    """

    origin: str
    horizon: int
    weekly: pd.DataFrame
    cumulated: pd.DataFrame
    notes: tuple[str, ...]
    calibration: Calibration


def calibrate(
    history: DemandHistory | HistoryAsKnown, settings: ForecastSettings, origin: str, horizon: int
) -> Calibration:
    """Replay earlier origins of the last year, each with only what was known then.

    Pass a function ``origin -> DemandHistory`` to have late corrections left out exactly as they were; plain tables
    are cut off at each origin.
    """
    known = FixedHistory(history.before(origin)) if isinstance(history, DemandHistory) else history
    final = known(origin)
    first = min(week_number(str(w)) for w in final.sales["week"].unique()) if len(final.sales) else week_number(origin)
    origins = calibration_origins(settings, first, origin)
    return Calibration(horizon, tuple(step.cast for step in replay(known, settings, origins, horizon)))


def forecast(
    history: DemandHistory,
    settings: ForecastSettings,
    origin: str,
    horizon: int = 13,
    calibration: Calibration | None = None,
) -> Forecast:
    """Forecast ``horizon`` weeks from ``origin`` on.

    Args:
        history: all tables; sales of the origin week and later are ignored, announced facts of later weeks are used.
        settings: feasts, windows, analogues and beliefs of the site.
        origin: ISO week, the first one to forecast.
        horizon: 1 to 60 weeks.
        calibration: from ``calibrate`` or an earlier forecast of the same history; computed here when None.

    Raises:
        BadInput: no sales before the origin, a horizon out of range, a table that cannot be read.
    """
    if not 1 <= horizon <= LONGEST_HORIZON:
        raise BadInput(f"horizon {horizon} must lie between 1 and {LONGEST_HORIZON} weeks", value=horizon)
    week = week_number(origin)
    known = history.before(origin)
    if known.sales.empty:
        raise BadInput(f"nothing was sold before {origin}; choose a later origin or enter older sales", value=origin)
    panel = build_panel(known, settings, week_text(week + horizon - 1))
    column = panel.column(origin)
    lines = build_lines(panel, settings)
    point = point_forecast(panel, lines, column, horizon, settings)
    if calibration is None or calibration.horizon < horizon:
        calibration = calibrate(history, settings, origin, horizon)
    levels, feasts = levels_of(panel), feast_weeks(settings, panel)
    square = settings.beliefs.scale_square
    outcomes = [
        outcome_of(cast, panel, levels, feasts, column, square) for cast in calibration.casts if cast.week < week
    ]
    bands = Bands(outcomes, levels, horizon)
    lengths = span_lengths(season_lengths(panel, levels, feasts, column, horizon), horizon)
    weekly = _weekly(panel, levels, point, bands, week, horizon, square)
    cumulated = _cumulated(panel, levels, point, bands, week, lengths, square)
    first = (
        f"{line} never sold for that feast: it is expected at the level of its other season, shaped as season flavours are. Say your own "
        "figure if you know better"
        for line in never_sold(lines, point.pools.lines, column)
    )
    notes = (*_notes(panel, point, bands), *first, *unnamed_peaks(lines, point.pools.lines, column, settings))
    return Forecast(origin, horizon, weekly, cumulated, notes, calibration)


def _weekly(
    panel: Panel, levels: Levels, point: PointForecast, bands: Bands, week: int, horizon: int, square: float
) -> pd.DataFrame:
    mean = levels.sums @ point.mean
    spread = quantiles_from(mean, scale_of(mean, levels.sums @ point.noise, square), bands.week_offsets)
    rows = len(levels.level)
    firm = levels.sums @ panel.firm[:, point.column : point.column + horizon]
    weeks = np.array([week_text(week + h) for h in range(horizon)])
    frame = {"week": np.tile(weeks, rows), "mean": mean.ravel()}
    frame |= {name: spread[..., i].ravel() for i, name in enumerate(QUANTILE_COLUMNS)}
    frame |= {"firm": firm.ravel()}
    return pd.DataFrame(_names(levels, horizon) | frame | _told(levels, point, horizon))


def _cumulated(
    panel: Panel,
    levels: Levels,
    point: PointForecast,
    bands: Bands,
    week: int,
    lengths: np.ndarray,
    square: float,
) -> pd.DataFrame:
    mean, noise = totals(levels, point.mean, lengths), totals(levels, point.noise, lengths)
    spread = quantiles_from(mean, scale_of(mean, noise, square), bands.sum_offsets)
    firm = totals(levels, panel.firm[:, point.column : point.column + point.mean.shape[1]], lengths)
    spans = len(SPAN_NAMES)
    weeks = lengths.ravel().astype(int)
    frame = {
        "span": np.tile(np.array(SPAN_NAMES), len(levels.level)),
        "from_week": week_text(week),
        "to_week": [week_text(week + max(int(n), 1) - 1) for n in weeks],
        "weeks": weeks,
        "mean": mean.ravel(),
    }
    frame |= {name: spread[..., i].ravel() for i, name in enumerate(QUANTILE_COLUMNS)}
    frame |= {"firm": firm.ravel()}
    table = pd.DataFrame(_names(levels, spans) | frame | _told(levels, point, spans))
    return table[table["weeks"] > 0].reset_index(drop=True)


def _names(levels: Levels, times: int) -> dict[str, object]:
    return {
        "level": np.repeat(np.array(LEVELS)[levels.level], times),
        "flavour": np.repeat(np.array(levels.flavour), times),
        "channel": np.repeat(np.array(levels.channel), times),
    }


def _told(levels: Levels, point: PointForecast, times: int) -> dict[str, object]:
    models, whys = [], []
    for row, level in enumerate(levels.level):
        members = np.flatnonzero(levels.sums[row])
        if level == 0:
            models.append(point.model[row])
            whys.append(point.why[row])
        else:
            used = sorted({point.model[m] for m in members} - {"none"})
            models.append("sum")
            whys.append(f"sum of {len(members)} forecasts ({', '.join(used) or 'none'})")
    return {
        "season_only": np.repeat(levels.season_only, times),
        "model": np.repeat(np.array(models), times),
        "why": np.repeat(np.array(whys), times),
    }


def _notes(panel: Panel, point: PointForecast, bands: Bands) -> tuple[str, ...]:
    notes = list(panel.notes)
    for s in np.flatnonzero(~point.has_forecast):
        notes.append(f"{panel.flavours[s]} in {panel.channels[s]} has no forecast: {point.why[s]}")
    for i, model in enumerate(point.model):
        if model == "dropped":
            notes.append(f"{panel.flavours[i]} in {panel.channels[i]} is forecast as 0: {point.why[i]}")
    for level, season_only in sorted(bands.uncalibrated):
        kind = "season-only" if season_only else "all-year"
        notes.append(
            f"bands of {kind} {level} rows are a wide guess: too little to learn from in {bands.origins} earlier origins"
        )
    return tuple(notes)
