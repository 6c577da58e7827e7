"""Yields: how much of what was charged became good pieces, and how much of that is water, re-boil, scrap or a riddle.

Formulas follow ISO 22400-2 where it has the measure; where the trade differs it is said. Every ratio is taken once, at the end,
from whole milligrams.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from ledger.analytics.flows import FLOWS, STEPS, flows, share, step_flows

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
          (sound pieces x solids share of the cooked mass / solids charged): it does not move when a cook is left wetter.
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
    whole = dict(zip(FLOWS, table[list(FLOWS)].to_numpy().T, strict=True))
    cooked = whole["charged_mg"] - whole["evaporated_mg"]
    theoretical = whole["charged_mg"] - whole["theory_mg"]
    charged, good = whole["charged_mg"], whole["good_mg"]
    shares = {
        "kettle_yield_ratio": share(whole["poured_mg"], charged),
        "theory_yield_ratio": share(theoretical, charged),
        "process_yield_ratio": share(good, theoretical),
        "solids_yield_ratio": share(good * share(whole["solids_mg"], cooked), whole["solids_mg"]),
        "finished_goods_ratio": share(good, charged),
        "rework_ratio": share(whole["reboil_mg"], cooked),
        "scrap_ratio": share(whole["scrap_mg"], cooked),
        "unexplained_ratio": share(whole["unexplained_mg"], cooked),
    }
    masses = pd.DataFrame(
        np.stack([cooked, theoretical], axis=1), columns=["cooked_mg", "theoretical_mg"], index=table.index
    )
    ratios = pd.DataFrame(np.stack(list(shares.values()), axis=1), columns=list(shares), index=table.index)
    return pd.concat([table, masses, ratios], axis=1)


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
    keys = list(by)
    out, step = table["out_mg"].to_numpy(), table["step"].to_numpy(dtype=object)
    entering = table["in_mg"].to_numpy() - table["evaporated_mg"].to_numpy()
    batch = list(zip(*(table[k].tolist() for k in keys), strict=True)) if keys else [()] * len(table)
    poured = {key: int(mass) for key, mass, name in zip(batch, out, step, strict=True) if name == "cook"}
    whole = np.array([poured.get(key, 0) for key in batch], dtype=np.int64)
    partial = ((step == "pull") | (step == "blend")) & (whole > 0)
    first = share(out, entering)
    table["first_pass_ratio"] = first
    table["reach_ratio"] = np.where(partial, 1 - share(entering - out, whole), first)
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
    return rolled_of(first_pass(frame, by), by)


def rolled_of(steps: pd.DataFrame, by: Sequence[str] = ()) -> pd.DataFrame:
    """The same from a `first_pass` table with the same `by`."""
    keys = list(by)
    wanted = steps["step"].isin(STEPS[:-1]).to_numpy()
    each: dict[tuple[str, ...], list[float]] = {} if keys else {(): []}
    columns = [steps[k].to_numpy()[wanted] for k in keys]
    for number, reach in enumerate(steps["reach_ratio"].to_numpy()[wanted]):
        each.setdefault(tuple(c[number] for c in columns), []).append(float(reach))
    rows = [
        (*key, value, defects_per_unit(value)) for key, ratios in each.items() for value in [rolled_throughput(ratios)]
    ]
    table = pd.DataFrame(rows, columns=[*keys, "rolled_throughput_ratio", "defects_per_unit"])
    return table.astype({"rolled_throughput_ratio": "float64", "defects_per_unit": "float64"})


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
    "RATIOS", "defects_per_unit", "expected_pieces", "first_pass", "overall_equipment_effectiveness", "rolled", "rolled_of", "rolled_throughput",
    "shop_row", "with_ratios", "yields",
]  # fmt: skip
