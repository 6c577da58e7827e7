"""The tables a forecast is fitted to, read from the ledger as known at a position."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ledger.analytics import forecast_input
from ledger.analytics.compare import shift
from ledger.application.ledger import Ledger
from ledger.application.reports_types import basis
from ledger.projections.queries import AsOf


@dataclass(frozen=True, slots=True)
class Demand:
    """What was sold and what is known beside it.

    sales: ``week``, ``flavour``, ``channel``, ``units`` (packs). exposure: ``flavour``, ``channel``, ``week``, ``share``. open_days: ``week``,
    ``days``, also for `weeks_ahead` to come. promotions: ``week``, ``flavour``, ``channel``, ``strength``.
    """

    as_of: AsOf
    sales: pd.DataFrame
    exposure: pd.DataFrame
    open_days: pd.DataFrame
    promotions: pd.DataFrame


def demand(ledger: Ledger, known: int | str | None = None, weeks_ahead: int = 52) -> Demand:
    """Weekly packs sold by flavour and channel, weeks not fully in stock, open days and promotions, as known at a position or day."""
    on = basis(ledger, known)
    lines = on.queries.balances(["week", "flavour", "channel", "kind"], known=on.known, kinds=["customer"])
    sales = forecast_input.weekly_sales(lines)
    gone = _papers(on.queries.papers("ran-out", known=on.known), ["flavour", "channel", "day", "until_day"])
    planned = _papers(
        on.queries.papers("promotion", known=on.known), ["from_day", "to_day", "flavour", "channel", "kind"]
    )
    shut = forecast_input.closed_days(planned)
    open_days = forecast_input.open_days("2000-W01", "1999-W52", on.site.open_days)
    if not sales.empty:
        last = shift(str(sales["week"].iloc[-1]), weeks_ahead)
        open_days = forecast_input.open_days(str(sales["week"].iloc[0]), last, on.site.open_days, shut)
    exposure = forecast_input.exposure(gone, on.site.open_days, shut)
    return Demand(on.as_of, sales, exposure, open_days, forecast_input.promotions(planned))


def _papers(papers: list[tuple[int, object]], names: list[str]) -> pd.DataFrame:
    rows = [tuple(getattr(paper, n) for n in names) for _, paper in papers]
    return pd.DataFrame(rows, columns=names)


__all__ = ["Demand", "demand"]
