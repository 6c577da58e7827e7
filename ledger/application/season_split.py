"""A flavour's forecast shared among its designs and packs, as they have lately sold in each channel."""

from __future__ import annotations

import pandas as pd

from ledger.analytics.forecast_input import SALE
from ledger.application.reports_types import Table, columns
from ledger.application.season_history import RECENT_WEEKS, SeasonHistory
from ledger.domain.books import entries as e
from ledger.forecast import design_shares
from ledger.forecast.reconcile import whole_units

SHOWN = columns(
    ("flavour", "flavour", "flavour"), ("design", "design", "design"), ("item", "jar or bag", "item"), ("mean", "expected", "count"),
    ("share", "of the flavour", "share"),
)  # fmt: skip


def packs_table(seen: SeasonHistory, weekly: pd.DataFrame) -> Table:
    """Expected packs of all weeks by flavour, design and jar or bag; `weekly` in whole packs, and each flavour's rows add up to its total.

    What sold lately in a channel (26 weeks, or all its history where nothing sold in them) says how that channel's packs are shared; where the
    flavour never sold there, all channels' sales do, and the book's packs in equal parts where it never sold at all.
    """
    series = weekly[weekly["level"] == "series"].groupby(["flavour", "channel"])["mean"].sum()
    ways = Ways(seen)
    rows: dict[tuple[str, str, str], int] = {}
    for key, total in series.items():
        flavour, channel = str(key[0]), str(key[1])  # type: ignore[index]
        shares = ways.of(flavour, channel)
        parts = whole_units([float(total) * share for share in shares.values()])
        for (design, item), packs in zip(shares, parts, strict=True):
            rows[flavour, design, item] = rows.get((flavour, design, item), 0) + int(packs)
    frame = pd.DataFrame(
        [(*key, packs) for key, packs in sorted(rows.items())], columns=["flavour", "design", "item", "mean"]
    )
    whole = frame.groupby("flavour")["mean"].transform("sum")
    frame["share"] = (frame["mean"] / whole.where(whole > 0)).astype(float)
    frame = (
        frame[frame["mean"] > 0]
        .sort_values(["flavour", "mean"], ascending=[True, False], kind="stable")
        .reset_index(drop=True)
    )
    return Table(
        "By design and pack over all weeks",
        frame,
        SHOWN,
        note=f"Shared as they sold in the last {RECENT_WEEKS} weeks; bulk orders stand beside it.",
    )


class Ways:
    """How the packs of a flavour in a channel are shared among designs and packs."""

    def __init__(self, seen: SeasonHistory) -> None:
        self.book = seen.on.book
        by = ["week", "flavour", "channel", "design", "item", "step"]
        lines = seen.on.queries.balances(
            by, known=seen.on.known, kinds=["lot.packs"]
        )  # a customer's line does not say which pack
        sold = lines[lines["step"].isin(SALE)].groupby(by[:-1], as_index=False)["packs"].sum()
        sold = sold.assign(units=-sold["packs"], design=sold["design"].astype(str) + "|" + sold["item"].astype(str))
        sold = sold[sold["units"] > 0]
        keep = ["week", "flavour", "channel", "design", "units"]
        self.by_channel = _table(sold[keep], seen.origin)
        self.overall = _table(sold.assign(channel="*")[keep], seen.origin)

    def of(self, flavour: str, channel: str) -> dict[tuple[str, str], float]:
        """(design, pack) -> share; shares add up to 1, and an unknown pack has no name."""
        found = self.by_channel.get((flavour, channel)) or self.overall.get((flavour, "*"))
        if found:
            return found
        packs = [p for p in self.book.all(e.Pack) if p.flavour == flavour]
        return {(p.design, p.id): 1 / len(packs) for p in packs} or {("", ""): 1.0}


def _table(sold: pd.DataFrame, origin: str) -> dict[tuple[str, str], dict[tuple[str, str], float]]:
    out: dict[tuple[str, str], dict[tuple[str, str], float]] = {}
    if sold.empty:
        return out
    for row in design_shares(sold, origin, RECENT_WEEKS).to_dict("records"):
        design, _, item = str(row["design"]).partition("|")
        out.setdefault((str(row["flavour"]), str(row["channel"])), {})[design, item] = float(row["share"])
    return out


__all__ = ["packs_table"]
