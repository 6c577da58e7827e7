"""The other hand's shop is what it says it is: neither hopeless nor easy, and honest about what it hides."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from dateutil.easter import easter

from ledger.errors import BadInput
from tests.forecast.shop_by_another_hand import Shop, simulate
from tests.forecast.shop_by_another_hand_world import MONTHS
from tests.support.shared import shared_path

KEYS = ["week", "flavour", "channel"]


@pytest.fixture(scope="module")
def shops() -> list[Shop]:
    return [simulate(seed) for seed in range(8)]


def _monday(week: str) -> date:
    return date.fromisocalendar(int(week[:4]), int(week[6:]), 1)


def _week(day: date) -> str:
    year, number, _ = day.isocalendar()
    return f"{year}-W{number:02d}"


def _weeks_on_sale(shop: Shop, flavour: str) -> set[str]:
    """Worked out here from the feasts and windows alone, not by the simulator's own calendar."""
    weeks = set()
    for window in shop.windows[flavour]:
        for feast in shop.feasts.loc[shop.feasts["feast"] == window.feast, "date"]:
            weeks |= {_week(feast + timedelta(days=d)) for d in range(-window.first, window.last + 1)}
    return weeks


def _errors(shop: Shop, level: list[str]) -> tuple[float, float]:
    """WAPE over the held-back year, weeks not short, of last year's same week and of the mean known but for luck."""
    wide = shop.truth.pivot_table(
        index=level, columns="week", values=["demand", "sold", "expected", "short"], aggfunc="sum"
    )
    demand, sold, expected, short = (wide[name].to_numpy(float) for name in ("demand", "sold", "expected", "short"))
    now, before = slice(-52, None), slice(-104, -52)
    listed = np.cumsum(sold, axis=1)[:, before] > 0
    scored = listed & (short[:, now] == 0)
    actual = demand[:, now][scored]
    naive, known = sold[:, before][scored], expected[:, now][scored]
    return float(abs(actual - naive).sum() / actual.sum()), float(abs(actual - known).sum() / actual.sum())


def test_the_same_seed_gives_the_same_shop_and_another_seed_another(shops: list[Shop]) -> None:
    again = simulate(3)
    pd.testing.assert_frame_equal(again.truth, shops[3].truth)
    pd.testing.assert_frame_equal(again.history.sales, shops[3].history.sales)
    assert not shops[3].truth["demand"].equals(shops[4].truth["demand"])


def test_there_are_twenty_four_series_over_four_years_with_the_last_held_back(shops: list[Shop]) -> None:
    for shop in shops:
        weeks = sorted(shop.truth["week"].unique())
        assert len(weeks) == 208 and weeks[-52] == shop.held_back_from
        assert len(shop.truth.groupby(["flavour", "channel"])) == 24


def test_a_season_flavour_is_asked_for_and_sold_in_its_windows_only(shops: list[Shop]) -> None:
    for shop in shops:
        for flavour in shop.windows:
            mine = shop.truth[shop.truth["flavour"] == flavour]
            outside = mine[~mine["week"].isin(_weeks_on_sale(shop, flavour))]
            assert len(outside) and not outside[["demand", "sold", "expected"]].to_numpy().any()
            sold = shop.history.sales[shop.history.sales["flavour"] == flavour]
            assert set(sold["week"]) <= _weeks_on_sale(shop, flavour) and len(sold) > 4


def test_a_flavour_with_two_windows_sells_twice_each_year_and_rests_between(shops: list[Shop]) -> None:
    for shop in shops:
        weekly = shop.truth[shop.truth["flavour"] == "rose"].groupby("week")["expected"].sum() > 0
        starts = (weekly & ~weekly.shift(fill_value=False)).to_numpy().sum()
        assert starts == 8


def test_sales_are_what_the_shelf_allowed_plus_the_bulk_orders(shops: list[Shop]) -> None:
    for shop in shops:
        truth, bulk = shop.truth.set_index(KEYS), shop.history.bulk_orders
        assert bulk is not None and len(bulk) > 10
        firm = bulk.groupby(KEYS)["units"].sum().reindex(truth.index, fill_value=0)
        recorded = shop.history.sales.set_index(KEYS)["units"].reindex(truth.index, fill_value=0)
        assert ((recorded - firm) == truth["sold"]).all()


