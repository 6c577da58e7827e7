"""Net contents against the published tables and against the statistics behind them.

What comes from where:

* NIST Handbook 133 table 2-1 (sampling plans) and table 2-5 (MAV by weight): **typed from memory**, in the code and, apart from it, in the reference
  files (editions 2005 to 2020; later ones not seen). Comparing the two catches a slip of the finger, not a wrong memory. Held against the outside:
  the row of 113 g (7.2 g, 0.016 lb), **read** in Handbook 133 chapter 2, and that a scale for it has a division of at most MAV / 6 = 1.2 g;
  the two requirements, **read** at nist.gov (FAQs on packaging); the correction factors, **worked out** from Student's t with SciPy; and
  every row of table 2-5, whose grams must be its pounds times 453.592 37 (international pound, 1959) cut down, which a wrong figure would break.
* Directive 76/211/EEC annexes I and II with UK SI 2006/659 schedule 2: tolerable errors to 1 kg and mean factors **read**, 1.5 % above 1 kg and the
  acceptance numbers of the second sample **from memory**; factors again worked out from Student's t.
* Weights of the examples: made up for this project, verdicts worked by hand.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from scipy import stats

from ledger.errors import BadInput
from ledger.trace.net_contents import (
    MAV_G,
    category_a_plan,
    check_average_system,
    check_category_a,
    mav_mg,
    tolerable_error_mg,
)
from tests.support.shared import shared_path

EX1 = [113.4, 112.1, 114.0, 113.2, 111.8, 112.9, 113.6, 112.5, 113.1, 112.2, 113.8, 112.6]
EX2 = [112.6, 111.9, 112.8, 112.1, 111.8, 112.5, 112.3, 112.0, 112.7, 112.2, 112.4, 111.7]
EX3 = [113.5, 113.2, 113.9, 113.4, 113.8, 105.6, 114.2, 113.7, 113.9, 114.1, 113.6, 113.3]


def mg(grams: list[float]) -> list[int]:
    return [round(g * 1000) for g in grams]


def rows(path: Path) -> list[dict[str, str]]:
    text = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(text))


@pytest.mark.shared
def test_the_sampling_plan_is_the_handbooks_table_as_remembered_twice() -> None:
    for row in rows(shared_path("hb133_category_a.csv")):
        sample, factor, allowed = category_a_plan(int(row["lot_from"]))
        assert (sample, allowed) == (int(row["sample_size"]), int(row["mavs_allowed"]))
        if row["sample_correction_factor"]:
            assert factor == float(row["sample_correction_factor"])
        assert category_a_plan(int(row["lot_to"] or 100_000)) == (sample, factor, allowed)


@pytest.mark.parametrize("lot", [2, 5, 11, 250, 3200, 3201])
def test_the_correction_factors_are_students_t_over_root_n(lot: int) -> None:
    n, factor, _ = category_a_plan(lot)
    assert factor == pytest.approx(stats.t.ppf(0.975, n - 1) / n**0.5, abs=0.0015)


@pytest.mark.shared
def test_allowable_variations_are_the_handbooks_table_as_remembered_twice_at_both_ends_of_each_band() -> None:
    for row in rows(shared_path("hb133_mav_weight.csv")):
        low = int(row["label_from_g"] or 10) * 1000
        high = int(row["label_below_g"] or 30_000) * 1000 - 1
        for label in (low, high):
            want = float(row["mav_g"]) * 1000 if row["mav_g"] else label * float(row["mav_percent_of_label"]) / 100
            assert mav_mg(label) == pytest.approx(want, abs=1)


@pytest.mark.shared
def test_every_remembered_row_agrees_with_itself_in_pounds_and_grams() -> None:
    """Grams of a row are its pounds cut down to what is printed (one decimal below 100 g, none above), and the bounds of its band are the pounds
    to a gram below a kilogram, to a hundredth of a kilogram above."""
    found = [r for r in rows(shared_path("hb133_mav_weight.csv")) if r["mav_g"]]
    assert len(found) == len(MAV_G)
    for row, (below, mav) in zip(found, MAV_G, strict=True):
        grams = float(row["mav_lb"]) * 453.59237
        shown = int(grams * 10 + 1e-6) / 10 if grams < 100 else int(grams + 1e-6)
        assert mav == float(row["mav_g"]) == pytest.approx(shown, abs=0.051 if grams < 100 else 0.51), row
        assert (
            below
            == int(row["label_below_g"])
            == pytest.approx(float(row["label_below_lb"]) * 453.59237, abs=1 if below < 1000 else 10)
        ), row


def test_the_row_that_was_read_in_print_is_the_jar_of_113_grams() -> None:
    """Handbook 133 chapter 2, read 2026-11-24: a package of 113 g (0.25 lb) has a MAV of 7.2 g (0.016 lb); a scale of 1 g division will do (MAV / 6 = 1.2 g)."""
    assert mav_mg(113_000) == mav_mg(round(0.25 * 453_592.37)) == 7_200
    assert mav_mg(113_000) / 6 == 1_200
    assert int(0.016 * 453.59237 * 10) / 10 == 7.2


def test_the_worked_examples_of_113_grams() -> None:
    one, two, three = (check_category_a(113_000, mg(w), 200) for w in (EX1, EX2, EX3))
    assert (
        one.passes
        and one.mean_error_mg == pytest.approx(-66.7, abs=0.05)
        and one.limit_mg == pytest.approx(447.65, abs=0.05)
    )
    assert not two.passes and "mean is 0.75 g under" in two.reasons[0] and len(two.reasons) == 1
    assert two.limit_mg == pytest.approx(228.95, abs=0.05)
    assert (
        not three.passes and "1 packages are short by more than 7.20 g" in three.reasons[0] and len(three.reasons) == 1
    )


def test_short_by_exactly_the_variation_is_not_beyond_it() -> None:
    assert check_category_a(113_000, [113_800] * 11 + [113_000 - 7_200], 200).short == 0
    assert check_category_a(113_000, [113_800] * 11 + [113_000 - 7_201], 200).short == 1
    assert mav_mg(116_999) == 7_200 and mav_mg(117_000) == 9_000


def test_the_wrong_number_of_packages_is_refused_with_the_right_one() -> None:
    with pytest.raises(BadInput, match="12 are weighed, not 11"):
        check_category_a(113_000, [113_000] * 11, 200)
    with pytest.raises(BadInput, match="weigh 30 packages"):
        check_average_system(100_000, [100_000] * 29, 300)


@pytest.mark.shared
def test_tolerable_errors_are_those_of_the_directives_table() -> None:
    for row in rows(shared_path("eu_tne_examples.csv")):
        assert tolerable_error_mg(int(row["qn_g"]) * 1000) == round(float(row["tne_g"]) * 1000)
    for outside in (4_999, 10_000_001):
        with pytest.raises(BadInput, match="5 g to 10 kg"):
            tolerable_error_mg(outside)


@pytest.mark.parametrize(("batch", "n", "factor"), [(300, 30, 0.503), (1000, 50, 0.379)])
def test_the_directives_mean_factors_are_students_t_at_half_a_percent(batch: int, n: int, factor: float) -> None:
    assert stats.t.ppf(0.995, n - 1) / n**0.5 == pytest.approx(factor, abs=0.001)
    nets = [100_000 + (1 if i % 2 else -1) * 1_000 for i in range(n)]
    assert check_average_system(100_000, nets, batch).limit_mg == pytest.approx(factor * 1_000 * (n / (n - 1)) ** 0.5)


def spread_to(mean_g: float, s_g: float, n: int = 30) -> list[int]:
    step = s_g * ((n - 1) / n) ** 0.5
    return [round((mean_g + (step if i % 2 else -step)) * 1000) for i in range(n)]


def test_a_mean_just_inside_and_just_outside_the_limit() -> None:
    # Qn 100 g, s 1.5 g: limit 100 - 0.503 * 1.5 = 99.2455 g
    assert check_average_system(100_000, spread_to(99.3, 1.5), 300).passes
    refused = check_average_system(100_000, spread_to(99.2, 1.5), 300)
    assert not refused.passes and "mean is 0.80 g under" in refused.reasons[0]


@pytest.mark.parametrize(("below", "passes", "second"), [(0, True, 0), (1, True, 0), (2, False, 60), (3, False, 0)])
def test_packages_below_t1_accept_ask_again_or_refuse(below: int, passes: bool, second: int) -> None:
    verdict = check_average_system(100_000, [95_400] * below + [101_000] * (30 - below), 300)
    assert (verdict.passes, verdict.second_sample, verdict.short) == (passes, second, below)
    assert bool(verdict.reasons) is (not passes and not second)


@pytest.mark.parametrize(("below", "passes"), [(4, True), (5, False)])
def test_both_samples_together_decide(below: int, passes: bool) -> None:
    assert check_average_system(100_000, [101_000] * (60 - below) + [95_400] * below, 300).passes is passes


def test_one_package_below_t2_is_enough_to_refuse() -> None:
    verdict = check_average_system(100_000, [90_999] + [101_000] * 29, 300)
    assert not verdict.passes and "below T2" in verdict.reasons[0]
    assert check_average_system(100_000, [91_000] + [101_000] * 29, 300).passes  # exactly T2 is not below it


def test_a_small_batch_is_weighed_whole_and_its_mean_may_not_fall_short_at_all() -> None:
    assert check_average_system(100_000, [100_000] * 40, 40).passes
    assert not check_average_system(100_000, [100_000] * 39 + [99_990], 40).passes
    assert check_average_system(100_000, [100_500] * 20, 400, destructive=True).passes
