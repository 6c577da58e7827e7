"""The level update: what the last weeks say against what the regression expected of them.

A discounted Gamma-Poisson update (West and Harrison, *Bayesian Forecasting and Dynamic Models*, 2nd ed. 1997, section
10.5, in its conjugate form): the level multiplies the regression's mean by

    (k + sum d^age y/phi) / (k + sum d^age mu/phi)

first for the whole shop, then for each channel and each flavour, then for each series, with weights k that say how
many counts of doubt the update must overcome.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ledger.forecast.history import Floats, Panel
from ledger.forecast.pooled import Fit, groups_of
from ledger.forecast.settings import Beliefs


def level_factors(panel: Panel, fit: Fit, column: int, beliefs: Beliefs) -> Floats:
    """Factor on the regression's mean per series, as known before ``column``; shape (series,)."""
    age = column - 1 - np.arange(column)
    discount = beliefs.level_discount**age
    used = fit.used[:, :column]
    scale = np.where(used, discount[None, :] / fit.dispersion[:, None], 0.0)
    sold = (scale * fit.winsorised[:, :column]).sum(axis=1)
    expected = (scale * fit.mean[:, :column] * panel.exposure[:, :column]).sum(axis=1)
    factor = np.ones(panel.number_of_series)
    for groups, weight in (
        (np.zeros(panel.number_of_series, dtype=np.int64), beliefs.level_weight_shop),
        (groups_of(panel.channels), beliefs.level_weight_group),
        (groups_of(panel.flavours), beliefs.level_weight_group),
        (np.arange(panel.number_of_series), beliefs.level_weight_series),
    ):
        factor = factor * _ratio(groups, weight, sold, expected * factor)
    return factor


def _ratio(groups: NDArray[np.int64], weight: float, sold: Floats, expected: Floats) -> Floats:
    number = int(groups.max(initial=-1)) + 1
    up = weight + np.bincount(groups, sold, number)
    down = weight + np.bincount(groups, expected, number)
    return (up / down)[groups]
