"""The forecast as tables: coming weeks of each flavour, week by week, by channel, design and pack, and which model said so and why."""

from __future__ import annotations

import pandas as pd

from ledger.application.reports_types import Column, Report, Table, columns
from ledger.application.season_forecast import Made, as_override
from ledger.application.season_split import packs_table
from ledger.application.season_whole import ROUNDED, in_whole_packs
from ledger.domain.books.entries import Flavour
from ledger.errors import UnknownThing
from ledger.forecast import explain

SHOWN_FLAVOURS = columns(
    ("flavour", "flavour", "flavour"), ("mean", "expected", "whole"), ("q10", "low", "whole"), ("q90", "high", "whole"), ("firm", "promised", "whole"),
    ("weeks", "weeks", "count"), ("to_week", "to"), ("model", "model"),
)  # fmt: skip
SHOWN_WEEKS = columns(
    ("week", "week"), ("flavour", "flavour", "flavour"), ("channel", "channel", "channel"), ("mean", "expected", "whole"), ("q10", "low", "whole"),
    ("q90", "high", "whole"), ("q50", "middle", "whole"), ("firm", "promised", "whole"), ("model_mean", "model said", "whole"),
)  # fmt: skip


EVERY_WEEK = columns(
    ("level", "level"), *((c.name, c.title, c.kind) for c in SHOWN_WEEKS[:4]), ("q10", "low", "whole"), ("q25", "quarter", "whole"),
    ("q50", "middle", "whole"), ("q75", "three quarters", "whole"), ("q90", "high", "whole"), ("firm", "promised", "whole"),
    ("model_mean", "model said", "whole"), ("model", "model"), ("why", "why"),
)  # fmt: skip
"""What a file of the forecast holds: every level, every mark, and which model made it and why."""


def _kinds(shown: tuple[Column, ...]) -> tuple[Column, ...]:
    return tuple(Column(c.name, c.title, "count" if c.kind == "whole" else c.kind) for c in shown)


def forecast_report(made: Made, flavour: str = "", every: bool = False) -> Report:
    """The forecast as tables: each flavour's coming weeks, the shop, or one flavour week by week (`every`: all rows, for files)."""
    on, result = made.seen.on, made.result
    weekly, cumulated = in_whole_packs(result, [as_override(paper, made.seen) for paper in made.overrides])
    if flavour:
        on.book.get(Flavour, flavour)
        weekly = weekly[weekly["flavour"] == flavour]
        if weekly.empty:
            raise UnknownThing(
                f"{on.shop.name('flavour', flavour)} has no forecast: it has never been sold. It needs sales of its own, or of the flavour it is like.",
                kind="flavour", id=flavour,
            )  # fmt: skip
    tables: dict[str, Table] = {}
    title = f"Forecast from {result.origin}, {result.horizon} weeks, in packs"
    if flavour or every:
        rows = weekly if every else weekly[weekly["level"].isin(["flavour", "series"])]
        tables["weekly"] = Table(
            "Week by week", rows.reset_index(drop=True), _kinds(EVERY_WEEK if every else SHOWN_WEEKS), note=ROUNDED
        )
    spans = spans_of(made, cumulated, flavour)
    tables["flavours"] = Table("Coming weeks together, and the rest of the season", spans, _kinds(SHOWN_FLAVOURS),
                               note=f"In 8 years of 10 it lies between low and high. Sums have bands of their own; weekly ones do not add up. {ROUNDED}")  # fmt: skip
    if not flavour:
        shop = weekly[weekly["level"] == "shop"].reset_index(drop=True)
        shown = tuple(c for c in _kinds(SHOWN_WEEKS) if c.name not in ("flavour", "channel"))
        tables["shop"] = Table("The whole shop", shop, shown, note=ROUNDED)
        channels = weekly[weekly["level"] == "channel"].groupby("channel", as_index=False)[["mean", "firm"]].sum()
        tables["channels"] = Table("By channel over all weeks", channels,
                                   columns(("channel", "channel", "channel"), ("mean", "expected", "count"), ("firm", "promised", "count")))  # fmt: skip
    if flavour or every:
        tables["packs"] = packs_table(made.seen, weekly)
    why = why_of(made, flavour)
    tables["why"] = Table(
        "Which model, and why", why, columns(("flavour", "flavour", "flavour"), ("model", "model"), ("why", "why"))
    )
    if made.overrides:
        tables["overrides"] = Table("The owner's figures beside the model's", override_rows(made), columns(
            ("key", "what"), ("week", "weeks"), ("units", "owner", "count"), ("model_units", "model", "count"), ("reason", "reason")))  # fmt: skip
    return Report(
        "season-forecast",
        title,
        on.as_of,
        _sentence(made, cumulated, flavour),
        tables,
        _few(_merged(made.notes)),
        on.shop,
    )


