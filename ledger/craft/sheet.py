"""The batch sheet: every planned number of one batch, as whole numbers and texts, ready to be kept and printed.

``BatchSheet`` holds no picture object and no floating point: ``sheet_to_plain`` gives it as integers, texts, lists and
maps, ``sheet_from_plain`` reads that back, so the sheet that was printed can be kept for ever.
"""

from __future__ import annotations

import types
import typing
from dataclasses import asdict, dataclass, fields, is_dataclass
from typing import Any, TypeVar

from ledger.craft.errors import OutOfRange
from ledger.craft.portions import BuildPlan, PortionPlan, PourPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLot:
    """How much to take from which lot; ``best_before`` is an ISO date or empty."""

    lot: str
    mass_mg: int
    best_before: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One thing to weigh. ``key`` names it for the comparison with what was weighed.

    ``per_load_mg`` has one figure a kettle load for what goes into the kettle, and is empty for the rest.
    """

    key: str
    material: str
    role: str
    mass_mg: int
    per_load_mg: tuple[int, ...]
    lots: tuple[SheetLot, ...]
    short_mg: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetStep:
    """One step with its time target and the temperatures it wants."""

    title: str
    seconds: int
    from_mc: int | None
    to_mc: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetThinness:
    """Thinnest line and gap of a portion in the rod, micrometres; gap 0 where there is none."""

    portion: str
    title: str
    line_um: int
    gap_um: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """Something to look at before the burner is lit: a permanent code, its subject, the value and the limit."""

    code: str
    subject: str
    value: int
    limit: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CookPlan:
    """How far to cook and what is left. Temperatures in thousandths of a degree C **on the cook's thermometer**."""

    end_mc: int
    end_sea_level_mc: int
    stage: str
    water_boils_mc: int
    water_known_from: str
    thermometer_error_mc: int | None
    moisture_ppm: int
    moisture_low_ppm: int
    moisture_high_ppm: int
    band_mc: int
    curve_source: str
    charge_mg: int
    solids_mg: int
    cooked_mg: int
    cooked_low_mg: int
    cooked_high_mg: int
    boiled_off_mg: int
    slab_mg: int
    loads_mg: tuple[int, ...]
    kettle: str


@dataclass(frozen=True, slots=True, kw_only=True)
class YieldPlan:
    """The process yield planned with, and how many good pieces that means, with the band."""

    likely_ppm: int
    low_ppm: int
    high_ppm: int
    batches: int
    good_pieces: int
    good_pieces_low: int
    good_pieces_high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SizePlan:
    """Log, rod, piece and pack. Lengths in micrometres, masses in milligrams."""

    log_um: int
    rod_um: int
    piece_um: int
    rod_length_um: int
    ends_um: int
    ratio_ppm: int
    logs: int
    log_length_um: int
    usable_log_um: int
    jacket_log_um: int
    jacket_rod_um: int
    drawn_um: int
    rods: int
    pieces_per_rod: int
    pieces_cut: int
    density_kg_m3: int
    density_low_kg_m3: int
    density_high_kg_m3: int
    density_weighings: int
    piece_mg: int
    piece_low_mg: int
    piece_high_mg: int
    thicker_rod_um: int
    thicker_piece_mg: int
    thicker_pieces_cut: int
    pack: str
    pack_net_mg: int
    pieces_per_pack: int
    packs: int
    pieces_wanted: int
    pieces_left_over: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchSheet:
    """One batch, planned. See ``ledger.craft.plan.plan_batch``."""

    shop: str
    batch: str
    address: str
    planned_for: str
    flavour: str
    recipe_version: int
    design: str
    design_version: int
    cook: CookPlan
    process_yield: YieldPlan
    sizes: SizePlan
    charge: tuple[SheetLine, ...]
    additions: tuple[SheetLine, ...]
    dyes: tuple[SheetLine, ...]
    portions: tuple[PortionPlan, ...]
    pours: tuple[PourPlan, ...]
    build: tuple[BuildPlan, ...]
    steps: tuple[SheetStep, ...]
    thinness: tuple[SheetThinness, ...]
    allergens: tuple[str, ...]
    changeover: str
    flags: tuple[Flag, ...]
    picture_png_base64: str


def sheet_to_plain(sheet: BatchSheet) -> dict[str, Any]:
    """The sheet as whole numbers, texts, lists and maps with ASCII keys: fit for canonical JSON."""
    return {key: _listed(value) for key, value in asdict(sheet).items()}


def _listed(value: Any) -> Any:
    if isinstance(value, tuple | list):
        return [_listed(item) for item in value]
    if isinstance(value, dict):
        return {key: _listed(item) for key, item in value.items()}
    return value


_T = TypeVar("_T")


def sheet_from_plain(plain: dict[str, Any]) -> BatchSheet:
    """Read back what ``sheet_to_plain`` gave.

    Raises:
        OutOfRange: a field is missing or strange: the sheet was written by another version.
    """
    return _read(BatchSheet, plain)


def _read(kind: type[_T], plain: Any) -> _T:
    if not isinstance(plain, dict):
        raise OutOfRange(f"A kept sheet holds {plain!r} where {kind.__name__} should be.")
    hints = typing.get_type_hints(kind)
    names = [field.name for field in fields(kind)]  # type: ignore[arg-type]
    if set(names) != set(plain):
        strange = sorted(set(names) ^ set(plain))
        raise OutOfRange(f"A kept sheet's {kind.__name__} lacks or adds {', '.join(strange)}.", fields=strange)
    return kind(**{name: _value(hints[name], plain[name]) for name in names})


def _value(hint: Any, plain: Any) -> Any:
    if is_dataclass(hint) and isinstance(hint, type):
        return _read(hint, plain)
    if typing.get_origin(hint) is tuple:
        inner = typing.get_args(hint)
        if len(inner) == 2 and inner[1] is Ellipsis:
            return tuple(_value(inner[0], item) for item in plain)
        return tuple(_value(kind, item) for kind, item in zip(inner, plain, strict=True))
    allowed = typing.get_args(hint) if isinstance(hint, types.UnionType) else (hint,)
    if type(plain) not in allowed:
        raise OutOfRange(f"A kept sheet holds {plain!r} where {hint} should be.")
    return plain
