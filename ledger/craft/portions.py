"""From the picture to the slab: the mass of every portion, what to pour for it, and how long each bar is built."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ledger.craft.density import CLEAR_KG_M3, PULLED_KG_M3
from ledger.craft.errors import OutOfRange
from ledger.craft.numbers import MG_PER_KG, PPM, shared_out, whole
from ledger.craft.picture import PictureDesign
from ledger.craft.picture_legend import Legend


@dataclass(frozen=True, slots=True, kw_only=True)
class PortionPlan:
    """One coloured portion of the log: its share of the section, its mass in the log, and the mass to make of it.

    ``blended_of`` lists ``(portion to pour, milligrams)`` when it is kneaded from others, down to what is poured.
    """

    key: str
    title: str
    colour: str
    area_ppm: int
    density_kg_m3: int
    in_log_mg: int
    make_mg: int
    blended_of: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PourPlan:
    """One pour on the slab: all of one colour together, for its own portion and for the blends it goes into."""

    key: str
    title: str
    mass_mg: int
    pulled_ppm: int
    dyes: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildPlan:
    """One step of the build with its own lengths.

    A bar that is cut in ``copies`` is made ``bar_um`` long, drawn to ``drawn_um`` and cut; while it is being made its
    section is ``scale_ppm`` times as large across as in the finished log (so a half heart made as one bar at the log's
    own length is 1.41 times as thick as in the log).
    """

    title: str
    portions: tuple[str, ...]
    copies: int
    mirror: bool
    seconds: int
    bar_um: int
    drawn_um: int
    scale_ppm: int


def section_density(
    design: PictureDesign, clear_kg_m3: float = CLEAR_KG_M3, pulled_kg_m3: float = PULLED_KG_M3
) -> float:
    """Density of the whole section, kg/m3: each portion's density by its share of the area."""
    return math.fsum(
        area / PPM * design.legend.density(portion.key, clear_kg_m3, pulled_kg_m3)
        for area, portion in zip(design.area_ppm, design.legend.portions, strict=True)
    )


def portion_masses(
    design: PictureDesign, slab_mg: int, clear_kg_m3: float = CLEAR_KG_M3, pulled_kg_m3: float = PULLED_KG_M3
) -> tuple[PortionPlan, ...]:
    """Split the sugar on the slab over the portions of the picture; the parts sum to ``slab_mg`` exactly.

    The log takes ``slab / (1 + pour allowance)``: the allowance stays on slab, hook and hands. Each portion gets
    ``area x its own density``, so a pulled portion weighs less than its area says.
    """
    if slab_mg <= 0:
        raise OutOfRange(f"There are {slab_mg} mg on the slab to split over the picture: plan more than nothing.")
    legend = design.legend
    drawn = [(p, a) for p, a in zip(legend.portions, design.area_ppm, strict=True) if p.colour is not None]
    densities = [legend.density(p.key, clear_kg_m3, pulled_kg_m3) for p, _ in drawn]
    weights = [area * rho for (_, area), rho in zip(drawn, densities, strict=True)]
    log_mg = whole(slab_mg * PPM / (PPM + legend.pour_allowance_ppm))
    in_log, make = shared_out(log_mg, weights), shared_out(slab_mg, weights)
    plans = []
    for (portion, area), rho, log_part, part in zip(drawn, densities, in_log, make, strict=True):
        traced = legend.pours(portion.key) if portion.blend else {}
        masses = shared_out(part, [float(share) for share in traced.values()]) if traced else ()
        colour = portion.colour or (0, 0, 0)
        plans.append(
            PortionPlan(
                key=portion.key,
                title=portion.title,
                colour="#{:02x}{:02x}{:02x}".format(*colour),
                area_ppm=area,
                density_kg_m3=whole(rho),
                in_log_mg=log_part,
                make_mg=part,
                blended_of=tuple(zip(traced, masses, strict=True)),
            )
        )
    return tuple(plans)


def pour_plan(legend: Legend, portions: tuple[PortionPlan, ...]) -> tuple[PourPlan, ...]:
    """What to pour in which colour: blends traced back, each pour with its dye."""
    poured: dict[str, int] = {}
    for plan in portions:
        for key, mass in plan.blended_of or ((plan.key, plan.make_mg),):
            poured[key] = poured.get(key, 0) + mass
    result = []
    for portion in legend.portions:
        mass = poured.get(portion.key, 0)
        if mass:
            dyes = tuple((dye.material, whole(mass * dye.mg_per_kg / MG_PER_KG)) for dye in portion.dyes)
            result.append(
                PourPlan(key=portion.key, title=portion.title, mass_mg=mass, pulled_ppm=portion.pulled_ppm, dyes=dyes)
            )
    return tuple(result)


def build_plan(legend: Legend, log_um: int) -> tuple[BuildPlan, ...]:
    """The designer's steps, each bar with the length it is made at and the length it is drawn to.

    Arguments:
        log_um: length of one log, micrometres.
    """
    if log_um <= 0:
        raise OutOfRange(f"A log of {log_um} micrometres cannot be built: give its length.")
    result = []
    for step in legend.build:
        made, drawn = whole(log_um * step.bar_ppm / PPM), step.copies * log_um
        result.append(
            BuildPlan(
                title=step.title,
                portions=step.portions,
                copies=step.copies,
                mirror=step.mirror,
                seconds=step.seconds,
                bar_um=made,
                drawn_um=drawn,
                scale_ppm=whole(math.sqrt(drawn / made) * PPM),
            )
        )
    return tuple(result)
