"""Replay: forecast every origin with only what was known then, and hold it against what came.

``history_as_known(origin)`` gives the ledger as it stood when the origin week began. An event-sourced ledger can
answer that exactly; ``FixedHistory`` answers it for a plain table by cutting it off.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ledger.errors import BadInput
from ledger.forecast.baselines import naive_scale, seasonal_naive
from ledger.forecast.calendar import monday_of, week_number, week_of, week_text
from ledger.forecast.history import Bools, DemandHistory, Floats, HistoryAsKnown, Panel, build_panel
from ledger.forecast.intervals import Bands, Cast, Outcome, outcome_of, quantiles_from
from ledger.forecast.levels import LEVELS, Levels, levels_of
from ledger.forecast.lines import Lines, TwoPools, build_lines
from ledger.forecast.point import PointForecast, point_forecast
from ledger.forecast.scoring import QUANTILE_COLUMNS
from ledger.forecast.settings import SPANS, ForecastSettings

NOT_QUITE_NOTHING = 1e-6
"""Where the baseline says 0 for an open week its band must still be able to say more."""
SPAN_NAMES = (*(str(s) for s in SPANS), "season")


@dataclass(frozen=True, eq=False)
class FixedHistory:
    """A history in which nothing was ever corrected: what was known at an origin is what lies before it."""

    history: DemandHistory

    def __call__(self, origin: str) -> DemandHistory:
        return self.history.before(origin)


@dataclass(frozen=True, eq=False)
class Backtest:
    """Every forecast of a replay beside what came.

    Attributes:
        weekly: origin, ahead (1 = the origin week), week, level, flavour, channel, season_only, actual, mean, the
            quantiles q10..q90, naive and its quantiles, model, fair (may be scored), mase_scale.
        sums: the same for cumulated demand, with span ('2', '4', '8', 'season') and weeks in place of ahead and week.
    """

    weekly: pd.DataFrame
    sums: pd.DataFrame


@dataclass(frozen=True, eq=False)
class Replayed:
    """One origin of a replay, before it is scored."""

    panel: Panel
    point: PointForecast
    cast: Cast
    naive: Cast


def feast_weeks(settings: ForecastSettings, panel: Panel) -> NDArray[np.int64]:
    """Sorted week numbers of all ticked feasts over the panel and a year beyond."""
    first, last = monday_of(panel.first), monday_of(panel.first + panel.weeks) + timedelta(days=366)
    return np.array(sorted({week_of(d) for f in settings.feasts for d in f.days(first, last)}), dtype=np.int64)


def replay(
    history_as_known: HistoryAsKnown, settings: ForecastSettings, origins: Sequence[str], horizon: int
) -> Iterator[Replayed]:
    """Forecast the origins in turn, oldest first; each solution starts from the one before to save time."""
    if not origins:
        return
    whole: tuple[Panel, Lines] | None = None
    if isinstance(history_as_known, FixedHistory):
        last = week_text(week_number(max(origins)) + horizon - 1)
        panel = build_panel(history_as_known.history, settings, last)
        whole = panel, build_lines(panel, settings)
    pools: TwoPools | None = None
    names: tuple[tuple[str, str], ...] = ()
    for origin in sorted(origins):
        if whole is None:
            panel = build_panel(history_as_known(origin), settings, week_text(week_number(origin) + horizon - 1))
            lines = build_lines(panel, settings)
        else:
            panel, lines = whole
        column = panel.column(origin)
        series = tuple(zip(panel.flavours, panel.channels, strict=True))
        point = point_forecast(panel, lines, column, horizon, settings, pools if series == names else None)
        pools, names = point.pools, series
        naive = seasonal_naive(panel, column)[:, :horizon]
        there = (panel.in_window & (panel.opening > 0))[:, column : column + horizon]
        naive = np.where(there, np.maximum(naive, NOT_QUITE_NOTHING), 0.0)
        phi = point.dispersion[:, None]
        noise = np.where(naive > 0, phi * naive + settings.beliefs.scale_floor * phi**2, 0.0)
        week = week_number(origin)
        yield Replayed(panel, point, Cast(week, series, point.mean, point.noise), Cast(week, series, naive, noise))


def calibration_origins(settings: ForecastSettings, first_week: int, origin: str) -> list[str]:
    """Earlier origins to replay for the bands of ``origin``, oldest first; empty while there is too little history."""
    now = week_number(origin)
    start = max(first_week + settings.least_training, now - settings.calibration_weeks)
    return [week_text(w) for w in range(start, now, settings.calibration_step)]


def backtest(
    history_as_known: HistoryAsKnown,
    settings: ForecastSettings,
    origins: Sequence[str],
    horizon: int,
    outcome: DemandHistory,
) -> Backtest:
    """Replay ``origins``, with bands calibrated at each on earlier origins only, and score against ``outcome``.

    Raises:
        BadInput: no origins, or a horizon below 1.
    """
    if not origins or horizon < 1:
        raise BadInput(f"a backtest needs origins and a horizon of 1 or more, got {len(origins)} and {horizon}")
    asked = sorted(origins)
    truth = build_panel(outcome, settings, week_text(week_number(asked[-1]) + horizon - 1))
    levels, feasts = levels_of(truth), feast_weeks(settings, truth)
    sold_until = int(max(week_number(str(w)) for w in outcome.sales["week"].unique())) - truth.first + 1
    square = settings.beliefs.scale_square
    before = calibration_origins(settings, truth.first, asked[0])
    done: list[Replayed] = []
    held: list[tuple[Outcome, ...]] = []
    kept = KeptOutcomes()
    weekly: list[pd.DataFrame] = []
    sums: list[pd.DataFrame] = []
    for step in replay(history_as_known, settings, [*before, *asked], horizon):
        now = step.cast.week - truth.first
        pair_now = tuple(outcome_of(c, truth, levels, feasts, sold_until, square) for c in (step.cast, step.naive))
        if step.cast.week >= week_number(asked[0]):
            known = step.panel
            here = levels if known.flavours == truth.flavours and known.channels == truth.channels else levels_of(known)
            column = step.cast.week - known.first
            if isinstance(history_as_known, FixedHistory):  # nothing was corrected, so old errors stand
                elapsed = [step.cast.week - d.cast.week for d in done]
                bands = [Bands([pair[i] for pair in held], levels, horizon, elapsed) for i in (0, 1)]
            else:
                told = [
                    kept.of(pair, known, here, feasts, column, square) for pair in ((d.cast, d.naive) for d in done)
                ]
                bands = [Bands([pair[i] for pair in told], here, horizon) for i in (0, 1)]
            results = list(pair_now)
            if here is levels:
                weekly.append(_weekly(step, results, bands, levels, truth, now))
                sums.append(_sums(step, results, bands, levels))
            else:
                offsets = [_moved(b, here, levels) for b in bands]
                weekly.append(_weekly(step, results, offsets, levels, truth, now))
                sums.append(_sums(step, results, offsets, levels))
        done.append(step)
        held.append(pair_now)
    return Backtest(pd.concat(weekly, ignore_index=True), pd.concat(sums, ignore_index=True))


class KeptOutcomes:
    """What came of earlier casts: worked out again only while their weeks come in, or once the book of them is corrected."""

    def __init__(self) -> None:
        self.outcomes: dict[int, tuple[tuple[tuple[str, ...], ...], Floats, Bools, tuple[Outcome, ...]]] = {}

    def of(
        self, pair: tuple[Cast, Cast], panel: Panel, levels: Levels, feasts: NDArray[np.int64], now: int, square: float
    ) -> tuple[Outcome, ...]:
        """Outcomes of one origin's forecast and of its baseline, as known before column ``now``."""
        week, horizon = pair[0].week, pair[0].mean.shape[1]
        seen = slice(week - panel.first, week - panel.first + horizon)
        names, units, fair = (panel.flavours, panel.channels), panel.units[:, seen], panel.not_short()[:, seen]
        known = self.outcomes.get(week)
        if known and known[0] == names and np.array_equal(known[1], units) and np.array_equal(known[2], fair):
            return known[3]
        told = tuple(outcome_of(cast, panel, levels, feasts, now, square) for cast in pair)
        if seen.stop <= now:
            self.outcomes[week] = names, units, fair, told
        return told


