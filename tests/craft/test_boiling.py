"""The boiling curve against Browne 1912, a second table, the stage tables and published moistures."""

from __future__ import annotations

import csv
from collections import defaultdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.craft.boiling import (
    CURVE,
    SUCROSE,
    SolidsMix,
    band_c,
    boiling_rise,
    corrected_end,
    end_temperature,
    moisture_at,
    solids_at_rise,
    stage_at,
)
from ledger.craft.errors import OutOfRange
from tests.support.shared import shared_path

SEA_LEVEL = 100_000


def table(name: str) -> list[dict[str, str]]:
    lines = shared_path(name).read_text().splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.fixture(scope="module")
def series() -> dict[str, list[tuple[float, float]]]:
    found = defaultdict(list)
    for row in table("sucrose_boiling_point.csv"):
        found[row["series"]].append((float(row["solids_pct"]), float(row["bpe_c"])))
    return found


@pytest.mark.parametrize(
    ("solids", "rise"), [(10, 0.4), (20, 0.6), (40, 1.5), (50, 2.0), (60, 3.0), (70, 6.5), (80, 12.0)]
)
def test_the_curve_runs_through_browne(solids, rise):
    # Source: C.A. Browne, Handbook of Sugar Analysis (1912). These are knots of the curve: exact.
    assert boiling_rise(solids) == pytest.approx(rise, abs=1e-9)


@pytest.mark.shared
def test_the_curve_follows_the_spline_through_browne(series):
    # Source: a published cubic spline through Browne's data, 2 to 82 %, printed to 0.1 C. Tolerance 0.3 C: the spline
    # keeps 0.3 C below 10 % where water itself is at 0, and we interpolate another way between the same knots.
    for solids, rise in series["browne_1912_spline"]:
        assert boiling_rise(solids) == pytest.approx(rise, abs=0.3), solids


def test_above_ninety_percent_browne_lies_within_our_band():
    # Source: Browne 1912 (from memory), 90.8 % boils at 130 C.
    assert abs(boiling_rise(90.8) - 30.0) < band_c(90.8)


@pytest.mark.shared
def test_the_second_table_lies_within_our_band_up_to_eighty(series):
    # Source: trade table in Jackson, Sugar Confectionery Manufacture (from memory).
    for solids, rise in series["jackson_sugar_confectionery"]:
        if solids <= 80:
            assert abs(boiling_rise(solids) - rise) <= band_c(solids) + 1e-9, solids


@pytest.mark.shared
def test_the_tables_disagree_by_six_degrees_at_ninety_percent(series):
    # This is why there is a band: the second table's 22 C against about 28 C between Browne's knots.
    trade = dict(series["jackson_sugar_confectionery"])[90]
    assert boiling_rise(90) - trade == pytest.approx(6.0, abs=0.5)


@pytest.mark.shared
def test_solids_at_each_stage_lie_near_the_customary_percentage():
    # Source: two stage tables (a museum's cold-water test; a kitchen table). Their percentages are round customary
    # numbers and differ between themselves (hard ball 90 or 92 %), so each must lie in what our band of degrees makes of
    # the stage's own range, with half a point for rounding.
    for row in table("candy_stages.csv"):
        percent, low, high = (float(row[name]) for name in ("sugar_pct", "c_low", "c_high"))
        if high < 156:
            band = band_c(percent)
            wet, dry = solids_at_rise(low - 100 - band), solids_at_rise(min(high - 100 + band, 60))
            assert wet - 0.5 <= percent <= dry + 0.5, row


@pytest.mark.parametrize(
    ("f", "name"),
    [
        (232, "thread"),
        (238, "soft ball"),
        (248, "firm ball"),
        (258, "hard ball"),
        (280, "soft crack"),
        (300, "hard crack"),
        (310, "hard crack"),
    ],
)
def test_a_temperature_has_its_stage(f, name):
    # Source: the museum's cold-water test table; hard crack from 295 F after the kitchen table.
    assert stage_at(round((f - 32) / 1.8 * 1000)) == name


