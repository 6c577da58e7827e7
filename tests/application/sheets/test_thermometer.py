"""The end temperature follows boiling water: against IAPWS-IF97 (package ``iapws``) at the ICAO standard atmosphere (package
``ambiance``), and NIST SP 811 for the conversion."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from ambiance import Atmosphere
from iapws import IAPWS97

from ledger.application import sheets, sheets_check
from ledger.application.ledger import Ledger, open_ledger
from ledger.domain.books import entries as e
from ledger.errors import BadInput, SlabbookError
from tests.application.sheets.support import LEMON, define, run


def boils_at(altitude_m: int) -> float:
    """IAPWS-IF97 saturation temperature at the standard atmosphere's pressure, degrees C."""
    return float(IAPWS97(P=float(Atmosphere(altitude_m).pressure[0]) / 1e6, x=0).T) - 273.15


@pytest.mark.parametrize("altitude", [0, 320, 1600])
def test_the_end_temperature_falls_with_the_boiling_point_of_water(shop: Ledger, altitude: int):
    define(shop, replace(shop.book().site(), altitude_m=altitude))
    for kettle in ("K1", "K2"):
        found = sheets_check.check(shop, kettle, f"{boils_at(altitude):.3f} C")
        # 0.02 C: the formula's four digits of pressure, and thousandths of a degree in the reading.
        assert found.expected_mc / 1000 == pytest.approx(boils_at(altitude), abs=0.02)
    cook = sheets.plan(shop, LEMON).sheet.cook
    recipe = shop.book().recipe_of("LEMON")
    assert recipe is not None
    assert cook.end_mc / 1000 == pytest.approx(recipe.end_temperature_mc / 1000 + boils_at(altitude) - 100, abs=0.03)


def test_the_newest_check_is_used_and_a_reading_of_today_comes_before_it(shop: Ledger):
    kettle = sheets.plan(shop, LEMON).kettle
    sheets_check.check(shop, kettle, "98.0 C")
    sheets_check.check(shop, kettle, "211 F", by="MK")
    planned = sheets.plan(shop, LEMON)
    assert planned.sheet.cook.water_boils_mc == 99_444  # (211 - 32) / 1.8
    event = shop.queries.papers("thermometer")[-1][1]
    assert (event.station, event.reading, event.by) == (kettle, "211 F", "MK")
    assert sheets.plan(shop, replace(LEMON, water_reads_mc=98_600)).sheet.cook.water_boils_mc == 98_600


def test_a_reading_the_sheet_was_planned_with_is_kept_as_a_check(shop: Ledger, capsys):
    code, _ = run(shop, capsys, "--by", "MK", "sheet", "LEMON-SLICE", "--packs", "40", "--water-reads", "98.6 C")
    assert code == 0
    event = shop.queries.papers("thermometer")[-1][1]
    assert (event.reading_mc, event.reading, event.by) == (98_600, "98.6 C", "MK")
    assert sheets.plan(shop, LEMON).sheet.cook.water_boils_mc == 98_600


def test_with_a_barometer_the_thermometers_own_error_stays(shop: Ledger):
    kettle = sheets.plan(shop, LEMON).kettle
    error = sheets_check.check(shop, kettle, "99.0 C")
    known = sheets.plan(shop, replace(LEMON, barometer_pa=97_200)).sheet.cook.water_boils_mc
    expected = float(IAPWS97(P=0.0972, x=0).T) - 273.15 + (error.reading_mc - error.expected_mc) / 1000
    assert known / 1000 == pytest.approx(expected, abs=0.02)


def test_a_check_that_no_weather_explains_is_refused_and_not_kept(shop: Ledger):
    before = shop.queries.as_of()
    with pytest.raises(SlabbookError, match="more than 8 C apart"):
        sheets_check.check(shop, "K1", "150 F")
    with pytest.raises(BadInput, match="belongs to a kettle"):
        sheets_check.check(shop, "SLAB", "99 C")
    assert shop.queries.as_of() == before


def test_an_unknown_altitude_is_refused_until_water_is_boiled(shop: Ledger, tmp_path: Path, capsys):
    bare = open_ledger(f"sqlite:///{tmp_path}/bare.sqlite")
    book = shop.book()
    for kind in (e.Material, e.Flavour, e.Recipe, e.Design, e.Pack, e.Station):
        for entry in book.all(kind):
            if kind is not e.Material or not entry.supplier:
                define(bare, entry)
            else:
                define(bare, replace(entry, supplier=""))
    code, said = run(bare, capsys, "size", "LEMON-SLICE", "--packs", "40")
    assert code == 2 and "altitude is unknown" in said
    assert sheets.plan(bare, replace(LEMON, water_reads_mc=98_600)).sheet.cook.water_boils_mc == 98_600
    code, said = run(bare, capsys, "sheet-check", "K1", "--reads", "98.6 C")
    assert code == 2 and "barometer" in said
