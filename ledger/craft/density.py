"""Density of clear, pulled and mixed sugar, and of finished pieces; learned from the shop's own weighings.

Pulling folds air into the mass, so a pulled portion weighs less for the same area of the picture. The defaults are wide
on purpose: clear hard candy is given as 1.4-1.5 g/cm3, and pulled sugar as 1.1-1.3 g/cm3 by common practice, no source.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from ledger.craft.errors import OutOfRange
from ledger.craft.numbers import PPM, UM_PER_MM, whole, within

CLEAR_KG_M3 = 1450
PULLED_KG_M3 = 1200
CRYSTAL_KG_M3 = 1588  # crystalline sucrose (CRC Handbook): no candy is denser
LOOSEST_KG_M3 = 800
DEFAULT_BAND_PPM = 60_000  # +/-6 % while nothing has been weighed: about the width of the published range


@dataclass(frozen=True, slots=True, kw_only=True)
class Density:
    """Kilograms a cubic metre (the same figure as grams a litre), with a band, and from how many weighings."""

    kg_m3: int
    low_kg_m3: int
    high_kg_m3: int
    weighings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceWeighing:
    """Pieces of known size, counted and weighed together: one line in the ledger."""

    mass_mg: int
    pieces: int
    rod_um: int
    length_um: int


def mixed_density(parts: Sequence[tuple[float, float]]) -> float:
    """Density of ``(mass share, density)`` parts put together: volumes add, so ``1 / sum(w / rho)``."""
    total = math.fsum(share for share, _ in parts)
    if total <= 0 or any(share < 0 or rho <= 0 for share, rho in parts):
        raise OutOfRange(f"cannot mix {list(parts)}: give shares of zero or more and densities above zero.")
    return total / math.fsum(share / rho for share, rho in parts)


def pulled_density(
    pulled_share_ppm: int, clear_kg_m3: float = CLEAR_KG_M3, pulled_kg_m3: float = PULLED_KG_M3
) -> float:
    """Density of a portion of which this share of its mass has been pulled."""
    share = within("the pulled share", pulled_share_ppm / PPM * 100, 0, 100, "%", "Give 0 for clear.") / 100
    return mixed_density([(share, pulled_kg_m3), (1 - share, clear_kg_m3)])


def piece_volume_mm3(rod_um: int, length_um: int) -> float:
    """Volume of a round piece, cubic millimetres."""
    return math.pi / 4 * (rod_um / UM_PER_MM) ** 2 * (length_um / UM_PER_MM)


def assumed_density(kg_m3: float, band_ppm: int = DEFAULT_BAND_PPM) -> Density:
    """A density nobody weighed, with its default band, never above crystalline sugar."""
    high = min(kg_m3 * (1 + band_ppm / PPM), CRYSTAL_KG_M3)
    return Density(
        kg_m3=whole(kg_m3), low_kg_m3=whole(kg_m3 * (1 - band_ppm / PPM)), high_kg_m3=whole(high), weighings=0
    )


def learned_density(weighings: Sequence[PieceWeighing], otherwise: Density) -> Density:
    """Density of the shop's own pieces, from counted and weighed pieces of known size.

    With fewer than three weighings the assumed density stays. From three on: the mean of the weighings, and the band in
    which the next batch falls nine times in ten (Student's t prediction interval for one more observation).

    Raises:
        OutOfRange: a weighing that no sugar can give (denser than crystal sugar, or lighter than foam): a miscount, a
            wrong size or a wrong unit.
    """
    values = []
    for w in weighings:
        if w.pieces <= 0 or w.rod_um <= 0 or w.length_um <= 0:
            raise OutOfRange(f"{w.pieces} pieces of {w.rod_um} x {w.length_um} micrometres: give sizes above zero.")
        rho = w.mass_mg * 1000 / (w.pieces * piece_volume_mm3(w.rod_um, w.length_um))
        within(
            f"the density of {w.pieces} pieces weighing {w.mass_mg / 1000:g} g",
            rho,
            LOOSEST_KG_M3,
            CRYSTAL_KG_M3,
            "kg/m3",
            "Count again, and measure rod and piece with a caliper.",
        )
        values.append(rho)
    if len(values) < 3:
        return otherwise
    mean = statistics.fmean(values)
    reach = float(stdtrit(len(values) - 1, 0.95)) * statistics.stdev(values) * math.sqrt(1 + 1 / len(values))
    return Density(
        kg_m3=whole(mean), low_kg_m3=whole(mean - reach), high_kg_m3=whole(mean + reach), weighings=len(values)
    )


def glass_softens_at(moisture_ppm: int) -> float:
    """Degrees C at which sucrose glass of this moisture softens: it creeps and sticks above.

    Gordon-Taylor with sucrose 62 C, water -135 C and k = 4.7 (after Roos and Karel, from memory).
    """
    water = within("the moisture", moisture_ppm / PPM * 100, 0, 100, "%", "Hard candy holds 1 to 3 %.") / 100
    sugar_k, water_k, k = 335.15, 138.15, 4.7
    return ((1 - water) * sugar_k + k * water * water_k) / ((1 - water) + k * water) - 273.15
