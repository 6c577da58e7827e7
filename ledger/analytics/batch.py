"""Everything about one batch: what went through each step, what was lost, which lots went in and came out, and its yield."""

from __future__ import annotations

import pandas as pd

from ledger.analytics.flows import step_flows
from ledger.analytics.yields import expected_pieces, first_pass, yields


def steps(lines: pd.DataFrame) -> pd.DataFrame:
    """Each step of the batch in floor order with its first-pass yield; see `first_pass`."""
    return first_pass(lines)


def summary(lines: pd.DataFrame, process_yield_ppm: int = 0, piece_mg: int = 0) -> pd.DataFrame:
    """One row: all flows and ratios of the batch, and the pieces that were to be expected of it."""
    table = yields(lines, ())
    if not table.empty:
        plan = table.assign(process_yield_ppm=process_yield_ppm, piece_mg=piece_mg)
        table["expected_pieces"] = int(expected_pieces(plan, ())["expected_pieces"].iloc[0])
    return table


def lots_in(lines: pd.DataFrame) -> pd.DataFrame:
    """Lots that came from outside the batch and went into it (materials, re-boil): ``lot``, ``kind``, ``item``, ``step``, ``mass_mg``."""
    return _lots(lines, ("lot.material", "lot.reboil"), -1)


def lots_out(lines: pd.DataFrame) -> pd.DataFrame:
    """Lots the batch made, with what arrived in each at the making step: ``lot``, ``kind``, ``item``, ``step``, ``mass_mg``, ``pieces``, ``packs``."""
    return _lots(lines, ("lot.mass", "lot.log", "lot.rods", "lot.pieces", "lot.packs", "lot.reboil"), 1)


def _lots(lines: pd.DataFrame, kinds: tuple[str, ...], sign: int) -> pd.DataFrame:
    names = ["mass_mg", "pieces", "packs"]
    keys = ["account", "kind", "item", "step"]
    rows = lines[lines["kind"].isin(kinds) & (lines["mass_mg"] * sign > 0)] if not lines.empty else lines
    if rows.empty:
        empty = {
            **{k: pd.Series(dtype=object) for k in ["lot", *keys[1:]]},
            **{n: pd.Series(dtype="int64") for n in names},
        }
        return pd.DataFrame(empty)
    table = rows.groupby(keys, as_index=False, sort=False)[names].sum()
    table[names] *= sign
    table["kind"] = table["kind"].str.removeprefix("lot.")
    return table.rename(columns={"account": "lot"})


__all__ = ["lots_in", "lots_out", "step_flows", "steps", "summary"]
