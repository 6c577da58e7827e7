"""The invented shop's days: open, making, closed, feasts and how far away they are."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from ledger.domain.books import entries as e
from ledger.forecast.calendar import easter


def feast_days(feast: e.Feast, first: int, last: int) -> list[date]:
    """The days of a feast in a range of years."""
    listed = [date.fromisoformat(x) for x in feast.dates]
    days = [x for x in listed if first <= x.year <= last]
    for year in range(first, last + 1):
        if feast.rule == "easter":
            days.append(easter(year))
        elif feast.rule:
            days.append(date(year, int(feast.rule[:2]), int(feast.rule[3:])))
    return sorted(days)


def season(flavour: e.Flavour, feast: e.Feast, day: date) -> int | None:
    """Days from `day` to the feast (negative after it) while a season flavour is sold; None outside its season."""
    for when in feast_days(feast, day.year - 1, day.year + 1):
        left = (when - day).days
        if -flavour.days_after <= left <= flavour.days_before:
            return left
    return None


def public_closed(day: date) -> bool:
    """Days the shop keeps shut besides Sundays: Christmas and the day after, New Year, Easter Monday."""
    return (day.month, day.day) in ((12, 25), (12, 26), (1, 1)) or day == easter(day.year) + timedelta(days=1)


def winter_closure(year: int) -> tuple[date, date]:
    """The two weeks after New Year in which nothing is made or sold: Monday to Saturday of the following week."""
    first = date(year, 1, 2)
    first += timedelta(days=-first.weekday() % 7)
    return first, first + timedelta(days=12)


def closed(day: date) -> bool:
    """No sale and no making: Sundays, public days, the winter closure."""
    first, last = winter_closure(day.year)
    return day.weekday() == 6 or public_closed(day) or first <= day <= last


def making(day: date) -> bool:
    """A day on which candy is made."""
    return day.weekday() < 5 and not closed(day)


def days(first: date, last: date) -> Iterator[date]:
    """Every day, both ends included."""
    for number in range((last - first).days + 1):
        yield first + timedelta(days=number)


def monday(day: date) -> date:
    """The Monday of a day's ISO week."""
    return day - timedelta(days=day.weekday())
