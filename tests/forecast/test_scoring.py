"""Measures and reference methods against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from ledger.errors import BadInput
from ledger.forecast import scoring
from ledger.forecast.croston import croston
from ledger.forecast.reconcile import bottom_up, spread_difference, whole_units, wls_struct
from tests.forecast.open_series import AUSBEER

PRODUCT_C = [
    0,
    2,
    0,
    1,
    0,
    11,
    0,
    0,
    0,
    0,
    2,
    0,
    6,
    3,
    0,
    0,
    0,
    0,
    0,
    7,
    0,
    0,
    0,
    0,
    0,
    0,
    0,
    3,
    1,
    0,
    0,
    1,
    0,
    1,
    0,
    0,
]
"""Lubricant sales, 36 months: Hyndman and Athanasopoulos, Forecasting: Principles and Practice, 2nd ed., section 12.2."""


def test_croston_gives_the_textbook_size_interval_and_forecast() -> None:
    """Size 2.750, interval 2.793, forecast 0.985 at alpha 0.1 (same book, section 12.2); SBA by ``statsforecast``."""
    said = croston(PRODUCT_C, 0.1)
    assert said.size == pytest.approx(2.750, abs=5e-4)
    assert said.interval == pytest.approx(2.793, abs=5e-4)
    assert said.rate == pytest.approx(0.985, abs=5e-4)
    assert said.corrected == pytest.approx(0.935367, abs=1e-6)


@pytest.mark.parametrize(("series", "alpha", "word"), [([0, 0], 0.1, "at least one sale"), ([1], 0.0, "smoothing")])
def test_croston_refuses_what_it_cannot_smooth(series: list[int], alpha: float, word: str) -> None:
    with pytest.raises(BadInput, match=word):
        croston(series, alpha)


TREE = np.array([[1, 1, 1, 1], [1, 1, 0, 0], [0, 0, 1, 1], *np.eye(4)])


def test_the_reconciliation_tree_gives_the_published_figures() -> None:
    """Structural WLS, equal to PyPI ``hierarchicalforecast`` (MinTrace, method wls_struct) to 1e-14."""
    said = wls_struct(TREE, [100, 60, 50, 30, 25, 28, 20])
    np.testing.assert_allclose(said, [104.3333, 56.4167, 47.9167, 30.7083, 25.7083, 27.9583, 19.9583], atol=5e-5)
    np.testing.assert_allclose(bottom_up(TREE, said[3:]), said)
    np.testing.assert_allclose(wls_struct(TREE, said), said)


def test_a_base_of_the_wrong_length_is_refused() -> None:
    with pytest.raises(BadInput, match="3 base forecasts"):
        wls_struct(TREE, [1, 2, 3])


def test_whole_units_add_up_and_go_to_the_largest_remainders() -> None:
    assert whole_units([1.5, 2.25, 3.25]).tolist() == [2, 2, 3]
    assert whole_units([0.4, 0.4, 0.4]).tolist() == [1, 0, 0]


def test_a_difference_is_spread_by_variance_and_never_below_nothing() -> None:
    np.testing.assert_allclose(spread_difference(np.array([10.0, 10.0]), np.array([1.0, 3.0]), 24.0), [11.0, 13.0])
    np.testing.assert_allclose(
        spread_difference(np.array([10.0, 2.0, 0.0]), np.array([1.0, 4.0, 0.0]), 4.0), [4.0, 0.0, 0.0]
    )


def test_measures_match_figures_worked_by_hand() -> None:
    """Definitions: Hyndman and Koehler 2006 (MASE), Makridakis and Hibon 2000 (sMAPE), Koenker and Bassett 1978."""
    actual, said = [10, 20], [12, 16]
    # seasonal steps of the past at lag 2: |3-1|, |6-2| -> mean 3; errors 2 and 4 -> mean 3
    assert scoring.mase(actual, said, [1, 2, 3, 6], 2) == pytest.approx(1.0)
    # 200 x the mean of 2/22 and 4/36
    assert scoring.smape(actual, said) == pytest.approx(20.2020, abs=1e-4)
    assert scoring.wape(actual, said) == pytest.approx(6 / 30)
    assert scoring.bias(actual, said) == pytest.approx(-2 / 30)
    assert scoring.pinball(actual, said, 0.9) == pytest.approx((0.1 * 2 + 0.9 * 4) / 2)
    assert scoring.coverage(actual, [10, 21], [11, 30]) == 0.5


@pytest.mark.parametrize(
    ("method", "rmse", "mae", "mape", "mase"),
    [("mean", 38.45, 34.83, 8.28, 2.44), ("naive", 62.69, 57.40, 14.18, 4.01), ("season", 14.31, 13.40, 3.17, 0.94)],
)
def test_measures_match_a_published_table_of_beer_forecasts(
    method: str, rmse: float, mae: float, mape: float, mase: float
) -> None:
    """`ausbeer` from 1992, ten quarters from 2008: Forecasting: Principles and Practice, 2nd ed., section 3.4.

    The table's figures are from memory; that all of them come out of the open series to the last digit speaks for them.
    The M3 competition's published figures are in `test_competition.py`.
    """
    past, came = AUSBEER[144:208], AUSBEER[208:]
    said = {"mean": np.full(10, past.mean()), "naive": np.full(10, past[-1]), "season": np.resize(past[-4:], 10)}[
        method
    ]
    assert scoring.wape(came, said) * came.mean() == pytest.approx(mae, abs=0.006)
    assert scoring.mase(came, said, past, 4) == pytest.approx(mase, abs=0.006)
    # the table's other columns say that series and forecasts are the book's
    assert np.sqrt(np.mean((came - said) ** 2)) == pytest.approx(rmse, abs=0.006)
    assert 100 * np.mean(np.abs(came - said) / came) == pytest.approx(mape, abs=0.006)


@pytest.mark.parametrize("probability", [0.1, 0.25, 0.5, 0.75, 0.9])
def test_pinball_loss_is_least_at_the_quantile(probability: float) -> None:
    """Koenker and Bassett 1978: the sample quantile minimises the summed pinball loss."""
    came = AUSBEER[:101]
    losses = [scoring.pinball(came, np.full(came.size, q), probability) for q in np.unique(came)]
    best = np.unique(came)[int(np.argmin(losses))]
    assert best == np.quantile(came, probability, method="inverted_cdf")


def test_nothing_to_score_is_said_aloud() -> None:
    with pytest.raises(BadInput, match="nothing to score"):
        scoring.wape([], [])
    with pytest.raises(BadInput, match="more than 12"):
        scoring.mase([1], [1], [1] * 12, 12)
