"""The newsvendor: published examples C1-C6, scipy, and enumeration for whole batches."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from ledger.errors import BadInput
from ledger.planning.cost import expected_loss
from ledger.planning.expected_loss import tangents, with_curves
from ledger.planning.newsvendor import (
    best_quantity,
    best_uniform,
    expected_profit,
    expected_short,
    safety_stock,
    sd_of_band,
    whole_batches,
)
from tests.planning.shops import invented_shop


def test_quantities_are_those_of_the_textbooks() -> None:
    snyder = best_quantity(50, 8, 0.70, 0.18)  # Snyder and Shen 2019, ex. 4.3 (read)
    assert snyder.quantity == pytest.approx(56.603955927, rel=1e-9)
    assert snyder.expected_cost == pytest.approx(1.997605193, rel=1e-9)
    porteus = best_quantity(100, 30, 3, 1)  # Porteus (read)
    assert (round(porteus.quantity, 2), round(porteus.expected_cost, 2)) == (120.23, 38.13)
    gallego = best_quantity(100, 20, 3, 1)  # Gallego (read)
    assert (round(gallego.quantity, 2), round(gallego.expected_cost, 2)) == (113.49, 25.42)
    assert round(best_quantity(50, 20, 2, 5).quantity, 2) == 38.68  # encyclopaedia example (read)
    assert best_uniform(50, 80, 2, 5) == pytest.approx(58.571, abs=1e-3)  # the same, uniform (read)
    assert best_quantity(3192, 1181, 70, 20).quantity == pytest.approx(4095.1, abs=0.1)  # Cachon, data from memory
    assert round(best_quantity(11.73, 4.74, 0.5, 0.15).quantity) == 15  # Nahmias, from memory


def test_expected_profits_and_fill_are_those_of_the_textbooks() -> None:
    porteus = best_quantity(100, 30, 3, 1).quantity  # Porteus (read)
    assert round(expected_profit(100, 30, porteus, price=4, cost=1), 2) == 261.87
    assert round(1 - expected_short(100, 30, porteus) / 100, 2) == 0.96
    gallego = best_quantity(100, 20, 3, 1).quantity  # Gallego (read)
    assert round(expected_profit(100, 20, gallego, price=4, cost=1), 2) == 274.58
    later = best_quantity(3192, 1181, 80, 20).quantity  # Cachon and Terwiesch, later edition, data from memory
    assert later == pytest.approx(4186.0, abs=0.1)
    profit = expected_profit(3192, 1181, 4196, price=190, cost=110, salvage=90)  # printed from tables: 222 280
    assert profit == pytest.approx(222_280, rel=1e-4)


def test_profit_of_a_rounded_quantity_is_the_printed_one() -> None:
    profit = expected_profit(50, 20, 39, price=7, cost=5)  # encyclopaedia example (read)
    assert profit == pytest.approx(52.40715618, rel=1e-8)
    assert 50 - expected_short(50, 20, 39) == pytest.approx(35.343879450, rel=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.floats(5, 500), st.floats(0.5, 200), st.floats(0.1, 50), st.floats(0.1, 50))
def test_the_quantile_is_scipys(mean: float, sd: float, under: float, over: float) -> None:
    assert best_quantity(mean, sd, under, over).quantity == pytest.approx(
        stats.norm.ppf(under / (under + over), mean, sd), rel=1e-7, abs=1e-7
    )


def test_expected_shortage_is_the_integral() -> None:
    for quantity in (60.0, 100.0, 150.0):
        integral, _ = integrate.quad(lambda d, q=quantity: (d - q) * stats.norm.pdf(d, 100, 30), quantity, 400)
        assert expected_short(100, 30, quantity) == pytest.approx(integral, rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.integers(5, 200), st.integers(5, 45), st.integers(8, 20), st.integers(400, 2500), st.integers(100, 390))
def test_whole_batches_are_the_best_of_all_counts(
    mean: int, percent: int, batch: int, missed: int, material: int
) -> None:
    sd, salvage = mean * percent // 100, material // 5

    def value(n: int) -> float:
        sold = mean - expected_short(mean, sd, n * batch)
        return (missed - material) * sold - (material - salvage) * (n * batch - sold)

    found = whole_batches(mean, sd, batch, missed, material, salvage)
    assert value(found) == pytest.approx(max(value(n) for n in range(60)), rel=1e-9, abs=1e-6)


def test_tangents_lie_under_the_curve_and_near_it() -> None:
    lines = tangents(100_000, 30_000)
    for supply in range(0, 220_000, 2_500):
        true, lined = expected_short(100_000, 30_000, supply), expected_loss(lines, supply)
        assert lined <= true + 0.0006 * supply + 2
        assert true - lined <= 0.02 * 30_000


def test_a_band_gives_back_its_spread() -> None:
    low, high = stats.norm.ppf([0.1, 0.9], 118_000, 23_000)
    assert sd_of_band(round(low), round(high)) == pytest.approx(23_000, abs=2)
    assert safety_stock(1000, 0.9) == round(stats.norm.ppf(0.9) * 1000)


def test_costs_that_give_no_best_quantity_are_refused() -> None:
    with pytest.raises(BadInput, match="both must be above 0"):
        best_quantity(10, 1, 0, 1)
    with pytest.raises(BadInput, match="2 spreads for 16 weeks"):
        with_curves(invented_shop(3, 16, 1).items[0], [1, 2])