def _moved(bands: Bands, here: Levels, levels: Levels) -> Bands:
    """The bands of an earlier, smaller hierarchy laid out in the order of the final one."""
    place = {key: i for i, key in enumerate(zip(here.level, here.flavour, here.channel, strict=True))}
    order = [place.get(key, 0) for key in zip(levels.level, levels.flavour, levels.channel, strict=True)]
    moved = Bands([], levels, bands.week_offsets.shape[1])
    moved.week_offsets, moved.sum_offsets = bands.week_offsets[order], bands.sum_offsets[order]
    return moved


def _weekly(
    step: Replayed, results: list[Outcome], bands: list[Bands], levels: Levels, truth: Panel, now: int
) -> pd.DataFrame:
    ours, naive = results
    rows, horizon = ours.mean.shape
    scale = np.full(rows, np.nan)
    scale[: truth.number_of_series] = naive_scale(truth, now)
    frame: dict[str, object] = {
        "origin": week_text(step.cast.week),
        "ahead": np.tile(np.arange(1, horizon + 1), rows),
        "week": np.tile([week_text(step.cast.week + h) for h in range(horizon)], rows),
    }
    frame |= _names(levels, horizon) | _values(ours, naive, bands, "mean", "scale", "actual", "week_offsets")
    frame["fair"] = (ours.fair & (naive.mean >= 0)).ravel()
    frame["mase_scale"] = np.repeat(scale, horizon)
    return pd.DataFrame(frame)


def _sums(step: Replayed, results: list[Outcome], bands: list[Bands], levels: Levels) -> pd.DataFrame:
    ours, naive = results
    rows = len(levels.level)
    frame: dict[str, object] = {
        "origin": week_text(step.cast.week),
        "span": np.tile(np.array(SPAN_NAMES), rows),
        "weeks": ours.lengths.ravel().astype(int),
    }
    frame |= _names(levels, len(SPAN_NAMES))
    frame |= _values(ours, naive, bands, "sum_mean", "sum_scale", "sum_actual", "sum_offsets")
    frame["fair"] = ours.sum_fair.ravel()
    return pd.DataFrame(frame)


def _names(levels: Levels, times: int) -> dict[str, object]:
    return {
        "level": np.repeat(np.array(LEVELS)[levels.level], times),
        "flavour": np.repeat(np.array(levels.flavour), times),
        "channel": np.repeat(np.array(levels.channel), times),
        "season_only": np.repeat(levels.season_only, times),
    }


def _values(
    ours: Outcome, naive: Outcome, bands: list[Bands], mean: str, scale: str, actual: str, offsets: str
) -> dict[str, object]:
    out: dict[str, object] = {"actual": getattr(ours, actual).ravel()}
    for prefix, column, result, band in (("", "mean", ours, bands[0]), ("naive_", "naive", naive, bands[1])):
        middle: Floats = getattr(result, mean)
        spread = quantiles_from(middle, getattr(result, scale), getattr(band, offsets))
        out[column] = middle.ravel()
        out |= {f"{prefix}{name}": spread[..., i].ravel() for i, name in enumerate(QUANTILE_COLUMNS)}
    return out