@pytest.mark.parametrize("end", [145, 148, 150, 152])
def test_the_moisture_band_meets_hartel(end):
    # Source: R.W. Hartel, Hard Candy (2012): open pan 145-152 C leaves 1-3 %. Our band must overlap it, and the likely
    # figure lie inside it.
    band = moisture_at(end * 1000, SEA_LEVEL)
    assert 10_000 <= band.likely_ppm <= 30_000 + 1
    assert band.low_ppm <= 30_000 and band.high_ppm >= 10_000


def test_the_band_is_wide_at_hard_crack():
    band = moisture_at(150_000, SEA_LEVEL)
    assert band.band_mc == 5_000
    assert (band.low_ppm, band.likely_ppm, band.high_ppm) == (14_014, 20_000, 30_000)
    assert "no measured table" in band.source


def test_below_eighty_percent_the_source_is_browne():
    assert moisture_at(112_000, SEA_LEVEL).source == "Browne 1912"


def test_glucose_syrup_dries_the_mix_by_a_few_tenths_of_a_point():
    # Source: number-average molar mass of a syrup is about 18000/DE, 429 g/mol at DE 42 against 342 for sucrose: at
    # equal temperature the mix is a little drier, a few tenths of a point at hard crack.
    mix = SolidsMix(syrup_share_ppm=325_000, dextrose_equivalent=42)
    drier = solids_at_rise(50, mix) - solids_at_rise(50, SUCROSE)
    assert 0.05 < drier < 0.4
    assert boiling_rise(90, mix) < boiling_rise(90)


def test_pure_dextrose_boils_higher_than_sucrose():
    # 180 g/mol against 342: about twice the molecules.
    assert boiling_rise(60, SolidsMix(syrup_share_ppm=1_000_000, dextrose_equivalent=97)) > boiling_rise(60) + 2


@pytest.mark.parametrize(("reading_f", "recipe_f", "sheet_f"), [(205, 280, 273), (199, 280, 267)])
def test_the_boiling_water_rule_of_the_extension_service(reading_f, recipe_f, sheet_f):
    # Source: Utah State University Extension: water reads 205 F, take 7 F off, 280 becomes 273; at 6,500 ft 267.
    def mc(f: float) -> int:
        return round((f - 32) / 1.8 * 1000)

    assert corrected_end(mc(recipe_f), mc(reading_f)) == pytest.approx(mc(sheet_f), abs=1)


@pytest.mark.parametrize("rise", [-1.0, 61.0, 310 - 100])
def test_a_temperature_off_the_curve_is_refused(rise):
    with pytest.raises(OutOfRange, match=r"off the curve.*unit \(C or F\)"):
        solids_at_rise(rise)


def test_moisture_over_a_hundred_percent_is_refused():
    with pytest.raises(OutOfRange, match="the moisture is 120 %"):
        end_temperature(1_200_000, SEA_LEVEL)


def test_every_point_of_the_curve_names_its_source_and_rises():
    assert all(point.source for point in CURVE)
    assert [p.rise_c for p in CURVE] == sorted(p.rise_c for p in CURVE)


@given(st.floats(0.5, 98.9), st.integers(0, 1_000_000), st.integers(20, 97))
def test_solids_come_back_from_their_boiling_point(solids, share, de):
    mix = SolidsMix(syrup_share_ppm=share, dextrose_equivalent=de)
    try:
        rise = boiling_rise(solids, mix)
    except OutOfRange:
        return  # so many small molecules that the mix is off the end of the curve
    # The curve is nearly flat in dilute syrup, so a rounding of the rise moves the solids by a millionth.
    assert solids_at_rise(rise, mix) == pytest.approx(solids, abs=1e-4)


@given(st.integers(101_000, 159_000), st.integers(1, 900))
def test_hotter_is_always_drier(end, step):
    here, hotter = moisture_at(end, SEA_LEVEL), moisture_at(end + step, SEA_LEVEL)
    assert hotter.likely_ppm <= here.likely_ppm
    assert here.low_ppm <= here.likely_ppm <= here.high_ppm
