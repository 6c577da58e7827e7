"""At what temperature water boils here, today: from a reading, a barometer or the altitude.

Everything a candy thermometer is asked to show stands on this figure, because a syrup boils a fixed number of degrees
above the water of the same place and day.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ledger.craft.errors import AltitudeUnknown, ThermometerDoubtful
from ledger.craft.numbers import whole, within

STANDARD_PRESSURE_PA = 101_325

# IAPWS-IF97, region 4 (saturation line), coefficients n1..n10 of equations 30 and 31; IAPWS R7-97(2012), table 34.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)

#: Weather moves the boiling point of water by about +/-0.9 C (3 kPa either way at 0.28 C a kPa). A reading further from
#: the altitude's figure than this is flagged, and beyond the second limit it is refused.
READING_FLAG_C = 1.5
READING_LIMIT_C = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteConditions:
    """What the shop knows of its air today. Any one is enough; the most direct is used.

    Attributes:
        altitude_m: height above sea level in metres.
        barometer_pa: pressure in pascal. ``barometer_is_sea_level`` says that it is a weather-report figure, already
            reduced to sea level; then the altitude is needed as well.
        boiling_water_mc: what **the cook's own thermometer** shows in boiling water, thousandths of a degree C.
    """

    altitude_m: int | None = None
    barometer_pa: int | None = None
    barometer_is_sea_level: bool = False
    boiling_water_mc: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterBoils:
    """Where water boils and how it is known: ``reading``, ``barometer`` or ``altitude``."""

    mc: int
    known_from: Literal["reading", "barometer", "altitude"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ThermometerCheck:
    """A thermometer held in boiling water, to be recorded with the batch.

    ``error_mc`` is what the thermometer shows too much (negative: too little), as far as altitude or barometer
    can tell; ``doubtful`` is set when weather alone does not explain it.
    """

    reading_mc: int
    expected_mc: int
    expected_from: Literal["barometer", "altitude"]
    error_mc: int
    doubtful: bool


def pressure_at_altitude(altitude_m: float) -> float:
    """Standard pressure in pascal at an altitude in metres (ICAO / US Standard Atmosphere 1976, troposphere)."""
    within("the altitude", altitude_m, -500, 9_000, "m", "Give the height of the shop above sea level.")
    return float(STANDARD_PRESSURE_PA * (1 - 2.25577e-5 * altitude_m) ** 5.25588)


def water_boils_at(pressure_pa: float) -> float:
    """Boiling point of water in degrees C at a pressure in pascal (IAPWS-IF97, equation 31)."""
    within("the air pressure", pressure_pa, 30_000, 110_000, "Pa", "Read the barometer again; 1 hPa is 100 Pa.")
    beta = (pressure_pa / 1e6) ** 0.25
    e = beta**2 + _N[2] * beta + _N[5]
    f = _N[0] * beta**2 + _N[3] * beta + _N[6]
    g = _N[1] * beta**2 + _N[4] * beta + _N[7]
    d = 2 * g / (-f - math.sqrt(f * f - 4 * e * g))
    kelvin = (_N[9] + d - math.sqrt((_N[9] + d) ** 2 - 4 * (_N[8] + _N[9] * d))) / 2
    return float(kelvin - 273.15)


def boiling_drop_mc(altitude_m: int) -> int:
    """How far below its sea-level figure water boils at a height (m), in thousandths of a degree C.

    An end temperature that is given for sea level comes down by as much: the syrup boils the same number of degrees above water.
    """
    return round((water_boils_at(pressure_at_altitude(0)) - water_boils_at(pressure_at_altitude(altitude_m))) * 1000)


def _from_air(site: SiteConditions) -> WaterBoils | None:
    if site.barometer_pa is not None:
        pressure = float(site.barometer_pa)
        if site.barometer_is_sea_level:
            if site.altitude_m is None:
                raise AltitudeUnknown(
                    f"The barometer figure {site.barometer_pa} Pa is reduced to sea level and the altitude is unknown. "
                    "Give the altitude in metres, or the pressure as read in the shop."
                )
            pressure *= pressure_at_altitude(site.altitude_m) / STANDARD_PRESSURE_PA
        return WaterBoils(mc=whole(1000 * water_boils_at(pressure)), known_from="barometer")
    if site.altitude_m is not None:
        boils = water_boils_at(pressure_at_altitude(site.altitude_m))
        return WaterBoils(mc=whole(1000 * boils), known_from="altitude")
    return None


def check_thermometer(site: SiteConditions) -> ThermometerCheck | None:
    """Compare the boiling-water reading with what altitude or barometer expects; ``None`` when there is only one.

    Raises:
        ThermometerDoubtful: the reading is further off than any weather explains.
    """
    expected = _from_air(site)
    if site.boiling_water_mc is None or expected is None:
        return None
    error = site.boiling_water_mc - expected.mc
    if abs(error) > READING_LIMIT_C * 1000:
        raise ThermometerDoubtful(
            f"The thermometer shows {site.boiling_water_mc / 1000:.1f} C in boiling water, and the "
            f"{expected.known_from} expects {expected.mc / 1000:.1f} C: more than {READING_LIMIT_C:g} C apart. "
            "Is the bulb covered, the water at a rolling boil and the unit right? Then change the thermometer or "
            "correct the altitude.",
            reading_mc=site.boiling_water_mc,
            expected_mc=expected.mc,
        )
    assert expected.known_from != "reading"
    return ThermometerCheck(
        reading_mc=site.boiling_water_mc,
        expected_mc=expected.mc,
        expected_from=expected.known_from,
        error_mc=error,
        doubtful=abs(error) > READING_FLAG_C * 1000,
    )


def water_boils_here(site: SiteConditions) -> WaterBoils:
    """Where water boils on this thermometer today: the reading before the barometer before the altitude.

    The reading comes first because it corrects the air and the thermometer at once.

    Raises:
        AltitudeUnknown: nothing was given.
        ThermometerDoubtful: the reading cannot be true.
    """
    if site.boiling_water_mc is not None:
        reading = site.boiling_water_mc / 1000
        within("the boiling-water reading", reading, 65, 110, "C", "Hold the bulb in water at a rolling boil again.")
        check_thermometer(site)
        return WaterBoils(mc=site.boiling_water_mc, known_from="reading")
    from_air = _from_air(site)
    if from_air is None:
        raise AltitudeUnknown(
            "The altitude is unknown, so no end temperature can be given: water may boil anywhere from 90 to 101 C. "
            "Boil water and enter what the thermometer shows, or give the barometer reading or the altitude."
        )
    return from_air
