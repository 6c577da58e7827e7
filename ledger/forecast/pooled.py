"""The main model: a partially pooled, ridge-penalised quasi-Poisson regression over all series at once.

log(mean demand of series s in week t) = features(s, t) . b_s + log(open share x share in stock)

Coefficients are sums: the shop's common ones, a flavour's own turn on them, a channel's, and that of the flavour in the
channel. Each is a normal prior around nothing whose spread ``settings.Beliefs`` states, so that a flavour with little
history leans on the others and one with much speaks for itself. The penalised likelihood is solved by Newton's method
(iteratively reweighted least squares: McCullagh and Nelder, *Generalized Linear Models*, 2nd ed. 1989, section 2.5); the
sums make each step a few small eliminations instead of one large system.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ledger.forecast.features import Features
from ledger.forecast.history import Bools, Floats, Panel
from ledger.forecast.settings import Beliefs

NORMAL_MEDIAN_SQUARE = 0.4549
"""Median of a chi-squared variable with one degree of freedom: turns a median squared residual into a variance."""

STOPS = (0.1, 0.03, 5e-3)
"""Largest step in any log mean at which each pass stops; dispersion and wild weeks are looked at again between them.

A Newton step squares the error: after a last step of 0.005 about a hundred-thousandth is left.
"""


@dataclass(frozen=True, eq=False)
class Fit:
    """What a fitted regression says of every series.

    Attributes:
        mean: mean demand of every series and week of the panel were the series in stock, past and future; 0 where the
            shop is closed or the flavour is out of its window.
        dispersion: quasi-Poisson variance divided by mean, per series.
        fitted: which series had anything to be fitted on.
        used: the weeks fitted on.
        winsorised: units with wild weeks pulled in, as the fit saw them.
        trend: growth a year on the log scale, per series.
        promotion: what a promotion of strength 1 adds on the log scale, per series.
    """

    mean: Floats
    dispersion: Floats
    fitted: Bools
    used: Bools
    winsorised: Floats
    trend: Floats
    promotion: Floats


@dataclass(frozen=True, eq=False)
class PooledFit(Fit):
    """A fit with its coefficients.

    Attributes:
        coefficients: shape (series, features), time counted from the origin.
        parent_coefficients: what the series' flavour and channel alone would say.
    """

    coefficients: Floats
    parent_coefficients: Floats


def fit_pooled(
    panel: Panel,
    features: Features,
    column: int,
    beliefs: Beliefs,
    start_from: PooledFit | None = None,
    lean: Floats | None = None,
    kin: NDArray[np.int64] | None = None,
) -> PooledFit:
    """Fit on the weeks before ``column`` and give the mean of every week of the panel.

    ``start_from``, an earlier origin's fit of the same series, only saves Newton steps; the solution is the same to a
    few parts in a thousand of any week's mean, nearly always to one in ten thousand. ``lean``, shape (series, weeks), is a known log
    effect that the coefficients turn around. ``kin``, shape (series,): for a series that has not sold yet the row whose level it
    starts with, -1 for none; its shape is its channel's and the shop's.
    """
    used = panel.usable(column, beliefs.least_exposure)
    fitted: Bools = np.any(used, axis=1).astype(bool)
    if not fitted.any():
        none, size = np.zeros(panel.number_of_series), np.zeros((panel.number_of_series, len(features.names)))
        return PooledFit(np.zeros(used.shape), none + 1.0, fitted, used, panel.units, none, none, size, size)
    used_past = used[:, :column]
    values = features.values.copy()
    values[:, :, 1] = damped_time(values[:, :, 1], column, beliefs.trend_damping)
    past = np.ascontiguousarray(values[:, :column])
    known = np.zeros(panel.units.shape) if lean is None else lean
    offset = np.log(np.where(used_past, panel.opening[:, :column] * panel.exposure[:, :column], 1.0))
    offset = offset + known[:, :column]
    units = np.where(used_past, panel.units[:, :column], 0.0)
    dispersion, start = _first_look(units, np.exp(offset), used_past)
    tree = _Tree(panel, fitted, features)
    b, parent = np.zeros((2, *past.shape[::2]))
    b[:, 0] = start
    level = start
    if start_from is not None and start_from.coefficients.shape == b.shape:
        b = np.where((start_from.fitted & fitted)[:, None], start_from.coefficients, b)
    for tolerance in STOPS:
        b, parent = _solve(past, units, offset, used_past, dispersion, b, level, tree, tolerance)
        mu = _mean(past, offset, b, level)
        raw = np.where(used_past, panel.units[:, :column], 0.0)
        dispersion = _dispersion(raw, mu, used_past)
        ceiling = mu + beliefs.winsor * np.sqrt(dispersion[:, None] * mu + 0.5 * dispersion[:, None] ** 2)
        units = np.minimum(raw, ceiling)
    lent = np.zeros(fitted.shape, dtype=bool) if kin is None else ~fitted & (kin >= 0) & fitted[kin]
    if kin is not None and lent.any():
        level, b = level.copy(), b.copy()
        level[lent], b[lent, 0] = level[kin[lent]], b[kin[lent], 0]
    everywhere = np.log(np.maximum(panel.opening, 1e-9)) + known
    mean = np.where(panel.in_window & (panel.opening > 0), _mean(values, everywhere, b, level), 0.0)
    mean[~fitted & ~lent] = 0.0
    winsorised = panel.units.copy()
    winsorised[:, :column] = np.where(used_past, units, panel.units[:, :column])
    return PooledFit(mean, dispersion, fitted, used, winsorised, b[:, 1], b[:, -1], b, parent)


def damped_time(years: Floats, column: int, damping: float) -> Floats:
    """Years from the origin; beyond it each further week counts ``damping`` times the one before."""
    weeks = np.arange(years.shape[1]) - (column - 0.5)
    ahead = np.maximum(weeks, 0.0)
    damped = (1 - damping**ahead) / (1 - damping) if damping < 1 else ahead
    row: Floats = np.where(weeks > 0, damped, weeks) / 52.1775
    return np.broadcast_to(row, years.shape)


class _Tree:
    """Eliminates flavour-in-channel coefficients into flavours, flavours into channels and the shop, and back again."""

    def __init__(self, panel: Panel, fitted: Bools, features: Features) -> None:
        self.flavour_of, self.channel_of = groups_of(panel.flavours), groups_of(panel.channels)
        self.fitted = fitted
        self.in_flavour = _membership(self.flavour_of, fitted)
        self.in_channel = _membership(self.channel_of, fitted)
        self.own, self.flavour, self.channel, self.common = (
            1.0 / spread**2 for spread in (features.own, features.flavour, features.channel, features.common)
        )

    def solve(self, gram: Floats, right: Floats) -> tuple[Floats, Floats]:
        """Coefficients of the penalised weighted least squares ``gram . b = right`` per series, and their parents'.

        Each elimination is a Schur complement; what remains, one vector for the shop and one per channel, is solved
        outright.
        """
        size, flavours, channels = gram.shape[1], len(self.in_flavour), len(self.in_channel)
        eye = np.eye(size)
        inverse = inverses(gram + self.own[:, None] * eye)
        shrunk = np.matmul(inverse, right[:, :, None])[:, :, 0]
        weight = self.own[:, None] * eye - self.own[:, None] * inverse * self.own[None, :]
        pull = self.own * shrunk
        alive = self.in_flavour.any(axis=1)
        by_channel = np.zeros((flavours, channels, size, size))
        by_channel[self.flavour_of[self.fitted], self.channel_of[self.fitted]] = weight[self.fitted]
        inverse_flavour = inverses(by_channel.sum(axis=1) + self.flavour[:, None] * eye)
        up = self.in_flavour @ pull
        # block 0 is the shop, blocks 1.. the channels; every product stays feature-sized, too small for BLAS threads
        to_shop = np.broadcast_to(self.flavour[:, None] * eye, (1, flavours, size, size))
        link = np.concatenate([to_shop, -by_channel.transpose(1, 0, 2, 3)])
        solved = np.matmul(inverse_flavour, link)
        met = np.matmul(link[:, None, alive].swapaxes(-1, -2), solved[None, :, alive]).sum(axis=2)
        blocks = -met
        blocks[0, 0] += (self.common + alive.sum() * self.flavour)[:, None] * eye
        for c in range(channels):
            blocks[c + 1, c + 1] += self.channel[:, None] * eye + by_channel[:, c].sum(axis=0)
        side = np.concatenate([np.zeros((1, size)), self.in_channel @ pull])
        side = side + np.matmul(solved[:, alive].swapaxes(-1, -2), up[alive, :, None])[..., 0].sum(axis=1)
        shared = solve_blocks(blocks, side)
        flavour = np.matmul(inverse_flavour, up[:, :, None])[:, :, 0] + np.einsum("blfg,bg->lf", solved, shared)
        parent = flavour[self.flavour_of] + shared[1:][self.channel_of]
        series = shrunk + np.matmul(inverse, (self.own * parent)[:, :, None])[:, :, 0]
        return series, parent


def inverses(matrices: Floats) -> Floats:
    """Inverses of symmetric positive definite matrices (n, size, size).

    By numpy's general routine on purpose: LAPACK's Cholesky inverse does half the work, but its library hands matrices as small as these to
    threads that wait for each other, and on two cores that took eight times as long.
    """
    return np.asarray(np.linalg.inv(matrices), dtype=np.float64)


def solve_blocks(blocks: Floats, side: Floats) -> Floats:
    """Solve a symmetric positive definite system given in blocks (n, n, size, size) by block elimination."""
    blocks, side = blocks.copy(), side.copy()
    number = len(blocks)
    inverse: list[Floats] = []
    for k in range(number):
        inverse.append(inverses(blocks[k, k][None])[0])
        for i in range(k + 1, number):
            lead = blocks[i, k] @ inverse[k]
            side[i] -= lead @ side[k]
            for j in range(k + 1, number):
                blocks[i, j] -= lead @ blocks[k, j]
    for k in reversed(range(number)):
        for j in range(k + 1, number):
            side[k] -= blocks[k, j] @ side[j]
        side[k] = inverse[k] @ side[k]
    return side


def _membership(groups: NDArray[np.int64], fitted: Bools) -> Floats:
    member = np.zeros((int(groups.max(initial=-1)) + 1, groups.size))
    member[groups, np.arange(groups.size)] = fitted
    return member


def _solve(
    past: Floats,
    units: Floats,
    offset: Floats,
    used: Bools,
    dispersion: Floats,
    b: Floats,
    level: Floats,
    tree: _Tree,
    tolerance: float,
) -> tuple[Floats, Floats]:
    """Newton's method from ``b``; the constant is measured from ``level`` so that its prior knows no unit."""
    transposed = np.ascontiguousarray(past.transpose(0, 2, 1))
    eta = _linear(past, b, level)
    parent = b
    for _ in range(40):
        mu = np.exp(eta + offset)
        weight = np.where(used, mu / dispersion[:, None], 0.0)
        working = np.where(used, (units - mu) / dispersion[:, None], 0.0) + weight * (eta - level[:, None])
        gram = np.matmul(transposed * weight[:, None, :], past)
        right = np.matmul(transposed, working[:, :, None])[:, :, 0]
        b, parent = tree.solve(gram, right)
        b[:, 0] += level
        fresh = _linear(past, b, level)
        step = np.clip(fresh - eta, -1.5, 1.5)
        eta = eta + step
        if float(np.abs(np.where(used, step, 0.0)).max(initial=0.0)) < tolerance:
            break
    return b, parent


