"""Measures and reference methods against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from ledger.errors import BadInput
from ledger.forecast import scoring
from ledger.forecast.croston import croston
from ledger.forecast.reconcile import bottom_up, spread_difference, whole_units, wls_struct

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


def test_nothing_to_score_is_said_aloud() -> None:
    with pytest.raises(BadInput, match="nothing to score"):
        scoring.wape([], [])
    with pytest.raises(BadInput, match="more than 12"):
        scoring.mase([1], [1], [1] * 12, 12)
