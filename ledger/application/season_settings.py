"""What the planner assumes where the ledger does not say: from the book's `planning` entry, else as is usual, each with where it came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

import pandas as pd

from ledger.domain.books.book import Book
from ledger.domain.books.entries import Worker
from ledger.errors import BadInput
from ledger.planning import NORMAL, QUICK, Effort, Prices

EFFORTS: dict[str, Effort] = {"quick": QUICK, "normal": NORMAL}
MOST_WEEKS = 52
FROM_RATES = -1
USUAL = "common practice, no source"
ASKED = "asked for this plan"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSettings:
    """Settings of a plan, whole numbers only; a price of -1 is worked out from the rates of the workers in the book.

    The figures here stand where the book's planning entry says nothing. Common practice, no source: overtime at half again the mean rate and
    at most an hour and a half a day; a helper for six hours at the lowest rate, at most two a week; of ten customers who miss their flavour
    four take another for every day, one for a feast; after its feast a kilo is worth a fifth of its material.

    making_percent: share of the book's hours that is free for making. store_kg: room for packed candy (0: never full).
    service_percent: share of weeks in which an everyday flavour should not run out. keep_percent: share of its life on the label after
    which a pack no longer goes on sale. origins: where each came from, in words; not part of what is compared or kept as figures.
    """

    weeks: int = 26
    making_percent: int = 100
    overtime_per_hour: int = FROM_RATES
    overtime_minutes_a_day: int = 90
    helper_shifts: int = 2
    helper_shift: int = FROM_RATES
    helper_minutes: int = 360
    store_kg: int = 0
    store_over_per_kg_week: int = 200
    service_percent: int = 90
    lost_percent_everyday: int = 60
    lost_percent_feast: int = 90
    salvage_percent: int = 20
    hold_per_kg_week: int = 5
    keep_percent: int = 75
    closing_weeks: int = 3
    frozen_weeks: int = 2
    moved_batch: int = 3000
    most_a_week: int = 6
    missed_show: int = 15_000
    display_gap_per_kg_week: int = 80
    origins: Mapping[str, str] = field(default_factory=dict, compare=False)

    def __post_init__(self) -> None:
        if not 1 <= self.weeks <= MOST_WEEKS:
            raise BadInput(
                f"A plan covers 1 to {MOST_WEEKS} weeks; {self.weeks} were asked for.",
                value=self.weeks,
                limit=MOST_WEEKS,
            )
        for name, value in self.as_data().items():
            words = name.replace("_", " ")
            if "percent" in name and not 0 <= value <= 100:
                raise BadInput(f"{words} of {value} is no share; give 0 to 100.", value=value)
            if value < (FROM_RATES if name in ("overtime_per_hour", "helper_shift") else 0):
                raise BadInput(f"{words} of {value} is below 0.", value=value)

    def as_data(self) -> dict[str, int]:
        """The settings by name, to be kept beside a plan."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name != "origins"}


@dataclass(frozen=True, slots=True)
class Assumption:
    """One thing a plan assumes: its setting, its field of the book's planning entry, what it is called, its kind of figure and how the book's
    figure becomes the setting's (divided by `per`)."""

    setting: str
    field: str
    words: str
    kind: str
    per: int = 1


ASSUMPTIONS = (
    Assumption("making_percent", "making_ppm", "the workers' hours that are free for making", "percent", 10_000),
    Assumption("overtime_per_hour", "overtime_cost", "an hour of overtime", "money"),
    Assumption("overtime_minutes_a_day", "overtime_seconds", "most overtime, a person and day", "minutes", 60),
    Assumption("helper_shift", "helper_cost", "a helper's shift", "money"),
    Assumption("helper_minutes", "helper_shift_seconds", "length of a helper's shift", "minutes", 60),
    Assumption("helper_shifts", "helper_shifts", "most helper shifts, a week", "number"),
    Assumption("store_kg", "store_mg", "room for packed candy", "kilograms", 1_000_000),
    Assumption("store_over_per_kg_week", "store_over_cost", "a kilogram over the room, a week", "money"),
    Assumption("service_percent", "service_ppm", "weeks in which an everyday flavour should not run out", "percent", 10_000),
    Assumption("lost_percent_everyday", "lost_everyday_ppm", "of those who miss an everyday flavour, buy nothing else", "percent", 10_000),
    Assumption("lost_percent_feast", "lost_feast_ppm", "of those who miss a feast's flavour, buy nothing else", "percent", 10_000),
    Assumption("salvage_percent", "salvage_ppm", "a kilogram after its feast is worth, of its material", "percent", 10_000),
    Assumption("hold_per_kg_week", "hold_cost", "keeping a kilogram, a week", "money"),
    Assumption("keep_percent", "keep_ppm", "of its life on the label a pack is on sale", "percent", 10_000),
    Assumption("closing_weeks", "closing_weeks", "weeks of demand that may be left at the end", "number"),
    Assumption("frozen_weeks", "frozen_weeks", "weeks of an adopted plan that stay as they are", "number"),
    Assumption("moved_batch", "moved_cost", "moving a batch of the plan in force", "money"),
    Assumption("most_a_week", "most_a_week", "most batches of one thing, a week", "number"),
    Assumption("missed_show", "missed_show_cost", "a show without a batch", "money"),
    Assumption("display_gap_per_kg_week", "display_gap_cost", "a kilogram below the least on display, a week", "money"),
)  # fmt: skip


