"""A week that sells otherwise every year is expected to do so again, and one lucky year is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ledger.forecast import Calibration, DemandHistory, Feast, ForecastSettings, Window, forecast
from ledger.forecast.calendar import week_text
from ledger.forecast.history import build_panel
from ledger.forecast.lines import build_lines, fit_lines
from ledger.forecast.recurring import believed, far_from_feasts, recurring_factors
from ledger.forecast.settings import Beliefs
from tests.forecast.small import steady

NO_BANDS = Calibration(60)
PLAIN = ForecastSettings()


def busy_in(*weeks: str, times: float = 1.8) -> DemandHistory:
    history = steady(150)
    sales = history.sales.copy()
    busy = sales["week"].isin(weeks)
    sales.loc[busy, "units"] = (sales.loc[busy, "units"] * times).round().astype(int)
    return replace(history, sales=sales)


def counter(history: DemandHistory, settings: ForecastSettings = PLAIN) -> dict[str, float]:
    weekly = forecast(history, settings, "2024-W27", 4, NO_BANDS).weekly
    rows = weekly[(weekly["level"] == "channel") & (weekly["channel"] == "counter")]
    return dict(zip(rows["week"], rows["mean"], strict=True))


def test_a_fair_of_two_years_that_nobody_named_is_expected_in_the_same_week_again() -> None:
    plain, fair = counter(steady(150)), counter(busy_in("2022-W29", "2023-W29"))
    assert fair["2024-W29"] > 1.3 * plain["2024-W29"]
    assert fair["2024-W27"] < 1.15 * plain["2024-W27"]


def test_a_week_that_was_slow_every_year_is_expected_to_be_slow() -> None:
    plain, slow = counter(steady(150)), counter(busy_in("2022-W29", "2023-W29", times=0.4))
    assert slow["2024-W29"] < 0.75 * plain["2024-W29"]


def factors(history: DemandHistory, settings: ForecastSettings = PLAIN) -> tuple[np.ndarray, tuple[str, ...], int]:
    panel = build_panel(history, settings, week_text(build_panel(history, settings, "2024-W27").first + 145))
    lines, column = build_lines(panel, settings), panel.column("2024-W27")
    fit = fit_lines(lines, column, settings.beliefs).lines
    got = recurring_factors(lines.panel, fit, column, lines.all_year, lines.far, settings.beliefs)
    return got, lines.panel.flavours, column


def test_one_lucky_year_and_ordinary_years_move_nothing() -> None:
    for history in (steady(150), busy_in("2023-W29")):
        np.testing.assert_allclose(factors(history)[0], 1.0, atol=0.05)


def test_near_a_ticked_feast_the_week_is_left_to_the_feast() -> None:
    """A fair on 21 July 2024, a Sunday of week 29; the two weeks on each side lie near it."""
    history = busy_in("2022-W29", "2023-W29")
    ticked = replace(PLAIN, feasts=(*PLAIN.feasts, Feast("fair", "07-21")))
    got, _, column = factors(history, ticked)
    assert got[:, column + 2].max() == 1.0
    lines = build_lines(build_panel(history, PLAIN, "2024-W33"), PLAIN)
    fit = fit_lines(lines, column, PLAIN.beliefs).lines
    told = (lines.panel, fit, column, lines.all_year)
    assert recurring_factors(*told, lines.far, PLAIN.beliefs)[:, column + 2].max() > 1.1
    assert recurring_factors(*told, ~lines.far & False, PLAIN.beliefs).max() == 1.0
    here = np.ones(lines.far.size, dtype=bool)
    here[column + 2] = False
    assert recurring_factors(*told, here, PLAIN.beliefs)[:, column + 2].max() == 1.0
    far = far_from_feasts(build_panel(history, replace(PLAIN, feasts=(Feast("fair", "07-21"),)), "2024-W33"), ticked)
    assert not far[-7:-2].any()


def test_flavours_of_one_season_and_weeks_gone_by_are_left_alone() -> None:
    season = replace(PLAIN, windows=(Window("rose", "christmas", 170),))
    got, flavours, column = factors(busy_in("2022-W29", "2023-W29", times=2.6), season)
    rose = [f.startswith("rose") for f in flavours]
    assert any(rose) and got[rose].max() == got[rose].min() == 1.0
    assert got[:, :column].max() == 1.0 and got[:, column + 2].max() > 1.1


@pytest.mark.parametrize(("mean", "variance"), [(0.0, 0.01), (0.1, 0.01), (0.4, 0.02), (-0.6, 0.05)])
def test_what_is_believed_is_the_posterior_mean_of_a_spike_and_a_slab(mean: float, variance: float) -> None:
    """Against the integral over the slab, summed on a fine grid, beside the spike's mass at nothing."""
    beliefs = Beliefs()
    grid = np.linspace(-4, 4, 80_001)

    def normal(x: np.ndarray, square: float) -> np.ndarray:
        return np.asarray(np.exp(-0.5 * np.square(x) / square) / np.sqrt(2 * np.pi * square))

    slab = beliefs.recurring_share * normal(grid, beliefs.recurring_spread**2) * normal(mean - grid, variance)
    step = grid[1] - grid[0]
    spike = (1 - beliefs.recurring_share) * float(normal(np.array(mean), variance))
    told = float((grid * slab).sum() * step / (slab.sum() * step + spike))
    assert float(believed(np.array(mean), np.array(variance), beliefs)) == pytest.approx(told, rel=1e-6, abs=1e-9)
