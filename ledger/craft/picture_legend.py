"""The legend of a picture: which flat colour is which portion, what the portion is made of, and the build order.

A design is two plain files a person can edit: the picture (PNG or SVG) and this legend (TOML). See
``docs/how-to/draw-a-design.md`` for a whole one.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from ledger.craft.density import CLEAR_KG_M3, PULLED_KG_M3, mixed_density, pulled_density
from ledger.craft.errors import LegendUnreadable
from ledger.craft.numbers import PPM

Colour = tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dye:
    """A colouring material and its dose in milligrams a kilogram of the portion."""

    material: str
    mg_per_kg: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Portion:
    """One portion of the batch.

    Attributes:
        key: its name in the legend. title: its name on the sheet.
        colour: the flat colour that stands for it in the picture; ``None`` for a portion that is only blended.
        pulled_ppm: share of its mass that is pulled (0 clear, 1 000 000 fully pulled).
        dyes: what colours it.
        blend: ``(portion key, parts)`` by mass, if it is kneaded from other portions instead of poured.
    """

    key: str
    title: str
    colour: Colour | None
    pulled_ppm: int
    dyes: tuple[Dye, ...]
    blend: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildStep:
    """One step of the build, in the designer's order.

    ``copies`` over 1 means: make one bar, stretch it, cut it in that many; ``mirror`` turns every second one over.
    ``bar_ppm`` is the length the bar is made at, as a share of the log's length (1 000 000: as long as the log).
    """

    title: str
    portions: tuple[str, ...]
    copies: int
    mirror: bool
    bar_ppm: int
    seconds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Legend:
    """A whole legend. ``jacket`` is the portion that wraps the log; ``None`` where the design says it has none."""

    name: str
    version: int
    picture: str
    outside: Colour
    jacket: str | None
    pour_allowance_ppm: int
    portions: tuple[Portion, ...]
    build: tuple[BuildStep, ...]

    def portion(self, key: str) -> Portion:
        """The portion of that key."""
        return next(portion for portion in self.portions if portion.key == key)

    def pours(self, key: str) -> dict[str, Decimal]:
        """What to pour for a portion: shares by mass of the portions that are not themselves blends, summing to 1."""
        portion = self.portion(key)
        if not portion.blend:
            return {key: Decimal(1)}
        total = sum(parts for _, parts in portion.blend)
        traced: dict[str, Decimal] = {}
        for other, parts in portion.blend:
            for pour, share in self.pours(other).items():
                traced[pour] = traced.get(pour, Decimal(0)) + share * parts / total
        return traced

    def density(self, key: str, clear_kg_m3: float = CLEAR_KG_M3, pulled_kg_m3: float = PULLED_KG_M3) -> float:
        """Density of a portion, kg/m3, from its pulled share or from what it is blended of."""
        parts = [
            (float(share), pulled_density(self.portion(pour).pulled_ppm, clear_kg_m3, pulled_kg_m3))
            for pour, share in self.pours(key).items()
        ]
        return mixed_density(parts)


def colour_name(colour: Colour) -> str:
    """``#rrggbb``, as it is written in the legend."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _refuse(message: str, **facts: Any) -> LegendUnreadable:
    return LegendUnreadable(message, **facts)


def _colour(text: Any, where: str) -> Colour:
    if not isinstance(text, str) or not re.fullmatch(r"#[0-9a-fA-F]{6}", text):
        raise _refuse(f'{where}: {text!r} is not a colour. Write six hexadecimal digits, such as "#2e7d32".')
    return (int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16))


def _whole(table: Mapping[str, Any], key: str, where: str, default: int | None, low: int, high: int) -> int:
    value = table.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise _refuse(f"{where}: `{key}` is {value!r}; give a whole number from {low} to {high}.", value=value)
    return value


def _share(table: Mapping[str, Any], key: str, where: str, default: int) -> int:
    value = table.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | Decimal) or not 0 <= value <= 100:
        raise _refuse(f"{where}: `{key}` is {value}; give percent from 0 to 100.", value=value)
    return int(value * PPM / 100)


def _text(table: Mapping[str, Any], key: str, where: str, default: str | None = None) -> str:
    value = table.get(key, default)
    if not isinstance(value, str) or not value.strip():
        raise _refuse(f"{where}: `{key}` is missing; give a text.", value=value)
    return value.strip()


def _known_only(table: Mapping[str, Any], known: set[str], where: str) -> None:
    strange = sorted(set(table) - known)
    if strange:
        raise _refuse(f"{where}: `{strange[0]}` is not a field here; the fields are {', '.join(sorted(known))}.")


