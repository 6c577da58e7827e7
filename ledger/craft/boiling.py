"""Boiling point of a sugar syrup against its solids, and what moisture an end temperature leaves.

Published tables agree within a degree up to 80 % solids and **disagree by about six degrees at 90 %**; above 95 % no
measured table was found. The curve here therefore names the source of every point, and everything read from it comes
with a band: +/-1 C up to 80 %, +/-3 C up to 90 %, +/-5 C above. No figure of this module is more certain than that.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ledger.craft.errors import OutOfRange
from ledger.craft.numbers import PPM, whole, within

BROWNE = "Browne 1912"
BROWNE_SPLINE = "spline through Browne 1912"
BETWEEN_TABLES = "our compromise between Browne 1912 (30 C above water at 90.8 %) and a trade table (22 C at 90 %)"
OUR_GUESS = "our compromise with hard-crack moistures of 1-3 % (Hartel 2012); no measured table"


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One point of the curve: percent solids, degrees C above boiling water, and who says so."""

    solids_pct: float
    rise_c: float
    source: str


CURVE: tuple[CurvePoint, ...] = (
    CurvePoint(0, 0.0, "water"),
    CurvePoint(10, 0.4, BROWNE),
    CurvePoint(20, 0.6, BROWNE),
    CurvePoint(30, 1.0, BROWNE),
    CurvePoint(40, 1.5, BROWNE),
    CurvePoint(50, 2.0, BROWNE),
    CurvePoint(60, 3.0, BROWNE),
    CurvePoint(64, 4.0, BROWNE_SPLINE),
    CurvePoint(70, 6.5, BROWNE),
    CurvePoint(76, 9.4, BROWNE_SPLINE),
    CurvePoint(80, 12.0, BROWNE),
    CurvePoint(85, 17.5, BETWEEN_TABLES),
    CurvePoint(90, 28.0, BETWEEN_TABLES),
    CurvePoint(95, 38.5, OUR_GUESS),
    CurvePoint(97, 45.0, OUR_GUESS),
    CurvePoint(98, 50.0, OUR_GUESS),
    CurvePoint(98.5, 54.0, OUR_GUESS),
    CurvePoint(99, 60.0, OUR_GUESS),
)

TOP = CURVE[-1]
SUCROSE_MOLAR_MASS = 342.3  # g/mol
SYRUP_MOLAR_MASS_TIMES_DE = 18_000.0  # number-average molar mass of a glucose syrup is about 18000/DE g/mol


@dataclass(frozen=True, slots=True, kw_only=True)
class SolidsMix:
    """What the dissolved solids are: the glucose syrup's share of them, and its dextrose equivalent.

    Attributes:
        syrup_share_ppm: glucose-syrup solids per million of all solids.
        dextrose_equivalent: DE of the syrup, 20 to 97; the usual confectioner's grade is 42.
    """

    syrup_share_ppm: int = 0
    dextrose_equivalent: int = 42

    def molecules_against_sucrose(self) -> float:
        """Dissolved molecules per gram of solids, sucrose being 1 (a DE 42 syrup has about 0.80)."""
        share = within("the syrup's share of the solids", self.syrup_share_ppm / PPM, 0, 1, "", "Give 0 to 1.")
        de = within("the dextrose equivalent", self.dextrose_equivalent, 20, 97, "DE", "Read it on the syrup's label.")
        return (1 - share) + share * SUCROSE_MOLAR_MASS * de / SYRUP_MOLAR_MASS_TIMES_DE


SUCROSE = SolidsMix()


@dataclass(frozen=True, slots=True, kw_only=True)
class MoistureBand:
    """Moisture left in the mass, parts per million, with its honest band and the source of the curve there."""

    likely_ppm: int
    low_ppm: int
    high_ppm: int
    band_mc: int
    source: str


@functools.cache
def _rise_curve() -> Callable[[float], Any]:
    from scipy.interpolate import PchipInterpolator  # a third of a second to import, and only a sheet needs it

    curve: Callable[[float], Any] = PchipInterpolator([p.solids_pct for p in CURVE], [p.rise_c for p in CURVE])
    return curve


def band_c(solids_pct: float) -> float:
    """How far the published figures differ, in degrees C either way, at a percentage of solids."""
    return 1.0 if solids_pct <= 80 else 3.0 if solids_pct <= 90 else 5.0


def _source(solids_pct: float) -> str:
    return next(point.source for point in CURVE if point.solids_pct >= solids_pct - 1e-9)


def _sucrose_equivalent(solids_pct: float, mix: SolidsMix) -> float:
    """Percent sucrose that boils like ``solids_pct`` of this mix: equal number of molecules per gram of water."""
    factor = mix.molecules_against_sucrose()
    return 100 * factor * solids_pct / (factor * solids_pct + 100 - solids_pct)