def test_a_run_out_hides_demand_and_only_a_run_out_does(shops: list[Shop]) -> None:
    for shop in shops:
        truth = shop.truth
        assert (truth["sold"] <= truth["demand"]).all()
        full = truth[~truth["short"]]
        assert (full["sold"] == full["demand"]).all()
        lost = 1 - truth["sold"].sum() / truth["demand"].sum()
        assert 0.01 < lost < 0.08
        exposure = shop.history.exposure
        assert exposure is not None and exposure["share"].between(0, 1, inclusive="left").all()
        said = set(exposure[KEYS].itertuples(index=False, name=None))
        assert said == set(truth.loc[truth["short"], KEYS].itertuples(index=False, name=None))


def test_easter_moves_and_its_flavour_with_it(shops: list[Shop]) -> None:
    for shop in shops:
        known = shop.feasts.loc[shop.feasts["feast"] == "easter", "date"]
        assert [d for d in known if d.year < 2026] == [
            easter(year) for year in range(2022, 2026)
        ]  # dateutil's own rule
        mine = shop.truth[(shop.truth["flavour"] == "primrose") & (shop.truth["channel"] == "shop")]
        middle = {}
        for year, rows in mine.groupby(mine["week"].str[:4]):
            day = rows["week"].map(lambda w: _monday(w).timetuple().tm_yday)
            middle[year] = np.average(day, weights=rows["demand"])
        assert 11 < middle["2025"] - middle["2024"] < 29  # 31 March to 20 April: 20 days


@pytest.mark.shared
def test_the_typed_months_are_the_published_index() -> None:
    """Federal Reserve G.17, IPG3113N, 2007-2016: each month over its calendar year's mean, averaged, summing to 12."""
    index = pd.read_csv(shared_path("us_candy_production_ipg3113n.csv"), comment="#", parse_dates=["date"])
    index = index[index["date"].dt.year.between(2007, 2016)]
    ratio = index["index_2012_100"] / index.groupby(index["date"].dt.year)["index_2012_100"].transform("mean")
    assert np.allclose(ratio.groupby(index["date"].dt.month).mean(), MONTHS, atol=1e-3)


@pytest.mark.shared
def test_the_year_has_the_published_shape(shops: list[Shop]) -> None:
    """Same source. Production runs ahead of a shop's December, so alike, not the same."""
    index = pd.read_csv(shared_path("us_candy_seasonal_index.csv"), comment="#")["factor_A_ratio_to_year_mean"]
    for shop in shops:
        month = shop.truth["week"].map(lambda w: (_monday(w) + timedelta(days=3)).month)
        shape = shop.truth.groupby(month)["demand"].sum()
        assert np.corrcoef(shape, index)[0, 1] > 0.6
        assert shape[[9, 10, 11, 12]].mean() > 1.3 * shape[[4, 5, 6, 7]].mean()


def test_noise_is_more_than_poisson_and_relatively_smaller_for_big_sellers(shops: list[Shop]) -> None:
    """Retail counts: variance above the mean, relative variance falling with size (Taylor's law; from memory)."""
    sizes, relative = [], []
    for shop in shops:
        calm = shop.truth[(shop.truth["channel"] == "shop") & ~shop.truth["flavour"].isin(shop.windows)]
        calm = calm[(calm["expected"] > 0) & (calm["flavour"] != "pear drop")]
        for _, rows in calm.groupby("flavour"):
            square = (rows["demand"] - rows["expected"]) ** 2
            assert (square / rows["expected"]).mean() > 1.3
            sizes.append(np.log(rows["expected"].mean()))
            relative.append(np.log((square / rows["expected"] ** 2).mean()))
    slope = np.polyfit(sizes, relative, 1)[0]
    assert -0.95 < slope < -0.15  # -1 would be Poisson alone, 0 a fixed share of the mean


def test_resale_is_lumpy_and_the_counter_is_not(shops: list[Shop]) -> None:
    """Intermittent from 1.32 weeks between orders (Syntetos, Boylan & Croston 2005)."""
    for shop in shops:
        steady = shop.truth[~shop.truth["flavour"].isin([*shop.windows, "pear drop"])]
        between = 1 / steady.assign(any=steady["demand"] > 0).groupby(["channel", "flavour"])["any"].mean()
        assert between["shop"].max() < 1.32
        assert 1.0 < between["resale"].min() < between["resale"].max() < 6
    assert between["resale"].max() > 1.32


