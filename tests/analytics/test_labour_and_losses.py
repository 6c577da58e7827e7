"""Hours, learning and losses. Sources: Wright 1936, Factors affecting the cost of airplanes (learning curve, from memory); the rest by hand."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given

from ledger.analytics import batch, capacity, labour, losses
from ledger.analytics.flows import flows
from tests.analytics.sheets import frame, histories, line, worked_cook


def test_an_85_percent_learning_curve_gives_wrights_times() -> None:
    assert [labour.wright(100, 0.85, n) for n in (1, 2, 4, 8)] == pytest.approx([100, 85, 72.25, 61.4125])


def test_the_fitted_curve_finds_the_rate_that_made_the_times() -> None:
    curve = labour.learn(pd.Series([labour.wright(100, 0.85, n) for n in range(1, 13)]))
    assert curve is not None
    assert (curve.first, curve.rate, curve.fit) == pytest.approx((100, 0.85, 1.0))
    assert curve.at(8) == pytest.approx(61.4125)
    assert labour.learn(pd.Series([100.0, 85.0])) is None


def test_minutes_are_for_a_kilogram_and_a_thousand_sound_pieces() -> None:
    table = labour.by_step(frame(*worked_cook())).set_index("step")
    assert table.loc["cook", "minutes_per_kg"] == pytest.approx(60 / 13.94)
    assert table.loc["cut", "minutes_per_thousand_pieces"] == pytest.approx(30 / 6.19)
    assert table["time_ratio"].sum() == pytest.approx(1)


def test_packing_is_set_against_what_was_packed() -> None:
    rows = [
        *worked_cook(),
        line("pack", "lot.packs", 6_970_000, packs=61, pieces=3095),
        line("pack", "work", account="pack", seconds=600),
    ]
    table = labour.by_step(frame(*rows)).set_index("step")
    assert table.loc["pack", "minutes_per_kg"] == pytest.approx(10 / 6.97)
    assert table.loc["cook", "good_mg"] == 13_940_000


def test_two_pairs_of_hands_share_the_kilograms_of_a_batch() -> None:
    table = labour.by_worker(frame(*worked_cook())).set_index(["worker", "step"])
    assert table.loc[("AB", "cut"), "good_mg"] == table.loc[("CD", "cut"), "good_mg"] == 6_970_000
    assert table.loc[("AB", "cook"), "good_mg"] == 13_940_000
    assert table["seconds"].sum() == 5400


def test_the_day_is_split_over_its_steps() -> None:
    table = labour.by_day(
        frame(*worked_cook(), line("other", "worker", account="CD", seconds=-1200, batch="", flavour=""))
    )
    row = table.iloc[0]
    assert (row.cook_s, row.cut_s, row.other_s, row.total_s, row.workers) == (3600, 1800, 1200, 6600, 2)


def test_time_on_no_flavour_is_kept_apart() -> None:
    table = labour.by_flavour(
        frame(*worked_cook(), line("other", "work", account="other", seconds=1200, batch="", flavour="", design=""))
    )
    assert dict(zip(table.flavour, table.seconds, strict=True)) == {"LEMON": 5400, "": 1200}


def test_step_times_give_the_middle_and_the_80_percent_point() -> None:
    rows = [line("build", "work", account="build", seconds=60 * m, batch=f"B{m}") for m in (40, 50, 60, 70, 100)]
    table = capacity.step_times(frame(*rows), pd.DataFrame({"design": ["STAR"], "design_kind": ["picture"]}))
    # linear between neighbours: 80 % of five points lies 0.2 of the way from 70 to 100 min
    assert table.iloc[0].to_dict() == {
        "design_kind": "picture",
        "step": "build",
        "batches": 5,
        "median_s": 3600,
        "p80_s": 4560,
        "thin": False,
    }


def test_the_waterfall_keeps_water_apart_from_scrap_and_ends_at_what_was_packed() -> None:
    table = losses.waterfall(frame(*worked_cook())).set_index("flow")
    assert table.loc["evaporated_mg", "change_mg"] == -3_880_000
    assert pd.isna(table.loc["evaporated_mg", "cooked_ratio"])
    assert table.loc["unexplained_mg", "cooked_ratio"] == pytest.approx(0.0132, abs=5e-5)
    assert table.loc["in_work_mg", "left_mg"] == table.loc["packed_mg", "left_mg"] == 0


def test_losses_are_ranked_and_re_boil_is_not_one_of_them() -> None:
    table = losses.losses(frame(*worked_cook()))
    assert table[table["rank"] > 0].cause.tolist() == ["ends", "unexplained", "crumbs"]
    assert table[table["rank"] > 0].loss_ratio.tolist() == pytest.approx([300 / 560, 200 / 560, 60 / 560])
    assert table[table["rank"] == 0].cause.tolist() == ["kept for re-boil"]
    found = losses.worst(table)
    assert found is not None and found.cause == "ends"


def test_what_came_out_of_nowhere_is_never_called_the_worst_loss() -> None:
    rows = [line("cut", "unexplained", -900_000, account="cut"), line("cut", "scrap", 10_000, account="crumbs")]
    found = losses.worst(losses.losses(frame(*rows)))
    assert found is not None and found.cause == "crumbs"


@given(histories())
def test_losses_by_step_and_cause_sum_to_scrap_and_unexplained(history: pd.DataFrame) -> None:
    total = flows(history, ())
    for by in ((), ("flavour",), ("flavour", "week")):
        table = losses.losses(history, by)
        for loss in ("scrap", "unexplained", "reboil"):
            mine = int(table.loc[table.loss == loss, "mass_mg"].sum())
            assert mine == (int(total[f"{loss}_mg"].iloc[0]) if len(total) else 0)


@given(histories())
def test_the_waterfall_ends_where_the_packing_does(history: pd.DataFrame) -> None:
    table = losses.waterfall(history)
    assert table.empty or table.left_mg.iloc[-1] == table.left_mg.iloc[-2] == table.change_mg.iloc[-1]


def test_a_batch_shows_its_lots_in_and_out() -> None:
    lines = frame(*worked_cook())
    assert dict(zip(batch.lots_in(lines).lot, batch.lots_in(lines).mass_mg, strict=True)) == {
        "S": 10_000_000,
        "G": 6_000_000,
    }
    out = batch.lots_out(lines).set_index("lot")
    assert out.loc["26045A-K1", "pieces"] == 6190
    assert batch.summary(lines, 919_300, 2252).expected_pieces.iloc[0] == 6172


def test_a_flavours_losses_are_set_against_its_own_cook() -> None:
    rows = [*worked_cook(), *worked_cook(flavour="ANISE", batch="26045B")]
    table = losses.losses(frame(*rows), ("flavour",)).set_index(["flavour", "cause"])
    assert table.loc[("LEMON", "ends"), "cooked_ratio"] == pytest.approx(300 / 15_120)
    assert table.loc[("LEMON", "ends"), "loss_ratio"] == pytest.approx(300 / 1120)
