"""A fair that nobody named is seen in what sold, and told."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from ledger.forecast import Calibration, DemandHistory, Feast, ForecastSettings, forecast
from ledger.forecast.calendar import week_number, week_of, week_text
from ledger.forecast.unnamed import named
from tests.forecast.simulators import feast_shapes, other_forms
from tests.forecast.small import steady

NO_BANDS = Calibration(60)
FAIR = Feast("fair", "nth 07 6 3")
"""The third Saturday of July: 16 July 2022, 15 July 2023 (weeks 28 of both years)."""


def with_fair(years: tuple[int, ...], times: float = 1.8) -> DemandHistory:
    days = [FAIR.in_year(year) for year in years]
    return busy_in([week_text(week_of(day)) for day in days if day is not None], times)


def busy_in(weeks: list[str], times: float = 1.8) -> DemandHistory:
    history = steady(140)
    sales = history.sales.copy()
    busy = sales["week"].isin(weeks)
    sales.loc[busy, "units"] = (sales.loc[busy, "units"] * times).round().astype(int)
    return replace(history, sales=sales)


def said(history: DemandHistory, settings: ForecastSettings | None = None) -> list[str]:
    notes = forecast(history, settings or ForecastSettings(), "2024-W27", 4, NO_BANDS).notes
    return [note for note in notes if "no feast in the book" in note]


def test_a_week_that_beats_the_forecast_every_year_is_told_with_its_weeks() -> None:
    (note,) = said(with_fair((2022, 2023)))
    assert note.startswith("The weeks 2022-W28 and 2023-W28 each sold about ")
    assert note.endswith("enter its days, and the forecast will know it.")


@pytest.mark.parametrize(
    ("history", "feasts"),
    [
        (steady(140), ()),
        (with_fair((2023,)), ()),
        (with_fair((2022, 2023), 1.05), ()),
        (with_fair((2022, 2023)), (FAIR,)),
    ],
    ids=["no fair", "one year only", "a small one", "named already"],
)
def test_nothing_is_told_of(history: DemandHistory, feasts: tuple[Feast, ...]) -> None:
    settings = ForecastSettings()
    assert said(history, replace(settings, feasts=(*settings.feasts, *feasts))) == []


def test_a_week_near_a_feast_of_the_book_has_its_name() -> None:
    """A fair on 15 July 2023 (week 28) names weeks 26 to 30, whatever the model makes of it."""
    ticked = ForecastSettings(feasts=(FAIR,))
    assert [named([week_number(f"2023-W{w}")], ticked) for w in (25, 26, 28, 30, 31)] == [
        False,
        True,
        True,
        True,
        False,
    ]
    assert not named([week_number("2023-W28")], ForecastSettings())
    assert named([week_number("2022-W20"), week_number("2023-W28")], ticked), "one of its years is enough"


def test_the_fair_of_a_simulated_shop_is_found_and_no_other() -> None:
    """The second simulator holds a fair on the third Saturday of July which its settings do not name; the first none."""
    for seed in (1, 2, 3):
        shop = other_forms.simulate(seed)
        notes = forecast(shop.history, shop.settings, shop.week(170), 2, NO_BANDS).notes
        (note,) = [n for n in notes if "no feast in the book" in n]
        assert "2023-W28" in note and "2024-W29" in note, "15 July 2023 and 20 July 2024 are Saturdays"
    quiet = feast_shapes.simulate(1)
    notes = forecast(quiet.history, quiet.settings, quiet.week(170), 2, NO_BANDS).notes
    assert not [n for n in notes if "no feast in the book" in n]


def test_two_days_named_in_one_year_are_two_feasts() -> None:
    twice = Feast("market", "", (date(2024, 5, 4), date(2024, 9, 7), date(2025, 5, 3)))
    assert twice.days(date(2024, 1, 1), date(2025, 12, 31)) == [date(2024, 5, 4), date(2024, 9, 7), date(2025, 5, 3)]
    moved = Feast("fair", "07-15", (date(2025, 7, 12),))
    assert moved.days(date(2024, 1, 1), date(2025, 12, 31)) == [date(2024, 7, 15), date(2025, 7, 12)]
