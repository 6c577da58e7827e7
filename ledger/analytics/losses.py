"""Where the sugar went between kettle and jar: water apart from scrap, every loss by step and cause, ranked."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ledger.analytics.flows import MAKING, flows, share, sums, told

WATERFALL = (
    ("charged_mg", "charged into the kettle", 1),
    ("evaporated_mg", "water boiled off", -1),
    ("reboil_mg", "kept for re-boil", -1),
    ("scrap_mg", "scrap", -1),
    ("unexplained_mg", "unexplained", -1),
    ("aside_mg", "tasted, binned or counted away", -1),
    ("in_work_mg", "still in work (more than before)", -1),
    ("packed_mg", "packed", 0),
)
"""Steps of the waterfall: flow, words, sign. The signed figures of all but the last add up to the last, exactly."""

_EDGE = ["step", "cause", "loss"]


def waterfall(frame: pd.DataFrame) -> pd.DataFrame:
    """Kettle to jar for the whole frame.

    Returns:
        ``flow``, ``what``, ``change_mg`` (signed; the packed row holds the end level), ``left_mg`` (level after the row), and
        ``cooked_ratio`` (share of the cooked mass, charged less evaporated; NaN for the first two rows).
    """
    total = flows(frame, ())
    if total.empty:
        return _typed(
            pd.DataFrame(columns=["flow", "what", "change_mg", "left_mg", "cooked_ratio"]), ["change_mg", "left_mg"]
        )
    cooked = int(total["charged_mg"].iloc[0] - total["evaporated_mg"].iloc[0])
    rows, level = [], 0
    for flow, words, sign in WATERFALL:
        mass = int(total[flow].iloc[0])
        change = sign * mass if sign else mass
        level += sign * mass
        share = mass / cooked if cooked and flow not in ("charged_mg", "evaporated_mg") else float("nan")
        rows.append((flow, words, change, level, share))
    return pd.DataFrame(rows, columns=["flow", "what", "change_mg", "left_mg", "cooked_ratio"])


def losses(frame: pd.DataFrame, by: Sequence[str] = ()) -> pd.DataFrame:
    """Every loss by step and cause, largest first: scrap by cause, unexplained by step, and the shelf's own losses.

    Args:
        frame: balances of postings with ``step``, ``kind``, ``account``.
        by: columns to keep apart besides (``flavour``, ``week``...).

    Returns:
        `by`, ``step``, ``cause``, ``loss`` (``scrap``, ``unexplained``, ``reboil``), ``mass_mg``, ``pieces``, ``rank`` (1 = worst; re-boil
        is not ranked, rank 0, since it comes back), ``loss_ratio`` (share of all scrap and unexplained; NaN for re-boil), ``cooked_ratio`` (share of
        what was cooked of the same `by`; NaN where nothing was).
    """
    keys = list(by)
    names = [*keys, *_EDGE, "mass_mg", "pieces", "rank", "loss_ratio", "cooked_ratio"]
    table = masses(frame, by)
    if table.empty:
        return _typed(pd.DataFrame(columns=names), ["mass_mg", "pieces", "rank"])
    found = {name: table[name].tolist() for name in table}
    lost = [loss != "reboil" for loss in found["loss"]]
    order = sorted(
        range(len(table)),
        key=lambda i: (not lost[i], -abs(found["mass_mg"][i]), found["step"][i], found["cause"][i], found["loss"][i]),
    )
    table = table.take(order).reset_index(drop=True)
    counted = np.array([lost[i] for i in order])
    mass = table["mass_mg"].to_numpy(dtype=np.int64)
    total = flows(frame, keys)
    made = (total["charged_mg"] - total["evaporated_mg"]).tolist()
    if keys:
        of = dict(zip(zip(*(total[k].tolist() for k in keys), strict=True), made, strict=True))
        cooked = np.array([of[key] for key in zip(*(table[k].tolist() for k in keys), strict=True)], dtype=np.int64)
    else:
        cooked = np.full(len(table), sum(made), dtype=np.int64)
    table["rank"] = np.where(counted, np.cumsum(counted), 0).astype(np.int64)
    table["loss_ratio"] = np.where(counted, share(mass, np.full(len(mass), mass[counted].sum())), np.nan)
    table["cooked_ratio"] = share(mass, cooked)
    return table[names]


def masses(frame: pd.DataFrame, by: Sequence[str] = ()) -> pd.DataFrame:
    """Every loss that is not zero, unranked: `by`, ``step``, ``cause``, ``loss``, ``mass_mg``, ``pieces``."""
    keys = list(by)
    names = [*keys, *_EDGE, "mass_mg", "pieces"]
    if frame.empty:
        return _typed(pd.DataFrame(columns=names), ["mass_mg", "pieces"])
    nowhere = np.zeros(len(frame), dtype=bool)
    kinds, steps = told(frame["kind"]), told(frame["step"])
    making = np.logical_or.reduce([steps.get(name, nowhere) for name in MAKING])
    reboil = kinds.get("lot.reboil", nowhere) & making & (frame["mass_mg"].to_numpy() > 0)
    seen = kinds.get("scrap", nowhere) | kinds.get("unexplained", nowhere) | reboil
    if not seen.any():
        return _typed(pd.DataFrame(columns=names), ["mass_mg", "pieces"])
    words = {"unexplained": "unexplained", "lot.reboil": "kept for re-boil"}
    kind, account = frame["kind"].to_numpy(dtype=object)[seen], frame["account"].to_numpy(dtype=object)[seen]
    rows = pd.DataFrame({k: frame[k].to_numpy(dtype=object)[seen] for k in dict.fromkeys([*keys, "step"])})
    rows["loss"] = np.where(kind == "lot.reboil", "reboil", kind)
    rows["cause"] = [words.get(k, a) for k, a in zip(kind, account, strict=True)]
    table = sums([*keys, *_EDGE], rows, {n: frame[n].to_numpy(dtype=np.int64)[seen] for n in ("mass_mg", "pieces")})
    return table[table["mass_mg"] != 0].reset_index(drop=True)


def worst(table: pd.DataFrame) -> pd.Series | None:
    """The largest single loss of a `losses` table, or None."""
    ranked = table[(table["rank"] > 0) & (table["mass_mg"] > 0)]
    return None if ranked.empty else ranked.iloc[0]


def _typed(table: pd.DataFrame, whole: list[str]) -> pd.DataFrame:
    floats = [c for c in table.columns if str(c).endswith("_ratio")]
    return table.astype({**dict.fromkeys(whole, "int64"), **dict.fromkeys(floats, "float64")})


__all__ = ["WATERFALL", "losses", "masses", "waterfall", "worst"]
