"""The monthly pool on open data."""

from __future__ import annotations

import csv
import sys

import numpy as np
import pytest

from ledger.errors import BadInput
from ledger.forecast.fallback import METHODS, forecast_months
from tests.forecast.open_series import AUSBEER, AUSCAFE, AUSTOURISTS, SOUVENIRS, WINEIND
from tests.support.shared import shared_path

pytest.importorskip("statsmodels", reason="the extra forecast-plus is not installed")


def against_naive(series: np.ndarray, period: int, first: int, step: int, memory: int) -> float:
    """Summed absolute error over a year ahead, relative to seasonal naive, rolling origins."""
    ours = naive = 0.0
    for origin in range(first, series.size - period + 1, step):
        came = series[origin : origin + period]
        said = forecast_months(series[max(origin - memory, 0) : origin], period, period).mean
        ours += np.abs(said - came).sum()
        naive += np.abs(series[origin - period : origin] - came).sum()
    return ours / naive


def test_the_pool_beats_seasonal_naive_on_a_shop_with_a_huge_christmas() -> None:
    """A median pool of four reached 0.75 with four years of history in our own earlier measurement; no source."""
    assert against_naive(SOUVENIRS, 12, 48, 12, 60) < 0.76


def test_the_pool_beats_seasonal_naive_on_growing_quarters() -> None:
    assert against_naive(AUSTOURISTS, 4, 48, 4, 60) < 0.63


@pytest.mark.parametrize(
    ("series", "period", "first", "step", "limit"),
    [(WINEIND, 12, 60, 24, 0.95), (AUSBEER, 4, 40, 24, 0.72), (AUSCAFE, 12, 72, 72, 0.40)],
    ids=["wine", "beer", "cafes"],
)
def test_the_pool_beats_seasonal_naive_on_food_and_drink(
    series: np.ndarray, period: int, first: int, step: int, limit: float
) -> None:
    """Open series of R packages forecast and fpp2; the limits are what rolling origins gave us, with some room."""
    assert against_naive(series, period, first, step, 72) < limit


@pytest.mark.shared
def test_the_pool_follows_the_candy_season_of_large_plants() -> None:
    """Industrial production index, sugar and confectionery (NAICS 3113), US Federal Reserve G.17, 2007-2017."""
    with shared_path("us_candy_production_ipg3113n.csv").open() as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    index = np.array([float(r["index_2012_100"]) for r in rows])
    assert against_naive(index, 12, 84, 14, 72) < 1.0
    ahead = forecast_months(index[:108], 12).mean  # the year 2016
    assert set(np.argsort(ahead)[-3:]) <= {8, 9, 10, 11}, "the three busiest months lie in September to December"


def test_holt_winters_fits_the_textbook_case_as_well_as_published() -> None:
    """`austourists` 2005-2015, RMSE 1.763 additive and 1.576 multiplicative (Forecasting: Principles and Practice, 2nd
    ed., 7.3).

    Checks the library our pool relies on: a poorer optimum (1.81 is known of another library) would weaken the pool.
    """
    from statsmodels.tsa.holtwinters import ExponentialSmoothing

    window = AUSTOURISTS[24:]
    for season, published in (("add", 1.763), ("mul", 1.576)):
        fit = ExponentialSmoothing(window, trend="add", seasonal=season, seasonal_periods=4).fit()
        assert np.sqrt(np.mean((window - fit.fittedvalues) ** 2)) <= published * 1.005


def test_an_exploding_member_is_outvoted_and_capped(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("Holt-Winters", "Theta", "STL"):
        monkeypatch.setitem(METHODS, name, lambda y, horizon, period: np.full(horizon, 1e9))
    said = forecast_months(SOUVENIRS, 12)
    assert said.mean.max() < 10 * SOUVENIRS.max()
    assert "12 of 12 periods held at the sanity cap" in said.why


def test_without_the_extra_the_result_says_which_methods_are_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [m for m in sys.modules if m == "statsmodels" or m.startswith("statsmodels.")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "statsmodels", None)
    said = forecast_months(SOUVENIRS, 12)
    assert list(said.members) == ["seasonal regression"]
    assert "not installed" in said.left_out["Theta"] and "without Holt-Winters" in said.why


@pytest.mark.parametrize(
    ("series", "horizon", "word"),
    [
        (np.ones(23), 12, "24 values"),
        (np.ones(30), 0, "horizon 0"),
        (-np.ones(30), 3, "0 or more"),
        (np.full(30, np.nan), 3, "known"),
    ],
)
def test_a_series_that_cannot_be_forecast_is_refused(series: np.ndarray, horizon: int, word: str) -> None:
    with pytest.raises(BadInput, match=word):
        forecast_months(series, horizon)


def test_a_series_that_never_sold_is_forecast_as_nothing() -> None:
    assert forecast_months(np.zeros(36), 6).mean.tolist() == [0.0] * 6
