"""What a forecast is fitted to, read from the ledger as known at a position: sales, exposure, closures, promotions, bulk orders.

Trouble in the book (a feast without a rule, a season flavour without a feast) becomes a note; the rest is still forecast.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from ledger.analytics.compare import week_of
from ledger.analytics.weekdays import Weights
from ledger.application.ledger import Ledger
from ledger.application.reports_demand import Demand, demand
from ledger.application.reports_types import Basis, basis
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.errors import SlabbookError
from ledger.forecast import Analogue, DemandHistory, Feast, ForecastSettings, Window, design_shares
from ledger.forecast.history import build_panel

BULK = ("bulk", "bulk order")
RECENT_WEEKS = 26
_FIRST_NUMBER = re.compile(r"\s*(\d+)\b")


@dataclass(frozen=True, slots=True)
class SeasonHistory:
    """Everything the season is forecast and planned from, pinned to one position of the ledger.

    shares: ``flavour``, ``channel``, ``design``, ``share`` of the packs lately sold. grams: sellable grams of an average pack by
    flavour. weekdays: what each open weekday sells, in ordinary days. sold: ``week``, ``flavour``, ``design``, ``item``, ``channel``, ``packs``, ``mass_mg``. notes: what could not be used, and why.
    """

    on: Basis
    day: str
    origin: str
    history: DemandHistory
    settings: ForecastSettings
    weekdays: Weights
    sold: pd.DataFrame
    shares: pd.DataFrame
    grams: dict[str, float]
    notes: tuple[str, ...]


def season_history(ledger: Ledger, known: int | str | None = None) -> SeasonHistory:
    """The history as known now, at a position or at the end of a day. The origin is the week of that day: its sales are not looked at."""
    on = basis(ledger, known)
    day = on.today
    if isinstance(known, str) and not known.isdigit():
        day = known
    elif known is not None and on.as_of.recorded_at:
        day = str(pd.Timestamp(on.as_of.recorded_at).tz_convert(on.site.zone).date())
    origin = week_of(date.fromisoformat(day))
    told = demand(ledger, on.known, weeks_ahead=70, origin=origin)
    settings, notes = settings_of_book(on.book)
    bulk, more = bulk_orders(on)
    history = history_of(told, bulk)
    sold = on.queries.balances(
        ["week", "flavour", "design", "item", "channel", "kind"], known=on.known, kinds=["customer"]
    )
    sold = sold[(sold["flavour"] != "") & (sold["packs"] > 0)]
    return SeasonHistory(
        on,
        day,
        origin,
        history,
        settings,
        told.weekdays,
        sold,
        _shares(sold, origin),
        _grams(sold, origin, on.book),
        (*notes, *more),
    )


def history_of(told: Demand, bulk: pd.DataFrame) -> DemandHistory:
    """The tables of a forecast. What is promised in bulk where it was never sold before has a row of its own, of 0, so that it is not lost."""
    sales = told.sales
    if len(sales):
        sold = set(zip(sales["flavour"], sales["channel"], strict=True))
        fresh = [pair for pair in dict.fromkeys(zip(bulk["flavour"], bulk["channel"], strict=True)) if pair not in sold]
        if fresh:
            none = pd.DataFrame(
                [(sales["week"].iloc[0], *pair, 0) for pair in fresh], columns=["week", "flavour", "channel", "units"]
            )
            sales = pd.concat([sales, none.astype(sales.dtypes.to_dict())], ignore_index=True)
    return DemandHistory(sales, told.exposure, told.open_days, told.promotions, bulk)


def settings_of_book(book: Book) -> tuple[ForecastSettings, list[str]]:
    """Feasts, windows and likenesses of the book; what cannot be read is named and left out."""
    feasts, notes = [], []
    for feast in book.all(e.Feast):
        try:
            dates = tuple(date.fromisoformat(d) for d in feast.dates)
            feasts.append(Feast(feast.id, feast.rule.removeprefix("fixed").strip(), dates))
        except (SlabbookError, ValueError) as error:
            why = error.message if isinstance(error, SlabbookError) else str(error)
            notes.append(f"Feast {feast.id} cannot be read ({why}); it is left out. Correct it in the book.")
    named = {f.name for f in feasts}
    windows = []
    for flavour in book.all(e.Flavour):
        if not flavour.feast:
            continue
        for feast_id in flavour.feast.replace(",", " ").split():
            if feast_id not in named:
                notes.append(
                    f"{flavour.name} is sold for the feast `{feast_id}`, which the book does not have; "
                    "it is taken as sold all year if it has no other."
                )
                continue
            try:
                windows.append(Window(flavour.id, feast_id, flavour.days_before, flavour.days_after))
            except SlabbookError as error:
                notes.append(f"{error.message}; it is taken as sold all year if it has no other feast.")
    return ForecastSettings(feasts=tuple(feasts), windows=tuple(windows), analogues=_analogues(book, notes)), notes


def _analogues(book: Book, notes: list[str]) -> tuple[Analogue, ...]:
    """Which known flavour a new one is said to sell like; a name that is not in the book is told and left out."""
    found = []
    for flavour in book.all(e.Flavour):
        if flavour.like and book.find(e.Flavour, flavour.like) is None:
            notes.append(
                f"{flavour.name} is said to sell like `{flavour.like}`, which the book does not have; correct it in the book."
            )
        elif flavour.like:
            found.append(Analogue(flavour.id, flavour.like, flavour.like_share_ppm / 1_000_000))
    return tuple(found)


def bulk_orders(on: Basis, papers: Sequence[tuple[int, Any]] | None = None) -> tuple[pd.DataFrame, list[str]]:
    """Bulk orders of the ledger (``week``, ``flavour``, ``channel``, ``units``) and what could not be read of them.

    Entries older than the field `units` say how many packs with the first number of their note ("150 packs: wedding").
    """
    rows, notes = [], []
    for position, paper in on.queries.papers("promotion", known=on.known) if papers is None else papers:
        if paper.kind not in BULK:
            continue
        found = _FIRST_NUMBER.match(paper.note)
        units = paper.units or (int(found[1]) if found else 0)
        if not units or not paper.flavour or not paper.channel:
            missing = "its flavour or channel" if units else "how many packs"
            notes.append(
                f"The bulk order of {paper.from_day} (entry {position}) does not say {missing}; it is not counted."
            )
            continue
        rows.append((week_of(date.fromisoformat(paper.from_day)), paper.flavour, paper.channel, units))
    return pd.DataFrame(rows, columns=["week", "flavour", "channel", "units"]).astype({"units": "int64"}), notes


def announced(on: Basis, *kinds: str) -> list[Any]:
    """Papers of days known ahead (closure, promotion, show, bulk), oldest first."""
    return [p for _, p in on.queries.papers("promotion", known=on.known) if p.kind in kinds]


def truth(seen: SeasonHistory, last_week: str) -> Any:
    """The grid of what was sold and which weeks may be scored."""
    return build_panel(seen.history, seen.settings, last_week)


def _shares(sold: pd.DataFrame, origin: str) -> pd.DataFrame:
    table = sold.rename(columns={"packs": "units"})[["week", "flavour", "channel", "design", "units"]]
    if table.empty:
        return pd.DataFrame(columns=["flavour", "channel", "design", "share"])
    return design_shares(table, origin, RECENT_WEEKS)


def _grams(sold: pd.DataFrame, origin: str, book: Book) -> dict[str, float]:
    """Average grams of a pack sold lately, by flavour; of the book's packs where nothing sold."""
    known = sold[sold["week"] < origin]
    found: dict[str, float] = {}
    for flavour, part in known.groupby("flavour"):
        weeks = sorted(part["week"].unique())[-RECENT_WEEKS:]
        recent = part[part["week"].isin(weeks)]
        found[str(flavour)] = float(recent["mass_mg"].sum()) / 1000 / float(recent["packs"].sum())
    for flavour in {p.flavour for p in book.all(e.Pack)} - set(found):
        nets = [p.net_mg for p in book.all(e.Pack) if p.flavour == flavour]
        found[flavour] = sum(nets) / len(nets) / 1000
    return found


__all__ = [
    "BULK",
    "SeasonHistory",
    "announced",
    "bulk_orders",
    "history_of",
    "season_history",
    "settings_of_book",
    "truth",
]
