"""ISO 8601 weeks, ordinal dates and the day code of a lot, against a table derived from ISO 8601-1:2019."""

from __future__ import annotations

import csv
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.domain.codes import day_code, next_batch_code
from ledger.domain.postings import iso_week
from ledger.errors import BadInput
from ledger.forecast.calendar import monday_of, week_number, week_text
from tests.support.shared import shared_path


def rows() -> list[dict[str, str]]:
    lines = shared_path("lot_date_codes.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.shared
def test_weeks_and_day_codes_are_those_of_the_table() -> None:
    table = rows()
    assert len(table) > 8
    for row in table:
        day = row["calendar_date"]
        year_week, _, weekday = row["iso_week_date"].rpartition("-")
        assert iso_week(day) == year_week
        assert date.fromisoformat(day).isoweekday() == int(weekday)
        assert day_code(day) == row["yyddd"]
        assert day_code(day)[2:] == row["iso_ordinal"][-3:] and row["iso_ordinal"][2:4] == day_code(day)[:2]
        assert next_batch_code(day, set()) == row["yyddd"] + "A"


@pytest.mark.parametrize(
    ("day", "week"),
    [("2026-12-31", "2026-W53"), ("2027-01-03", "2026-W53"), ("2027-01-04", "2027-W01"), ("2024-12-30", "2025-W01")],
)
def test_the_turn_of_the_year_follows_the_thursday(day: str, week: str) -> None:
    """ISO 8601: week 01 is the one with the year's first Thursday, so 2026 (1 January a Thursday) has 53 weeks."""
    assert iso_week(day) == week


@given(st.dates(date(1, 1, 1), date(9998, 12, 31)))
def test_a_week_comes_back_as_the_same_number(day: date) -> None:
    week = iso_week(day.isoformat())
    assert week_text(week_number(week)) == week
    assert 0 <= (day - monday_of(week_number(week))).days < 7


def test_a_week_that_year_has_not_is_refused() -> None:
    with pytest.raises(BadInput, match="52"):
        week_number("2025-W53")


def test_the_twenty_seventh_batch_of_a_day_gets_two_letters() -> None:
    taken: set[str] = set()
    for _ in range(27):
        taken.add(next_batch_code("2026-02-14", taken))
    assert "26045Z" in taken and "26045AA" in taken
