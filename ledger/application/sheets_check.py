"""The thermometer check: water is boiled, the reading kept, and every end temperature of the book told as that thermometer shows it."""

from __future__ import annotations

from dataclasses import dataclass

from ledger import quantities
from ledger.application.ledger import Ledger
from ledger.application.sheets import how_printed
from ledger.craft.boiling import corrected_end
from ledger.craft.errors import AltitudeUnknown
from ledger.craft.water import SiteConditions, check_thermometer, water_boils_here
from ledger.domain.batch.commands import CheckThermometer
from ledger.domain.books import entries as e
from ledger.errors import BadInput


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A check as it was kept. lines: what it says, in words; ends: (flavour ids, end temperature of the recipe, on this thermometer), mC."""

    entry: int
    reading_mc: int
    expected_mc: int
    lines: tuple[str, ...]
    warning: str
    ends: tuple[tuple[tuple[str, ...], int, int], ...]


def check(
    ledger: Ledger, station: str, reads: str, *, barometer_pa: int | None = None, sea_level: bool = False, day: str = "",
    note: str = "", by: str = "", command_id: str = "",
) -> Check:  # fmt: skip
    """Keep a boiling-water reading of a station's thermometer.

    Raises:
        BadInput: not a temperature, or a station that has no thermometer. UnknownThing: no such station.
        AltitudeUnknown: nothing says where water boils here. ThermometerDoubtful: no weather explains the reading.
    """
    book = ledger.book()
    place = book.get(e.Station, station)
    if place.kind != "kettle":
        raise BadInput(
            f"Station {place.id} is a {place.kind}; the thermometer that is checked belongs to a kettle.", value=station
        )
    reading = quantities.temperature(reads)
    altitude = book.site().altitude_m if book.all(e.Site) else None
    around = SiteConditions(altitude_m=altitude, barometer_pa=barometer_pa, barometer_is_sea_level=sea_level)
    if altitude is None and barometer_pa is None:
        raise AltitudeUnknown(
            "The altitude of the shop is unknown, so nothing says what the thermometer should show. Enter the site with its altitude "
            "(`slabbook book load FILE`), or give the barometer reading."
        )
    expected = water_boils_here(around)
    read = SiteConditions(
        altitude_m=altitude, barometer_pa=barometer_pa, barometer_is_sea_level=sea_level, boiling_water_mc=reading
    )
    boils = water_boils_here(read)
    compared = check_thermometer(read)
    units = how_printed(book)[0]

    def degrees(mc: int) -> str:
        return f"{mc * 1.8 / 1000 + 32:.1f} °F" if units == "us" else quantities.temperature_text(mc, units)

    outcome = ledger.do(
        CheckThermometer(
            day=day or ledger.today(), station=station, reading_mc=reading, expected_mc=expected.mc, reading=reads.strip(),
            by=by, note=note,
        ),
        by,
        command_id,
    )  # fmt: skip
    error = reading - expected.mc
    off = f"{abs(error) * 1.8 / 1000:.1f} °F" if units == "us" else f"{abs(error) / 1000:.1f} °C"
    told = "as it should" if abs(error) < 50 else f"{off} too {'high' if error > 0 else 'low'}"
    lines = [
        f"Water boils here at {degrees(expected.mc)} (from the {expected.known_from}); the thermometer of {station} shows "
        f"{degrees(reading)}, {told}."
    ]
    by_end: dict[int, list[str]] = {}
    for recipe in book.all(e.Recipe):
        if recipe.end_temperature_mc:
            by_end.setdefault(recipe.end_temperature_mc, []).append(recipe.flavour)
    ends = tuple((tuple(names), end, corrected_end(end, boils.mc)) for end, names in sorted(by_end.items()))
    lines += [
        f"Cook to {degrees(here)} on this thermometer where the recipe says {degrees(end)} at sea level: {', '.join(names)}."
        for names, end, here in ends
    ]
    doubtful = compared is not None and compared.doubtful
    warning = (
        "That is more than weather explains. Check bulb and scale, or use another thermometer." if doubtful else ""
    )
    return Check(
        entry=outcome.first, reading_mc=reading, expected_mc=expected.mc, lines=tuple(lines), warning=warning, ends=ends
    )
