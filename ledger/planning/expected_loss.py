"""Uncertain season demand as straight lines: what is lost in expectation at each cumulative supply.

The expected loss E max(0, D - Q) is convex in the supply Q, so tangents below it enter a linear program and an exact costing
alike, and the batches stay the only whole numbers. D of each week is demand from the season's start through that week.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import accumulate

from ledger.errors import BadInput
from ledger.planning.newsvendor import STANDARD, expected_short, safety_stock
from ledger.planning.problem import Item, Tangents

TANGENT_AT = (-2.2, -1.5, -1.0, -0.6, -0.2, 0.2, 0.6, 1.0, 1.5, 2.2)
"""Where the curve is touched, in standard deviations; between them the lines are at most 0.5 % of one sd too low."""


def tangents(mean_g: int, sd_g: int) -> Tangents:
    """Lines under E max(0, D - Q): (loss at no supply, grams saved a 1000 g of supply), whole numbers, rounded to the safe side."""
    if mean_g <= 0:
        return ()
    if sd_g <= 0:
        return ((mean_g, 1000),)
    lines: list[tuple[int, int]] = []
    for z in TANGENT_AT:
        at = mean_g + z * sd_g
        if at < 0:
            continue
        slope = round(1000 * (1 - STANDARD.cdf(z)))
        loss = expected_short(mean_g, sd_g, at)
        line = (int(loss + slope * at / 1000), slope)
        if slope > 0 and line not in lines:
            lines.append(line)
    return ((mean_g, 1000), *lines)


def with_curves(item: Item, cumulative_sd_g: Sequence[int]) -> Item:
    """The item with loss curves from its demand as mean and the calibrated sd of each cumulated sum, in grams."""
    if len(cumulative_sd_g) != len(item.demand_g):
        raise BadInput(
            f"{item.name}: {len(cumulative_sd_g)} spreads for {len(item.demand_g)} weeks of demand: give one a week",
            item=item.key,
        )
    means = list(accumulate(item.demand_g))
    curves = tuple(tangents(mean, sd) if mean else () for mean, sd in zip(means, cumulative_sd_g, strict=True))
    return replace(item, loss_curves=curves)


def with_safety(item: Item, weekly_sd_g: int, service: float = 0.9) -> Item:
    """The everyday item with its display minimum raised so that ``service`` of the weeks are covered from stock."""
    return replace(item, display_g=max(item.display_g, safety_stock(weekly_sd_g, service)))
