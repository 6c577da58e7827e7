"""Weeks and feasts against the published rules and independent libraries."""

from __future__ import annotations

import csv
from datetime import date, timedelta

import holidays
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import BadInput
from ledger.forecast.calendar import (
    USUAL_FEASTS,
    Feast,
    days_to_next,
    easter,
    feasts_from,
    monday_of,
    public_holiday_dates,
    usual_open_days,
    week_number,
    week_of,
    week_text,
    weeks_between,
)
from tests.support.shared import shared_path

SEASONS = {
    "valentines": Feast("valentine", "02-14"),
    "easter": Feast("easter", "easter"),
    "mothers_day_us": Feast("mother", "nth 5 7 2"),
    "halloween": Feast("halloween", "10-31"),
    "thanksgiving_us": Feast("thanks", "nth 11 4 4"),
    "christmas": Feast("christmas", "12-25"),
}


@pytest.mark.shared
def test_feasts_fall_on_the_published_days() -> None:
    """Fixed days, Western Easter, US Mother's Day and US Thanksgiving (5 U.S.C. 6103) of 2024-2032."""
    with shared_path("season_dates.csv").open() as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert len(rows) == 9
    for row in rows:
        for column, feast in SEASONS.items():
            assert feast.in_year(int(row["year"])) == date.fromisoformat(row[column]), (row["year"], column)


def test_easter_agrees_with_the_holidays_library_for_a_century() -> None:
    """Good Friday in Germany, PyPI ``holidays`` (which takes Easter from ``dateutil``)."""
    for year in range(1991, 2091):
        by_library = {
            d
            for d, name in holidays.country_holidays("DE", years=year, language="en_US").items()
            if name == "Good Friday"
        }
        assert easter(year) - timedelta(days=2) in by_library


@pytest.mark.parametrize(
    ("year", "day"), [(1818, (3, 22)), (1943, (4, 25)), (2000, (4, 23)), (2038, (4, 25)), (2285, (3, 22))]
)
def test_easter_reaches_its_earliest_and_latest_days(year: int, day: tuple[int, int]) -> None:
    """Earliest 22 March (1818, 2285) and latest 25 April (1943, 2038): Meeus, Astronomical Algorithms, chapter 8."""
    assert easter(year) == date(year, *day)


@given(st.dates(min_value=date(1900, 1, 1), max_value=date(2200, 12, 31)))
def test_every_day_lies_in_the_week_the_standard_library_says(day: date) -> None:
    iso = day.isocalendar()
    assert week_text(week_of(day)) == f"{iso.year:04d}-W{iso.week:02d}"
    assert week_number(week_text(week_of(day))) == week_of(day)
    assert monday_of(week_of(day)) <= day <= monday_of(week_of(day)) + timedelta(days=6)


def test_a_year_of_53_weeks_runs_on_into_the_next() -> None:
    """2020 and 2026 have 53 ISO weeks (ISO 8601: years whose 1 January or 31 December is a Thursday)."""
    assert weeks_between("2020-W52", "2021-W01") == ["2020-W52", "2020-W53", "2021-W01"]
    assert weeks_between("2026-W53", "2027-W01") == ["2026-W53", "2027-W01"]


@pytest.mark.parametrize("text", ["2025-W53", "2026-W00", "2026-44", "W44", "2026-W4"])
def test_a_week_that_is_none_is_refused_by_name(text: str) -> None:
    with pytest.raises(BadInput, match=text):
        week_number(text)


def test_a_feast_on_the_leap_day_is_kept_on_the_last_of_february() -> None:
    leap = Feast("leap", "02-29")
    assert leap.in_year(2024) == date(2024, 2, 29)
    assert leap.in_year(2025) == date(2025, 2, 28)


def test_named_dates_replace_the_rule_in_their_year() -> None:
    (fair,) = feasts_from([("fair", "nth 07 6 3"), ("fair", "2027-07-10")])
    assert fair.in_year(2026) == date(2026, 7, 18)
    assert fair.in_year(2027) == date(2027, 7, 10)


@pytest.mark.parametrize("rule", ["13-01", "easter+x", "nth 5 9 2", "02-30", "soon"])
def test_a_rule_that_cannot_be_read_is_refused_with_the_way_out(rule: str) -> None:
    with pytest.raises(BadInput, match="write MM-DD, easter"):
        Feast("feast", rule)


def test_a_feast_without_rule_or_dates_is_refused() -> None:
    with pytest.raises(BadInput, match="neither"):
        Feast("feast")


def test_days_count_down_to_the_feast_and_start_again_after_it() -> None:
    away = days_to_next(USUAL_FEASTS[0], [week_number("2024-W52")], after=3)  # Monday 23 to Sunday 29 December
    np.testing.assert_array_equal(away[0], [-2, -1, 0, 1, 2, 3, -361])


def test_the_last_weekday_of_a_month_is_found_in_december_too() -> None:
    assert Feast("last sunday", "nth 12 7 -1").in_year(2024) == date(2024, 12, 29)


def test_public_holidays_close_the_days_they_fall_on() -> None:
    shut = public_holiday_dates("DE", [2024])
    days = usual_open_days([week_number("2024-W52")], range(1, 7), shut)
    assert days.tolist() == [4.0]  # Wednesday 25 and Thursday 26 December are holidays
    with pytest.raises(BadInput, match="XX"):
        public_holiday_dates("XX", [2024])
