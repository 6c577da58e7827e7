"""What each weekday sells of a week, and what a day shut or sold out takes with it."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.analytics import forecast_input
from ledger.analytics.weekdays import WEEKS_OF_DOUBT, weekday_weights
from ledger.application.season_days import left_open
from ledger.domain.books.entries import Site

OPEN = (1, 2, 3, 4, 5, 6)
FIRST = date(2026, 1, 5)  # a Monday


def sales(weeks: int, by_weekday: dict[int, float], channel: str = "SHOP") -> pd.DataFrame:
    days = [FIRST + timedelta(days=n) for n in range(7 * weeks)]
    rows = [(d.isoformat(), channel, by_weekday[d.isoweekday()]) for d in days if d.isoweekday() in by_weekday]
    return pd.DataFrame(rows, columns=["day", "channel", "units"])


BUSY_SATURDAY = {1: 10.0, 2: 10.0, 3: 10.0, 4: 10.0, 5: 20.0, 6: 40.0}


def test_a_weekday_weighs_what_it_sells_shrunk_by_eight_weeks_of_equal_days():
    weights = weekday_weights(sales(100, BUSY_SATURDAY), OPEN)["SHOP"]
    mean = 100 / 6
    raw = {d: (100 * s + WEEKS_OF_DOUBT * mean) / (100 + WEEKS_OF_DOUBT) for d, s in BUSY_SATURDAY.items()}
    assert weights == pytest.approx({d: r * 6 / sum(raw.values()) for d, r in raw.items()})
    assert weights[6] > 2 and sum(weights.values()) == pytest.approx(6)


def test_a_week_without_its_saturday_is_more_than_a_day_short():
    weights = weekday_weights(sales(100, BUSY_SATURDAY), OPEN)
    days = forecast_input.open_days("2026-W10", "2026-W12", OPEN, {"2026-03-14"}, None, weights)
    shop = days[days["channel"] == "SHOP"]["days"].tolist()
    assert shop[0] == shop[2] == 6 and shop[1] == pytest.approx(6 - weights["SHOP"][6])
    assert days[days["channel"] == "*"]["days"].tolist() == [6, 5, 6], "channels that are not named count days alike"


def test_a_flavour_gone_on_saturday_misses_more_of_the_week_than_one_gone_on_tuesday():
    weights = weekday_weights(sales(100, BUSY_SATURDAY), OPEN)
    gone = pd.DataFrame(
        [("LEMON", "SHOP", "2026-03-14", ""), ("APPLE", "SHOP", "2026-03-10", "")],
        columns=["flavour", "channel", "day", "until_day"],
    )
    share = forecast_input.exposure(gone, OPEN, (), None, weights).set_index("flavour")["share"]
    assert share["LEMON"] == pytest.approx(1 - weights["SHOP"][6] / 6)
    assert share["APPLE"] == pytest.approx(1 - weights["SHOP"][2] / 6)


def test_a_promotion_from_monday_to_saturday_is_a_whole_week_and_one_on_saturday_more_than_a_sixth():
    weights = weekday_weights(sales(100, BUSY_SATURDAY), OPEN)["SHOP"]
    columns = ["from_day", "to_day", "flavour", "channel", "kind"]
    days = [
        ("2026-03-09", "2026-03-15"),
        ("2026-03-21", "2026-03-21"),
        ("2026-03-29", "2026-03-29"),
    ]  # the last a Sunday
    planned = pd.DataFrame([(*d, "LEMON", "", "promotion") for d in days], columns=columns)
    table = forecast_input.promotions(planned, weights)
    assert table["week"].tolist() == ["2026-W11", "2026-W12"]
    assert table["strength"].tolist() == pytest.approx([1, weights[6] / 6])


def test_sales_entered_once_a_week_say_nothing_of_weekdays():
    assert weekday_weights(sales(100, {6: 100.0}), OPEN) == {}


def test_a_shop_of_a_few_weeks_says_nothing_of_weekdays_yet():
    assert weekday_weights(sales(7, BUSY_SATURDAY), OPEN) == {}
    assert weekday_weights(sales(9, BUSY_SATURDAY), OPEN) != {}


def test_days_shut_do_not_make_a_weekday_look_poor():
    every = sales(52, dict.fromkeys(OPEN, 10.0))
    shut = {(FIRST + timedelta(days=5 + 7 * n)).isoformat() for n in range(0, 52, 2)}  # every other Saturday
    weights = weekday_weights(every[~every["day"].isin(shut)], OPEN, shut)["SHOP"]
    assert weights == pytest.approx(dict.fromkeys(OPEN, 1.0))


@given(st.dictionaries(st.sampled_from(OPEN), st.integers(1, 500).map(float), min_size=6), st.integers(8, 60))
def test_the_weights_of_an_ordinary_week_always_add_up_to_its_days(sold: dict[int, float], weeks: int):
    weights = weekday_weights(sales(weeks, sold), OPEN).get("SHOP")
    if weights is not None:
        assert sum(weights.values()) == pytest.approx(6) and min(weights.values()) > 0


def test_a_week_that_still_has_its_saturday_has_most_of_its_sales_to_come():
    """Saturday morning of a shop that sells two fifths of its week on Saturdays: more than one day of six is left, nearer two fifths."""
    weights = weekday_weights(sales(200, BUSY_SATURDAY), OPEN)["SHOP"]
    site = Site(id="main", name="Shop", zone="Europe/London", open_days=OPEN)
    left = left_open(site, date(2026, 3, 9), date(2026, 3, 14), set(), weights)
    assert left == pytest.approx(weights[6] / 6) and 0.36 < left < 0.4
    assert left_open(site, date(2026, 3, 9), date(2026, 3, 9), set(), weights) == pytest.approx(1)
    assert left_open(site, date(2026, 3, 9), date(2026, 3, 15), set(), weights) == 0
