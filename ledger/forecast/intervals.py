"""Honest bands: split-conformal quantiles of past errors, pooled over series of a kind, for weeks and for sums.

Each earlier origin's forecast is held against what came. Its errors are scaled by

    sqrt(sum(phi mu + 0.3 phi^2) + 0.06 M^2)

(M the mean of the week or sum, phi the series' dispersion) and the quantiles of these scores make the bands of the next
forecast (split-conformal: Vovk, Gammerman and Shafer, *Algorithmic Learning in a Random World*, 2005). Sums of 2, 4 and
8 weeks and the rest of the season are calibrated on their own sums: weekly quantiles do not add up.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from ledger.forecast.history import Bools, Floats, Panel
from ledger.forecast.levels import LEVELS, Levels, season_lengths
from ledger.forecast.settings import QUANTILES, SPANS

BUCKETS = ((0, 2), (2, 5), (5, 9), (9, 13), (13, 10_000))
LEAST_SCORES = 40
"""With fewer scores in the widest pool a band is called a guess."""
WEIGHT_OF_KIN, WEIGHT_OF_KIN_SUMS, WEIGHT_OF_GUESS = 60.0, 20.0, 5.0
"""How many scores of its own a group needs to count as much as its wider kin, and the kin as much as a guess."""
POOLED_WEEKS = 13
"""How far ahead a kin's scores are pooled, so that the band of a week is the same however far a forecast looks."""
BLOCK_WEEKS = 6
"""Origins within so many weeks look into the same weeks and count as one draw of the shop's luck."""
MANY = 10_000
COVERED = 0.75
"""A sum is scored when at least this share of its mean fell in weeks that were not short."""
NORMAL = np.array([-1.2816, -0.6745, 0.0, 0.6745, 1.2816])
GUESS = 1.6 * NORMAL
"""The band of a shop that has nothing to be calibrated on yet."""


@dataclass(frozen=True, eq=False)
class Cast:
    """One origin's forecast as it is kept for calibration: means and additive variances, series x horizon."""

    week: int
    series: tuple[tuple[str, str], ...]
    mean: Floats
    noise: Floats

    def aligned(self, panel: Panel) -> tuple[Floats, Floats]:
        """Mean and noise in the panel's order of series; a series not known then has no mean."""
        wanted = tuple(zip(panel.flavours, panel.channels, strict=True))
        if wanted == self.series:
            return self.mean, self.noise
        place = {pair: i for i, pair in enumerate(self.series)}
        mean, noise = (np.zeros((len(wanted), self.mean.shape[1])) for _ in range(2))
        for row, pair in enumerate(wanted):
            if pair in place:
                mean[row], noise[row] = self.mean[place[pair]], self.noise[place[pair]]
        return mean, noise


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of a cast: actual, mean, scale of each row's weeks (rows, horizon) and sums (rows, spans + 1)."""

    week: int
    actual: Floats
    mean: Floats
    scale: Floats
    fair: Bools
    sum_actual: Floats
    sum_mean: Floats
    sum_scale: Floats
    sum_fair: Bools
    lengths: Floats

    @cached_property
    def score(self) -> Floats:
        """Scaled error of each week, NaN where it may not be scored."""
        return np.where(self.fair, (self.actual - self.mean) / self.scale, np.nan)

    @cached_property
    def sum_score(self) -> Floats:
        """Scaled error of each sum, NaN where it may not be scored."""
        return np.where(self.sum_fair, (self.sum_actual - self.sum_mean) / self.sum_scale, np.nan)


def scale_of(mean: Floats, noise: Floats, square: float) -> Floats:
    """The yardstick an error is measured with."""
    return np.sqrt(np.maximum(noise + square * mean**2, 1e-12))


def span_lengths(seasons: Floats, horizon: int) -> Floats:
    """Weeks of each sum, shape (rows, spans + 1); 0 where it does not fit into the horizon."""
    fixed = np.array([s if s <= horizon else 0 for s in SPANS], dtype=float)
    return np.concatenate([np.broadcast_to(fixed, (len(seasons), len(SPANS))), seasons[:, None]], axis=1)


