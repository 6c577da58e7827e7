"""Turns balances of postings into the named flows a shop speaks of: charged, evaporated, poured, cut, packed, sold, lost.

The one place that knows which accounts make up which figure. All figures stay whole milligrams, pieces, packs, seconds and minor
units; no ratio is taken here. Input is the frame of `Queries.weekly` (or `Queries.balances` with the same key columns): ``step``,
``kind``, ``account``, ``mass_mg``, ``pieces``, ``packs``, ``seconds``, ``money``, ``solids_mg``, ``theory_mg``, and whatever it is
grouped by.

Why the figures close. Every entry balances, so over the making steps (cook to pack, and closing)::

    charged = evaporated + packed + re-boil + scrap + unexplained + taken aside + change of what is in work

to the milligram, for any set of entries whatever.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
Whole = NDArray[np.int64]
STEPS = ("cook", "pull", "blend", "build", "roll", "cut", "pack")
"""The steps of a batch in the order of the floor."""

MAKING = (*STEPS, "close")
"""Steps whose entries balance within the workshop: nothing is bought, sold or counted in them."""

FLOWS = (
    "charged_mg", "material_mg", "water_mg", "reboil_in_mg", "solids_mg", "evaporated_mg", "theory_mg", "poured_mg", "built_mg",
    "rolled_mg", "good_mg", "good_pieces", "reboil_mg", "scrap_mg", "unexplained_mg", "aside_mg", "in_work_mg", "packed_mg",
    "packed_packs", "sold_mg", "sold_packs", "takings_minor", "sampled_mg", "shelf_scrap_mg", "count_gap_mg", "seconds",
)  # fmt: skip
"""Columns of `flows`.

