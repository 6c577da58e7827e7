"""Honest bands: split-conformal quantiles of past errors, pooled over series of a kind, for weeks and for sums.

Each earlier origin's forecast is held against what came. Its errors are scaled by

    sqrt(sum(phi mu + 0.3 phi^2) + 0.06 M^2)

(M the mean of the week or sum, phi the series' dispersion) and the finite-sample quantiles of these scores (Vovk,
Gammerman and Shafer, *Algorithmic Learning in a Random World*, 2005) make the bands of the next forecast. Sums of
2, 4 and 8 weeks and the rest of the season are calibrated on their own sums: weekly quantiles do not add up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ledger.forecast.history import Bools, Floats, Panel
from ledger.forecast.levels import LEVELS, Levels, season_lengths
from ledger.forecast.settings import QUANTILES, SPANS

BUCKETS = ((0, 2), (2, 5), (5, 9), (9, 13), (13, 10_000))
LEAST_ORIGINS = 12
LEAST_SCORES = 200
LEAST_SUM_SCORES = 60
FEW_ORIGINS = 20
COVERED = 0.75
"""A sum is scored when at least this share of its mean fell in weeks that were not short."""
UNCALIBRATED_WIDENING = 1.6
NORMAL = np.array([-1.2816, -0.6745, 0.0, 0.6745, 1.2816])


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
    """Conformal offsets, in units of the yardstick, per level, kind and horizon, from the outcomes known so far."""

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
        self.week_offsets = np.zeros((rows, horizon, len(QUANTILES)))
        self.sum_offsets = np.zeros((rows, len(SPANS) + 1, len(QUANTILES)))
        for level in range(len(LEVELS)):
            for kind in (False, True):
                mine = (levels.level == level) & (levels.season_only == kind)
                if mine.any():
                    self._fill(mine, level, kind, horizon)

    def _fill(self, mine: Bools, level: int, kind: bool, horizon: int) -> None:
        kin = (levels_pair(self.levels.level, level)) & (self.levels.season_only == kind)
        for low, high in BUCKETS:
            if low >= horizon:
                break
            pools = [self._weekly[:, mine, low:high], self._weekly[:, mine], self._weekly[:, kin]]
            offsets = self._first_enough(pools, LEAST_SCORES, level, kind)
            self.week_offsets[mine, low : min(high, horizon)] = offsets
        for span in range(len(SPANS) + 1):
            pools = [self._sums[:, mine, span], self._sums[:, kin, span], self._sums[:, kin]]
            self.sum_offsets[mine, span] = self._first_enough(pools, LEAST_SUM_SCORES, level, kind)

    def _first_enough(self, pools: list[Floats], least: int, level: int, kind: bool) -> Floats:
        for pool in pools if self.origins else []:
            flat = pool.reshape(self.origins, -1)
            known = np.isfinite(flat)
            if known.any(axis=1).sum() >= LEAST_ORIGINS and known.sum() >= least:
                return conformal_offsets(flat)
        self.uncalibrated.add((LEVELS[level], kind))
        return NORMAL * UNCALIBRATED_WIDENING


def levels_pair(level: NDArray[np.int64], wanted: int) -> Bools:
    """Rows of a level and the one it may be pooled with: series with flavours, channels with the shop."""
    out: Bools = (level // 2) == (wanted // 2)
    return out


def conformal_offsets(scores: Floats) -> Floats:
    """Quantiles of scores (origins x anything, NaN where unknown) with the finite-sample step outwards.

    While there are few origins, each side is widened by half of the spread between origins' mean scores, because all
    series of one date share its luck: with k origins by 0.5 z sd sqrt(1 + 2/k).
    """
    flat = np.sort(scores[np.isfinite(scores)])
    count = flat.size
    ranks = [np.floor((count + 1) * p) if p < 0.5 else np.ceil((count + 1) * p) for p in QUANTILES]
    out = flat[np.clip(np.array(ranks, dtype=np.int64) - 1, 0, count - 1)]
    out[QUANTILES.index(0.5)] = np.median(flat)
    known = np.isfinite(scores)
    counts = known.sum(axis=1)
    origins = int((counts > 0).sum())
    if 2 <= origins < FEW_ORIGINS:
        means = np.where(known, scores, 0.0).sum(axis=1)[counts > 0] / counts[counts > 0]
        out = out + 0.5 * NORMAL * float(np.std(means, ddof=1)) * np.sqrt(1 + 2 / origins)
    return np.maximum.accumulate(out)


def quantiles_from(mean: Floats, scale: Floats, offsets: Floats) -> Floats:
    """Quantiles (..., 5) at a mean: never below 0, never falling, exactly 0 where the mean is a structural zero."""
    out = np.maximum(mean[..., None] + scale[..., None] * offsets, 0.0)
    out[mean <= 0] = 0.0
    return np.maximum.accumulate(out, axis=-1)