def totals(levels: Levels, grid: Floats, lengths: Floats) -> Floats:
    """Sums of a series x horizon grid over each row's spans."""
    rows = np.concatenate([np.zeros((len(levels.sums), 1)), np.cumsum(levels.sums @ grid, axis=1)], axis=1)
    return np.take_along_axis(rows, np.minimum(lengths, rows.shape[1] - 1).astype(np.int64), axis=1)


def outcome_of(
    cast: Cast, panel: Panel, levels: Levels, feast_weeks: NDArray[np.int64], now: int, square: float
) -> Outcome:
    """Hold a cast against the weeks before column ``now``; weeks that were short count on neither side."""
    mean, noise = cast.aligned(panel)
    column = cast.week - panel.first
    horizon = mean.shape[1]
    known = max(min(now - column, horizon), 0)
    fair = np.zeros(mean.shape, dtype=bool)
    units = np.zeros(mean.shape)
    fair[:, :known] = panel.not_short()[:, column : column + known] & (mean[:, :known] > 0)
    units[:, :known] = panel.units[:, column : column + known]
    lengths = span_lengths(season_lengths(panel, levels, feast_weeks, column, horizon), horizon)
    whole = levels.sums @ mean
    actual, held = levels.sums @ (units * fair), levels.sums @ (mean * fair)
    noise = noise * fair
    enough = (held > 0) & (held >= COVERED * whole)
    sum_actual, sum_mean = totals(levels, units * fair, lengths), totals(levels, mean * fair, lengths)
    sum_whole = totals(levels, mean, lengths)
    done = (lengths > 0) & (lengths <= known)
    sum_fair = done & (sum_mean > 0) & (sum_mean >= COVERED * sum_whole)
    return Outcome(
        cast.week,
        actual,
        held,
        scale_of(held, levels.sums @ noise, square),
        enough,
        sum_actual,
        sum_mean,
        scale_of(sum_mean, totals(levels, noise, lengths), square),
        sum_fair,
        lengths,
    )


