"""How wrong the forecast has been: replayed on the ledger as it was known at each origin, and issued ones scored as they were made."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pandas as pd

from ledger.analytics.compare import monday, shift
from ledger.application.ledger import Ledger
from ledger.application.reports_demand import EverKnown
from ledger.application.reports_types import Column, Report, Table, basis, columns
from ledger.application.season_forecast import MILLI, sold_beside_bulk, span_of
from ledger.application.season_history import SeasonHistory, bulk_orders, history_of, season_history, truth
from ledger.errors import BadInput
from ledger.forecast import Backtest, DemandHistory, backtest, score_table
from ledger.forecast.calendar import week_number, week_text
from ledger.forecast.history import SHORT_BELOW
from ledger.projections.queries import papers_believed

GROUPS: tuple[Column, ...] = columns(
    ("group", "group"), ("n", "weeks scored", "count"), ("mase_ratio", "MASE to naive", "number"), ("error_ratio", "error to naive", "number"),
    ("wape", "WAPE", "share"), ("bias", "bias", "share"), ("coverage_80", "80 % band held", "share"), ("pinball_ratio", "pinball to naive", "number"),
)  # fmt: skip
HELD_BACK = 52
BOOK_OF_TODAY = "Sales and facts are as they were known at each origin; feasts, seasons, likenesses and opening days are those of today's book."


class AsKnown:
    """The history as the ledger knew it when an origin week began; late corrections are left out exactly as they were."""

    def __init__(self, ledger: Ledger) -> None:
        self.ever = EverKnown(basis(ledger))
        self.kept: dict[str, DemandHistory] = {}

    def __call__(self, origin: str) -> DemandHistory:
        if origin not in self.kept:
            eve = (monday(origin) - timedelta(days=1)).isoformat()
            on = self.ever.on
            position = min(on.known, on.queries.known_on(eve))
            bulk, _ = bulk_orders(on, papers_believed(self.ever.planned, position))
            self.kept[origin] = history_of(self.ever.at(position, weeks_ahead=70, origin=origin), bulk)
        return self.kept[origin]


def replay(ledger: Ledger, origins: int = 13, horizon: int = 13) -> tuple[SeasonHistory, Backtest]:
    """Forecast `origins` weeks spread over the last year, each with what was known then, against what sold (weeks that were short left out).

    Raises BadInput when fewer than a year and a quarter of sales are in the ledger.
    """
    seen = season_history(ledger)
    sales = seen.history.before(seen.origin).sales
    if origins < 1 or not 1 <= horizon <= 60:
        raise BadInput(
            f"A backtest needs 1 origin or more and a horizon of 1 to 60 weeks; got {origins} and {horizon}.",
            value=origins,
        )
    weeks = 0 if sales.empty else week_number(seen.origin) - min(week_number(str(w)) for w in sales["week"].unique())
    if weeks < HELD_BACK + 13:
        raise BadInput(
            f"A backtest holds a year back and needs {HELD_BACK + 13} weeks of sales; the ledger has {weeks}. Load older sales with `slabbook import`.",
            value=weeks, limit=HELD_BACK + 13,
        )  # fmt: skip
    now = week_number(seen.origin)
    asked = sorted(
        {
            week_text(
                now - HELD_BACK + round(i * (HELD_BACK - 1) / max(1, origins - 1)) if origins > 1 else now - HELD_BACK
            )
            for i in range(origins)
        }
    )
    known = AsKnown(ledger)
    outcome = seen.history.before(seen.origin)
    return seen, backtest(known, seen.settings, asked, horizon, outcome)


def backtest_report(ledger: Ledger, origins: int = 13, horizon: int = 13) -> Report:
    """The replay per group, for cumulated demand, per flavour, and what was issued or overridden, scored as it was made."""
    seen, done = replay(ledger, origins, horizon)
    groups = _named(score_table(done.weekly, ["level", "season_only"]))
    sums = _named(score_table(done.sums.assign(mase_scale=np.nan), ["level", "season_only", "span"]))
    flavours = score_table(done.weekly[done.weekly["level"] == "flavour"].assign(mase_scale=np.nan), ["flavour"])
    flavours["group"] = [seen.on.shop.name("flavour", f) for f in flavours["flavour"]]
    plain = tuple(c for c in GROUPS if c.name != "mase_ratio")
    tables = {
        "groups": Table("Week by week", groups, GROUPS, note="Below 1 is nearer than the same week of the year before; MASE weighs every row alike, the error packs. Short or closed weeks are not scored."),
        "sums": Table("Demand of 2, 4 and 8 weeks and the rest of the season", sums, plain),
        "flavours": Table("By flavour", flavours, plain),
    }  # fmt: skip
    issued, overrides = issued_scores(ledger, seen), override_scores(ledger, seen)
    if len(issued):
        tables["issued"] = issued_table(issued)
    if len(overrides):
        tables["overrides"] = nearer_table(overrides)
    shop = groups[groups["group"] == "shop"].iloc[0] if (groups["group"] == "shop").any() else groups.iloc[0]
    series = groups[groups["group"].str.startswith("series")]
    ratio = float((series["mase_ratio"] * series["n"]).sum() / series["n"].sum()) if len(series) else float("nan")
    text = (
        f"Over {done.weekly['origin'].nunique()} origins of the last year and {horizon} weeks ahead the error per flavour and channel is {ratio:.2f} of "
        f"the seasonal naive one; for the whole shop it is off by {100 * shop['wape']:.0f} % a week, "
        f"{100 * abs(shop['bias']):.1f} % too {'high' if shop['bias'] > 0 else 'low'} on average."
    )
    return Report(
        "season-backtest",
        "The forecast against what sold",
        seen.on.as_of,
        text,
        tables,
        (BOOK_OF_TODAY, *seen.notes),
        seen.on.shop,
    )


def issued_table(scores: pd.DataFrame) -> Table:
    """Issued forecasts and how far they missed."""
    return Table("Forecasts issued, as they were made", scores, columns(
        ("forecast", "forecast"), ("origin", "from"), ("weeks", "weeks gone by", "count"), ("n", "scored", "count"), ("wape", "WAPE", "share"),
        ("bias", "bias", "share"), ("coverage_80", "80 % band held", "share")))  # fmt: skip


def nearer_table(scores: pd.DataFrame) -> Table:
    """Owner's figures of weeks that are over beside the model's and what sold."""
    return Table("Your figures and the model's against what sold (packs, beside bulk orders)", scores, columns(
        ("key", "what"), ("week", "weeks"), ("model_units", "model", "count"), ("units", "owner", "count"), ("sold", "sold", "count"),
        ("nearer", "nearer"), ("reason", "reason")))  # fmt: skip


def _named(table: pd.DataFrame) -> pd.DataFrame:
    words = []
    for row in table.to_dict("records"):
        kind = "" if row["level"] in ("shop", "channel") else ", season only" if row["season_only"] else ", all year"
        span = "" if "span" not in row else f", {row['span']} weeks" if row["span"] != "season" else ", rest of season"
        words.append(f"{row['level']}{kind}{span}")
    return table.assign(group=words)


def issued_scores(ledger: Ledger, seen: SeasonHistory) -> pd.DataFrame:
    """Issued forecasts held against the weeks gone by since, as they were made: flavours in channels, weeks not short."""
    rows: list[dict[str, Any]] = []
    papers = [p for _, p in ledger.queries.papers("forecast", known=seen.on.known) if p.origin_week < seen.origin]
    if not papers:
        return pd.DataFrame()
    panel = truth(seen, shift(seen.origin, -1))
    fair, place = (
        panel.not_short(),
        {pair: i for i, pair in enumerate(zip(panel.flavours, panel.channels, strict=True))},
    )
    for paper in papers:
        start, now = week_number(paper.origin_week), week_number(seen.origin)
        actual, mean, held = [], [], []
        for line in paper.lines:
            series = place.get((line["flavour"], line["channel"]))
            if line["level"] != "series" or series is None:
                continue
            for ahead in range(min(now - start, len(line["mean"]))):
                column = start + ahead - panel.first
                if 0 <= column < panel.weeks and fair[series, column]:
                    sold = float(panel.units[series, column])
                    actual.append(sold)
                    mean.append(line["mean"][ahead] / MILLI)
                    held.append(line["q10"][ahead] / MILLI <= sold <= line["q90"][ahead] / MILLI)
        if sum(actual) > 0:
            error = sum(abs(a - m) for a, m in zip(actual, mean, strict=True))
            rows.append({
                "forecast": paper.forecast, "origin": paper.origin_week, "weeks": now - start, "n": len(actual), "wape": error / sum(actual),
                "bias": (sum(mean) - sum(actual)) / sum(actual), "coverage_80": sum(held) / len(held),
            })  # fmt: skip
    return pd.DataFrame(rows)


NOT_COMPARED = "not told: it was out of stock"


def override_scores(ledger: Ledger, seen: SeasonHistory) -> pd.DataFrame:
    """Owner's figures whose weeks are over, beside what the model said and what sold beside bulk orders. Where something of it was short in one of
    the weeks nobody is called nearer: what would have sold is not known."""
    rows: list[dict[str, Any]] = []
    gone = seen.history.exposure
    short = (
        [] if gone is None else gone[gone["share"] < SHORT_BELOW][["flavour", "channel", "week"]].to_numpy().tolist()
    )
    for _, paper in ledger.queries.papers("override", known=seen.on.known):
        first, last = span_of(paper.week)
        if last >= seen.origin:
            continue
        flavour, _, channel = paper.key.partition("/")
        sold = round(sold_beside_bulk(seen, flavour or "*", channel or "*", first, last))
        ours, model = abs(paper.units - sold), abs(paper.model_units - sold)
        nearer = "both alike" if ours == model else "owner" if ours < model else "model"
        if any(first <= week <= last and flavour in ("*", f) and channel in ("*", c) for f, c, week in short):
            nearer = NOT_COMPARED
        rows.append({"key": paper.key, "week": paper.week, "model_units": paper.model_units, "units": paper.units, "sold": sold, "nearer": nearer,
                     "reason": paper.reason})  # fmt: skip
    return pd.DataFrame(rows)


__all__ = [
    "NOT_COMPARED", "AsKnown", "backtest_report", "issued_scores", "issued_table", "nearer_table", "override_scores", "replay",
]  # fmt: skip
