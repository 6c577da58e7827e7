"""From the shop's book to what the sugar craft plans with: recipe, kettle, pack, sizes, and a design dressed in the book's materials."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal, cast

from ledger.application.designs import Bench
from ledger.craft.cook import (
    Addition,
    ChargeLine,
    CookRecipe,
    KettleLimits,
    Role,
    WorkStep,
    cook_balance,
    kettle_loads,
)
from ledger.craft.errors import KettleTooSmall, LoadTooSmall
from ledger.craft.geometry import RodPlan
from ledger.craft.numbers import PPM, whole
from ledger.craft.picture import PictureDesign, read_design
from ledger.craft.picture_legend import Dye
from ledger.craft.portions import portion_masses, pour_plan
from ledger.craft.sheet import SizePlan
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.errors import BadInput, Refused

KETTLE_ROLES = ("sugar", "syrup", "water", "re-boil")
OTHER_ROLES = ("acid", "flavour", "colour")
WATER = "Mains water"
ENDS_OF_LOG = 16
"""Both tapered ends together are taken as a sixteenth of the log's diameter (common practice, no source)."""
SPREAD_PPM = 60_000
"""How far a recipe's own process yield is taken to be off while there is no history: six points either way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadRecipe:
    """A book recipe as the craft reads it.

    Attributes:
        cook: charge, additions, times. dyes: portion key -> (material name, milligrams in the recipe as written).
        cooked_mg: cooked mass of the recipe as written. notes: what was assumed.
    """

    cook: CookRecipe
    dyes: tuple[tuple[str, str, int], ...]
    cooked_mg: int
    notes: tuple[str, ...]


def read_recipe(book: Book, flavour: e.Flavour, bench: Bench) -> ReadRecipe:
    """The recipe of a flavour.

    Raises:
        Refused: the flavour has no recipe, or the recipe no lines. UnknownThing: it names a material that is not in the book.
        OutOfRange: its figures cannot be cooked (see `cook_balance`).
    """
    recipe = book.recipe_of(flavour.id)
    if recipe is None or not recipe.lines:
        raise Refused(
            f"Flavour `{flavour.id}` has no recipe with weights in the book. Enter one with `slabbook book load FILE` or on the Book page.",
            flavour=flavour.id,
        )
    notes: list[str] = []
    charge: list[ChargeLine] = []
    later: list[tuple[e.Material, e.RecipeLine]] = []
    for line in recipe.lines:
        material = book.get(e.Material, line.material)
        if material.role in KETTLE_ROLES and not line.portion:
            charge.append(
                ChargeLine(
                    material=material.name, role=cast(Role, material.role), mass_mg=line.mass_mg,
                    solids_ppm=0 if material.role == "water" else material.solids_ppm,
                )
            )  # fmt: skip
        elif material.role != "packaging":
            later.append((material, line))
    if not any(line.role == "water" for line in charge):
        sugar = sum(line.mass_mg for line in charge if line.role == "sugar")
        water = whole(sugar * bench.water_percent / 100)
        charge.append(ChargeLine(material=WATER, role="water", mass_mg=water, solids_ppm=0))
        notes.append(f"The recipe lists no water: {bench.water_percent} % of the sugar was taken.")
    cooked = cook_balance(charge, recipe.moisture_ppm).cooked_mg
    syrup = " ".join(line.material for line in charge if line.role == "syrup")
    found = re.search(r"\bDE\s*(\d{2})\b", syrup)
    allergens = {a for line in recipe.lines for a in book.get(e.Material, line.material).allergens}
    cook = CookRecipe(
        name=flavour.name,
        version=max(book.version(e.Recipe, recipe.id), 1),
        charge=tuple(charge),
        additions=tuple(
            Addition(
                material=material.name, role=_addition_role(material.role), ppm_of_cooked=whole(line.mass_mg * PPM / cooked)
            )
            for material, line in later
            if not line.portion
        ),
        end_mc=recipe.end_temperature_mc or None,
        moisture_ppm=recipe.moisture_ppm or None,
        dextrose_equivalent=int(found[1]) if found else 42,
        process_yield_ppm=recipe.process_yield_ppm,
        process_yield_spread_ppm=SPREAD_PPM,
        steps=tuple(WorkStep(name=step.step, seconds=step.seconds) for step in recipe.steps),
        allergens=tuple(sorted(allergens)),
    )  # fmt: skip
    dyes = tuple((line.portion, material.name, line.mass_mg) for material, line in later if line.portion)
    return ReadRecipe(cook=cook, dyes=dyes, cooked_mg=cooked, notes=tuple(notes))


def _addition_role(role: str) -> Literal["acid", "flavour", "colour", "other"]:
    return cast(Literal["acid", "flavour", "colour", "other"], role if role in OTHER_ROLES else "other")


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Dressed:
    """A design whose dyes are materials of the book. notes: dyes the book does not know, portions the recipe cannot colour."""

    picture: PictureDesign
    notes: tuple[str, ...]
    allergens: tuple[str, ...]


@lru_cache(maxsize=16)
def dress(
    legend: bytes,
    picture: bytes,
    materials: tuple[tuple[str, str, tuple[str, ...]], ...],
    dyes: tuple[tuple[str, str, int], ...],
    cooked_mg: int,
) -> Dressed:
    """Read a design and put the book's names on its dyes. Remembered, so that a slider's move costs nothing here.

    The legend's doses count; where a portion has none and is no blend, the recipe's line for that portion gives it.

    Arguments:
        materials: (id, name, allergens) of every material. dyes, cooked_mg: as `ReadRecipe` has them.

    Raises:
        what `read_design` raises.
    """
    design = read_design(legend, picture)
    notes: list[str] = []
    allergens: set[str] = set()

    def named(word: str) -> str:
        found = match(word, materials)
        if found is None:
            notes.append(f"The legend's dye `{word}` is no material of the book: no lot can be proposed for it.")
            return word
        allergens.update(found[2])
        return found[1]

    portions = tuple(
        replace(p, dyes=tuple(Dye(material=named(d.material), mg_per_kg=d.mg_per_kg) for d in p.dyes))
        for p in design.legend.portions
    )
    worded = replace(design.legend, portions=portions)
    poured = {p.key: p.mass_mg for p in pour_plan(worded, portion_masses(replace(design, legend=worded), cooked_mg))}
    by_recipe: dict[str, list[Dye]] = {}
    dosed = any(p.dyes for p in portions)
    for key, material, mass in dyes:
        portion = next((p for p in portions if p.key == key), None)
        if portion is not None and not portion.blend and key in poured:
            if not portion.dyes:
                by_recipe.setdefault(key, []).append(Dye(material=material, mg_per_kg=whole(mass * PPM / poured[key])))
        elif not dosed:
            notes.append(
                f"The recipe puts {material} into the portion `{key}`, which this design does not pour: left out."
            )
    filled = tuple(replace(p, dyes=tuple(by_recipe[p.key])) if p.key in by_recipe else p for p in portions)
    worded = replace(worded, portions=filled)
    return Dressed(
        picture=replace(design, legend=worded), notes=tuple(dict.fromkeys(notes)), allergens=tuple(sorted(allergens))
    )


def match(word: str, materials: Sequence[tuple[str, str, tuple[str, ...]]]) -> tuple[str, str, tuple[str, ...]] | None:
    """The material a legend means by a word: its id, its name, or the one name that begins with it; None where there is none."""
    said = word.strip().casefold()
    for one in materials:
        if said in (one[0].casefold(), one[1].casefold()):
            return one
    begun = [one for one in materials if re.match(rf"{re.escape(said)}\b", one[1].casefold())]
    return begun[0] if len(begun) == 1 else None


def pack_of(book: Book, flavour: e.Flavour, design: e.Design, named: str) -> tuple[e.Pack, str]:
    """The pack to plan in, and a note when it was chosen among several.

    Raises:
        UnknownThing: no such pack. BadInput: it is another flavour's. Refused: the flavour has no pack.
    """
    mine = [p for p in book.all(e.Pack) if p.flavour == flavour.id]
    if named:
        pack = book.get(e.Pack, named)
        if pack.flavour != flavour.id:
            raise BadInput(
                f"Pack {pack.id} holds {pack.flavour}, not {flavour.id}. Packs of {flavour.id}: {', '.join(p.id for p in mine) or 'none'}.",
                value=named,
            )
        return pack, ""
    if not mine:
        raise Refused(
            f"Flavour `{flavour.id}` has no pack in the book, so packs cannot be counted. Enter one, or plan in pieces.",
            flavour=flavour.id,
        )
    best = sorted((p for p in mine if p.design == design.id), key=lambda p: (p.net_mg, p.id)) or mine
    others = ", ".join(p.id for p in best[1:])
    return best[0], f"Counted in {best[0].name} ({best[0].id}); also sold as {others}." if others else ""


def limits_of(station: e.Station, bench: Bench) -> KettleLimits:
    """A kettle as the craft reads it.

    Raises:
        BadInput: the station is no kettle, or its largest charge is not in the book.
    """
    if station.kind != "kettle":
        raise BadInput(f"Station {station.id} is a {station.kind}, not a kettle. Name a kettle.", value=station.id)
    if station.max_mg <= 0:
        raise BadInput(
            f"The book does not say what kettle {station.id} can take. Enter its `max` (station {station.id}).",
            value=station.id,
        )
    return KettleLimits(
        name=station.name or station.id,
        max_charge_mg=station.max_mg,
        min_charge_mg=station.min_mg,
        max_loads=bench.loads,
    )


def choose_kettle(book: Book, charge_mg: int, bench: Bench, named: str) -> tuple[e.Station, KettleLimits]:
    """The kettle named, or the one that takes the charge in the fewest loads, the smallest of those.

    Raises:
        UnknownThing, BadInput: no such kettle. KettleTooSmall, LoadTooSmall: none fits; the nearest one's message.
    """
    if named:
        station = book.get(e.Station, named)
        return station, limits_of(station, bench)
    kettles = [s for s in book.all(e.Station) if s.kind == "kettle" and s.max_mg > 0]
    if not kettles:
        raise BadInput("The book has no kettle with a largest charge. Enter one: kind `kettle`, with its `max`.")
    fits: list[tuple[int, int, str]] = []
    refusal: KettleTooSmall | LoadTooSmall | None = None
    for station in sorted(kettles, key=lambda s: (s.max_mg, s.id)):
        try:
            fits.append((len(kettle_loads(charge_mg, limits_of(station, bench))), station.max_mg, station.id))
        except LoadTooSmall as error:
            refusal = refusal or error
        except KettleTooSmall as error:
            refusal = error
    if not fits and refusal is not None:
        raise refusal
    chosen = book.get(e.Station, min(fits)[2])
    return chosen, limits_of(chosen, bench)


def sizes_of(design: e.Design, bench: Bench, over: Mapping[str, int]) -> RodPlan:
    """Log, rod and piece of a design, with what was asked for instead."""
    log = over.get("log_um") or design.log_um
    return RodPlan(
        log_um=log,
        rod_um=over.get("rod_um") or design.rod_um,
        piece_um=over.get("piece_um") or design.piece_um,
        rod_length_um=bench.rod_length_um,
        ends_um=over["ends_um"] if "ends_um" in over else bench.ends_um or log // ENDS_OF_LOG,
        max_log_um=bench.longest_log_um,
    )


def names_of(book: Book) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """(id, name, allergens) of every material."""
    return tuple((m.id, m.name, m.allergens) for m in book.all(e.Material))


def thinner_log(sizes: SizePlan, ends_follow: bool, share: float = 1.0) -> int:
    """The thickest log, in steps of 5 mm, whose ends leave the pieces wanted; 0 where no thinner log helps.

    A log of the same sugar grows longer as ``(old / new)^2``, so its two ends are a smaller part of it.

    Arguments:
        ends_follow: whether the ends are a share of the diameter, or a length that stays.
        share: how much of the planned mass the log should do with (1.0: all of it).
    """
    whole_pieces = share * sizes.pieces_cut * sizes.log_length_um / sizes.usable_log_um
    for log in range(sizes.log_um - sizes.log_um % 5_000, sizes.rod_um * 3, -5_000):
        length = share * sizes.log_length_um * (sizes.log_um / log) ** 2
        ends = sizes.ends_um * (log / sizes.log_um if ends_follow else 1)
        if log < sizes.log_um and whole_pieces * (1 - ends / length) >= sizes.pieces_wanted * 1.005:
            return log
    return 0
