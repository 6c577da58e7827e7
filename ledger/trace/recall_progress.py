"""How far the stock of a recall is: what was there at the start, what came back, was destroyed or not found since, and what is there now.

Only the ledger's movements count, never a note alone: a return that is voided is no longer progress. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

import pandas as pd

from ledger.trace.balance import unit_of
from ledger.trace.graph import LotGraph

COLUMNS = (
    "lot", "label", "unit", "at_start", "came_back", "destroyed", "sampled", "not_found", "left", "on_hand", "counted",
)  # fmt: skip
_KIND = {
    "return": "came_back",
    "scrap": "destroyed",
    "sample": "sampled",
    "unexplained": "not_found",
    "delivery": "left",
    "counter": "left",
    "loss": "left",
}
SIGNS = {"at_start": 1, "came_back": 1, "destroyed": -1, "sampled": -1, "not_found": -1, "left": -1}
"""on_hand is the sum of these, exactly."""


def progress(
    graph: LotGraph, lots: Iterable[str], since: int, counted: Mapping[str, datetime] | None = None
) -> pd.DataFrame:
    """One row for each affected lot that holds something, held something at the start, or moved since; amounts in the lot's own unit.

    since: the ledger position of the start. at_start + came_back = destroyed + sampled + not_found (less than nothing: more was found than
    the books said) + left (sold, delivered, used or lost since) + on_hand, exactly. counted: when each lot was last counted since (None: not yet).
    """
    rows = []
    for name in lots:
        lot = graph.lot(name)
        unit = unit_of(lot)
        moved = dict.fromkeys(("came_back", "destroyed", "sampled", "not_found", "left"), 0)
        for leaf in graph.leaves_of(name):
            if int(leaf.event or 0) > since and leaf.kind in _KIND:
                moved[_KIND[leaf.kind]] += {"packs": leaf.packs, "pieces": leaf.pieces, "mg": leaf.mass_mg}[unit]
        for edge in graph.out_of(name):
            if int(edge.event or 0) > since and unit != "pieces":
                moved["left"] += edge.packs if unit == "packs" else edge.mass_mg
        on_hand = {"packs": lot.on_hand_packs, "pieces": lot.on_hand_pieces, "mg": lot.on_hand_mg}[unit]
        at_start = on_hand - sum(SIGNS[k] * v for k, v in moved.items())
        if at_start or on_hand or any(moved.values()):
            rows.append(
                (name, lot.label or lot.kind, unit, at_start, *moved.values(), on_hand, (counted or {}).get(name))
            )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def came_back(graph: LotGraph, lots: Iterable[str], since: int) -> dict[str, int]:
    """Packs that each customer brought back since the start."""
    found: dict[str, int] = {}
    for name in lots:
        for leaf in graph.leaves_of(name):
            if leaf.kind == "return" and leaf.party and int(leaf.event or 0) > since:
                found[leaf.party] = found.get(leaf.party, 0) + leaf.packs
    return found


def sum_in_words(frame: pd.DataFrame, unit: str) -> str:
    """The sum that adds up: `86 at the start + 12 came back - 30 destroyed - 1 not found = 67 on hand (packs)`; nothing without rows of the unit."""
    rows = frame[frame["unit"] == unit]
    if rows.empty or unit == "mg":
        return ""
    words = {
        "came_back": "came back",
        "destroyed": "destroyed",
        "sampled": "sampled",
        "not_found": "not found",
        "left": "left the house",
    }
    text = f"{int(rows['at_start'].sum())} at the start"
    for name, word in words.items():
        amount = int(rows[name].sum())
        if amount and (name != "not_found" or amount > 0):
            text += f" {'+' if SIGNS[name] > 0 else '-'} {amount} {word}"
        elif amount:
            text += f" + {-amount} found more than the books said"
    return f"{text} = {int(rows['on_hand'].sum())} on hand ({unit})"


__all__ = ["COLUMNS", "SIGNS", "came_back", "progress", "sum_in_words"]
