"""Mass balance of a cook: what is charged, what boils away, what is left, and how it is split over the kettle.

``solids = sum(mass x dry share)``; ``cooked = solids / (1 - moisture)``; ``boiled off = charge - cooked``. Acid,
flavour and colour go in after the cook and are figured on the cooked mass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ledger.craft.boiling import SolidsMix
from ledger.craft.errors import KettleTooSmall, LoadTooSmall, NotEnoughWater, OutOfRange, RecipeIncomplete
from ledger.craft.numbers import MG_PER_KG, PPM, shared_out, whole, within

Role = Literal["sugar", "syrup", "water", "re-boil"]

#: Sucrose dissolved by 100 g of water at saturation (Antokolskaya 1964, in Mohos 2010, table A2.2).
SOLUBILITY_G_PER_100G = (
    (0, 179.2),
    (5, 184.7),
    (10, 190.5),
    (15, 197.0),
    (20, 203.9),
    (25, 211.4),
    (30, 219.9),
    (35, 228.4),
    (40, 238.1),
    (45, 248.7),
    (50, 260.4),
    (55, 273.1),
    (60, 287.3),
    (65, 302.9),
    (70, 320.5),
    (75, 339.9),
    (80, 362.1),
    (85, 386.8),
    (90, 415.7),
    (95, 448.6),
    (100, 487.2),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeLine:
    """One thing weighed into the kettle, as it stands in the recipe (any size of recipe: it is scaled).

    Attributes:
        material: its name in the shop's book.
        role: ``sugar``, ``syrup``, ``water`` or ``re-boil``.
        mass_mg: milligrams in the recipe as written.
        solids_ppm: dry substance per million. Sugar 1 000 000; a 43 Be / DE 42 syrup about 803 000 (Corn Refiners
            Association, from memory); water 0; re-boil about 980 000.
    """

    material: str
    role: Role
    mass_mg: int
    solids_ppm: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Addition:
    """Acid, flavour or another thing stirred in after the cook, per million of the cooked mass."""

    material: str
    role: Literal["acid", "flavour", "colour", "other"]
    ppm_of_cooked: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkStep:
    """One step at the bench with its target time in seconds, and the temperature it wants (thousandths of C)."""

    name: str
    seconds: int
    from_mc: int | None = None
    to_mc: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CookRecipe:
    """A flavour's recipe at one version.

    Either ``end_mc`` (thousandths of a degree C **at sea level**) or ``moisture_ppm`` says how far to cook; with
    both, the temperature is cooked to and the moisture is what the shop has measured for it.
    """

    name: str
    version: int
    charge: tuple[ChargeLine, ...]
    additions: tuple[Addition, ...] = ()
    end_mc: int | None = None
    moisture_ppm: int | None = None
    dextrose_equivalent: int = 42
    process_yield_ppm: int = 880_000
    process_yield_spread_ppm: int = 60_000
    steps: tuple[WorkStep, ...] = ()
    allergens: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class KettleLimits:
    """What one kettle can take. ``max_loads`` is how many loads can be worked before the first has gone hard."""

    name: str
    max_charge_mg: int
    min_charge_mg: int = 0
    max_loads: int = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class CookBalance:
    """The two sides of a cook: ``charge_mg == cooked_mg + boiled_off_mg``, exactly."""

    charge_mg: int
    solids_mg: int
    moisture_ppm: int
    cooked_mg: int
    boiled_off_mg: int

    @property
    def yield_ppm(self) -> int:
        """Theoretical yield: cooked mass per million of the charge."""
        return whole(self.cooked_mg * PPM / self.charge_mg)


def kettle_charge_limit(volume_ml: int, density_kg_m3: int = 1340) -> int:
    """Milligrams that fill a kettle to two thirds, so that foam stays in it (common practice, no source)."""
    within("the kettle's volume", volume_ml, 100, 1_000_000, "ml", "Measure it with water.")
    return volume_ml * density_kg_m3 * 2 // 3


def solids_of(charge: Sequence[ChargeLine]) -> int:
    """Dry substance of a charge, milligrams.

    Raises:
        RecipeIncomplete: nothing is charged. OutOfRange: a dry substance over 100 % or a negative mass.
    """
    for line in charge:
        within(
            f"the dry substance of {line.material}", line.solids_ppm / 1e4, 0, 100, "%", "Read it on the sack or pail."
        )
        if line.mass_mg < 0:
            raise OutOfRange(f"{line.material} is {line.mass_mg} mg: give a mass of zero or more.")
    total = sum(line.mass_mg * line.solids_ppm for line in charge)
    if total == 0:
        raise RecipeIncomplete("The charge holds no sugar: list at least sugar and water in the recipe.")
    return whole(total / PPM)


def cook_balance(charge: Sequence[ChargeLine], moisture_ppm: int) -> CookBalance:
    """What is left of a charge when cooked down to a moisture, and what has boiled away.

    Raises:
        OutOfRange: moisture of 100 % or more, or more than the charge itself holds.
    """
    if not 0 <= moisture_ppm < PPM:
        raise OutOfRange(
            f"A moisture of {moisture_ppm / 1e4:g} % cannot be: it lies between 0 and 100 %. "
            "Hard candy holds 1 to 3 %.",
            moisture_ppm=moisture_ppm,
        )
    total = sum(line.mass_mg for line in charge)
    solids = solids_of(charge)
    cooked = whole(solids * PPM / (PPM - moisture_ppm))
    if cooked > total:
        raise OutOfRange(
            f"The charge is drier ({100 - solids * 100 / total:.1f} % water) than the {moisture_ppm / 1e4:g} % "
            "moisture it should be cooked to: add water to the recipe, or lower the moisture.",
            moisture_ppm=moisture_ppm,
        )
    return CookBalance(
        charge_mg=total, solids_mg=solids, moisture_ppm=moisture_ppm, cooked_mg=cooked, boiled_off_mg=total - cooked
    )


def solids_mix(charge: Sequence[ChargeLine], dextrose_equivalent: int) -> SolidsMix:
    """How much of a charge's solids is glucose syrup: moves the boiling point a little."""
    syrup = solids_of([line for line in charge if line.role == "syrup"] or []) if _has_syrup(charge) else 0
    return SolidsMix(syrup_share_ppm=whole(syrup * PPM / solids_of(charge)), dextrose_equivalent=dextrose_equivalent)


