"""Settings out of the owner's tables, as a page or a CSV gives them."""

from __future__ import annotations

from typing import Any

import pandas as pd

from ledger.errors import BadInput
from ledger.forecast.calendar import USUAL_FEASTS, feasts_from
from ledger.forecast.settings import Analogue, ForecastSettings, Window


def settings_from_tables(
    feasts: pd.DataFrame | None = None,
    windows: pd.DataFrame | None = None,
    analogues: pd.DataFrame | None = None,
    **others: Any,
) -> ForecastSettings:
    """Settings from the three tables; the usual four feasts where none are given.

    Args:
        feasts: ``name``, ``rule``: a rule (``12-25``, ``easter-21``, ``nth 07 6 3``) or one ISO date a row.
        windows: ``flavour``, ``feast``, ``days_before``, ``days_after``.
        analogues: ``flavour``, ``like``, ``share``.
        others: any further field of ``ForecastSettings``.

    Raises:
        BadInput: a column is missing, or a row cannot be.
    """
    named = USUAL_FEASTS
    if feasts is not None and len(feasts):
        named = feasts_from((str(n), str(r)) for n, r in _columns(feasts, "feasts", "name", "rule"))
    return ForecastSettings(
        feasts=named,
        windows=tuple(
            Window(str(f), str(feast), int(before), int(after))
            for f, feast, before, after in _columns(windows, "windows", "flavour", "feast", "days_before", "days_after")
        ),
        analogues=tuple(
            Analogue(str(f), str(like), float(share))
            for f, like, share in _columns(analogues, "analogues", "flavour", "like", "share")
        ),
        **others,
    )


def _columns(table: pd.DataFrame | None, name: str, *columns: str) -> list[tuple[Any, ...]]:
    if table is None or table.empty:
        return []
    missing = [c for c in columns if c not in table.columns]
    if missing:
        raise BadInput(f"the table {name} lacks the columns {', '.join(missing)}", table=name, missing=missing)
    return list(table[list(columns)].itertuples(index=False, name=None))