charged: all that went into the kettle, water and re-boil with it. solids: its dry matter. evaporated: what went into the air.
theory: what should have evaporated at the recipe's moisture. poured: cooked mass in portions. good: sound pieces cut.
reboil: ends kept for a later cook. scrap: binned while making. unexplained: what nobody can point at while making (negative: more
came out than went in). aside: sampled, binned or counted away from unfinished goods and loose pieces. in_work: how much more (or
less) lies in portions, logs, rods and loose pieces after than before. sold: left with customers, less what came back.
sampled, shelf_scrap, count_gap: taken from any lot outside the making steps. seconds: all hands together.
"""

KINDS = (
    "lot.material", "lot.reboil", "lot.mass", "lot.log", "lot.rods", "lot.pieces", "lot.packs", "water", "air", "scrap", "unexplained",
    "customer", "till", "sample", "work",
)  # fmt: skip
"""Kinds of account that `flows` and the losses read. The rest (cost, income, wages, workers, tallies) only makes entries balance."""

_PLACE = {name: place for place, name in enumerate(MAKING)}
_WORK = ("lot.mass", "lot.log", "lot.rods", "lot.pieces")


def flows(frame: pd.DataFrame, by: Sequence[str] = ("flavour", "design")) -> pd.DataFrame:
    """The named flows for each combination of `by`, sorted by it.

    Args:
        frame: balances of postings with ``step``, ``kind`` and the measures.
        by: columns of the frame to keep apart; empty for one row of the whole shop.

    Returns:
        Columns `by` and `FLOWS`, all int64. No rows for an empty frame.
    """
    keys = list(by)
    if frame.empty:
        empty = {**{k: pd.Series(dtype=object) for k in keys}, **{f: pd.Series(dtype="int64") for f in FLOWS}}
        return pd.DataFrame(empty)
    is_step, is_kind = told(frame["step"]), told(frame["kind"])
    mass = frame["mass_mg"].to_numpy(dtype=np.int64)
    into = mass > 0
    nowhere = np.zeros(len(frame), dtype=bool)

    def at(name: str) -> Mask:
        return is_step.get(name, nowhere)

    def of(name: str) -> Mask:
        return is_kind.get(name, nowhere)

    making = np.logical_or.reduce([at(name) for name in MAKING])

    def measure(name: str) -> Whole:
        return frame[name].to_numpy(dtype=np.int64)

    cook, out = at("cook"), ~into
    work = np.logical_or.reduce([of(name) for name in _WORK])
    charge = cook & out & (of("lot.material") | of("water") | of("lot.reboil"))
    pieces_made = at("cut") & of("lot.pieces") & into
    packed = at("pack") & of("lot.packs") & into
    columns = {
        "charged_mg": (charge, -mass),
        "material_mg": (cook & of("lot.material"), -mass),
        "water_mg": (cook & of("water"), -mass),
        "reboil_in_mg": (cook & out & of("lot.reboil"), -mass),
        "solids_mg": (cook, measure("solids_mg")),
        "evaporated_mg": (making & of("air"), mass),
        "theory_mg": (cook, measure("theory_mg")),
        "poured_mg": (cook & of("lot.mass") & into, mass),
        "built_mg": (at("build") & of("lot.log") & into, mass),
        "rolled_mg": (at("roll") & of("lot.rods") & into, mass),
        "good_mg": (pieces_made, mass),
        "good_pieces": (pieces_made, measure("pieces")),
        "reboil_mg": (making & of("lot.reboil") & into, mass),
        "scrap_mg": (making & of("scrap"), mass),
        "unexplained_mg": (making & of("unexplained"), mass),
        "aside_mg": (~making & work, -mass),
        "in_work_mg": (work, mass),
        "packed_mg": (packed, mass),
        "packed_packs": (packed, measure("packs")),
        "sold_mg": (of("customer"), mass),
        "sold_packs": (of("customer"), measure("packs")),
        "takings_minor": (of("till"), measure("money")),
        "sampled_mg": (of("sample"), mass),
        "shelf_scrap_mg": (~making & of("scrap"), mass),
        "count_gap_mg": (~making & of("unexplained"), mass),
        "seconds": (of("work"), measure("seconds")),
    }
    masked = {name: np.where(mask, value, 0) for name, (mask, value) in columns.items()}
    if not keys:
        return pd.DataFrame({name: [int(value.sum())] for name, value in masked.items()}, dtype="int64")
    return sums(keys, frame, masked)


def told(column: pd.Series) -> dict[str, Mask]:
    """Which rows hold each word of a column. Words are compared once each, not once a row and word."""
    codes, words = pd.factorize(column.to_numpy(dtype=object))
    return {str(word): codes == code for code, word in enumerate(words)}


def gap_mg(row: pd.DataFrame) -> pd.Series:
    """What the mass identity leaves over, in mg, for each row of `flows`: zero, always."""
    parts = ["evaporated_mg", "packed_mg", "reboil_mg", "scrap_mg", "unexplained_mg", "aside_mg", "in_work_mg"]
    return row["charged_mg"] - row[parts].sum(axis=1)


def step_flows(frame: pd.DataFrame, by: Sequence[str] = ()) -> pd.DataFrame:
    """What went into each making step and what became of it, one row a step (and combination of `by`).

    Returns:
        Columns `by`, ``step``, ``in_mg``, ``out_mg`` (sound, to the next step), ``evaporated_mg``, ``reboil_mg``, ``scrap_mg``,
        ``unexplained_mg``, ``seconds``; int64, steps in floor order. ``in = out + evaporated + re-boil + scrap + unexplained``.
    """
    keys = list(by)
    names = ["in_mg", "out_mg", "evaporated_mg", "reboil_mg", "scrap_mg", "unexplained_mg", "seconds"]
    rows = frame
    if not frame.empty:
        said = told(frame["step"])
        rows = frame[
            np.logical_or.reduce([said[name] for name in MAKING if name in said] or [np.zeros(len(frame), dtype=bool)])
        ]
    if rows.empty:
        return pd.DataFrame(
            {**{k: pd.Series(dtype=object) for k in [*keys, "step"]}, **{n: pd.Series(dtype="int64") for n in names}}
        )
    kinds = told(rows["kind"])
    nowhere = np.zeros(len(rows), dtype=bool)
    mass = rows["mass_mg"].to_numpy(dtype=np.int64)
    lot = np.logical_or.reduce([nowhere, *(mask for kind, mask in kinds.items() if kind.startswith("lot."))])
    into, reboil = mass > 0, kinds.get("lot.reboil", nowhere)
    columns = {
        "in_mg": np.where((lot | kinds.get("water", nowhere)) & ~into, -mass, 0),
        "out_mg": np.where(lot & ~reboil & into, mass, 0),
        "evaporated_mg": np.where(kinds.get("air", nowhere), mass, 0),
        "reboil_mg": np.where(reboil & into, mass, 0),
        "scrap_mg": np.where(kinds.get("scrap", nowhere), mass, 0),
        "unexplained_mg": np.where(kinds.get("unexplained", nowhere), mass, 0),
        "seconds": np.where(kinds.get("work", nowhere), rows["seconds"].to_numpy(dtype=np.int64), 0),
    }
    result = sums([*keys, "step"], rows, columns)
    named = list(zip(*(result[k].tolist() for k in keys), (_PLACE[s] for s in result["step"]), strict=True))
    return result.take(sorted(range(len(named)), key=named.__getitem__)).reset_index(drop=True)


def ratio(part: pd.Series, whole: pd.Series) -> pd.Series:
    """part / whole as a float; NaN where the whole is zero (a measure with nothing to measure has no value)."""
    return pd.Series(share(part.to_numpy(), whole.to_numpy()), index=part.index)


def share(part: NDArray[np.generic], whole: NDArray[np.generic]) -> NDArray[np.float64]:
    """The same on arrays."""
    top, bottom = np.asarray(part, dtype=np.float64), np.asarray(whole, dtype=np.float64)
    found: NDArray[np.float64] = np.divide(top, bottom, out=np.full(top.shape, np.nan), where=bottom != 0)
    return found


def sums(keys: list[str], frame: pd.DataFrame, columns: dict[str, Whole]) -> pd.DataFrame:
    """Exact sums of whole-number columns for each combination of key columns, sorted by them."""
    codes = np.zeros(len(frame), dtype=np.int64)
    levels: list[NDArray[np.object_]] = []
    for key in keys:
        code, level = pd.factorize(frame[key].to_numpy(dtype=object), sort=True)
        codes = codes * max(1, len(level)) + code
        levels.append(np.asarray(level, dtype=object))
    found, first, place = np.unique(codes, return_index=True, return_inverse=True)
    order = np.argsort(place, kind="stable")
    starts = np.searchsorted(place[order], np.arange(len(found)))
    stacked = (
        np.add.reduceat(np.stack(list(columns.values()))[:, order], starts, axis=1)
        if len(frame)
        else np.zeros((len(columns), 0), np.int64)
    )
    table = pd.DataFrame(stacked.T, columns=list(columns))
    for place_of_key, key in enumerate(keys):
        table.insert(place_of_key, key, frame[key].to_numpy(dtype=object)[first])
    return table


__all__ = ["FLOWS", "KINDS", "MAKING", "STEPS", "flows", "gap_mg", "ratio", "share", "step_flows", "sums", "told"]
