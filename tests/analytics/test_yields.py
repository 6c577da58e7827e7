"""Yields against worked examples and the mass identity.

Sources: mass identity and yield measures as in ISO 22400-2:2014 (finished goods ratio GQ/CM, rework ratio RQ/PQ, scrap ratio
SQ/PQ, read in a public ontology of the standard; scrap ratio from memory); rolled throughput and defects per unit from Six Sigma
texts (from memory); the worked cook is ours, worked by hand.
"""

from __future__ import annotations

import csv

import pandas as pd
import pytest
from hypothesis import given

from ledger.analytics import flows as f
from ledger.analytics import yields as y
from tests.analytics.sheets import frame, histories, line, worked_cook
from tests.support.shared import shared_path


def test_the_worked_cook_gives_the_published_shares() -> None:
    # charge 19.000, evaporated 3.880, cooked 15.120; sound 13.900 after samples 0.040, re-boil 0.620, scrap 0.360
    row = y.yields(frame(*worked_cook())).iloc[0]
    assert (row.charged_mg, row.evaporated_mg, row.cooked_mg) == (19_000_000, 3_880_000, 15_120_000)
    assert (row.reboil_mg, row.scrap_mg, row.aside_mg, row.unexplained_mg) == (620_000, 360_000, 40_000, 200_000)
    assert row.unexplained_ratio == pytest.approx(0.0132, abs=5e-5)
    assert row.rework_ratio == pytest.approx(0.0410, abs=5e-5)
    assert row.scrap_ratio == pytest.approx(0.0238, abs=5e-5)
    # sound net of samples is 13.900 kg: 91.93 % of the theoretical mass; the measure itself counts what was cut, 13.940 kg
    assert (row.good_mg - row.aside_mg) / row.theoretical_mg == pytest.approx(0.9193, abs=5e-5)
    assert row.process_yield_ratio == pytest.approx(13_940_000 / 15_120_408, abs=1e-9)
    assert row.theory_yield_ratio == pytest.approx(0.7958, abs=5e-5)
    assert row.finished_goods_ratio == pytest.approx(13.94 / 19, abs=1e-9)


def test_sound_pieces_of_13_900_kg_are_91_93_percent_of_the_cook_and_6172_pieces() -> None:
    rows = [r for r in worked_cook() if r["step"] != "sample"]
    rows = [r | {"mass_mg": 13_900_000} if r["kind"] == "lot.pieces" else r for r in rows]
    rows.append(line("cut", "sample", 40_000))
    row = y.yields(frame(*rows)).iloc[0]
    assert row.process_yield_ratio == pytest.approx(0.9193, abs=5e-5)
    assert row.solids_yield_ratio == pytest.approx(0.9193, abs=5e-5)
    batch = pd.DataFrame(
        {
            "flavour": ["LEMON"],
            "design": ["STAR"],
            "theoretical_mg": [15_120_000],
            "process_yield_ppm": [919_300],
            "piece_mg": [2252],
        }
    )
    assert y.expected_pieces(batch).expected_pieces.tolist() == [6172]


