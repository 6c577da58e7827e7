"""Control charts for single weekly figures: individuals and moving range, and the weeks that stand out, with the rule that fired.

Constants for a moving range of two: d2 = 1.128, D4 = 3.267 (published in any text on statistical process control, such as
Montgomery, Introduction to Statistical Quality Control; NIST/SEMATECH e-Handbook 6.3.2.2 prints 3 MRbar / 1.128, which is the
well-known 2.66 MRbar). Run rules are those of the Western Electric handbook as in NIST/SEMATECH e-Handbook 6.3.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

D2 = 1.128
D4 = 3.267
STEPS = ("cook", "cut")
"""Process yield is sound pieces cut by the mass the recipe promises of what was charged: no other step has a part in it."""
ENOUGH = 8
"""Points below which limits are drawn but called provisional."""

RULES = {
    "beyond": "outside the limits",
    "two-of-three": "two of three weeks in a row past two thirds of the way to the same limit",
    "four-of-five": "four of five weeks in a row past one third of the way to the same limit",
    "eight-in-a-row": "eight weeks in a row on the same side of the middle",
    "jump": "jumped further from the week before than this figure usually does",
}
USUAL_RULES = ("beyond", "two-of-three", "eight-in-a-row", "jump")


@dataclass(frozen=True, slots=True)
class Limits:
    """Middle and limits of both charts, in the unit of the figure. moving_range is the mean of the ranges."""

    center: float
    lower: float
    upper: float
    moving_range: float
    range_upper: float
    points: int

    @property
    def sigma(self) -> float:
        """Estimated standard deviation: MRbar / 1.128."""
        return self.moving_range / D2

    @property
    def provisional(self) -> bool:
        """Whether there are too few points for the limits to mean much."""
        return self.points < ENOUGH


def limits(values: Sequence[float] | pd.Series) -> Limits:
    """X-bar +/- 3 MRbar / 1.128 and the range limit 3.267 MRbar, from values in time order; NaN values are left out."""
    known = np.asarray([v for v in values if not np.isnan(v)], dtype=np.float64)
    if len(known) < 2:
        center = float(known[0]) if len(known) else float("nan")
        nan = float("nan")
        return Limits(center, nan, nan, nan, nan, len(known))
    center, moving = float(known.mean()), float(np.abs(np.diff(known)).mean())
    reach = 3 * moving / D2
    return Limits(center, center - reach, center + reach, moving, D4 * moving, len(known))


def chart(
    table: pd.DataFrame,
    value: str,
    label: str = "week",
    rules: Sequence[str] = USUAL_RULES,
    basis: Limits | None = None,
) -> pd.DataFrame:
    """Each point with its moving range, limits, and the rules that fired at it.

    Args:
        table: rows in time order with `label` and `value`; rows without a value are left out.
        rules: names of `RULES` to apply. basis: limits to judge by (else worked out from the points themselves).

    Returns:
        `label`, ``value``, ``moving_range``, ``center``, ``lower``, ``upper``, ``range_upper``, ``rules`` (names, space separated), ``unusual``.
    """
    rows = table[[label, value]].dropna().reset_index(drop=True)
    x = rows[value].to_numpy(dtype=np.float64)
    lines = basis or limits(x.tolist())
    moving = np.abs(np.diff(x, prepend=np.nan)) if len(x) else x
    fired: list[list[str]] = [[] for _ in x]
    if lines.points >= 2 and lines.sigma > 0:
        z = (x - lines.center) / lines.sigma
        tests = {
            "beyond": np.abs(z) > 3,
            "two-of-three": _so_many_of(z, 2.0, 2, 3),
            "four-of-five": _so_many_of(z, 1.0, 4, 5),
            "eight-in-a-row": _so_many_of(z, 0.0, 8, 8),
            "jump": np.nan_to_num(moving, nan=0.0) > lines.range_upper,
        }
        for name in rules:
            for at in np.flatnonzero(tests[name]):
                fired[at].append(name)
    result = pd.DataFrame({label: rows[label], "value": x, "moving_range": moving})
    for name in ("center", "lower", "upper", "range_upper"):
        result[name] = float(getattr(lines, name))
    result["rules"] = [" ".join(f) for f in fired]
    result["unusual"] = result["rules"] != ""
    return result


def _so_many_of(z: np.ndarray, sigmas: float, need: int, span: int) -> np.ndarray:  # type: ignore[type-arg]
    """Points that complete a pattern: at least `need` of the last `span` beyond so many sigmas on the point's own side."""
    found = np.zeros(len(z), dtype=bool)
    for side in (1, -1):
        past = side * z > sigmas
        for at in np.flatnonzero(past):
            if at + 1 >= need and past[max(0, at + 1 - span) : at + 1].sum() >= need:
                found[at] = True
    return found


def unusual(points: pd.DataFrame, label: str = "week") -> pd.DataFrame:
    """The points that stand out, one row a rule: `label`, ``value``, ``side`` (``low``/``high``), ``rule``, ``why``."""
    rows = []
    for point in points[points["unusual"]].to_dict("records"):
        side = "low" if point["value"] < point["center"] else "high"
        rows += [(point[label], point["value"], side, rule, RULES[rule]) for rule in point["rules"].split()]
    return pd.DataFrame(rows, columns=[label, "value", "side", "rule", "why"]).astype({"value": "float64"})


__all__ = ["D2", "D4", "ENOUGH", "RULES", "STEPS", "USUAL_RULES", "Limits", "chart", "limits", "unusual"]
