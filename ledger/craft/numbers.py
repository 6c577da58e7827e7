"""The few rules of arithmetic the craft shares: whole results, exact splits, ranges checked in one place.

Calculations run in floating point; what leaves the craft is whole (mg, micrometres, thousandths of a degree, parts per
million, seconds), rounded once, half up, here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from ledger.craft.errors import OutOfRange

PPM = 1_000_000
MG_PER_KG = 1_000_000
UM_PER_MM = 1_000


def whole(value: float) -> int:
    """Round half up to a whole number: the one rounding of the craft."""
    return math.floor(value + 0.5)


def shared_out(total: int, weights: Sequence[float]) -> tuple[int, ...]:
    """Split ``total`` in proportion to ``weights`` so that the parts sum to it exactly.

    The largest remainders get the units left over (Hamilton's method), so that no milligram appears or disappears.
    """
    base = math.fsum(weights)
    if base <= 0 or min(weights) < 0:
        raise OutOfRange(f"cannot split {total} by {list(weights)}: give parts of zero or more, not all zero.")
    exact = [total * weight / base for weight in weights]
    parts = [math.floor(value) for value in exact]
    left = total - sum(parts)
    order = sorted(range(len(parts)), key=lambda i: (parts[i] - exact[i], i))
    for i in order[:left]:
        parts[i] += 1
    return tuple(parts)


def within(name: str, value: float, low: float, high: float, unit: str, way_out: str) -> float:
    """Return ``value`` if it lies in ``low..high``; otherwise say the value, the limits and the way out.

    Raises:
        OutOfRange: outside the limits, or not a number.
    """
    if not (low <= value <= high):
        raise OutOfRange(
            f"{name} is {value:g} {unit}, and must lie between {low:g} and {high:g} {unit}. {way_out}",
            name=name,
            value=value,
            low=low,
            high=high,
            unit=unit,
        )
    return value
