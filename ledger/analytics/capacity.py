"""How long each step really takes, from the ledger's own history: what the planner counts on."""

from __future__ import annotations

import pandas as pd

from ledger.analytics.labour import _ORDER

ENOUGH = 5
"""Batches below which a figure is called thin."""


def step_times(frame: pd.DataFrame, designs: pd.DataFrame | None = None) -> pd.DataFrame:
    """Hands' time a batch spends at each step: middle and 80 % point, by kind of design.

    Args:
        frame: posting lines or balances with ``batch``, ``design``, ``step``, ``kind``, ``seconds``.
        designs: ``design`` and ``design_kind`` (plain, striped, picture); without it all are one kind, ``''``.

    Returns:
        ``design_kind``, ``step``, ``batches``, ``median_s``, ``p80_s`` (eight batches in ten took no longer; linear between
        neighbours), ``thin`` (fewer than five batches). Whole seconds, rounded.
    """
    names = ["design_kind", "step", "batches", "median_s", "p80_s", "thin"]
    work = frame[(frame["kind"] == "work") & (frame["batch"] != "")] if not frame.empty else frame
    if work.empty:
        return pd.DataFrame(
            {n: pd.Series(dtype=object if n in names[:2] else bool if n == "thin" else "int64") for n in names}
        )
    kinds = {} if designs is None else dict(zip(designs["design"], designs["design_kind"], strict=True))
    work = work.assign(design_kind=work["design"].map(kinds).fillna(""))
    each = work.groupby(["design_kind", "step", "batch"], as_index=False)["seconds"].sum()
    each = each[each["seconds"] > 0]
    table = each.groupby(["design_kind", "step"])["seconds"].agg(
        batches="size", median_s="median", p80_s=lambda s: s.quantile(0.8)
    )
    table = table.reset_index()
    for name in ("median_s", "p80_s"):
        table[name] = table[name].round().astype("int64")
    table["batches"] = table["batches"].astype("int64")
    table["thin"] = table["batches"] < ENOUGH
    table["_order"] = table["step"].map(_ORDER).fillna(len(_ORDER))
    ordered: pd.DataFrame = table.sort_values(["design_kind", "_order", "step"], ignore_index=True)
    return ordered[names]


__all__ = ["ENOUGH", "step_times"]
