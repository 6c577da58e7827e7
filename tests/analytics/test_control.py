"""Individuals charts against published examples.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2, flow rate example (page pmc322, read); Montgomery,
Introduction to Statistical Quality Control, paint viscosity, and Wetherill and Brown 1991, p. 120, antifreeze, both with limits as
the R package qcc and its published tests give them (read). Run rules: Western Electric, as in e-Handbook section 6.3.2 (from memory).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.analytics.control import RULES, Limits, chart, limits, unusual

FLOW_RATE = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
VISCOSITY = [33.75, 33.05, 34.00, 33.81, 33.46, 34.02, 33.68, 33.27, 33.49, 33.20, 33.62, 33.00, 33.54, 33.12, 33.84]
ANTIFREEZE = [
    2.23, 2.53, 2.62, 2.63, 2.58, 2.44, 2.49, 2.34, 2.95, 2.54, 2.60, 2.45, 2.17, 2.58, 2.57, 2.44, 2.38, 2.23, 2.23, 2.54, 2.66, 2.84,
    2.81, 2.39, 2.56, 2.70, 3.00, 2.81, 2.77, 2.89, 2.54, 2.98, 2.35, 2.53,
]  # fmt: skip


def _points(values: list[float]) -> pd.DataFrame:
    return pd.DataFrame({"week": [f"2026-W{n + 1:02d}" for n in range(len(values))], "value": values})


def test_the_nist_flow_rate_example() -> None:
    found = limits(FLOW_RATE)
    assert found.center == pytest.approx(50.81, abs=1e-9)
    assert found.moving_range == pytest.approx(1.8778, abs=5e-5)
    assert found.upper == pytest.approx(55.8041, abs=1.5e-4)
    assert found.lower == pytest.approx(45.8159, abs=1.5e-4)
    # the process is in control, says the handbook
    assert not chart(_points(FLOW_RATE), "value", rules=("beyond",)).unusual.any()


@pytest.mark.parametrize(
    ("values", "center", "sigma", "lower", "upper"),
    [(VISCOSITY, 33.52333, 0.4261651, 32.24484, 34.80183), (ANTIFREEZE, 2.569706, 0.1794541, 2.031344, 3.108068)],
)
def test_the_textbook_examples(values: list[float], center: float, sigma: float, lower: float, upper: float) -> None:
    # qcc takes d2 = 1.128379 where the printed table says 1.128: 0.04 % of the reach
    found = limits(values)
    assert found.center == pytest.approx(center, abs=5e-6)
    assert found.sigma == pytest.approx(sigma, rel=5e-4)
    assert found.lower == pytest.approx(lower, abs=1e-3)
    assert found.upper == pytest.approx(upper, abs=1e-3)


def test_limits_are_2_66_mean_moving_ranges_away_and_the_range_limit_is_3_267() -> None:
    # constants E2 = 2.660 and D4 = 3.267 for ranges of two: table of factors in Montgomery (from memory)
    found = limits([0.0, 1.0, 0.0, 1.0])
    assert found.upper - found.center == pytest.approx(2.660, abs=5e-4)
    assert found.range_upper == pytest.approx(3.267)


@pytest.mark.parametrize(
    ("z", "rule", "at"),
    [
        ([0, 0, 3.1, 0], "beyond", [2]),
        ([0, 2.1, 0, 2.1, 0], "two-of-three", [3]),
        ([0, 2.1, 0, -2.1, 0], "two-of-three", []),
        ([2.1, 0, 0, 2.1], "two-of-three", []),
        ([1.1, 1.1, 0, 1.1, 1.1, 0], "four-of-five", [4]),
        ([-1.0] * 7 + [1], "eight-in-a-row", []),
        ([-1.0] * 8 + [1], "eight-in-a-row", [7]),
        ([0, 0, 3.7, 0], "jump", [2, 3]),
    ],
)
def test_each_rule_fires_where_the_pattern_is_complete(z: list[float], rule: str, at: list[int]) -> None:
    basis = Limits(center=0, lower=-3, upper=3, moving_range=1.128, range_upper=3.267 * 1.128, points=20)
    points = chart(_points(z), "value", rules=[rule], basis=basis)
    assert list(np.flatnonzero(points.unusual)) == at


def test_an_unusual_week_is_named_with_the_rule_that_fired() -> None:
    values = [0.91, 0.92, 0.90, 0.91, 0.92, 0.91, 0.90, 0.92, 0.74, 0.91]
    found = unusual(chart(_points(values), "value"))
    assert ("2026-W09", "low", "beyond") in set(zip(found.week, found.side, found.rule, strict=True))
    assert set(found.why) <= set(RULES.values())


def test_few_points_make_no_alarm() -> None:
    assert not chart(_points([]), "value").unusual.any()
    assert not chart(_points([0.9]), "value").unusual.any()
    assert not chart(_points([0.9, 0.9]), "value").unusual.any()
    assert limits([0.9, 0.8]).provisional


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=40), st.floats(-1e3, 1e3))
def test_moving_every_value_moves_the_limits_along(values: list[float], by: float) -> None:
    one, two = limits(values), limits([v + by for v in values])
    assert two.center - one.center == pytest.approx(by, abs=1e-6)
    assert two.upper - two.lower == pytest.approx(one.upper - one.lower, abs=1e-6)
