"""Weeks and feasts: the calendar that pulls sugar candy off the shelf.

A week is an ISO 8601 week, Monday to Sunday, written ``2026-W44``. Inside this package a week is also a plain integer,
its *number*: how many weeks have gone by since Monday 1 January of the year 1. Numbers make a 53-week year, a leap day
and the turn of the year ordinary.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ledger.errors import BadInput

_WEEK = re.compile(r"^(\d{4})-W(\d{2})$")
_MONDAY_ONE = 1  # date.min, 0001-01-01, is a Monday with ordinal 1


@lru_cache(maxsize=4096)
def week_number(week: str) -> int:
    """The number of an ISO week written ``YYYY-Www``.

    Raises:
        BadInput: the text is not an ISO week, or that year has no such week (week 53 of a 52-week year).
    """
    match = _WEEK.match(week)
    if match is None:
        raise BadInput(f"{week!r} is not an ISO week; write it as 2026-W44", value=week)
    year, number = int(match[1]), int(match[2])
    try:
        monday = date.fromisocalendar(year, number, 1)
    except ValueError as error:
        last = date(year, 12, 28).isocalendar().week
        raise BadInput(f"{week!r}: the year {year} has weeks 01 to {last}", value=week, limit=last) from error
    return (monday.toordinal() - _MONDAY_ONE) // 7


def week_text(number: int) -> str:
    """The ISO week ``YYYY-Www`` of a week number."""
    iso = monday_of(number).isocalendar()
    return f"{iso.year:04d}-W{iso.week:02d}"


def monday_of(number: int) -> date:
    """The Monday that opens a numbered week."""
    return date.fromordinal(int(number) * 7 + _MONDAY_ONE)


def week_of(day: date) -> int:
    """The number of the week a day lies in."""
    return (day.toordinal() - _MONDAY_ONE) // 7


def weeks_between(first: str, last: str) -> list[str]:
    """All ISO weeks from ``first`` to ``last``, both included."""
    return [week_text(n) for n in range(week_number(first), week_number(last) + 1)]


def easter(year: int) -> date:
    """Western Easter Sunday of a Gregorian year.

    Source: the anonymous Gregorian computus as given by Meeus, *Astronomical Algorithms* (1991), chapter 8.
    """
    a, (b, c) = year % 19, divmod(year, 100)
    d, e = divmod(b, 4)
    g = (8 * b + 13) // 25
    h = (19 * a + b - d - g + 15) % 30
    i, k = divmod(c, 4)
    lunar = (32 + 2 * e + 2 * i - h - k) % 7
    m = (a + 11 * h + 22 * lunar) // 451
    month, day = divmod(h + lunar - 7 * m + 114, 31)
    return date(year, month, day + 1)


@dataclass(frozen=True, slots=True)
class Feast:
    """A day of the year that people buy candy for, and how to find it in any year.

    Attributes:
        name: what the shop calls it.
        rule: ``MM-DD`` for a fixed day; ``easter`` or ``easter+49`` / ``easter-7`` for a moving one; ``nth MM W N`` for
            the N-th weekday W (1 = Monday .. 7 = Sunday) of month MM, N = -1 for the last; empty when only dates count.
        dates: days named one by one (a fair the town fixes each year); they add to the rule, and replace its day in
            the same calendar year.
    """

    name: str
    rule: str = ""
    dates: tuple[date, ...] = field(default=())

    def __post_init__(self) -> None:
        if not self.rule and not self.dates:
            raise BadInput(f"feast {self.name!r} has neither a rule nor dates; give one of them", feast=self.name)
        self.in_year(2024)

    def in_year(self, year: int) -> date | None:
        """The day of this feast in a calendar year; None when only dates are known and none of them lies there."""
        for day in self.dates:
            if day.year == year:
                return day
        return _day_by_rule(self.name, self.rule, year) if self.rule else None

    def days(self, first: date, last: date) -> list[date]:
        """Every day of this feast from ``first`` to ``last``, oldest first; two days named in one year are two feasts."""
        found: set[date] = set()
        for year in range(first.year, last.year + 1):
            named = {day for day in self.dates if day.year == year}
            ruled = self.in_year(year)
            found |= named or ({ruled} if ruled is not None else set())
        return sorted(day for day in found if first <= day <= last)


def _day_by_rule(name: str, rule: str, year: int) -> date:
    try:
        if rule.startswith("easter"):
            shift = rule.removeprefix("easter")
            return easter(year) + timedelta(days=int(shift) if shift else 0)
        if rule.startswith("nth "):
            month, weekday, nth = (int(part) for part in rule.split()[1:])
            return _nth_weekday(year, month, weekday, nth)
        month, day = (int(part) for part in rule.split("-"))
        if (month, day) == (2, 29):
            return date(year, 3, 1) - timedelta(days=1)
        return date(year, month, day)
    except ValueError as error:
        raise BadInput(
            f"feast {name!r}: cannot read the rule {rule!r}; write MM-DD, easter+N, easter-N or 'nth MM W N'",
            feast=name,
            value=rule,
        ) from error


def _nth_weekday(year: int, month: int, weekday: int, nth: int) -> date:
    if not (1 <= weekday <= 7 and (1 <= nth <= 5 or nth == -1)):
        raise ValueError("weekday is 1..7, nth is 1..5 or -1")
    if nth == -1:
        last = date(year + month // 12, month % 12 + 1, 1) - timedelta(days=1)
        return last - timedelta(days=(last.isoweekday() - weekday) % 7)
    first = date(year, month, 1)
    return first + timedelta(days=(weekday - first.isoweekday()) % 7 + 7 * (nth - 1))


USUAL_FEASTS: tuple[Feast, ...] = (
    Feast("christmas", "12-25"),
    Feast("easter", "easter"),
    Feast("valentine", "02-14"),
    Feast("halloween", "10-31"),
)
"""The four feasts ticked when the owner has said nothing."""


def feasts_from(rows: Iterable[tuple[str, str]]) -> tuple[Feast, ...]:
    """Feasts from (name, rule or ISO date) rows; several dates under one name are gathered into one feast."""
    rules: dict[str, str] = {}
    dates: dict[str, list[date]] = {}
    for name, text in rows:
        if re.match(r"^\d{4}-\d{2}-\d{2}$", text):
            try:
                dates.setdefault(name, []).append(date.fromisoformat(text))
            except ValueError as error:
                raise BadInput(f"feast {name!r}: {text!r} is not a day of the calendar", value=text) from error
        else:
            rules[name] = text
    names = list(dict.fromkeys([*rules, *dates]))
    return tuple(Feast(n, rules.get(n, ""), tuple(sorted(dates.get(n, [])))) for n in names)


def days_to_next(feast: Feast, numbers: Sequence[int] | NDArray[np.int64], after: int = 0) -> NDArray[np.float64]:
    """Days from each day of each week to the feast, shape (weeks, 7); negative before it, as shops count down.

    A day up to ``after`` days past a feast still belongs to it (positive value); every other day looks ahead to the
    next one. NaN when no next feast is known within fourteen months.
    """
    mondays = np.asarray(numbers, dtype=np.int64) * 7 + _MONDAY_ONE
    days = mondays[:, None] + np.arange(7)[None, :]
    if days.size == 0:
        return np.zeros((0, 7))
    first = date.fromordinal(int(days.min())) - timedelta(days=after + 1)
    last = date.fromordinal(int(days.max())) + timedelta(days=426)
    marks = np.array([d.toordinal() for d in feast.days(first, last)], dtype=np.int64)
    if marks.size == 0:
        return np.full(days.shape, np.nan)
    place = np.searchsorted(marks, days - after)
    known = place < marks.size
    target = marks[np.minimum(place, marks.size - 1)]
    away = (days - target).astype(float)
    return np.where(known & (away > -426), away, np.nan)


def public_holiday_dates(country: str, years: Iterable[int], subdivision: str | None = None) -> dict[date, str]:
    """Public holidays of a country by the ``holidays`` library, to propose closed days and feasts to the owner."""
    import holidays

    try:
        return dict(holidays.country_holidays(country, subdiv=subdivision, years=list(years)))
    except NotImplementedError as error:
        raise BadInput(
            f"no public holidays are known for country {country!r}; give the two-letter ISO 3166 code, "
            "or enter closed days by hand",
            value=country,
        ) from error


def usual_open_days(
    numbers: Sequence[int], weekdays: Iterable[int], closed: Iterable[date] = ()
) -> NDArray[np.float64]:
    """Open days of each week when the shop opens on the given weekdays (1 = Monday) and shuts on ``closed`` days."""
    shut = {d.toordinal() for d in closed}
    kept = [w - 1 for w in weekdays]
    return np.array([sum(n * 7 + _MONDAY_ONE + w not in shut for w in kept) for n in numbers], dtype=float)
