"""The cook's mass balance against worked examples, the dissolving water against a solubility table, the kettle."""

from __future__ import annotations

import csv
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.craft.cook import (
    ChargeLine,
    KettleLimits,
    check_dissolving,
    cook_balance,
    dissolving_water,
    kettle_charge_limit,
    kettle_loads,
    scaled_charge,
    solids_mix,
)
from ledger.craft.errors import KettleTooSmall, LoadTooSmall, NotEnoughWater, OutOfRange, RecipeIncomplete
from ledger.craft.process_yield import BatchYield, recent_yield
from tests.craft.support import CHARGE_A
from tests.support.shared import shared_path


def charge(sugar_g: float, syrup_g: float, water_g: float, syrup_solids: int = 803_000) -> tuple[ChargeLine, ...]:
    return (
        ChargeLine(material="sugar", role="sugar", mass_mg=round(sugar_g * 1000), solids_ppm=1_000_000),
        ChargeLine(material="syrup", role="syrup", mass_mg=round(syrup_g * 1000), solids_ppm=syrup_solids),
        ChargeLine(material="water", role="water", mass_mg=round(water_g * 1000), solids_ppm=0),
    )


@pytest.mark.parametrize(
    ("moisture", "final_g", "off_g", "yield_pct"),
    [(25_000, 15_197.9, 3_802.1, 79.99), (20_000, 15_120.4, 3_879.6, 79.58), (15_000, 15_043.7, 3_956.3, 79.18)],
)
def test_worked_cook_a(moisture, final_g, off_g, yield_pct):
    # Worked by hand: 10 kg sugar, 6 kg syrup of 80.3 % dry substance (Corn Refiners Association, Critical Data Tables,
    # from memory), 3 kg water. Tolerance: the last printed place.
    balance = cook_balance(CHARGE_A, moisture)
    assert balance.solids_mg == 14_818_000
    assert balance.cooked_mg / 1000 == pytest.approx(final_g, abs=0.06)
    assert balance.boiled_off_mg / 1000 == pytest.approx(off_g, abs=0.06)
    assert balance.yield_ppm / 1e4 == pytest.approx(yield_pct, abs=0.006)


@pytest.mark.parametrize(("solids", "final_g"), [(800_000, 15_179.5), (810_000, 15_241.0)])
def test_worked_cook_a_with_other_syrups(solids, final_g):
    assert cook_balance(charge(10_000, 6_000, 3_000, solids), 25_000).cooked_mg / 1000 == pytest.approx(
        final_g, abs=0.06
    )


@pytest.mark.parametrize(("moisture", "final_g"), [(20_000, 1_278.2), (30_000, 1_291.4)])
def test_worked_cook_b(moisture, final_g):
    # Source: a university candy course's hard candy formula: sucrose 819 g, corn syrup 42 DE 540 g, water 245 g.
    balance = cook_balance(charge(819, 540, 245), moisture)
    assert balance.solids_mg / 1000 == pytest.approx(1_252.6, abs=0.06)
    assert balance.cooked_mg / 1000 == pytest.approx(final_g, abs=0.06)


def test_worked_cook_b_has_its_ratio_of_solids():
    assert solids_mix(charge(819, 540, 245), 42).syrup_share_ppm / 1e4 == pytest.approx(34.6, abs=0.05)


def test_worked_cook_c():
    # Source: a trade overview of hard boiled candy: 12 kg sugar, 12 kg syrup, 4 kg water.
    balance = cook_balance(charge(12_000, 12_000, 4_000), 20_000)
    assert balance.cooked_mg / 1000 == pytest.approx(22_078, abs=0.6)
    assert balance.boiled_off_mg / 1000 == pytest.approx(5_922, abs=0.6)
    assert balance.yield_ppm / 1e4 == pytest.approx(78.85, abs=0.005)


def test_a_charge_is_scaled_to_the_sound_candy_wanted():
    # Worked by hand: 11.26 kg sound pieces at 92 % process yield need 12.24 kg cooked and 15.38 kg charge at 79.58 %.
    cooked = round(11_260_000 / 0.92)
    assert cooked / 1e6 == pytest.approx(12.24, abs=0.005)
    assert sum(line.mass_mg for line in scaled_charge(CHARGE_A, cooked, 20_000)) / 1e6 == pytest.approx(
        15.38, abs=0.005
    )


@pytest.mark.parametrize("moisture", [1_000_000, 1_200_000, -1])
def test_moisture_of_a_hundred_percent_or_more_is_refused(moisture):
    with pytest.raises(OutOfRange, match="between 0 and 100 %"):
        cook_balance(CHARGE_A, moisture)


def test_a_moisture_wetter_than_the_charge_is_refused():
    with pytest.raises(OutOfRange, match="drier"):
        cook_balance(CHARGE_A, 300_000)


def test_a_recipe_of_water_is_refused():
    with pytest.raises(RecipeIncomplete, match="no sugar"):
        cook_balance(CHARGE_A[2:], 20_000)


def test_a_dry_substance_over_a_hundred_percent_is_refused():
    with pytest.raises(OutOfRange, match="syrup is 803 %"):
        cook_balance(charge(1, 1, 1, 8_030_000), 20_000)