def test_dry_solids_yield_does_not_move_when_the_cook_is_left_wetter() -> None:
    # the same 90 % of the cook ends up as pieces, cooked to 2 % and to 3 % moisture
    for evaporated in (3_880_000, 3_723_711):
        cooked = 19_000_000 - evaporated
        rows = [line("cook", "lot.material", -16_000_000, solids_mg=14_818_000), line("cook", "water", -3_000_000),
                line("cook", "air", evaporated, theory_mg=3_879_592), line("cut", "lot.pieces", cooked * 9 // 10)]  # fmt: skip
        row = y.yields(frame(*rows)).iloc[0]
        assert row.solids_yield_ratio == pytest.approx(0.9, abs=1e-6)
    assert row.process_yield_ratio > 0.905


def test_rolled_throughput_and_defects_per_unit_match_the_worked_example() -> None:
    # Six Sigma texts: RTY = product of first-pass yields, DPU = -ln RTY; worked by hand: 0.99 x 0.97 x 0.95 x 0.98
    throughput = y.rolled_throughput([0.99, 0.97, 0.95, 0.98])
    assert throughput == pytest.approx(0.89404, abs=5e-6)
    assert y.defects_per_unit(throughput) == pytest.approx(0.1120, abs=5e-5)
    assert y.defects_per_unit(0.0) == float("inf")


def test_overall_equipment_effectiveness_matches_the_worked_example() -> None:
    # ISO 22400-2: availability 360/480 min, effectiveness 0.012 min x 26 000 / 360 min, quality 24 700 / 26 000
    assert y.overall_equipment_effectiveness(360 / 480, 0.012 * 26_000 / 360, 24_700 / 26_000) == pytest.approx(
        0.6175, abs=1e-9
    )


def test_first_pass_leaves_out_re_boil_and_water() -> None:
    table = y.first_pass(frame(*worked_cook())).set_index("step")
    assert table.loc["cook", "first_pass_ratio"] == 1.0
    assert table.loc["cut", "first_pass_ratio"] == pytest.approx(13_940 / 15_120)
    assert y.rolled(frame(*worked_cook())).rolled_throughput_ratio[0] == pytest.approx(13_940 / 15_120)


def test_a_loss_on_one_pulled_portion_is_weighed_against_the_whole_pour() -> None:
    rows = [line("cook", "lot.material", -10_000_000), line("cook", "lot.mass", 10_000_000), line("pull", "lot.mass", -2_000_000),
            line("pull", "lot.mass", 1_900_000), line("pull", "scrap", 100_000, account="strings")]  # fmt: skip
    table = y.first_pass(frame(*rows)).set_index("step")
    assert table.loc["pull", "first_pass_ratio"] == pytest.approx(0.95)
    assert table.loc["pull", "reach_ratio"] == pytest.approx(0.99)
    by = y.first_pass(frame(*rows), ("flavour",)).set_index("step")
    assert by.loc["pull", "reach_ratio"] == pytest.approx(0.99)


def test_a_measure_with_nothing_to_measure_has_no_value() -> None:
    row = y.yields(frame(line("sell", "customer", 113_000, packs=1))).iloc[0]
    assert row.sold_packs == 1
    assert pd.isna(row.process_yield_ratio)
    assert pd.isna(y.rolled(frame()).rolled_throughput_ratio[0])


@given(histories())
def test_every_milligram_charged_is_accounted_for(history: pd.DataFrame) -> None:
    for by in (("flavour", "design"), ("week",), ("batch",), ()):
        assert (f.gap_mg(f.flows(history, by)) == 0).all()


@given(histories())
def test_parts_sum_to_the_total_exactly(history: pd.DataFrame) -> None:
    whole = f.flows(history, ())
    for by in (("flavour",), ("flavour", "design"), ("week", "batch")):
        parts = f.flows(history, by)
        assert {str(parts[c].dtype) for c in f.FLOWS} == {"int64"}
        if len(whole):
            assert parts[list(f.FLOWS)].sum().tolist() == whole.iloc[0].tolist()
            assert y.shop_row(parts)[list(f.FLOWS)].iloc[0].tolist() == whole.iloc[0].tolist()


@given(histories())
def test_every_step_closes(history: pd.DataFrame) -> None:
    for by in ((), ("flavour",)):
        steps = f.step_flows(history, by)
        gone = steps[["out_mg", "evaporated_mg", "reboil_mg", "scrap_mg", "unexplained_mg"]].sum(axis=1)
        assert (steps.in_mg == gone).all()


def test_our_measures_are_named_as_the_standard_names_them() -> None:
    with shared_path("iso22400_kpi.csv").open(encoding="utf-8") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        formulas = {row["kpi"]: row["formula"] for row in rows}
    assert formulas["Finished goods ratio"] == "GQ/CM"
    assert formulas["Rework ratio"] == "RQ/PQ"
    assert formulas["Scrap ratio"] == "SQ/PQ"
    docs = " ".join((y.yields.__doc__ or "").split())
    assert all(x in docs for x in ("GQ/CM", "RQ/PQ", "SQ/PQ"))