def _has_syrup(charge: Sequence[ChargeLine]) -> bool:
    return any(line.role == "syrup" and line.mass_mg * line.solids_ppm > 0 for line in charge)


def scaled_charge(charge: Sequence[ChargeLine], cooked_mg: int, moisture_ppm: int) -> tuple[ChargeLine, ...]:
    """The same recipe, sized so that ``cooked_mg`` is left at this moisture. The lines sum exactly to the charge."""
    as_written = cook_balance(charge, moisture_ppm)
    dry = sum(line.mass_mg * line.solids_ppm for line in charge)
    total = whole(cooked_mg * as_written.charge_mg * (PPM - moisture_ppm) / dry)
    masses = shared_out(total, [line.mass_mg for line in charge])
    return tuple(
        ChargeLine(material=line.material, role=line.role, mass_mg=mass, solids_ppm=line.solids_ppm)
        for line, mass in zip(charge, masses, strict=True)
    )


def kettle_loads(charge_mg: int, kettle: KettleLimits) -> tuple[int, ...]:
    """Equal loads of a charge, as few as the kettle allows.

    Raises:
        KettleTooSmall: more loads than can be worked together. LoadTooSmall: under the kettle's least load.
    """
    if kettle.max_charge_mg <= 0 or kettle.max_loads <= 0:
        raise OutOfRange(f"Kettle {kettle.name} takes {kettle.max_charge_mg} mg: give its largest charge.")
    loads = max(1, -(-charge_mg // kettle.max_charge_mg))
    if loads > kettle.max_loads:
        raise KettleTooSmall(
            f"The charge of {charge_mg / MG_PER_KG:.2f} kg needs {loads} loads of kettle {kettle.name} "
            f"({kettle.max_charge_mg / MG_PER_KG:.2f} kg each), and only {kettle.max_loads} can be worked together. "
            "Plan fewer packs, make two batches, or name a larger kettle.",
            charge_mg=charge_mg,
            max_charge_mg=kettle.max_charge_mg,
            loads=loads,
            max_loads=kettle.max_loads,
        )
    parts = shared_out(charge_mg, [1] * loads)
    if min(parts) < kettle.min_charge_mg:
        raise LoadTooSmall(
            f"A load of {min(parts) / MG_PER_KG:.2f} kg is under the least load of kettle {kettle.name} "
            f"({kettle.min_charge_mg / MG_PER_KG:.2f} kg): it would scorch. Plan more packs or name a smaller kettle.",
            load_mg=min(parts),
            min_charge_mg=kettle.min_charge_mg,
        )
    return parts


def dissolving_water(sugar_mg: int, temperature_c: float) -> int:
    """Least water, milligrams, that dissolves this sugar at a temperature (saturation, pure sucrose)."""
    within("the dissolving temperature", temperature_c, 0, 100, "C", "Saturation is tabled from 0 to 100 C.")
    at, grams = zip(*SOLUBILITY_G_PER_100G, strict=True)
    return whole(sugar_mg * 100 / float(np.interp(temperature_c, at, grams)))


def check_dissolving(charge: Sequence[ChargeLine], boiling_c: float = 100.0) -> int:
    """Water the charge holds beyond what its sugar needs near the boil, milligrams.

    Raises:
        NotEnoughWater: crystals would be left, and seed graining in the finished candy.
    """
    sugar = sum(line.mass_mg for line in charge if line.role == "sugar")
    held = sum(line.mass_mg - whole(line.mass_mg * line.solids_ppm / PPM) for line in charge)
    needed = dissolving_water(sugar, min(boiling_c, 100.0))
    if held < needed:
        raise NotEnoughWater(
            f"{sugar / MG_PER_KG:.3f} kg sugar needs at least {needed / MG_PER_KG:.3f} kg water to dissolve at "
            f"{min(boiling_c, 100):.0f} C, and the charge holds {held / MG_PER_KG:.3f} kg. Undissolved crystals grain "
            f"the batch: add {(needed - held) / MG_PER_KG:.3f} kg water (about 30 % of the sugar is usual).",
            needed_mg=needed,
            held_mg=held,
        )
    return held - needed
