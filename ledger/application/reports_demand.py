"""The tables a forecast is fitted to, read from the ledger as known at a position, and at many positions from one reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ledger.analytics import forecast_input
from ledger.analytics.compare import shift, week_of
from ledger.analytics.weekdays import Weights, even, weekday_weights
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Basis, basis
from ledger.projections.queries import AsOf, PaperVersion, papers_believed

KEYS = ["day", "week", "flavour", "channel"]
GONE = ["flavour", "channel", "day", "until_day"]
PLANNED = ["from_day", "to_day", "flavour", "channel", "kind"]


@dataclass(frozen=True, slots=True)
class Demand:
    """What was sold and what is known beside it.

    sales: ``week``, ``flavour``, ``channel``, ``units`` (packs). exposure: ``flavour``, ``channel``, ``week``, ``share``. open_days: ``week``,
    ``days``, also for `weeks_ahead` to come (with ``channel`` where one has closures of its own). promotions: ``week``, ``flavour``,
    ``channel``, ``strength``. weekdays: what each open weekday sells over all channels, in ordinary days.
    """

    as_of: AsOf
    sales: pd.DataFrame
    exposure: pd.DataFrame
    open_days: pd.DataFrame
    promotions: pd.DataFrame
    weekdays: Weights


def demand(ledger: Ledger, known: int | str | None = None, weeks_ahead: int = 52, origin: str | None = None) -> Demand:
    """Weekly packs sold by flavour and channel, weeks not fully in stock, open days and promotions, as known at a position or day.

    What each weekday sells is read from the weeks before ``origin``, the running week unless another is named.
    """
    on = basis(ledger, known)
    lines = on.queries.balances([*KEYS, "kind"], known=on.known, kinds=["customer"])
    lines = lines[lines["flavour"] != ""]
    gone = [p for _, p in on.queries.papers("ran-out", known=on.known)]
    planned = [p for _, p in on.queries.papers("promotion", known=on.known)]
    return _told(on, on.as_of, lines, gone, planned, weeks_ahead, origin)


def _told(
    on: Basis,
    as_of: AsOf,
    lines: pd.DataFrame,
    gone: Sequence[Any],
    planned: Sequence[Any],
    weeks_ahead: int,
    origin: str | None,
) -> Demand:
    """``lines``: balances of customers by day, week, flavour and channel."""
    sales = forecast_input.weekly_sales(lines)
    weekdays, facts = on.site.open_days, _frame(planned, PLANNED)
    shut, own = forecast_input.closed_days(facts), forecast_input.closed_of_channels(facts)
    this, first, last = week_of(date.fromisoformat(on.today)), "2000-W01", "1999-W52"
    if not sales.empty:  # from the first sale until so many weeks from today, also where nothing has sold for long
        first = str(sales["week"].iloc[0])
        last = shift(max(str(sales["week"].iloc[-1]), this), weeks_ahead)
    past = lines[lines["week"] < (origin or this)]
    daily = past.groupby(["day", "channel"], sort=True)["packs"].sum().reset_index(name="units")
    weights = weekday_weights(daily, weekdays, shut, own)
    open_days = forecast_input.open_days(first, last, weekdays, shut, own, weights)
    some = lines[lines["packs"] > 0]
    sold = set(zip(some["flavour"], some["channel"], some["day"], strict=True)) if gone else set()
    exposure = forecast_input.exposure(_frame(gone, GONE), weekdays, shut, own, weights, sold)
    pooled = weekday_weights(daily.assign(channel="*").groupby(["day", "channel"]).sum().reset_index(), weekdays, shut)
    usual = pooled.get("*") or even(weekdays)
    return Demand(as_of, sales, exposure, open_days, forecast_input.promotions(facts, usual), usual)


def _frame(papers: Sequence[Any], names: list[str]) -> pd.DataFrame:
    return pd.DataFrame([tuple(getattr(paper, n) for n in names) for paper in papers], columns=names)


@dataclass(slots=True)
class EverKnown:
    """All that was ever believed of sales and facts, read once: `at` gives what `demand` would read at a position, without asking again.

    A replay asks at dozens of positions, and each reading of the ledger sums every line of a customer anew.
    """

    on: Basis
    keys: pd.DataFrame = field(init=False)
    place: NDArray[np.int64] = field(init=False)
    since: NDArray[np.int64] = field(init=False)
    until: NDArray[np.int64] = field(init=False)
    packs: NDArray[np.int64] = field(init=False)
    gone: list[PaperVersion] = field(init=False)
    planned: list[PaperVersion] = field(init=False)

    def __post_init__(self) -> None:
        queries = self.on.queries
        lines = queries.ever_believed([*KEYS, "known_from", "known_to"], kinds=["customer"])
        lines = lines[(lines["flavour"] != "") & (lines["known_from"] <= self.on.known)]
        groups = lines.groupby(KEYS, sort=True)
        self.place = groups.ngroup().to_numpy().astype("int64")
        self.keys = groups.size().reset_index()[KEYS]
        self.since, self.until, self.packs = (
            lines[n].to_numpy(dtype="int64") for n in ("known_from", "known_to", "packs")
        )
        self.gone, self.planned = queries.paper_versions("ran-out"), queries.paper_versions("promotion")

    def at(self, position: int, weeks_ahead: int = 52, origin: str | None = None) -> Demand:
        """What `demand` reads as known at a position."""
        there = (self.since <= position) & (self.until > position)
        place, packs = self.place[there], np.zeros(len(self.keys), dtype="int64")
        np.add.at(packs, place, self.packs[there])
        seen = np.zeros(len(self.keys), dtype=bool)
        seen[place] = True
        lines = self.keys[seen].reset_index(drop=True).assign(kind="customer", packs=packs[seen])
        gone = [p for _, p in papers_believed(self.gone, position)]
        planned = [p for _, p in papers_believed(self.planned, position)]
        return _told(self.on, AsOf(position, ""), lines, gone, planned, weeks_ahead, origin)


__all__ = ["Demand", "EverKnown", "demand"]
