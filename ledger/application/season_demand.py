"""Grams a week of what the shop plans by itself, from the forecast in packs, and how widely they may miss."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from ledger.application.season_forecast import Made
from ledger.application.season_history import bulk_orders
from ledger.domain.books import entries as e
from ledger.planning.newsvendor import sd_of_band
from ledger.planning.scenarios import Spread


def things(book: Any, designs: Mapping[str, int]) -> list[tuple[e.Flavour, e.Design | None]]:
    """What the shop plans by itself: each flavour in each of its designs (in none where the book draws none)."""
    found: list[tuple[e.Flavour, e.Design | None]] = []
    for flavour in book.all(e.Flavour):
        mine = [d for d in book.all(e.Design) if d.flavour == flavour.id]
        packed = {p.design for p in book.all(e.Pack) if p.flavour == flavour.id and p.design}
        mine += [d for d in book.all(e.Design) if d.id in packed and d not in mine]
        found += [(flavour, d) for d in mine] or [(flavour, None)]
    return found


class Demand:
    """Grams a week of each flavour and design, from the forecast in packs and the designs' shares."""

    def __init__(self, forecast: Made, labels: list[str], left_open: float, notes: list[str]) -> None:
        self.labels, self.left_open = labels, left_open
        weekly = forecast.result.weekly
        series = weekly[weekly["level"] == "series"]
        self.mean = (
            series.pivot_table(index=["flavour", "channel"], columns="week", values="mean", aggfunc="sum")
            .reindex(columns=labels)
            .fillna(0.0)
        )
        self.grams = forecast.seen.grams
        self.shares = forecast.seen.shares
        self.designs: dict[str, int] = {}
        for flavour, _design in things(forecast.seen.on.book, {}):
            self.designs[flavour.id] = self.designs.get(flavour.id, 0) + 1
        bulk, _ = bulk_orders(forecast.seen.on)
        self.bulk = bulk[bulk["week"].isin(labels)]
        self.level = weekly[weekly["level"] == "flavour"]
        self.sums = forecast.result.cumulated[forecast.result.cumulated["level"] == "flavour"]

    def grams_by_week(self, flavour: str, design: str) -> list[int]:
        """Expected and promised grams by week; what is left of the first week only."""
        total = [0.0] * len(self.labels)
        alone = self.designs.get(flavour, 1) == 1
        for key, row in self.mean.iterrows():
            name, channel = str(key[0]), str(key[1])  # type: ignore[index]
            if name == flavour:
                share = 1.0 if alone else self._share(flavour, channel, design)
                total = [t + float(v) * share for t, v in zip(total, row, strict=True)]
        if total:
            total[0] *= self.left_open
        for order in self.bulk[self.bulk["flavour"] == flavour].itertuples(index=False):
            share = 1.0 if alone else self._share(flavour, str(order.channel), design)
            total[self.labels.index(str(order.week))] += float(str(order.units)) * share
        return [round(t * self.grams.get(flavour, 0.0)) for t in total]

    def _share(self, flavour: str, channel: str, design: str) -> float:
        table = self.shares[(self.shares["flavour"] == flavour) & (self.shares["channel"] == channel)]
        if table.empty:
            return 1.0 / self.designs[flavour]
        return float(table["share"].to_numpy(dtype=float)[(table["design"] == design).to_numpy()].sum())

    def week_sd(self, flavour: str) -> int:
        """Grams: the typical spread of one week of an everyday flavour, from its calibrated weekly band."""
        rows = self.level[(self.level["flavour"] == flavour) & (self.level["mean"] > 0)]
        if rows.empty:
            return 0
        grams = self.grams.get(flavour, 0.0)
        return sd_of_band(round(float(rows["q10"].median()) * grams), round(float(rows["q90"].median()) * grams))

    def cumulative_sd(self, flavour: str, demand_g: list[int]) -> list[int]:
        """Grams: spread of demand from now through each week, from the bands calibrated on sums (2, 4, 8 weeks, the season)."""
        rows = self.sums[(self.sums["flavour"] == flavour) & (self.sums["mean"] > 0)]
        numbers = rows[["weeks", "q10", "q90", "mean"]].to_numpy(dtype=float)
        points = sorted((int(n), float(high - low) / 2.563 / float(mean)) for n, low, high, mean in numbers)
        out, so_far = [], 0
        for n, grams in enumerate(demand_g, start=1):
            so_far += grams
            out.append(round(so_far * _between(points, n)))
        return out


def _between(points: list[tuple[int, float]], at: int) -> float:
    if not points:
        return 0.35
    before = [p for p in points if p[0] <= at]
    after = [p for p in points if p[0] >= at]
    if not before or not after:
        return (before[-1] if before else after[0])[1]
    low, high = before[-1], after[0]
    return low[1] if low[0] == high[0] else low[1] + (high[1] - low[1]) * (at - low[0]) / (high[0] - low[0])


def spread_of(forecast: Made) -> Spread:
    """How widely seasons are drawn when a plan is scored again: the calibrated bands of this forecast as coefficients of variation.

    The shop's 8-week sum gives what is common to all flavours; it is taken out of the flavours' own sums.
    """
    sums = forecast.result.cumulated
    sums = sums[sums["mean"] > 0]
    sums = sums.assign(cv=(sums["q90"] - sums["q10"]) / 2.563 / sums["mean"])
    weekly = forecast.result.weekly
    weekly = weekly[(weekly["level"] == "flavour") & (weekly["mean"] > 0)]
    weekly = weekly.assign(cv=(weekly["q90"] - weekly["q10"]) / 2.563 / weekly["mean"])
    usual = Spread()

    def middle(rows: pd.DataFrame, otherwise: float) -> float:
        return float(rows["cv"].median()) if len(rows) else otherwise

    flavours = sums[sums["level"] == "flavour"]
    only = flavours["season_only"].astype(bool)
    common = middle(sums[(sums["level"] == "shop") & (sums["span"] == "8")], usual.common)
    everyday = middle(flavours[~only & (flavours["span"] == "8")], usual.everyday_level)
    season = middle(flavours[only & (flavours["span"] == "season")], usual.season_level)
    seasonal = weekly["season_only"].astype(bool)
    return Spread(
        common=common,
        everyday_level=max(0.0, everyday**2 - common**2) ** 0.5,
        season_level=max(0.0, season**2 - common**2) ** 0.5,
        everyday_week=middle(weekly[~seasonal], usual.everyday_week),
        season_week=usual.season_week
        if weekly[seasonal].empty
        else min(usual.season_week, middle(weekly[seasonal], usual.season_week)),
    )


__all__ = ["Demand", "spread_of", "things"]