def spans_of(made: Made, cumulated: pd.DataFrame, flavour: str = "") -> pd.DataFrame:
    """Per flavour the longest span of 2, 4 or 8 weeks that fits and the rest of its season, with the model that carries most of it."""
    table = cumulated[cumulated["level"] == "flavour"]
    if flavour:
        table = table[table["flavour"] == flavour]
    fixed = table[table["span"] != "season"]
    longest = str(max(int(s) for s in fixed["span"].unique())) if len(fixed) else ""
    table = table[table["span"].isin([longest, "season"] if not flavour else list(table["span"].unique()))]
    season_row = (table["span"] == "season") & ~table["season_only"].astype(bool)
    table = table[~season_row | (flavour != "")].copy()
    if not flavour:
        ending = set(table.loc[table["span"] == "season", "flavour"])
        away = (
            table["season_only"].astype(bool)
            & ((table["mean"] <= 0) | table["flavour"].isin(ending))
            & (table["span"] != "season")
        )
        table = table[~away]
    main = why_of(made, "").set_index("flavour")["model"]
    table["model"] = table["flavour"].map(main)
    return table.sort_values(["flavour", "weeks"], kind="stable").reset_index(drop=True)


def why_of(made: Made, flavour: str) -> pd.DataFrame:
    """``flavour``, ``model``, ``why`` of the channel that carries most of each flavour's forecast."""
    series = made.result.weekly
    series = series[series["level"] == "series"]
    if flavour:
        series = series[series["flavour"] == flavour]
    mass = series.groupby(["flavour", "channel", "model", "why"], sort=True)["mean"].sum().reset_index()
    best = (
        mass.sort_values(by=["mean"], ascending=False, kind="stable")
        .drop_duplicates("flavour")
        .sort_values(by=["flavour"])
    )
    told: pd.DataFrame = best[["flavour", "model", "why"]].reset_index(drop=True)
    return told


def override_rows(made: Made) -> pd.DataFrame:
    """Overrides that stand: what, weeks, the owner's and the model's packs, reason."""
    rows = [(p.key, p.week, p.units, p.model_units, p.reason) for p in made.overrides]
    return pd.DataFrame(rows, columns=["key", "week", "units", "model_units", "reason"])


GUESSED = "rows are a wide guess"


def _merged(notes: tuple[str, ...]) -> tuple[str, ...]:
    """The notes with those about bands that are a guess said once: which kinds, and what it means."""
    kinds = [note.partition(" rows")[0].removeprefix("bands of ") for note in notes if GUESSED in note]
    if not kinds:
        return notes
    what = "every band is" if any(kind.endswith(" shop") for kind in kinds) else f"the bands of {', '.join(kinds)} are"
    told = f"The history is too short to have seen how wrong the forecast can be: {what} a guess, about half to one and a half times what is expected."
    return told, *(note for note in notes if GUESSED not in note)


def _few(notes: tuple[str, ...], most: int = 12) -> tuple[str, ...]:
    return notes if len(notes) <= most else (*notes[:most], f"and {len(notes) - most} more notes.")


def _sentence(made: Made, cumulated: pd.DataFrame, flavour: str) -> str:
    """The longest span in words, with the figures of the tables."""
    level = "flavour" if flavour else "shop"
    rows = cumulated[(cumulated["level"] == level) & (cumulated["span"] != "season")]
    if flavour:
        rows = rows[rows["flavour"] == flavour]
    if rows.empty:
        return f"The forecast covers {made.result.horizon} week from {made.result.origin}."
    row = dict(rows.iloc[-1])
    row["model"], row["why"], row["q50"] = "", "", row["mean"]
    text = explain(row)
    return text.replace(flavour, made.seen.on.shop.name("flavour", flavour), 1) if flavour else text


__all__ = ["forecast_report", "override_rows", "spans_of", "why_of"]
