"""Does the mass add up? One balance for each lot, one for each step of each batch, in whole milligrams or packs.

For a lot:  made (or received) + returned = used + delivered + sold + sampled + scrapped + lost + on hand + unexplained.
``unexplained`` is what is left over, with its sign: plus means something is missing, minus means more went out than
ever came in (a wrong count, a lot used twice, a mistake not yet voided). It is always shown, and the sum is exact by
construction.

For a step:  mass in = mass out + explained (evaporation and scrap on record) + difference. A cook always loses water,
so the difference is set against the step's own history: its usual share is the median of that step's other batches,
and only what lies beyond is called a leak.

Source: material reconciliation as in audits of traceability (21 CFR 117.139 recall plans; common practice for the
rest).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence

import pandas as pd

from ledger.trace.graph import Leaf, Lot, LotGraph

LEAF_COLUMNS = {
    "delivery": "delivered", "counter": "sold", "sample": "sampled", "scrap": "scrapped", "loss": "lost",
    "return": "returned",
}  # fmt: skip
LOT_BALANCE_COLUMNS = (
    "lot", "kind", "label", "unit", "made", "used", "delivered", "sold", "sampled", "scrapped", "lost", "returned",
    "on_hand", "unexplained",
)  # fmt: skip
STEP_BALANCE_COLUMNS = (
    "batch", "step", "day", "in_mg", "out_mg", "explained_mg", "difference_mg", "usual_share", "share", "leak_mg",
)  # fmt: skip


def unit_of(lot: Lot) -> str:
    """The unit a lot is kept in: ``packs``, ``pieces`` or ``mg``."""
    if lot.made_packs is not None:
        return "packs"
    return "pieces" if lot.made_pieces is not None and lot.made_mg is None else "mg"


def _leaf_amount(leaf: Leaf, unit: str) -> int:
    return {"packs": leaf.packs, "pieces": leaf.pieces, "mg": leaf.mass_mg}[unit]


def lot_balance(graph: LotGraph, lot: str) -> dict[str, int | str]:
    """The balance of one lot as a dict with the keys of ``LOT_BALANCE_COLUMNS``; amounts in the lot's own unit."""
    row = graph.lot(lot)
    unit = unit_of(row)
    made = {"packs": row.made_packs, "pieces": row.made_pieces, "mg": graph.made_mg(lot)}[unit] or 0
    on_hand = {"packs": row.on_hand_packs, "pieces": row.on_hand_pieces, "mg": row.on_hand_mg}[unit]
    amounts = dict.fromkeys(LEAF_COLUMNS.values(), 0)
    for leaf in graph.leaves_of(lot):
        if leaf.kind in LEAF_COLUMNS:
            amounts[LEAF_COLUMNS[leaf.kind]] += _leaf_amount(leaf, unit)
    used = sum(e.packs if unit == "packs" else e.mass_mg for e in graph.out_of(lot)) if unit != "pieces" else 0
    gone = used + sum(amounts.values()) - amounts["returned"]
    return {
        "lot": lot,
        "kind": row.kind,
        "label": row.label,
        "unit": unit,
        "made": made,
        "used": used,
        **amounts,
        "on_hand": on_hand,
        "unexplained": made + amounts["returned"] - gone - on_hand,
    }


def lot_balances(graph: LotGraph, lots: Iterable[str] | None = None) -> pd.DataFrame:
    """The balances of these lots (all, if none are named) as a frame with ``LOT_BALANCE_COLUMNS``; water is left
    out."""
    names = list(graph.lots) if lots is None else list(lots)
    rows = [lot_balance(graph, lot) for lot in names if graph.lot(lot).kind != "water"]
    return pd.DataFrame(rows, columns=list(LOT_BALANCE_COLUMNS))


def step_balances(graph: LotGraph, explained_mg: Mapping[tuple[str, str], int] | None = None) -> pd.DataFrame:
    """One row for each (batch, step): mass in, mass out, what is explained, what is left and how that compares.

    ``explained_mg`` holds the losses on record (evaporation, scrap, samples at the step) by (batch, step). ``share``
    is the difference over the mass in; ``usual_share`` the median share of the same step in the other batches
    (nothing, if there is no other batch); ``leak_mg`` the difference beyond the usual, rounded to the milligram.
    """
    explained_mg = explained_mg or {}
    inputs: dict[tuple[str, str], int] = {}
    made: dict[tuple[str, str], dict[str, int]] = {}
    day: dict[tuple[str, str], str] = {}
    for edge in graph.edges:
        key = (edge.batch, edge.step)
        inputs[key] = inputs.get(key, 0) + edge.mass_mg
        made.setdefault(key, {})[edge.child] = graph.made_mg(edge.child)
        day[key] = max(day.get(key, ""), edge.day)
    differences = {k: inputs[k] - sum(made[k].values()) - explained_mg.get(k, 0) for k in inputs}
    shares = {k: differences[k] / inputs[k] if inputs[k] else 0.0 for k in inputs}
    of_step: dict[str, list[float]] = {}
    for (_, step), share in shares.items():
        of_step.setdefault(step, []).append(share)
    for known in of_step.values():
        known.sort()
    rows = []
    for key in inputs:
        usual = _median_without(of_step[key[1]], shares[key])
        leak = differences[key] - round(usual * inputs[key])
        rows.append(
            (*key, day[key], inputs[key], sum(made[key].values()), explained_mg.get(key, 0), differences[key], usual,
             shares[key], leak)
        )  # fmt: skip
    return pd.DataFrame(rows, columns=list(STEP_BALANCE_COLUMNS))


def _median_without(ordered: Sequence[float], value: float) -> float:
    """The median of a sorted row with one ``value`` taken out (0 if nothing is left)."""
    left = len(ordered) - 1
    if left == 0:
        return 0.0
    gap = bisect_left(ordered, value)
    low, high = (left - 1) // 2, left // 2
    return (ordered[low + (low >= gap)] + ordered[high + (high >= gap)]) / 2


def leaks(
    graph: LotGraph,
    lot: str,
    *,
    tolerance_share: float = 0.005,
    explained_mg: Mapping[tuple[str, str], int] | None = None,
) -> pd.DataFrame:
    """The steps that used this lot (at any remove) and leak more than ``tolerance_share`` of their mass in, worst
    first.

    The default half percent is the band of audit practice (reconciliation to 99.5 to 100.5 %; common practice).
    """
    reached = graph.reach(lot, "forward")
    keys = {(e.batch, e.step) for child in reached for e in graph.into(child)}
    frame = step_balances(graph, explained_mg)
    inside = pd.Series(
        [key in keys for key in zip(frame["batch"], frame["step"], strict=True)], index=frame.index, dtype=bool
    )
    loud = frame["leak_mg"].abs() > tolerance_share * frame["in_mg"]
    found = frame[inside & loud]
    return found.reindex(found["leak_mg"].abs().sort_values(ascending=False).index).reset_index(drop=True)