def test_a_closed_week_sells_nothing_at_the_counter(shops: list[Shop]) -> None:
    for shop in shops:
        days = shop.history.open_days
        assert days is not None and days["week"].nunique() == 208 + 13
        shut = days[(days["channel"] == "shop") & (days["days"] == 0)]["week"]
        counter = shop.truth[shop.truth["channel"] == "shop"]
        assert len(shut) >= 3 and counter.loc[counter["week"].isin(shut), "demand"].sum() == 0


def test_a_promotion_lifts_its_flavour(shops: list[Shop]) -> None:
    during, before = 0, 0
    for shop in shops:
        demand = shop.truth.set_index(KEYS)["demand"].unstack("week")
        promotions = shop.history.promotions
        assert promotions is not None
        for row in promotions[promotions["flavour"] != "*"].itertuples():
            at = demand.columns.get_loc(row.week)
            during += demand.loc[(row.flavour, "shop")].iloc[at]
            before += demand.loc[(row.flavour, "shop")].iloc[at - 3]
    assert 1.2 < during / before < 2.5


def test_one_season_of_the_held_back_year_fails_and_resale_steps_once(shops: list[Shop]) -> None:
    for shop in shops:
        secrets, truth = shop.secrets, shop.truth
        late = truth["week"] >= shop.held_back_from
        mine = truth["flavour"] == secrets["failed season"]
        assert truth.loc[mine & late, "demand"].sum() < 0.65 * truth.loc[mine & ~late, "demand"].sum() / 3
        resale = truth[(truth["channel"] == "resale") & (truth["flavour"].isin(["aniseed", "lemon", "clove"]))]
        weekly = resale.groupby("week")["expected"].sum()
        at = weekly.index.get_loc(secrets["level break"])
        assert shop.held_back_from < secrets["level break"]
        assert weekly.iloc[at] / weekly.iloc[at - 1] == pytest.approx(secrets["level step"], rel=0.35)


def test_the_new_flavour_sells_nothing_before_it_is_listed(shops: list[Shop]) -> None:
    for shop in shops:
        mine = shop.history.sales[shop.history.sales["flavour"] == "pear drop"]
        assert shop.secrets["new flavour listed"] <= mine["week"].min() and mine["units"].sum() > 100


def test_the_unknown_feast_is_told_to_nobody_and_fills_the_shop(shops: list[Shop]) -> None:
    lift = []
    for shop in shops:
        assert not shop.feasts["feast"].eq("regatta").any()
        weekly = shop.truth[shop.truth["channel"] == "shop"].groupby("week")["demand"].sum()
        for day in shop.secrets["unknown feast"][:4]:
            at = weekly.index.get_loc(_week(day))
            lift.append(weekly.iloc[at] / weekly.iloc[[at - 2, at + 2]].mean())
    assert 1.2 < np.mean(lift) < 2.0


def test_the_book_of_a_monday_knows_nothing_of_later(shops: list[Shop]) -> None:
    surprised = 0
    for shop in shops:
        origin = shop.held_back_from
        book, days = shop.as_known(origin), shop.history.open_days
        assert book.sales["week"].max() < origin
        assert book.exposure is not None and book.exposure["week"].max() < origin
        assert book.bulk_orders is not None and book.promotions is not None and book.open_days is not None
        assert days is not None and len(book.open_days) == len(days)
        late = shop.placed[shop.placed["placed"] >= origin]
        assert len(late) and len(book.bulk_orders) == len(shop.placed) - len(late)
        assert len(book.promotions) == (shop.announced["announced"] <= origin).sum() < len(shop.announced)
        surprised += int(book.open_days["days"].sum() - days["days"].sum())
    assert surprised > 0  # burst pipes of the held-back years


def test_last_years_week_is_a_third_to_half_wrong_and_knowing_all_but_luck_is_better(shops: list[Shop]) -> None:
    flavours = [_errors(shop, ["flavour"]) for shop in shops]
    for naive, known in flavours:
        assert 0.35 < naive < 0.56
        assert 0.4 * naive < known < 0.75 * naive
    series = np.mean([_errors(shop, ["flavour", "channel"]) for shop in shops], axis=0)
    assert 0.45 < series[0] < 0.70 and series[1] < 0.40


def test_too_short_a_history_and_a_week_begun_on_tuesday_are_refused() -> None:
    with pytest.raises(BadInput, match="129 weeks"):
        simulate(1, weeks=129)
    with pytest.raises(BadInput, match="not a Monday"):
        simulate(1, first_monday=date(2022, 1, 4))