class Bands:
    """Conformal offsets, in units of the yardstick, per level, kind and horizon, from the outcomes known so far.

    A group's quantiles start from those of its wider kin and are moved by its own scores as far as their number bears:
    kin (a level and its totals) -> the level at every horizon -> the level at this horizon. All-year and season-only
    rows are never pooled.
    """

    def __init__(
        self, outcomes: Sequence[Outcome], levels: Levels, horizon: int, elapsed: Sequence[int] | None = None
    ) -> None:
        """``elapsed``, weeks gone by since each origin, hides what came later in outcomes that know more."""
        self.origins = len(outcomes)
        self.levels = levels
        self.uncalibrated: set[tuple[str, bool]] = set()
        rows = len(levels.level)
        weekly = np.full((self.origins, rows, horizon), np.nan)
        sums = np.full((self.origins, rows, len(SPANS) + 1), np.nan)
        for k, o in enumerate(outcomes):
            known = o.mean.shape[1] if elapsed is None else elapsed[k]
            width = min(horizon, o.mean.shape[1], known)
            weekly[k, :, :width] = o.score[:, :width]
            sums[k] = np.where(o.lengths <= known, o.sum_score, np.nan)
        self._weekly, self._sums = weekly, sums
        self._weeks = np.array([o.week for o in outcomes], dtype=np.int64)
        self.week_offsets = np.zeros((rows, horizon, len(QUANTILES)))
        self.sum_offsets = np.zeros((rows, len(SPANS) + 1, len(QUANTILES)))
        for level in range(len(LEVELS)):
            for kind in (False, True):
                mine = (levels.level == level) & (levels.season_only == kind)
                if mine.any():
                    self._fill(mine, level, kind, horizon)

    def _fill(self, mine: Bools, level: int, kind: bool, horizon: int) -> None:
        kin = (levels_pair(self.levels.level, level)) & (self.levels.season_only == kind)
        self._most = self._seasons(mine) if kind else MANY
        for scores, weight in ((self._weekly, WEIGHT_OF_KIN), (self._sums, WEIGHT_OF_KIN_SUMS)):
            own = scores[:, mine]
            near = scores[:, :, :POOLED_WEEKS] if scores is self._weekly else scores
            if np.isfinite(own).sum() < LEAST_SCORES and np.isfinite(scores[:, kin]).sum() < LEAST_SCORES:
                self.uncalibrated.add((LEVELS[level], kind))

            @cache
            def guessed(near: Floats = near) -> Floats:
                return self._moved(lambda: GUESS, near[:, kin], WEIGHT_OF_GUESS)

            @cache
            def wide(own: Floats = near[:, mine], weight: float = weight) -> Floats:
                return self._moved(guessed, own, weight)

            if scores is self._weekly:
                for low, high in BUCKETS:
                    if low < horizon:
                        offsets = self._moved(wide, own[:, :, low:high], weight)
                        self.week_offsets[mine, low : min(high, horizon)] = np.maximum.accumulate(offsets)
            else:
                for span in range(len(SPANS) + 1):
                    offsets = self._moved(wide, own[:, :, span], weight)
                    self.sum_offsets[mine, span] = np.maximum.accumulate(offsets)

    def _seasons(self, mine: Bools) -> int:
        """How many seasons the origins have seen: one a flavour and year begun."""
        flavours = {flavour for flavour, here in zip(self.levels.flavour, mine, strict=True) if here}
        span = int(np.ptp(self._weeks)) + 1 if self.origins else 0
        return len(flavours) * -(-span // 52)

    def _moved(self, start: Callable[[], Floats], pool: Floats, weight: float) -> Floats:
        """Quantiles moved from ``start``, which counts as ``weight`` scores, towards those of a pool.

        A pool so large that the start would not count for a twentieth speaks for itself.
        """
        flat = pool.reshape(self.origins, -1) if self.origins else np.zeros((0, 1))
        count = int(np.isfinite(flat).sum())
        if not count:
            return start()
        own = conformal_offsets(flat, self._weeks, self._most)
        if count >= 20 * weight:
            return own
        out: Floats = (count * own + weight * start()) / (count + weight)
        return out


def levels_pair(level: NDArray[np.int64], wanted: int) -> Bools:
    """Rows of a level and the one it may be pooled with: series with flavours, channels with the shop."""
    out: Bools = (level // 2) == (wanted // 2)
    return out


def conformal_offsets(scores: Floats, weeks: NDArray[np.int64], most: int = MANY) -> Floats:
    """Quantiles of scores (origins x anything, NaN where unknown), widened for the luck that all rows of a date share.

    Scores of one time are not independent: a wet Advent hits every flavour and every horizon that looks into it. So the
    part of the scores' variance that lies between origins counts as known from as many draws as there are blocks of
    six weeks, not as there are scores, and is widened as a Student t prediction of that many draws would be.

    Args:
        scores: shape (origins, rows).
        weeks: number of each origin's week.
        most: the most draws there can have been; a flavour of one season has one a year, however many origins look at it.
    """
    known = np.isfinite(scores)
    flat = np.sort(scores[known])
    out: Floats = np.interp(QUANTILES, (np.arange(flat.size) + 0.5) / flat.size, flat)
    counts = known.sum(axis=1)
    had = counts > 0
    means = np.where(known, scores, 0.0).sum(axis=1)[had] / counts[had]
    spread, between = _variance(flat), _variance(means)
    if spread <= 1e-12:
        return out
    shared = min(between / spread, 1.0)
    draws = min(len(set((weeks[had] // BLOCK_WEEKS).tolist())), most)
    middle = out[QUANTILES.index(0.5)]
    widened: Floats = middle + (out - middle) * np.sqrt(1 + shared * (t_widening(draws) ** 2 - 1))
    return widened


def _variance(values: Floats) -> float:
    off = values - values.sum() / values.size
    return float(off @ off / values.size)


def t_widening(draws: int) -> float:
    """How much wider an 80 % prediction from so many draws is than with the spread known.

    sqrt(1 + 1/n) t(n - 1) / z; the quantile of t by Abramowitz and Stegun 1964, formula 26.7.5.
    """
    z, free = float(NORMAL[-1]), max(draws - 1, 2)
    t = z + (z**3 + z) / (4 * free) + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * free**2)
    return t / z * float(np.sqrt(1 + 1 / max(draws, 1)))


def quantiles_from(mean: Floats, scale: Floats, offsets: Floats) -> Floats:
    """Quantiles (..., 5) at a mean: never below 0, never falling, exactly 0 where the mean is a structural zero."""
    out = np.maximum(mean[..., None] + scale[..., None] * offsets, 0.0)
    out[mean <= 0] = 0.0
    return np.maximum.accumulate(out, axis=-1)
