"""Where water boils: against IAPWS-97, the standard atmosphere, and published altitude tables."""

from __future__ import annotations

import csv

import ambiance
import pytest
from hypothesis import given
from hypothesis import strategies as st
from iapws.iapws97 import _TSat_P

from ledger.craft.errors import AltitudeUnknown, OutOfRange, ThermometerDoubtful
from ledger.craft.water import (
    SiteConditions,
    check_thermometer,
    pressure_at_altitude,
    water_boils_at,
    water_boils_here,
)
from tests.support.shared import shared_path


@pytest.mark.parametrize("pressure", [60_000, 69_680, 84_310, 95_000, 101_325, 104_000])
def test_water_boils_where_iapws_says(pressure):
    # Source: the `iapws` library's IAPWS-IF97. Tolerance 1 microkelvin: both are the same closed formula.
    assert water_boils_at(pressure) == pytest.approx(_TSat_P(pressure / 1e6) - 273.15, abs=1e-6)


@pytest.mark.parametrize("altitude", [0, 305, 1524, 2438, 3048])
def test_pressure_follows_the_standard_atmosphere(altitude):
    # Source: the `ambiance` library (ICAO standard atmosphere). It works with geopotential height, so that up to
    # 3,048 m the two differ by less than 0.05 %.
    assert pressure_at_altitude(altitude) == pytest.approx(ambiance.Atmosphere(altitude).pressure[0], rel=5e-4)


@pytest.mark.shared
def test_water_boils_at_the_tabled_altitudes():
    # Source: table from the US Standard Atmosphere 1976 and the Antoine equation, which is good to about 0.05 C.
    lines = [line for line in shared_path("water_boiling_altitude.csv").read_text().splitlines() if line[0] != "#"]
    for row in csv.DictReader(lines):
        here = water_boils_here(SiteConditions(altitude_m=round(float(row["alt_m"]))))
        assert here.mc / 1000 == pytest.approx(float(row["water_boils_c"]), abs=0.06), row


def test_denver_kitchen_rule_takes_off_about_two_fahrenheit_a_thousand_feet():
    # Source: Colorado State University Extension, 2 F per 1,000 ft; it over-corrects by about a tenth.
    drop_f = (100.0 - water_boils_here(SiteConditions(altitude_m=1524)).mc / 1000) * 1.8
    assert 9.0 < drop_f < 10.0


def test_a_reading_comes_before_barometer_and_altitude():
    site = SiteConditions(altitude_m=1524, barometer_pa=84_000, boiling_water_mc=95_400)
    assert (water_boils_here(site).mc, water_boils_here(site).known_from) == (95_400, "reading")


def test_a_barometer_comes_before_altitude():
    here = water_boils_here(SiteConditions(altitude_m=0, barometer_pa=84_310))
    assert here.known_from == "barometer"
    assert here.mc == pytest.approx(94_900, abs=60)


def test_a_weather_report_barometer_is_brought_down_to_the_shop():
    # 101,325 Pa at sea level means the standard pressure at the shop's altitude.
    report = SiteConditions(altitude_m=1500, barometer_pa=101_325, barometer_is_sea_level=True)
    assert water_boils_here(report).mc == water_boils_here(SiteConditions(altitude_m=1500)).mc


def test_altitude_unknown_is_refused_with_the_three_ways_out():
    with pytest.raises(AltitudeUnknown, match=r"Boil water.*barometer.*altitude"):
        water_boils_here(SiteConditions())


def test_a_sea_level_barometer_without_altitude_is_refused():
    with pytest.raises(AltitudeUnknown, match="Give the altitude"):
        water_boils_here(SiteConditions(barometer_pa=101_300, barometer_is_sea_level=True))


def test_a_thermometer_three_degrees_off_is_flagged_and_its_reading_used():
    site = SiteConditions(altitude_m=0, boiling_water_mc=103_000)
    check = check_thermometer(site)
    assert check is not None and check.doubtful and check.error_mc == pytest.approx(3_026, abs=2)
    assert water_boils_here(site).mc == 103_000


def test_a_thermometer_that_weather_explains_is_not_flagged():
    check = check_thermometer(SiteConditions(altitude_m=320, boiling_water_mc=98_700))
    assert check is not None and not check.doubtful


def test_a_reading_that_cannot_be_is_refused():
    with pytest.raises(ThermometerDoubtful, match=r"88\.0 C.*100\.0 C"):
        water_boils_here(SiteConditions(altitude_m=0, boiling_water_mc=88_000))


@pytest.mark.parametrize("pressure", [1013, 300_000])
def test_a_barometer_in_the_wrong_unit_is_refused(pressure):
    with pytest.raises(OutOfRange, match="100 Pa"):
        water_boils_at(pressure)


@given(st.integers(-400, 8_800), st.integers(1, 100))
def test_higher_up_water_always_boils_cooler(altitude, step):
    assert water_boils_at(pressure_at_altitude(altitude + step)) < water_boils_at(pressure_at_altitude(altitude))
