"""Yields: how much of what was charged became good pieces, and how much of that is water, re-boil, scrap or a riddle.

Formulas follow ISO 22400-2 where it has the measure; where the trade differs it is said. Every ratio is taken once, at the end,
from whole milligrams.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from ledger.analytics.flows import FLOWS, STEPS, flows, ratio, step_flows

RATIOS = (
    "kettle_yield_ratio", "theory_yield_ratio", "process_yield_ratio", "solids_yield_ratio", "finished_goods_ratio", "rework_ratio",
    "scrap_ratio", "unexplained_ratio",
)  # fmt: skip


def yields(
    frame: pd.DataFrame, by: Sequence[str] = ("flavour", "design"), expected: pd.DataFrame | None = None
) -> pd.DataFrame:
    """All flows and yield measures for each combination of `by`.

    Args:
        frame: balances of postings, as `Queries.weekly` gives them.
        by: what to keep apart; empty for the whole shop.
        expected: optional ``batch`` figures (`Queries.batches`): adds ``expected_pieces``, see `expected_pieces`.

    Returns:
        Columns `by`, `FLOWS`, ``cooked_mg`` (charged - evaporated), ``theoretical_mg`` (charged - theory), and `RATIOS`:

        * kettle_yield = poured / charged. theory_yield = theoretical / charged (what a loss-free cook gives).
        * process_yield = sound pieces / theoretical cooked mass; solids_yield = dry solids in sound pieces / dry solids charged
          (sound pieces x solids share of the cooked mass / solids charged).
        * finished_goods = sound pieces / all material consumed: ISO 22400-2 finished goods ratio, GQ/CM.
        * rework = re-boil / cooked: ISO 22400-2 rework ratio, RQ/PQ. ISO counts recycled matter as scrap; here re-boil is rework.
        * scrap = scrap / cooked: ISO 22400-2 scrap ratio, SQ/PQ. unexplained = unexplained / cooked.
    """
    table = flows(frame, by)
    table = with_ratios(table)
    if expected is not None and set(by) <= {"flavour", "design"}:
        pieces = expected_pieces(expected, by)
        table = (
            table.merge(pieces, how="left", on=list(by))
            if by
            else table.assign(expected_pieces=pieces["expected_pieces"].sum())
        )
        table["expected_pieces"] = table["expected_pieces"].fillna(0).astype("int64")
    return table


def with_ratios(table: pd.DataFrame) -> pd.DataFrame:
    """Flows with cooked and theoretical mass and all ratios added."""
    table = table.copy()
    table["cooked_mg"] = table["charged_mg"] - table["evaporated_mg"]
    table["theoretical_mg"] = table["charged_mg"] - table["theory_mg"]
    cooked = table["cooked_mg"]
    table["kettle_yield_ratio"] = ratio(table["poured_mg"], table["charged_mg"])
    table["theory_yield_ratio"] = ratio(table["theoretical_mg"], table["charged_mg"])
    table["process_yield_ratio"] = ratio(table["good_mg"], table["theoretical_mg"])
    table["solids_yield_ratio"] = solids_yield(table["good_mg"], cooked, table["solids_mg"])
    table["finished_goods_ratio"] = ratio(table["good_mg"], table["charged_mg"])
    table["rework_ratio"] = ratio(table["reboil_mg"], cooked)
    table["scrap_ratio"] = ratio(table["scrap_mg"], cooked)
    table["unexplained_ratio"] = ratio(table["unexplained_mg"], cooked)
    return table


def solids_yield(good_mg: pd.Series, cooked_mg: pd.Series, solids_mg: pd.Series) -> pd.Series:
    """Dry solids in sound pieces / dry solids charged: good x (solids / cooked) / solids.

    Sugar neither boils away nor appears, so the solids share of the cooked mass is solids / cooked, and the measure does not move
    when a cook is left a little wetter: that is what it is for.
    """
    return ratio(good_mg * ratio(solids_mg, cooked_mg), solids_mg)


def expected_pieces(batches: pd.DataFrame, by: Sequence[str] = ("flavour", "design")) -> pd.DataFrame:
    """Pieces that were to be expected: theoretical mass x process yield of the recipe / planned mass of a piece, rounded down.

    Args:
        batches: ``flavour``, ``design``, ``theoretical_mg``, ``process_yield_ppm``, ``piece_mg`` (0: no piece planned, not counted).
    """
    keys = list(by)
    if batches.empty:
        return pd.DataFrame({**{k: pd.Series(dtype=object) for k in keys}, "expected_pieces": pd.Series(dtype="int64")})
    counted = batches[batches["piece_mg"] > 0]
    pieces = [
        int(mass) * int(share) // 1_000_000 // int(piece)
        for mass, share, piece in zip(
            counted["theoretical_mg"], counted["process_yield_ppm"], counted["piece_mg"], strict=True
        )
    ]
    done = counted.assign(expected_pieces=np.array(pieces, dtype=np.int64))
    if not keys:
        return pd.DataFrame({"expected_pieces": [int(done["expected_pieces"].sum())]}).astype("int64")
    return done.groupby(keys)[["expected_pieces"]].sum().reset_index()


def first_pass(frame: pd.DataFrame, by: Sequence[str] = ()) -> pd.DataFrame:
    """First-pass yield of every step: sound mass out / mass in (for a cook: / cooked mass, water being no loss).

    Returns:
        `step_flows` with ``first_pass_ratio`` and ``reach_ratio``. Six Sigma texts and ISO 22400-2 (good parts / inspected parts)
        count parts; candy in work is one mass, so milligrams stand for parts. Pull and blend touch only some portions of a batch:
        their ``reach_ratio`` is 1 - lost / poured mass, so that the product over steps is not blamed for a loss it did not have.
    """
    table = step_flows(frame, by)
    entering = table["in_mg"] - table["evaporated_mg"]
    table["first_pass_ratio"] = ratio(table["out_mg"], entering)
    keys = list(by)
    poured = table[table["step"] == "cook"][[*keys, "out_mg"]].rename(columns={"out_mg": "_poured"})
    if keys:
        whole = table[keys].merge(poured, how="left", on=keys)["_poured"]
    else:
        whole = pd.Series(np.full(len(table), poured["_poured"].sum() if len(poured) else 0), dtype="float64")
    whole.index = table.index
    partial = table["step"].isin(["pull", "blend"]) & (whole.fillna(0) > 0)
    lost = entering - table["out_mg"]
    table["reach_ratio"] = table["first_pass_ratio"].where(~partial, 1 - ratio(lost, whole))
    return table


def rolled_throughput(first_pass_ratios: Sequence[float]) -> float:
    """Rolled throughput yield: the product of first-pass yields (Six Sigma texts). NaN when there are none."""
    known = [x for x in first_pass_ratios if not math.isnan(x)]
    return math.prod(known) if known else math.nan


def defects_per_unit(throughput: float) -> float:
    """DPU = -ln(RTY) (Six Sigma texts); NaN for nothing, infinite when nothing came through."""
    if math.isnan(throughput):
        return math.nan
    return -math.log(throughput) if throughput > 0 else math.inf


def rolled(frame: pd.DataFrame, by: Sequence[str] = ()) -> pd.DataFrame:
    """Rolled throughput yield and defects per unit from kettle to cut pieces, for each combination of `by`.

    Packing is left out: it happens days later and its give-away is its own measure (`first_pass`).
    """
    keys = list(by)
    steps = first_pass(frame, by)
    steps = steps[steps["step"].isin(STEPS[:-1])]
    if not keys:
        value = rolled_throughput(steps["reach_ratio"].tolist())
        return pd.DataFrame({"rolled_throughput_ratio": [value], "defects_per_unit": [defects_per_unit(value)]})
    rows = [
        (key if isinstance(key, tuple) else (key,), rolled_throughput(g["reach_ratio"].tolist()))
        for key, g in steps.groupby(keys)
    ]
    return pd.DataFrame(
        [(*key, value, defects_per_unit(value)) for key, value in rows],
        columns=[*keys, "rolled_throughput_ratio", "defects_per_unit"],
    ).astype({"rolled_throughput_ratio": "float64", "defects_per_unit": "float64"})


def shop_row(table: pd.DataFrame) -> pd.DataFrame:
    """One row for the whole shop from a table of flows: whole figures summed, ratios taken anew from the sums."""
    total = table[list(FLOWS)].sum().to_frame().T.astype("int64")
    done = with_ratios(total)
    if "expected_pieces" in table:
        done["expected_pieces"] = int(table["expected_pieces"].sum())
    return done


def overall_equipment_effectiveness(availability: float, effectiveness: float, quality: float) -> float:
    """OEE index = availability x effectiveness x quality ratio (ISO 22400-2)."""
    return availability * effectiveness * quality


__all__ = [
    "RATIOS", "defects_per_unit", "expected_pieces", "first_pass", "overall_equipment_effectiveness", "rolled", "rolled_throughput",
    "shop_row", "solids_yield", "with_ratios", "yields",
]  # fmt: skip
