"""Plan against actual: per batch and per portion, what was planned, what was weighed, and off by how much."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from ledger.craft.errors import OutOfRange
from ledger.craft.numbers import PPM, whole
from ledger.craft.sheet import BatchSheet

Unit = Literal["mg", "pieces", "packs", "rods", "mc"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanAgainstActual:
    """One line of the comparison. ``actual`` and what follows from it are ``None`` where nothing was recorded.

    ``off_ppm`` is the difference per million of the plan; ``None`` for temperatures and where nothing was planned.
    """

    key: str
    title: str
    unit: Unit
    planned: int
    actual: int | None
    off: int | None
    off_ppm: int | None


def planned_lines(sheet: BatchSheet) -> tuple[tuple[str, str, Unit, int], ...]:
    """Every planned figure that can be recorded: ``(key, title, unit, planned)``, in the order of work."""
    lines: list[tuple[str, str, Unit, int]] = [(line.key, line.material, "mg", line.mass_mg) for line in sheet.charge]
    lines += [
        ("end", "end temperature", "mc", sheet.cook.end_mc),
        ("cooked", "cooked mass", "mg", sheet.cook.cooked_mg),
        ("boiled-off", "water boiled off", "mg", sheet.cook.boiled_off_mg),
    ]
    lines += [(line.key, line.material, "mg", line.mass_mg) for line in sheet.additions + sheet.dyes]
    lines += [(f"pour:{pour.key}", pour.title, "mg", pour.mass_mg) for pour in sheet.pours]
    lines += [(f"portion:{portion.key}", portion.title, "mg", portion.make_mg) for portion in sheet.portions]
    lines += [
        ("rods", "rods", "rods", sheet.sizes.rods),
        ("good-pieces", "good pieces", "pieces", sheet.process_yield.good_pieces),
        ("packs", sheet.sizes.pack, "packs", sheet.sizes.packs),
    ]
    return tuple(lines)


def plan_against_actual(sheet: BatchSheet, actual: Mapping[str, int]) -> tuple[PlanAgainstActual, ...]:
    """Compare a kept sheet with what was recorded.

    Arguments:
        actual: recorded figures by the keys of ``planned_lines``, in the same units (mg, counts, thousandths of C).

    Raises:
        OutOfRange: a recorded key that the sheet never planned, or a negative figure.
    """
    lines = planned_lines(sheet)
    strange = sorted(set(actual) - {key for key, *_ in lines})
    if strange:
        raise OutOfRange(
            f"Batch {sheet.batch}'s sheet has no line {', '.join(strange)}; its lines are "
            f"{', '.join(key for key, *_ in lines)}.",
            keys=strange,
        )
    result = []
    for key, title, unit, planned in lines:
        value = actual.get(key)
        if value is not None and value < 0:
            raise OutOfRange(f"{title} was recorded as {value}: nothing below zero can be weighed or counted.")
        off = None if value is None else value - planned
        share = None if off is None or not planned or unit == "mc" else whole(off * PPM / planned)
        result.append(
            PlanAgainstActual(key=key, title=title, unit=unit, planned=planned, actual=value, off=off, off_ppm=share)
        )
    return tuple(result)
