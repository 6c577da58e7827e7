"""Stock, cover, weeks and the forecast's input.

Sources: ISO 8601 (week dates; `datetime` of the standard library as reference); reorder point from texts on inventory (from memory:
mean x lead + z sigma sqrt(lead)); cover over 28 days is common practice, no source.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.analytics import capacity, compare, control, forecast_input, labour, losses, stock, words, yields
from ledger.analytics import flows as f
from ledger.analytics.batch import lots_in, lots_out, summary
from tests.analytics.sheets import frame, line, worked_cook

TODAY = "2026-02-28"
LOTS = pd.DataFrame(
    [
        ("J1", "packs", "JAR", "LEMON", "2026-02-14", "2027-02-14", "", 40, 4_520_000),
        ("J2", "packs", "JAR", "LEMON", "2026-01-10", "2026-02-20", "", 10, 1_130_000),
        ("J3", "packs", "JAR", "LEMON", "2026-02-01", "", "damp", 5, 565_000),
        ("S1", "material", "SUGAR", "", "2026-01-01", "", "", 0, 56_000_000),
        ("B1", "reboil", "", "LEMON", "2026-02-01", "", "", 0, 620_000),
    ],
    columns=["lot", "kind", "item", "flavour", "day", "best_before", "held", "packs", "mass_mg"],
).assign(design="STAR", batch="")


def _sale(day: str, packs: int, channel: str = "counter", step: str = "sell") -> dict[str, object]:
    return line(step, "lot.packs", -packs * 113_000, packs=-packs, day=day, item="JAR", channel=channel)


def test_reorder_point_matches_the_worked_example() -> None:
    # 200 pieces a day, spread 60, 9 days, z 1.645: 1800 + 296.1
    assert stock.reorder_point(200, 9, 60, 1.645) == pytest.approx(2096.1, abs=0.05)


def test_cover_is_free_packs_over_the_last_28_days() -> None:
    sales = frame(_sale("2026-01-31", 20), _sale("2026-02-27", 10), _sale("2026-02-27", -2, step="return"),
                  _sale("2026-01-30", 500), _sale(TODAY, 500))  # fmt: skip
    row = stock.on_the_shelf(LOTS, sales, TODAY).iloc[0]
    assert (row.packs, row.held_packs, row.lots, row.sold_packs) == (50, 5, 3, 28)
    assert row.cover_days == 50.0
    assert (row.oldest_days, row.next_best_before) == (49, "2026-02-20")


def test_lots_stand_first_to_expire_first_with_the_past_ones_marked() -> None:
    table = stock.finished_lots(LOTS, TODAY)
    assert table.lot.tolist() == ["J2", "J1", "J3"]
    assert table.left_days.tolist()[:2] == [-8, 351] and np.isnan(table.left_days.iloc[2])


def test_a_pack_that_sold_and_is_gone_stays_in_sight() -> None:
    table = stock.on_the_shelf(LOTS.iloc[:0], frame(_sale("2026-02-20", 14)), TODAY)
    assert table.loc[0, "packs"] == 0 and table.loc[0, "cover_days"] == 0.0
    assert words.short(table, lambda _kind, id: id.title()) == "Short on the shelf: Lemon (none left)."


def test_materials_are_called_for_when_cover_is_not_longer_than_the_lead_time() -> None:
    used = frame(line("cook", "lot.material", -112_000_000, day="2026-02-10", item="SUGAR"))
    book = pd.DataFrame({"item": ["SUGAR"], "lead_days": [14]})
    row = stock.materials(LOTS, used, TODAY, book=book).set_index("item").loc["SUGAR"]
    assert row.cover_days == 14.0 and row.order_now
    row = stock.materials(LOTS, used, TODAY, book=book.assign(lead_days=13)).set_index("item").loc["SUGAR"]
    assert not row.order_now


def test_rates_are_kept_apart_by_channel() -> None:
    wide = stock.channel_rates(frame(_sale("2026-02-20", 28), _sale("2026-02-20", 14, "post")), TODAY)
    assert wide.loc[0, ["counter_per_day", "post_per_day"]].tolist() == [1.0, 0.5]


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)), st.integers(-400, 400))
def test_weeks_move_as_the_calendar_does(day: date, by: int) -> None:
    week = compare.week_of(day)
    assert compare.monday(week) == day - timedelta(days=day.weekday())
    assert compare.monday(compare.shift(week, by)) == compare.monday(week) + timedelta(weeks=by)


def test_week_53_is_set_against_week_52() -> None:
    # ISO 8601: 2020 and 2026 have 53 weeks, 2019 and 2025 have 52
    assert compare.same_week_last_year("2026-W53") == "2025-W52"
    assert compare.same_week_last_year("2026-W44") == "2025-W44"
    with pytest.raises(ValueError):
        compare.monday("2025-W53")


def test_a_week_is_set_beside_the_mean_of_the_four_before_it() -> None:
    rows = [r | {"week": w} for w in ("2026-W05", "2026-W06") for r in worked_cook()]
    rows += [r | {"week": "2026-W07", "mass_mg": r["mass_mg"] * 2} for r in worked_cook()]  # type: ignore[operator]
    table = compare.compare(f.flows(frame(*rows), ("week",)), "2026-W07").set_index("measure")
    assert table.loc["charged_mg", ["this", "before", "change_ratio"]].tolist() == [38e6, 19e6, 1.0]
    assert np.isnan(table.loc["charged_mg", "last_year"])
    assert table.loc["unexplained_ratio", "change_ratio"] == pytest.approx(0)


def test_the_largest_change_is_told_with_the_loss_that_grew() -> None:
    good = frame(*worked_cook())
    bad = frame(
        *(
            r | {"mass_mg": {13_940_000: 11_940_000, 300_000: 2_300_000}.get(r["mass_mg"], r["mass_mg"])}
            for r in worked_cook()
        )
    )  # type: ignore[call-overload]
    found = words.largest_change(yields.yields(bad, ("flavour",)), yields.yields(good, ("flavour",)),
                                 losses.masses(bad, ("flavour",)), losses.masses(good, ("flavour",)))  # fmt: skip
    assert found is not None
    assert (found.flavour, found.step, found.cause) == ("LEMON", "cut", "ends")
    assert found.effect_mg == pytest.approx(-2_000_000, abs=1)
    assert words.changed(found, lambda _kind, id: id.title()) == (
        "Lemon fell to 79.0 % from 92.2 % over the four weeks before, mostly more ends at cutting (+13.2 points)."
    )


def test_a_change_too_small_to_matter_is_not_told() -> None:
    assert words.changed(words.Change("LEMON", 0.915, 0.92, -75_000), lambda _kind, id: id) == ""


def test_weekly_sales_count_returns_off_and_never_fall_below_zero() -> None:
    rows = [line("sell", "customer", 113_000, packs=7, channel="post"), line("return", "customer", -113_000, packs=-2, channel="post"),
            line("return", "customer", -113_000, packs=-2, channel="counter")]  # fmt: skip
    table = forecast_input.weekly_sales(frame(*rows))
    assert table.to_dict("list") == {
        "week": ["2026-W07"] * 2,
        "flavour": ["LEMON"] * 2,
        "channel": ["counter", "post"],
        "units": [0, 5],
    }


def test_a_week_partly_out_of_stock_tells_its_share_of_open_days() -> None:
    gone = pd.DataFrame([("LEMON", "counter", "2026-02-13", "2026-02-16"), ("LEMON", "counter", "2026-02-14", "")],
                        columns=["flavour", "channel", "day", "until_day"])  # fmt: skip
    table = forecast_input.exposure(gone, (1, 2, 3, 4, 5, 6), closed={"2026-02-09"})
    # week 7: Friday and Saturday gone of five open days; week 8: Monday of six
    assert dict(zip(table.week, table.share, strict=True)) == pytest.approx({"2026-W07": 3 / 5, "2026-W08": 5 / 6})


def test_a_day_on_which_a_flavour_went_but_sold_counts_half() -> None:
    gone = pd.DataFrame(
        [("LEMON", "counter", "2026-02-13", "2026-02-14")], columns=["flavour", "channel", "day", "until_day"]
    )
    table = forecast_input.exposure(
        gone, (1, 2, 3, 4, 5, 6), sold={("LEMON", "counter", "2026-02-13"), ("LEMON", "post", "2026-02-14")}
    )
    assert table["share"].tolist() == pytest.approx([4.5 / 6])


def test_open_days_leave_out_announced_closures() -> None:
    planned = pd.DataFrame([("2026-02-09", "2026-02-11", "", "", "closure"), ("2026-02-09", "2026-02-15", "LEMON", "", "promotion")],
                           columns=["from_day", "to_day", "flavour", "channel", "kind"])  # fmt: skip
    shut = forecast_input.closed_days(planned)
    table = forecast_input.open_days("2026-W06", "2026-W08", (1, 2, 3, 4, 5, 6), shut)
    assert dict(zip(table.week, table.days, strict=True)) == {"2026-W06": 6, "2026-W07": 3, "2026-W08": 6}
    assert forecast_input.promotions(planned).to_dict("records") == [
        {"week": "2026-W07", "flavour": "LEMON", "channel": "*", "strength": 1.0}
    ]


PLANNED = ["from_day", "to_day", "flavour", "channel", "kind"]


def test_a_promotion_inside_a_wider_one_has_the_days_of_both_each_once() -> None:
    """The whole shop Monday to Saturday, lemon on Saturday and Sunday, the counter on Sunday: lemon at the counter is promoted all seven days."""
    planned = pd.DataFrame([("2026-02-09", "2026-02-14", "", "", "promotion"), ("2026-02-14", "2026-02-15", "LEMON", "", "promotion"),
                            ("2026-02-15", "2026-02-15", "", "COUNTER", "promotion")], columns=PLANNED)  # fmt: skip
    table = forecast_input.promotions(planned)
    assert list(zip(table.flavour, table.channel, table.strength, strict=True)) == [
        ("*", "*", pytest.approx(6 / 7)), ("*", "COUNTER", 1.0), ("LEMON", "*", 1.0), ("LEMON", "COUNTER", 1.0),
    ]  # fmt: skip


def test_a_promotion_of_a_flavour_and_one_of_a_channel_meet_where_both_hold() -> None:
    planned = pd.DataFrame([("2026-02-09", "2026-02-09", "LEMON", "", "promotion"), ("2026-02-10", "2026-02-11", "", "COUNTER", "promotion")],
                           columns=PLANNED)  # fmt: skip
    rows = forecast_input.promotions(planned).set_index(["flavour", "channel"])["strength"]
    assert rows["LEMON", "COUNTER"] == pytest.approx(3 / 7)
    assert rows["LEMON", "*"] == pytest.approx(1 / 7) and rows["*", "COUNTER"] == pytest.approx(2 / 7)


def test_a_closure_of_one_channel_shuts_that_channel_only() -> None:
    planned = pd.DataFrame([("2026-02-09", "2026-02-14", "", "ONLINE", "closure"), ("2026-02-16", "2026-02-16", "", "", "closure")], columns=PLANNED)  # fmt: skip
    shut, own = forecast_input.closed_days(planned), forecast_input.closed_of_channels(planned)
    table = forecast_input.open_days("2026-W07", "2026-W08", (1, 2, 3, 4, 5, 6), shut, own)
    assert list(zip(table.channel, table.week, table.days, strict=True)) == [
        ("*", "2026-W07", 6), ("*", "2026-W08", 5), ("ONLINE", "2026-W07", 0), ("ONLINE", "2026-W08", 5),
    ]  # fmt: skip
    gone = pd.DataFrame([("LEMON", "ONLINE", "2026-02-14", "2026-02-17"), ("LEMON", "SHOP", "2026-02-14", "2026-02-17")],
                        columns=["flavour", "channel", "day", "until_day"])  # fmt: skip
    short = forecast_input.exposure(gone, (1, 2, 3, 4, 5, 6), shut, own)
    assert list(zip(short.channel, short.week, short.share, strict=True)) == [
        ("ONLINE", "2026-W08", pytest.approx(4 / 5)), ("SHOP", "2026-W07", pytest.approx(5 / 6)), ("SHOP", "2026-W08", pytest.approx(4 / 5)),
    ]  # fmt: skip


def test_an_empty_frame_goes_through_everything() -> None:
    none, lots = frame(), LOTS.iloc[:0]
    tables = [
        f.flows(none), f.flows(none, ()), f.step_flows(none), yields.yields(none), yields.yields(none, ()), yields.first_pass(none, ("flavour",)),
        yields.rolled(none, ("flavour",)), losses.waterfall(none), losses.losses(none), losses.losses(none, ("flavour",)), labour.by_step(none),
        labour.by_flavour(none), labour.by_worker(none), labour.by_day(none), labour.batch_times(none), labour.learning(none),
        stock.finished_lots(lots, TODAY), stock.on_the_shelf(lots, none, TODAY), stock.channel_rates(none, TODAY), stock.materials(lots, none, TODAY),
        capacity.step_times(none), forecast_input.weekly_sales(none), lots_in(none), lots_out(none), summary(none),
        control.unusual(control.chart(pd.DataFrame({"week": [], "v": []}), "v")),
    ]  # fmt: skip
    assert all(t.empty for t in tables)
    totals = f.flows(none, ("week",))
    assert compare.compare(totals, "2026-W07")["this"].isna().all()


def test_a_season_that_is_over_is_no_stock_out() -> None:
    lines = frame(_sale("2026-02-05", 14))
    assert stock.cover_by_flavour(LOTS.iloc[:0], lines, TODAY, seasonal={"LEMON"}).empty
    assert stock.cover_by_flavour(LOTS.iloc[:0], lines, TODAY).flavour.tolist() == ["LEMON"]
    assert not stock.cover_by_flavour(LOTS.iloc[:0], frame(_sale("2026-02-27", 14)), TODAY, seasonal={"LEMON"}).empty