@pytest.mark.shared
def test_dissolving_water_follows_the_solubility_table():
    # Source: Mohos 2010, table A2.2 after Antokolskaya 1964: exact at its rows, but for a milligram of rounding.
    rows = csv.DictReader(
        line for line in shared_path("sucrose_solubility.csv").read_text().splitlines() if line[0] != "#"
    )
    for row in rows:
        grams = 100 * 1e9 / dissolving_water(1_000_000_000, float(row["temp_c"]))
        assert grams == pytest.approx(float(row["g_sucrose_per_100g_water"]), rel=1e-6), row


@pytest.mark.parametrize(("temperature", "water_kg"), [(100, 2.05), (20, 4.90)])
def test_ten_kilos_of_sugar_need_their_water(temperature, water_kg):
    assert dissolving_water(10_000_000, temperature) / 1e6 == pytest.approx(water_kg, abs=0.006)


def test_too_little_water_is_refused_with_what_to_add():
    # 10 kg sugar need 2.05 kg at the boil; the syrup's own water counts.
    with pytest.raises(NotEnoughWater, match=r"10\.000 kg sugar needs at least 2\.053 kg.*add 0\.053 kg"):
        check_dissolving(charge(10_000, 0, 2_000))
    assert check_dissolving(charge(10_000, 1_000, 2_000)) > 0


KETTLE = KettleLimits(name="copper", max_charge_mg=10_000_000, min_charge_mg=3_000_000, max_loads=2)


def test_a_charge_is_split_into_equal_loads():
    assert kettle_loads(15_000_001, KETTLE) == (7_500_001, 7_500_000)


def test_a_kettle_too_small_is_refused_with_the_way_out():
    with pytest.raises(KettleTooSmall, match=r"25\.00 kg needs 3 loads.*10\.00 kg each.*two batches") as refused:
        kettle_loads(25_000_000, KETTLE)
    assert refused.value.loads == 3


def test_a_load_that_would_scorch_is_refused():
    with pytest.raises(LoadTooSmall, match=r"2\.00 kg is under the least load"):
        kettle_loads(2_000_000, KETTLE)


def test_a_kettle_is_filled_to_two_thirds():
    # Common practice, no source: two thirds, for the foam.
    assert kettle_charge_limit(15_000) == 13_400_000


def test_without_history_the_recipes_yield_is_used():
    few = [BatchYield(cooked_mg=100, sound_mg=50)] * 4
    chosen = recent_yield(few, 880_000, 60_000)
    assert (chosen.likely_ppm, chosen.low_ppm, chosen.high_ppm, chosen.batches) == (880_000, 820_000, 940_000, 0)


def test_with_history_the_last_twelve_batches_count():
    old = [BatchYield(cooked_mg=1_000_000, sound_mg=500_000)] * 5
    new = [BatchYield(cooked_mg=1_000_000, sound_mg=900_000)] * 12
    chosen = recent_yield(old + new, 1, 1)
    assert (chosen.likely_ppm, chosen.low_ppm, chosen.high_ppm, chosen.batches) == (900_000, 900_000, 900_000, 12)


def test_the_yield_band_is_students_prediction_interval():
    # Worked by hand: 0.86 0.88 0.90 0.92 0.94; mean 0.90, s = 0.031623; t(0.90; 4) = 1.5332 (Student's table).
    history = [BatchYield(cooked_mg=100, sound_mg=sound) for sound in (86, 88, 90, 92, 94)]
    chosen = recent_yield(history, 1, 1)
    assert chosen.low_ppm == pytest.approx(900_000 - 1.5332 * 31_622.8 * 1.095445, abs=5)


def test_pieces_heavier_than_their_cook_are_refused():
    with pytest.raises(OutOfRange, match="Correct its weighings"):
        recent_yield([BatchYield(cooked_mg=100, sound_mg=101)], 880_000, 0)


masses = st.integers(1_000, 50_000_000)


@given(masses, masses, masses, st.integers(0, 60_000), st.integers(1_000, 50_000_000))
def test_no_milligram_is_lost_in_a_cook_or_in_scaling(sugar, syrup, water, moisture, wanted):
    lines = tuple(replace(line, mass_mg=mass) for line, mass in zip(CHARGE_A, (sugar, syrup, water), strict=True))
    if water + syrup * 0.197 < moisture / 1e6 * (sugar + syrup + water) * 1.1:
        return
    balance = cook_balance(lines, moisture)
    assert balance.charge_mg == balance.cooked_mg + balance.boiled_off_mg == sugar + syrup + water
    scaled = cook_balance(scaled_charge(lines, wanted, moisture), moisture)
    # Each of three masses is rounded to a milligram.
    assert abs(scaled.cooked_mg - wanted) <= 4


@given(st.integers(1, 400_000_000), st.integers(1_000_000, 40_000_000), st.integers(1, 12))
def test_loads_sum_to_the_charge_and_fit(total, most, loads):
    kettle = KettleLimits(name="k", max_charge_mg=most, max_loads=loads)
    if -(-total // most) > loads:
        with pytest.raises(KettleTooSmall):
            kettle_loads(total, kettle)
    else:
        parts = kettle_loads(total, kettle)
        assert sum(parts) == total and max(parts) <= most and max(parts) - min(parts) <= 1