def _portion(key: str, table: Any) -> Portion:
    where = f"portion {key}"
    if not isinstance(table, dict):
        raise _refuse(f"{where} must be a table `[portion.{key}]`.")
    _known_only(table, {"title", "colour", "pulled_percent", "dye", "blend"}, where)
    blend, dyes = table.get("blend", {}), table.get("dye", {})
    for name, mapping in (("blend", blend), ("dye", dyes)):
        if not isinstance(mapping, dict) or any(
            isinstance(v, bool) or not isinstance(v, int) or v <= 0 for v in mapping.values()
        ):
            raise _refuse(f"{where}: `{name}` must list whole numbers above zero, such as {{ green = 3, clear = 1 }}.")
    if blend and (dyes or "pulled_percent" in table):
        raise _refuse(f"{where} is blended of others, so its dye and pulling are theirs: drop `dye`/`pulled_percent`.")
    return Portion(
        key=key,
        title=_text(table, "title", where, key),
        colour=_colour(table["colour"], where) if "colour" in table else None,
        pulled_ppm=_share(table, "pulled_percent", where, 0),
        dyes=tuple(Dye(material=material, mg_per_kg=dose) for material, dose in dyes.items()),
        blend=tuple(blend.items()),
    )


def _build_step(number: int, table: Any, keys: set[str]) -> BuildStep:
    where = f"build step {number}"
    if not isinstance(table, dict):
        raise _refuse(f"{where} must be a table `[[build]]`.")
    _known_only(table, {"step", "portions", "copies", "mirror", "bar_percent", "minutes"}, where)
    portions = table.get("portions", [])
    if not isinstance(portions, list) or not set(map(str, portions)) <= keys:
        raise _refuse(f"{where}: `portions` is {portions}; name portions of this legend: {', '.join(sorted(keys))}.")
    mirror = table.get("mirror", False)
    if not isinstance(mirror, bool):
        raise _refuse(f"{where}: `mirror` is {mirror!r}; give true or false.")
    copies = _whole(table, "copies", where, 1, 1, 64)
    return BuildStep(
        title=_text(table, "step", where),
        portions=tuple(map(str, portions)),
        copies=copies,
        bar_ppm=PPM // 100 * _whole(table, "bar_percent", where, 100, 5, 100 * copies),
        mirror=mirror,
        seconds=60 * _whole(table, "minutes", where, 0, 0, 600),
    )


def _check_blends(portions: tuple[Portion, ...]) -> None:
    by_key = {portion.key: portion for portion in portions}

    def walk(key: str, path: tuple[str, ...]) -> None:
        if key in path:
            raise _refuse(f"portion {path[0]} is blended of itself: {' -> '.join((*path, key))}. Break the ring.")
        if key not in by_key:
            raise _refuse(f"portion {path[-1]} is blended of `{key}`, which is no portion of this legend.")
        for other, _ in by_key[key].blend:
            walk(other, (*path, key))

    for portion in portions:
        walk(portion.key, ())


def _check_colours(portions: tuple[Portion, ...], outside: Colour) -> None:
    taken: dict[Colour, str] = {outside: "`outside`"}
    for portion in portions:
        if portion.colour in taken:
            raise _refuse(
                f"portion {portion.key} has the colour {colour_name(portion.colour)}, and so has "
                f"{taken[portion.colour]}: give each its own."
            )
        if portion.colour is not None:
            taken[portion.colour] = f"portion {portion.key}"


def read_legend(data: bytes) -> Legend:
    """Read a legend file.

    Raises:
        LegendUnreadable: not TOML in UTF-8, a field missing or strange, a colour used twice, a blend in a ring.
    """
    try:
        table = tomllib.loads(data.decode("utf-8"), parse_float=Decimal)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise _refuse(f"The legend cannot be read as TOML: {fault}.") from fault
    where = "the legend"
    known = {"name", "version", "picture", "outside", "jacket", "pour_allowance_percent", "portion", "build"}
    _known_only(table, known, where)
    listed = table.get("portion", {})
    if not isinstance(listed, dict) or not listed:
        raise _refuse("The legend lists no portions: add a table such as `[portion.leaf]` with its colour.")
    portions = tuple(_portion(key, value) for key, value in listed.items())
    keys = {portion.key for portion in portions}
    outside = _colour(table.get("outside", "#ffffff"), where)
    _check_blends(portions)
    _check_colours(portions, outside)
    if "jacket" not in table:
        raise _refuse('The legend does not say what the jacket is: add `jacket = "..."` (a portion), or "none".')
    jacket = _text(table, "jacket", where)
    if jacket != "none" and jacket not in {portion.key for portion in portions if portion.colour is not None}:
        raise _refuse(f"The jacket `{jacket}` is no portion with a colour; the portions are {', '.join(sorted(keys))}.")
    steps = table.get("build", [])
    if not isinstance(steps, list):
        raise _refuse("The build order must be a list of `[[build]]` tables.")
    return Legend(
        name=_text(table, "name", where),
        version=_whole(table, "version", where, 1, 1, 1_000_000),
        picture=_text(table, "picture", where),
        outside=outside,
        jacket=None if jacket == "none" else jacket,
        pour_allowance_ppm=_share(table, "pour_allowance_percent", where, 0),
        portions=portions,
        build=tuple(_build_step(i + 1, step, keys) for i, step in enumerate(steps)),
    )