def settings_of(book: Book, entered: Mapping[str, str] | None = None, **asked: int | None) -> PlanSettings:
    """The settings of a plan: what was asked for it, else what the book states, else what is usual.

    entered: when each field of the book's planning entry got its present figure, in words (see `when_entered`).
    """
    entry, values, origins = book.planning(), {}, {}
    for a in ASSUMPTIONS:
        wanted = asked.get(a.setting)
        stated = getattr(entry, a.field) if entry is not None else None
        if wanted is not None:
            values[a.setting], origins[a.setting] = wanted, ASKED
        elif stated is not None and entry is not None:
            values[a.setting] = stated // a.per
            said = (entered or {}).get(a.field, "")
            origins[a.setting] = (
                "your book" + (f", {said}" if said else "") + (f": {entry.source}" if entry.source else "")
            )
    rest = {name: value for name, value in asked.items() if value is not None and name not in values}
    return PlanSettings(**rest, **values, origins=origins)


def when_entered(history: pd.DataFrame) -> dict[str, str]:
    """For every field of the planning entry the day and version in which it got its present figure, from the book's history of it."""
    found: dict[str, str] = {}
    before: Mapping[str, Any] = {}
    for row in history.to_dict("records"):
        data: Mapping[str, Any] = row["data"]
        for name, value in data.items():
            if value != before.get(name):
                found[name] = f"version {row['version']} of {row['day']}"
        before = data
    return found


def settings_for(ledger: Any, **asked: int | None) -> PlanSettings:
    """The settings of a plan of this ledger: what was asked for it, else the book's, else the usual, each with where it came from."""
    return settings_of(ledger.book(), when_entered(ledger.queries.book_history("planning")), **asked)


def prices_of(settings: PlanSettings, book: Book) -> Prices:
    """The prices a plan is costed with."""
    rates = [w.rate for w in book.all(Worker) if w.rate > 0]
    overtime = settings.overtime_per_hour
    if overtime < 0:
        overtime = sum(rates) * 3 // (2 * len(rates)) if rates else Prices().overtime_per_hour
    shift = settings.helper_shift
    if shift < 0:
        shift = min(rates) * settings.helper_minutes // 60 if rates else Prices().helper_shift
    return Prices(
        overtime_per_hour=overtime,
        helper_shift=shift,
        helper_minutes=settings.helper_minutes,
        store_over_per_kg_week=settings.store_over_per_kg_week,
        missed_show=settings.missed_show,
        display_gap_per_kg_week=settings.display_gap_per_kg_week,
        moved_batch=settings.moved_batch,
    )


def assumptions_frame(settings: PlanSettings, book: Book) -> pd.DataFrame:
    """Everything a plan assumed: ``what``, ``figure`` (text with its unit) and ``origin`` (the book and since when, asked for, worked out, usual)."""
    site, prices, rated = book.site(), prices_of(settings, book), any(w.rate > 0 for w in book.all(Worker))
    rows = []
    for a in ASSUMPTIONS:
        value, origin = getattr(settings, a.setting), settings.origins.get(a.setting, USUAL)
        if value == FROM_RATES:
            value = getattr(prices, a.setting)
            how = "half again the mean rate" if a.setting == "overtime_per_hour" else "at the lowest rate"
            origin = (
                f"worked out from your workers' rates, {how} ({USUAL})"
                if rated
                else f"{USUAL}; no worker in the book has a rate"
            )
        if a.setting not in settings.origins and a.setting == "making_percent":
            origin = "not stated: all of the book's hours"
        if a.setting not in settings.origins and a.setting == "store_kg":
            origin = "not stated"
        rows.append((a.words, _figure(value, a.kind, site.currency, site.currency_digits), origin))
    return pd.DataFrame(rows, columns=["what", "figure", "origin"])


def _figure(value: int, kind: str, currency: str, digits: int) -> str:
    if kind == "percent":
        return f"{value} %"
    if kind == "money":
        return f"{value / 10**digits:.{digits}f} {currency}"
    if kind == "minutes":
        return f"{value // 60} h {value % 60:02d} min" if value >= 60 else f"{value} min"
    if kind == "kilograms":
        return f"{value} kg" if value else "never full"
    return str(value)


__all__ = [
    "ASSUMPTIONS",
    "EFFORTS",
    "PlanSettings",
    "assumptions_frame",
    "prices_of",
    "settings_for",
    "settings_of",
    "when_entered",
]
