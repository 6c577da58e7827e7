"""What a report is: a sentence and some tables whose columns say what they are, so that terminal, API, pages and files agree.

Figures stay in whole canonical units (mg, s, minor units) and plain shares; only the rendering turns them into the shop's units.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from ledger.analytics.compare import monday
from ledger.application.checkpoints import root_at
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.errors import BadInput
from ledger.projections.queries import AsOf, Queries

KINDS = {
    "text": "words or a code",
    "day": "ISO 8601 day",
    "flavour": "flavour id, shown by its name",
    "design": "design id, shown by its name",
    "item": "material or pack id, shown by its name",
    "channel": "channel id, shown by its name",
    "mass": "mg, shown in kg or lb",
    "small": "mg, shown in g or oz",
    "count": "whole number",
    "time": "s, shown as hours and minutes",
    "share": "share of 1, shown in %",
    "points": "difference of two shares, shown in percentage points",
    "move": "size of a difference of two shares, shown in percentage points",
    "cover": "days, shown with one place",
    "change": "relative change, shown in % with its sign",
    "per_mass": "minutes a kg, shown a kg or a lb",
    "minutes": "minutes",
    "rate": "number a day",
    "days": "days",
    "money": "minor units",
    "number": "plain number",
    "yes": "yes or no",
    "row": "as the row's own `kind` says",
}
"""What a column's kind means for the figures in the frame, and how they are shown."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name in the frame, the words over it, and its kind (one of `KINDS`). dash: a zero is shown as a dash, nothing was done."""

    name: str
    title: str
    kind: str = "text"
    dash: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows with their columns in order; `total` is a row for the bottom, `note` a line below. Columns not named stay unseen."""

    title: str
    frame: pd.DataFrame
    columns: tuple[Column, ...]
    total: Mapping[str, Any] | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Shop:
    """How this shop wants figures shown: units, currency, and the names behind ids."""

    units: str = "metric"
    currency: str = "EUR"
    currency_digits: int = 2
    names: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def name(self, kind: str, id: str) -> str:
        """The name of a flavour, design, item or channel; the id itself where none is known."""
        return self.names.get(kind, {}).get(id, id)


@dataclass(frozen=True, slots=True)
class Report:
    """A report as it can be shown anywhere.

    as_of: the newest entry it is based on. sentence: what mattered, in words. notes: what else to know (nothing recorded, thin data).
    """

    name: str
    title: str
    as_of: AsOf
    sentence: str
    tables: dict[str, Table]
    notes: tuple[str, ...] = ()
    shop: Shop = field(default_factory=Shop)


@dataclass(slots=True)
class Basis:
    """What every report starts from: the queries, the book, and the position all its figures are pinned to."""

    queries: Queries
    book: Book
    as_of: AsOf
    shop: Shop
    site: e.Site

    @property
    def known(self) -> int:
        """The position reports are pinned to, so that entries made meanwhile cannot make two tables disagree."""
        return self.as_of.position

    @property
    def today(self) -> str:
        """The shop's own calendar day."""
        return self.queries.clock().astimezone(ZoneInfo(self.site.zone)).date().isoformat()


def basis(ledger: Ledger, known: int | str | None = None) -> Basis:
    """Pin a report to now, to a position, or to the end of a day (ISO text). Raises BadInput for no day or no such position."""
    queries = ledger.queries
    newest = queries.as_of()
    if isinstance(known, str):
        known = int(known) if known.isdigit() else queries.known_on(known)
    if known is None or known == newest.position:
        as_of = newest
    else:
        if not 0 <= known <= newest.position:
            raise BadInput(
                f"Position {known} is not in this ledger; give one between 0 and {newest.position}, or a day such as `2026-11-02`.",
                value=known, limit=newest.position,
            )  # fmt: skip
        row = queries.log(positions=[known])
        as_of = AsOf(known, "" if row.empty else str(row["recorded_at"].iloc[0]), root_at(queries.store, known))
    book = queries.book()
    site = book.site()
    return Basis(queries, book, as_of, shop_of(book, site), site)


def shop_of(book: Book, site: e.Site) -> Shop:
    """How the shop shows figures, from its book."""
    names = {
        "flavour": {x.id: x.name for x in book.all(e.Flavour)},
        "design": {x.id: x.name for x in book.all(e.Design)},
        "item": {x.id: x.name for x in book.all(e.Material)} | {x.id: x.name for x in book.all(e.Pack)},
        "channel": {x.id: x.name for x in book.all(e.Channel)},
    }
    return Shop(site.units, site.currency, site.currency_digits, names)


_WEEK = re.compile(r"\d{4}-W\d{2}")


def read_week(text: str) -> str:
    """The ISO 8601 week as written, or BadInput with the way out."""
    if not _WEEK.fullmatch(text):
        raise BadInput(f"`{text}` is no week; give an ISO 8601 week such as `2026-W44`.", value=text)
    try:
        monday(text)
    except ValueError as error:
        last = date(int(text[:4]), 12, 28).isocalendar().week if text[:4] != "0000" else 52
        raise BadInput(
            f"There is no week {text}: {text[:4]} has the weeks W01 to W{last}.", value=text, limit=last
        ) from error
    return text


def read_weeks(first: str, last: str) -> tuple[str, str]:
    """A range of weeks, both included; BadInput when it runs backwards."""
    if read_week(first) > read_week(last):
        raise BadInput(
            f"The last week {last} lies before the first, {first}. Turn them round.", value=last, limit=first
        )
    return first, last


def columns(*specs: Sequence[str]) -> tuple[Column, ...]:
    """Columns from (name, title, kind)."""
    return tuple(Column(spec[0], spec[1], spec[2] if len(spec) > 2 else "text") for spec in specs)


def as_row(row: pd.Series, **words: Any) -> dict[str, Any]:
    """A row of figures as a mapping, with words set over it."""
    return {str(k): v for k, v in row.items()} | words


def total_of(frame: pd.DataFrame, shown: Sequence[Column], **words: Any) -> dict[str, Any]:
    """Sums of the whole-number columns; shares are left to the caller, who must take them from summed figures."""
    summed = ("mass", "small", "count", "time", "money")
    return {c.name: int(frame[c.name].sum()) for c in shown if c.kind in summed and c.name in frame} | words


__all__ = [
    "KINDS", "Basis", "Column", "Report", "Shop", "Table", "as_row", "basis", "columns", "read_week", "read_weeks", "shop_of", "total_of",
]  # fmt: skip
