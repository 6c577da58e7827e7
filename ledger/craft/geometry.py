"""From log to rod to piece: volume is conserved, so everything follows from two diameters.

Areas and lengths change by ``(log / rod)^2`` and the picture shrinks by ``rod / log``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ledger.craft.density import piece_volume_mm3
from ledger.craft.errors import OutOfRange
from ledger.craft.numbers import whole


@dataclass(frozen=True, slots=True, kw_only=True)
class RodPlan:
    """The sizes the shop works to, in micrometres.

    Attributes:
        log_um: diameter of the built log. rod_um: diameter of the drawn rod. piece_um: length of a piece.
        rod_length_um: length the rods are cut to on the table.
        ends_um: length of **log** lost to taper at both ends together (the picture is bent there).
        max_log_um: longest log the table and the crew can handle; a longer one is made as several.
    """

    log_um: int
    rod_um: int
    piece_um: int
    rod_length_um: int
    ends_um: int
    max_log_um: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LogPlan:
    """What a mass of built log becomes. Lengths in micrometres, masses in milligrams."""

    logs: int
    log_length_um: int
    usable_log_um: int
    ratio_ppm: int
    drawn_um: int
    rods: int
    pieces_per_rod: int
    pieces_cut: int
    piece_mg: int
    ends_mg: int


def reduction_ratio(log_um: int, rod_um: int) -> float:
    """How many times longer (and smaller in section) the rod is than the log."""
    if not 0 < rod_um < log_um:
        raise OutOfRange(
            f"A rod of {rod_um / 1000:g} mm cannot be drawn from a log of {log_um / 1000:g} mm: "
            "the log must be thicker. Check the units of both.",
            log_um=log_um,
            rod_um=rod_um,
        )
    return (log_um / rod_um) ** 2


def piece_mass(rod_um: int, piece_um: int, density_kg_m3: float) -> int:
    """Mass of one piece in milligrams."""
    return whole(piece_volume_mm3(rod_um, piece_um) * density_kg_m3 / 1000)


def log_length(mass_mg: int, log_um: int, density_kg_m3: float) -> int:
    """Length of a log of this mass and diameter, micrometres."""
    return whole(1000 * mass_mg * 1000 / density_kg_m3 / (math.pi / 4 * (log_um / 1000) ** 2))


def plan_log(mass_mg: int, density_kg_m3: float, sizes: RodPlan) -> LogPlan:
    """Length, rods and pieces from the mass that is built into logs.

    Raises:
        OutOfRange: nothing is left between the tapered ends, or a size is zero.
    """
    ratio = reduction_ratio(sizes.log_um, sizes.rod_um)
    if min(sizes.piece_um, sizes.rod_length_um, sizes.max_log_um) <= 0 or sizes.ends_um < 0:
        raise OutOfRange(f"Give lengths above zero for piece, rod and longest log: {sizes}.")
    if sizes.piece_um > sizes.rod_length_um:
        raise OutOfRange(
            f"A piece of {sizes.piece_um / 1000:g} mm is longer than its rod of {sizes.rod_length_um / 1000:g} mm."
        )
    whole_length = log_length(mass_mg, sizes.log_um, density_kg_m3)
    logs = max(1, -(-whole_length // sizes.max_log_um))
    each = whole_length // logs
    usable = each - sizes.ends_um
    if usable <= 0:
        raise OutOfRange(
            f"The log is {each / 1000:.0f} mm long and its two tapered ends take {sizes.ends_um / 1000:.0f} mm: "
            "nothing is left. Build a thinner log, make more packs, or allow less for the ends.",
            log_length_um=each,
            ends_um=sizes.ends_um,
        )
    drawn = whole(usable * ratio)
    per_rod = sizes.rod_length_um // sizes.piece_um
    full, rest = divmod(drawn, sizes.rod_length_um)
    return LogPlan(
        logs=logs,
        log_length_um=each,
        usable_log_um=usable,
        ratio_ppm=whole(ratio * 1_000_000),
        drawn_um=drawn * logs,
        rods=logs * (full + (1 if rest >= sizes.piece_um else 0)),
        pieces_per_rod=per_rod,
        pieces_cut=logs * (full * per_rod + rest // sizes.piece_um),
        piece_mg=piece_mass(sizes.rod_um, sizes.piece_um, density_kg_m3),
        ends_mg=whole(mass_mg * sizes.ends_um / each),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ThickerRod:
    """What drawing the rod one step too thick does: heavier pieces, and fewer of them from the same sugar."""

    rod_um: int
    piece_mg: int
    heavier_ppm: int
    pieces_cut: int
    pieces_fewer: int


def one_step_thicker(plan: LogPlan, sizes: RodPlan, step_um: int, density_kg_m3: float) -> ThickerRod:
    """Piece mass and count if the rod comes out ``step_um`` thicker than planned; mass goes with the square."""
    rod = sizes.rod_um + step_um
    ratio = (rod / sizes.rod_um) ** 2
    full, rest = divmod(whole(plan.drawn_um / plan.logs / ratio), sizes.rod_length_um)
    cut = plan.logs * (full * plan.pieces_per_rod + rest // sizes.piece_um)
    return ThickerRod(
        rod_um=rod,
        piece_mg=piece_mass(rod, sizes.piece_um, density_kg_m3),
        heavier_ppm=whole((ratio - 1) * 1_000_000),
        pieces_cut=cut,
        pieces_fewer=plan.pieces_cut - cut,
    )
