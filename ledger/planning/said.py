"""How a plan says a mass, an amount of money and a list of names."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from ledger.planning.problem import Problem
from ledger.quantities import fixed, mass_text

POUND_MG = Fraction(45359237, 100)
"""Milligrams of an avoirdupois pound (exact by definition: 0.45359237 kg)."""
MOST_NAMES = 8


def mass_said(grams: int, units: str = "metric") -> str:
    """A mass as a maker says it, in kilograms (``us``: pounds): whole from ten on, one decimal below."""
    one, name = (POUND_MG, "lb") if units == "us" else (Fraction(1_000_000), "kg")
    mg = grams * 1000
    return f"{fixed(mg, one, 0 if abs(mg) >= 10 * one else 1)} {name}"


def mass_exact(problem: Problem, grams: int) -> str:
    """A mass as it stands in the book, in the shop's units."""
    return mass_text(grams * 1000, problem.units)


def money_said(problem: Problem, milli: int) -> str:
    """Milli as whole major units of the shop's currency."""
    return f"{problem.currency} {round(milli / 1000 / problem.minor_per_major):,}".replace(",", " ")


def price_said(problem: Problem, minor_per_kg: int) -> str:
    """What a kilogram is worth, to the smallest coin."""
    digits = len(str(problem.minor_per_major)) - 1
    return f"{problem.currency} {fixed(minor_per_kg, problem.minor_per_major, digits)} a kilogram"


def listed(names: Sequence[str], most: int = MOST_NAMES) -> str:
    """Names as one list, the rest counted."""
    told = [*names[:most], *([f"{len(names) - most} more"] if len(names) > most else [])]
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"


__all__ = ["listed", "mass_exact", "mass_said", "money_said", "price_said"]