def _real_solids(sucrose_pct: float, mix: SolidsMix) -> float:
    factor = mix.molecules_against_sucrose()
    return 100 * sucrose_pct / (sucrose_pct + factor * (100 - sucrose_pct))


def boiling_rise(solids_pct: float, mix: SolidsMix = SUCROSE) -> float:
    """Degrees C that a syrup boils above water of the same place and day.

    Raises:
        OutOfRange: the solids are off the curve (0 to 99 % as sucrose).
    """
    within("the solids", solids_pct, 0, 100, "%", "Give the solids in percent by mass.")
    equivalent = _sucrose_equivalent(solids_pct, mix)
    within(
        "the solids (as sucrose)",
        equivalent,
        0,
        TOP.solids_pct,
        "%",
        "No boiling point is known above; cook to at least 1 % moisture.",
    )
    return float(_rise_curve()(equivalent))


def solids_at_rise(rise_c: float, mix: SolidsMix = SUCROSE) -> float:
    """Percent solids of a syrup that boils ``rise_c`` degrees above water: the inverse of ``boiling_rise``.

    Raises:
        OutOfRange: below boiling water, or above the end of the curve, where sugar breaks down.
    """
    if not 0 <= rise_c <= TOP.rise_c:
        raise OutOfRange(
            f"A boil {rise_c:.1f} C above boiling water is off the curve (0 to {TOP.rise_c:g} C, at sea level "
            f"{100 + TOP.rise_c:g} C). Below it nothing has boiled off; above it sugar browns and no moisture can be "
            "named. Check the unit (C or F) and the altitude.",
            rise_c=rise_c,
            limit_c=TOP.rise_c,
        )
    low, high = 0.0, TOP.solids_pct
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if float(_rise_curve()(middle)) < rise_c else (low, middle)
    return _real_solids((low + high) / 2, mix)


def moisture_at(end_mc: int, water_mc: int, mix: SolidsMix = SUCROSE) -> MoistureBand:
    """What moisture an end temperature leaves, with the band of the published tables.

    Arguments are thousandths of a degree C on one thermometer: the end of the cook, and boiling water.
    """
    rise = (end_mc - water_mc) / 1000
    likely = solids_at_rise(rise, mix)
    band = band_c(likely)
    wet = solids_at_rise(max(rise - band, 0.0), mix)
    dry = 100.0 if rise + band > TOP.rise_c else solids_at_rise(rise + band, mix)

    def ppm(solids: float) -> int:
        return whole((100 - solids) * PPM / 100)

    return MoistureBand(
        likely_ppm=ppm(likely),
        low_ppm=ppm(dry),
        high_ppm=ppm(wet),
        band_mc=whole(band * 1000),
        source=_source(_sucrose_equivalent(likely, mix)),
    )


def end_temperature(moisture_ppm: int, water_mc: int, mix: SolidsMix = SUCROSE) -> int:
    """Thousandths of a degree C, on the thermometer that read ``water_mc``, at which this moisture is reached."""
    within("the moisture", moisture_ppm / PPM * 100, 0, 100, "%", "Hard candy holds 1 to 3 %.")
    return water_mc + whole(1000 * boiling_rise(100 - moisture_ppm * 100 / PPM, mix))


def corrected_end(sea_level_mc: int, water_mc: int) -> int:
    """A recipe's sea-level end temperature, moved to where water boils on this thermometer today.

    The boiling-water rule: take off as many degrees as the reading lies under 100 C (Utah State University Extension).
    """
    return sea_level_mc - (100_000 - water_mc)


#: Stages of boiled sugar at sea level, degrees F low and high, with the customary percentage (museum table of the cold
#: water test, from memory; the percentages are round and 1-2 points too high at hard crack against measured moistures).
STAGES: tuple[tuple[str, int, int, int], ...] = (
    ("thread", 230, 235, 80),
    ("soft ball", 235, 240, 85),
    ("firm ball", 245, 250, 87),
    ("hard ball", 250, 265, 92),
    ("soft crack", 270, 290, 95),
    ("hard crack", 295, 310, 99),
)


def stage_at(sea_level_mc: int) -> str:
    """Name of the stage at a sea-level temperature in thousandths of a degree C; between two stages, both."""
    f = sea_level_mc / 1000 * 1.8 + 32
    under = "syrup"
    for name, low, high, _ in STAGES:
        if f < low - 0.05:
            return f"between {under} and {name}"
        if f <= high + 0.05:
            return name
        under = name
    return "above hard crack: clear liquid, then caramel"
