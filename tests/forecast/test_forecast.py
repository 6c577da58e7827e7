"""What must hold of every forecast, whatever was sold."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.errors import BadInput
from ledger.forecast import (
    Analogue,
    Calibration,
    DemandHistory,
    Feast,
    Forecast,
    ForecastSettings,
    Override,
    Window,
    apply_override,
    explain,
    forecast,
)
from ledger.forecast.calendar import weeks_between
from ledger.forecast.scoring import QUANTILE_COLUMNS
from tests.forecast.simulators import feast_shapes
from tests.forecast.simulators.shop import SimulatedShop
from tests.forecast.small import steady, with_sales

ORIGIN = "2024-W27"
NO_BANDS = Calibration(60)


@cache
def shop() -> SimulatedShop:
    return feast_shapes.simulate(7)


@cache
def shop_forecast() -> Forecast:
    return forecast(shop().history, shop().settings, shop().week(190), 20)


def series(result: Forecast, flavour: str, channel: str = "counter") -> pd.DataFrame:
    table = result.weekly
    return table[(table["level"] == "series") & (table["flavour"] == flavour) & (table["channel"] == channel)]


def test_totals_are_the_sums_of_their_parts() -> None:
    table = shop_forecast().weekly
    parts = table[table["level"] == "series"]
    for level, keys in (("flavour", ["flavour", "week"]), ("channel", ["channel", "week"]), ("shop", ["week"])):
        whole = table[table["level"] == level].set_index(keys)["mean"].sort_index()
        np.testing.assert_allclose(parts.groupby(keys)["mean"].sum().sort_index(), whole, rtol=1e-12)


def test_cumulated_means_are_the_sums_of_their_weeks() -> None:
    result = shop_forecast()
    keys = ["level", "flavour", "channel"]
    running = result.weekly.assign(mean=result.weekly.groupby(keys)["mean"].cumsum())
    both = result.cumulated.merge(running, left_on=[*keys, "to_week"], right_on=[*keys, "week"])
    assert len(both) == len(result.cumulated) > 100
    np.testing.assert_allclose(both["mean_x"], both["mean_y"], rtol=1e-12)


def test_quantiles_rise_and_a_cumulated_band_is_narrower_than_the_weekly_ones_added_up() -> None:
    result = shop_forecast()
    for table in (result.weekly, result.cumulated):
        q = table[list(QUANTILE_COLUMNS)].to_numpy()
        assert (np.diff(q, axis=1) >= 0).all() and (q >= 0).all()
        assert (q[table["mean"] > 0][:, -1] > q[table["mean"] > 0][:, 0]).all(), "a live forecast has a width"
    shops = result.weekly[result.weekly["level"] == "shop"].head(8)
    eight = result.cumulated[(result.cumulated["level"] == "shop") & (result.cumulated["span"] == "8")].iloc[0]
    assert eight["q90"] - eight["q10"] < (shops["q90"] - shops["q10"]).sum()


def test_a_season_only_flavour_is_exactly_nothing_outside_its_window_and_something_inside() -> None:
    spruce = series(shop_forecast(), "spruce").set_index("week")["mean"]
    weeks = list(spruce.index)
    opens = weeks.index("2024-W44")  # 56 days before 25 December 2024 is Wednesday 30 October
    assert (spruce.iloc[:opens] == 0).all()
    assert (spruce.loc["2024-W44":"2024-W52"] > 0).all()
    outside = series(shop_forecast(), "spruce").iloc[:opens]
    assert (outside[list(QUANTILE_COLUMNS)] == 0).all().all()


def test_sales_of_later_weeks_change_nothing_of_an_older_forecast() -> None:
    origin = shop().week(170)
    early = forecast(shop().history.before(origin), shop().settings, origin, 8)
    late = with_sales(shop().history, (shop().week(200), "never before", "new channel", 900))
    pd.testing.assert_frame_equal(early.weekly, forecast(late, shop().settings, origin, 8).weekly)


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(factor=st.sampled_from([0.5, 3.0, 100.0, 28_000.0]))
def test_forecasts_scale_with_the_unit_sales_are_counted_in(factor: float) -> None:
    history = steady()
    scaled = replace(history, sales=history.sales.assign(units=history.sales["units"] * factor))
    small, large = (forecast(h, ForecastSettings(), ORIGIN, 13) for h in (history, scaled))
    for column in ("mean", "q10", "q90"):
        np.testing.assert_allclose(large.weekly[column], small.weekly[column] * factor, rtol=0.02)


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 1000))
def test_names_and_the_order_of_rows_carry_no_weight(seed: int) -> None:
    history = steady()
    names = {"lime": "zzz", "rose": "aaa"}
    moved = history.sales.sample(frac=1, random_state=seed).assign(flavour=lambda d: d["flavour"].map(names))
    plain = forecast(history, ForecastSettings(), ORIGIN, 6, NO_BANDS)
    other = forecast(replace(history, sales=moved), ForecastSettings(), ORIGIN, 6, NO_BANDS)
    for flavour, alias in names.items():
        np.testing.assert_allclose(series(plain, flavour)["mean"], series(other, alias)["mean"], rtol=1e-6)


def test_a_closed_week_is_forecast_as_nothing_and_a_short_one_as_less() -> None:
    weeks = weeks_between("2022-W01", "2024-W40")
    days = pd.DataFrame({"week": weeks, "days": [6.0] * len(weeks)})
    days.loc[days["week"] == "2024-W29", "days"] = 0.0
    days.loc[days["week"] == "2024-W30", "days"] = 3.0
    result = series(forecast(replace(steady(), open_days=days), ForecastSettings(), ORIGIN, 6, NO_BANDS), "rose")
    mean = result.set_index("week")["mean"]
    assert mean["2024-W29"] == 0 and result.set_index("week").loc["2024-W29", "q90"] == 0
    assert mean["2024-W30"] == pytest.approx(mean["2024-W31"] / 2, rel=0.05)


def test_a_run_out_does_not_lower_the_demand_that_is_forecast() -> None:
    history = steady()
    weeks = weeks_between("2024-W15", "2024-W26")
    sales = history.sales.copy()
    hit = sales["week"].isin(weeks) & (sales["flavour"] == "rose")
    sales.loc[hit, "units"] = sales.loc[hit, "units"] // 2
    told = pd.DataFrame({"week": weeks, "flavour": "rose", "channel": "counter", "share": 0.5})
    full = series(forecast(history, ForecastSettings(), ORIGIN, 4, NO_BANDS), "rose")["mean"].sum()
    silent = series(forecast(replace(history, sales=sales), ForecastSettings(), ORIGIN, 4, NO_BANDS), "rose")[
        "mean"
    ].sum()
    known = replace(history, sales=sales, exposure=told)
    honest = series(forecast(known, ForecastSettings(), ORIGIN, 4, NO_BANDS), "rose")["mean"].sum()
    assert honest == pytest.approx(full, rel=0.06)
    assert silent < 0.85 * full


def test_running_out_every_christmas_does_not_teach_that_christmas_is_small() -> None:
    history = steady(150)
    rushes = [f"{year}-W{week}" for year in (2022, 2023) for week in range(46, 53)]
    sales = history.sales.copy()
    hit = sales["week"].isin(rushes)
    sales.loc[hit, "units"] = sales.loc[hit, "units"] // 2
    table = pd.DataFrame(
        [(f, c, w, 0.5) for f, c in (("lime", "counter"), ("lime", "post"), ("rose", "counter")) for w in rushes]
    )
    told = replace(history, sales=sales, exposure=table.set_axis(["flavour", "channel", "week", "share"], axis=1))
    full, silent, honest = (
        series(forecast(h, ForecastSettings(), "2024-W46", 6, NO_BANDS), "rose")["mean"].sum()
        for h in (history, replace(history, sales=sales), told)
    )
    assert honest == pytest.approx(full, rel=0.08)
    assert silent < 0.75 * full


def test_a_bulk_order_is_set_apart_as_firm_demand() -> None:
    orders = pd.DataFrame(
        {"week": ["2024-W20", "2024-W28"], "flavour": "rose", "channel": "counter", "units": [900, 250]}
    )
    history = with_sales(steady(), ("2024-W20", "rose", "counter", 900))
    told = forecast(replace(history, bulk_orders=orders), ForecastSettings(), ORIGIN, 4, NO_BANDS)
    plain = forecast(steady(), ForecastSettings(), ORIGIN, 4, NO_BANDS)
    np.testing.assert_allclose(series(told, "rose")["mean"], series(plain, "rose")["mean"])
    assert series(told, "rose").set_index("week").loc["2024-W28", "firm"] == 250
    assert "250 packs are promised" in explain(series(told, "rose").iloc[1])


def test_a_series_of_zeros_and_one_of_a_single_sale_are_forecast_near_nothing() -> None:
    history = with_sales(steady(), ("2022-W10", "dull", "counter", 0), ("2023-W10", "once", "counter", 3))
    result = forecast(history, ForecastSettings(), ORIGIN, 4, NO_BANDS)
    assert (series(result, "dull")["mean"] == 0).all()
    assert 0 <= series(result, "once")["mean"].max() < 1
    assert any("dull in counter has no forecast" in note for note in result.notes)
    lonely = DemandHistory(pd.DataFrame({"week": ["2024-W20"], "flavour": ["a"], "channel": ["b"], "units": [5]}))
    assert np.isfinite(forecast(lonely, ForecastSettings(), ORIGIN, 3).weekly["mean"]).all()


def test_a_flavour_that_stopped_selling_is_taken_as_dropped_until_it_sells_again() -> None:
    history = steady()
    gone = (history.sales["flavour"] == "lime") & (history.sales["week"] >= "2024-W10")
    stopped = replace(history, sales=history.sales[~gone])
    result = forecast(stopped, ForecastSettings(), ORIGIN, 4, NO_BANDS)
    assert (series(result, "lime")["mean"] == 0).all()
    assert (series(result, "rose")["mean"] > 15).all()
    assert any(
        note.startswith("lime in counter is forecast as 0: not one sale in its last 13 weeks") for note in result.notes
    )
    assert "no longer sold" in explain(series(result, "lime").iloc[0])
    back = with_sales(stopped, ("2024-W26", "lime", "counter", 6))
    assert (series(forecast(back, ForecastSettings(), ORIGIN, 4, NO_BANDS), "lime")["mean"] > 0).all()


def test_a_horizon_over_week_53_has_every_week_once() -> None:
    weeks = forecast(steady(150, "2024-W01"), ForecastSettings(), "2026-W47", 9, NO_BANDS).weekly["week"].unique()
    assert list(weeks) == weeks_between("2026-W47", "2027-W02") and "2026-W53" in weeks


def test_a_new_flavour_takes_the_shape_of_the_others_and_says_so() -> None:
    history = with_sales(steady(204, "2020-W01"), *[(f"2023-W{w}", "new", "counter", 10) for w in range(36, 42)])
    new = series(forecast(history, ForecastSettings(), "2023-W42", 10, NO_BANDS), "new").set_index("week")
    assert new["mean"].iloc[0] == pytest.approx(10, rel=0.25)
    assert new.loc["2023-W50", "mean"] > 1.35 * new["mean"].iloc[0], "it shares the Christmas of the others"
    assert (new["model"] == "new flavour").all() and "only 6 weeks sold" in new["why"].iloc[0]


def test_an_analogue_named_by_the_owner_gives_a_flavour_never_sold_a_forecast() -> None:
    chosen = ForecastSettings(analogues=(Analogue("new", like="rose", share=0.5),))
    result = forecast(steady(), chosen, ORIGIN, 4, NO_BANDS)
    np.testing.assert_allclose(series(result, "new")["mean"], series(result, "rose")["mean"] / 2)
    assert "rose, which the owner named" in series(result, "new")["why"].iloc[0]


def test_an_override_is_spread_down_and_summed_up_again() -> None:
    result = shop_forecast()
    first, last = result.weekly["week"].min(), result.weekly["week"].max()
    moved = apply_override(result, Override("spruce", "*", first, last, 1000.0, "two fairs more"))
    table = moved.weekly
    parts = table[(table["level"] == "series") & (table["flavour"] == "spruce")]
    assert parts["mean"].sum() == pytest.approx(1000.0)
    assert (parts.loc[parts["model_mean"] == 0, "mean"] == 0).all(), "a structural zero stays"
    shop_row = table[table["level"] == "shop"].set_index("week")["mean"]
    np.testing.assert_allclose(table[table["level"] == "series"].groupby("week")["mean"].sum(), shop_row, rtol=1e-9)
    others = (table["level"] == "series") & (table["flavour"] != "spruce")
    np.testing.assert_array_equal(table.loc[others, "mean"], result.weekly.loc[others, "mean"])
    season = moved.cumulated[(moved.cumulated["level"] == "flavour") & (moved.cumulated["flavour"] == "spruce")]
    assert season.set_index("span").loc["season", "mean"] == pytest.approx(1000.0)
    with pytest.raises(BadInput, match="needs a reason"):
        Override("spruce", "*", first, last, 1.0, " ")
    with pytest.raises(BadInput, match="no open week of violet"):
        apply_override(result, Override("violet", "*", first, first, 1.0, "why not"))


def test_the_words_name_the_range_the_weeks_and_the_reason() -> None:
    row = {
        "flavour": "clove", "channel": "*", "span": "season", "from_week": "2026-W40", "to_week": "2026-W51", "weeks": 12,
        "mean": 118_000, "q10": 92_000, "q50": 117_000, "q90": 151_000, "firm": 0, "model": "season", "why": "two seasons",
    }  # fmt: skip
    assert explain(row, "g") == (
        "clove: about 117 kg for the rest of the season (over 12 weeks, from 2026-W40 to 2026-W51). "
        "In 8 years of 10 it will be between 92 and 151 kg; in 1 of 10 less, in 1 of 10 more. From season: two seasons."
    )
    assert "nothing in week 2024-W30" in explain(row | {"week": "2024-W30", "mean": 0.0})


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"units": -1}, "units -1"),
        ({"week": "2024-53"}, "not an ISO week"),
        ({"week": "2025-W53"}, "weeks 01 to 52"),
    ],
)
def test_a_row_that_cannot_be_is_refused_by_name(change: dict[str, object], word: str) -> None:
    history = steady()
    sales = history.sales.copy()
    for column, value in change.items():
        sales.loc[5, column] = value
    with pytest.raises(BadInput, match=word):
        forecast(replace(history, sales=sales), ForecastSettings(), "2026-W10", 4, NO_BANDS)


def test_questions_that_make_no_sense_are_refused() -> None:
    with pytest.raises(BadInput, match="horizon 0"):
        forecast(steady(), ForecastSettings(), ORIGIN, 0)
    with pytest.raises(BadInput, match="nothing was sold before"):
        forecast(steady(), ForecastSettings(), "2021-W01", 4)
    with pytest.raises(BadInput, match="Tick the feast first"):
        ForecastSettings(windows=(Window("rose", "harvest", 30),))
    with pytest.raises(BadInput, match="different names"):
        ForecastSettings(feasts=(Feast("a", "12-25"), Feast("a", "12-26")))
    with pytest.raises(BadInput, match="lacks the columns units"):
        forecast(DemandHistory(steady().sales.drop(columns="units")), ForecastSettings(), ORIGIN, 4)


def test_the_band_of_a_week_is_the_same_however_far_the_forecast_looks():
    history = steady(170)
    near, far = (forecast(history, ForecastSettings(), "2025-W10", weeks).weekly for weeks in (13, 30))
    both = near.merge(far, on=["level", "flavour", "channel", "week"], suffixes=("", "_far"))
    assert len(both) == len(near)
    for name in ("mean", "q10", "q50", "q90"):
        np.testing.assert_allclose(both[name], both[f"{name}_far"], rtol=1e-9)