def _linear(values: Floats, b: Floats, level: Floats) -> Floats:
    eta = np.matmul(values, b[:, :, None])[:, :, 0]
    out: Floats = np.clip(eta, level[:, None] - 8.0, level[:, None] + 8.0)
    return out


def _mean(values: Floats, offset: Floats, b: Floats, level: Floats) -> Floats:
    out: Floats = np.exp(_linear(values, b, level) + offset)
    return out


def _first_look(units: Floats, share: Floats, used: Bools) -> tuple[Floats, Floats]:
    """A first dispersion (from week-to-week jumps) and log level per series, both scaling with the units."""
    weeks = np.maximum(used.sum(axis=1), 1)
    mean = units.sum(axis=1) / np.maximum((share * used).sum(axis=1), 1e-9)
    jumps = np.abs(np.diff(units, axis=1)) * (used[:, 1:] & used[:, :-1])
    spread = jumps.sum(axis=1) / np.maximum((used[:, 1:] & used[:, :-1]).sum(axis=1), 1)
    mean = np.maximum(mean, 1e-9)
    dispersion = np.maximum(spread**2 / mean / 2, 1e-3 * mean + mean / weeks)
    return dispersion, np.log(mean)


def _dispersion(units: Floats, mu: Floats, used: Bools) -> Floats:
    """Robust variance over mean: the median squared Pearson residual, never far under the plain mean of them."""
    square = np.where(used, (units - mu) ** 2 / np.maximum(mu, 1e-12), np.inf)
    weeks = used.sum(axis=1)
    known = weeks > 0
    out = np.ones(len(units))
    if known.any():
        order, count = np.sort(square[known], axis=1), weeks[known]
        rows = np.arange(count.size)
        middle = (order[rows, (count - 1) // 2] + order[rows, count // 2]) / 2 / NORMAL_MEDIAN_SQUARE
        plain = np.where(used, square, 0.0)[known].sum(axis=1) / count
        typical = np.where(used, units, 0.0)[known].sum(axis=1) / count
        out[known] = np.maximum.reduce([middle, 0.25 * plain, 1e-3 * typical, np.full(middle.shape, 1e-9)])
    return out


def groups_of(names: tuple[str, ...]) -> NDArray[np.int64]:
    """Index of each name in the sorted list of different names."""
    order = sorted(set(names))
    return np.array([order.index(n) for n in names], dtype=np.int64)
