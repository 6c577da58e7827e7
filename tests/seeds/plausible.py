"""What a batch of the demo shop weighed and took, read from the postings, one row a batch."""

from __future__ import annotations

import pandas as pd

from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e

MEASURES = ["mass_mg", "pieces", "packs", "seconds", "money"]


def batches(ledger: Ledger) -> pd.DataFrame:
    """Columns charge, water, solids, poured, evaporated, cut, pieces, packed, hours, flavour, kind, day; masses in mg."""
    rows = ledger.queries.postings()
    rows = rows[rows.batch != ""]
    cook, cut = rows[rows.step == "cook"], rows[rows.step == "cut"]
    book = ledger.book()
    designs = {d.flavour: d for d in book.all(e.Design)}
    into = cook[cook.kind.isin(["lot.material", "lot.reboil", "water"])]
    frame = pd.DataFrame(
        {
            "charge": -into.groupby("batch").mass_mg.sum(),
            "water": -cook[cook.kind == "water"].groupby("batch").mass_mg.sum(),
            "solids": cook.groupby("batch").solids_mg.sum(),
            "poured": cook[cook.kind == "lot.mass"].groupby("batch").mass_mg.sum(),
            "film": cook[cook.kind == "scrap"].groupby("batch").mass_mg.sum(),
            "evaporated": cook[cook.kind == "air"].groupby("batch").mass_mg.sum(),
            "theory": cook.groupby("batch").theory_mg.sum(),
            "reboil": -cook[cook.kind == "lot.reboil"].groupby("batch").mass_mg.sum(),
            "cut": cut[cut.kind == "lot.pieces"].groupby("batch").mass_mg.sum(),
            "pieces": cut[cut.kind == "lot.pieces"].groupby("batch").pieces.sum(),
            "packed": rows[(rows.step == "pack") & (rows.kind == "lot.packs")].groupby("batch").mass_mg.sum(),
            "hours": rows[rows.kind == "work"].groupby("batch").seconds.sum() / 3600,
            "flavour": rows.groupby("batch").flavour.first(),
            "day": rows.groupby("batch").day.min(),
        }
    )
    frame = frame[frame.cut.notna()].copy()  # what is still on the bench at the end has no yield yet
    for role in ("sugar", "syrup", "acid", "flavour", "colour"):
        items = {m.id for m in book.all(e.Material) if m.role == role}
        frame["flavouring" if role == "flavour" else role] = -into[into.item.isin(items)].groupby("batch").mass_mg.sum()
    frame["kind"] = frame.flavour.map({k: d.kind for k, d in designs.items()})
    frame["piece_mg"] = frame.flavour.map({k: d.piece_mg for k, d in designs.items()})
    frame = frame.fillna({"reboil": 0, "acid": 0, "water": 0})
    frame["process_yield"] = frame.cut / (frame.charge - frame.theory)
    return frame
