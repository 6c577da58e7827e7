"""How amounts, shares, times and small tables read on the audit report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from functools import lru_cache
from typing import Any

import pandas as pd

from ledger.quantities import duration_text, mass_text


@lru_cache(maxsize=20_000)
def shown(amount: int | float, unit: str, system: str = "metric") -> str:
    """An amount for people: ``12 packs``, ``3.250 kg`` (or pounds and ounces where the shop thinks in those)."""
    if unit == "mg":
        return mass_text(int(amount), system) if amount else "0"
    word = unit[:-1] if int(amount) == 1 else unit
    return f"{int(amount)} {word}"


def lasted(time: timedelta) -> str:
    """``1 h 25 min``, ``40 min``."""
    return duration_text(int(time.total_seconds()))


def as_table(columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> pd.DataFrame:
    """A table of text, ready to print."""
    return pd.DataFrame([tuple(str(v) for v in row) for row in rows], columns=list(columns))


def percent(share: float) -> str:
    """A share of 1 in per cent, small ones with more places so that a trace is never told as nothing."""
    if 0 < share < 0.0000005:
        return "under 0.0001 %"
    return f"{100 * share:.1f} %" if share == 0 or share >= 0.0005 else f"{100 * share:.4f} %"


def packs_or_mass(row: Mapping[Any, Any], system: str) -> str:
    """What a delivery held: its packs, or its mass where it has none."""
    return shown(row["packs"], "packs") if row["packs"] else shown(row["mass_mg"], "mg", system)
