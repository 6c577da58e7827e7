"""Everything about one batch on one page."""

from __future__ import annotations

import pandas as pd

from ledger.analytics import batch as sheet
from ledger.analytics import labour, losses, words
from ledger.application.ledger import Ledger
from ledger.application.reports_losses import LOSS_COLUMNS, STEP_COLUMNS
from ledger.application.reports_stock import FLAG_COLUMNS
from ledger.application.reports_time import RATE_COLUMNS
from ledger.application.reports_types import Basis, Report, Table, basis, columns
from ledger.domain.books import entries as e
from ledger.errors import UnknownThing
from ledger.quantities import mass_text

_SUMMARY = (
    ("charged_mg", "charged", "mass"), ("evaporated_mg", "boiled off", "mass"), ("theory_mg", "boiled off by the recipe", "mass"),
    ("poured_mg", "poured", "mass"), ("built_mg", "built", "mass"), ("good_mg", "cut good", "mass"), ("good_pieces", "pieces", "count"),
    ("expected_pieces", "pieces expected", "count"), ("packed_packs", "packs", "count"), ("reboil_mg", "kept for re-boil", "mass"),
    ("scrap_mg", "scrap", "mass"), ("unexplained_mg", "unexplained", "mass"), ("aside_mg", "tasted, binned or counted away", "mass"),
    ("in_work_mg", "still in work", "mass"), ("kettle_yield_ratio", "kettle yield", "share"), ("process_yield_ratio", "process yield", "share"),
    ("solids_yield_ratio", "yield on dry solids", "share"), ("finished_goods_ratio", "finished goods ratio", "share"),
    ("rework_ratio", "re-boil", "share"), ("scrap_ratio", "scrap", "share"), ("unexplained_ratio", "unexplained", "share"),
    ("seconds", "hands", "time"), ("minutes_per_kg", "hands for the good candy", "per_mass"),
)  # fmt: skip
_LOTS = columns(
    ("lot", "lot"), ("kind", "kind"), ("item", "what", "item"), ("step", "step"), ("mass_mg", "mass", "mass"), ("pieces", "pieces", "count"),
    ("packs", "packs", "count"),
)  # fmt: skip


def batch_report(ledger: Ledger, batch: str, known: int | str | None = None) -> Report:
    """One batch: its steps with in, out and lost, its yields, its lots in and out, who worked, and its flags.

    Raises:
        UnknownThing: no such batch.
    """
    on = basis(ledger, known)
    found = on.queries.batches(names=[batch])
    if found.empty:
        raise UnknownThing(
            f"There is no batch `{batch}` in this ledger. Look it up in the week's report, or open it with `slabbook open FLAVOUR`.",
            kind="batch", id=batch,
        )  # fmt: skip
    head = found.iloc[0]
    lines = on.queries.postings(batch=batch, known=on.known)
    flavour, design = on.shop.name("flavour", head["flavour"]), on.shop.name("design", head["design"])
    title = f"Batch {batch}: {flavour} {design}".strip()
    if lines.empty:
        text = f"Opened on {head['day']}; nothing is recorded on it yet. Next is the cook: `slabbook cook {batch} ...`."
        return Report("batch", title, on.as_of, text, {}, (), on.shop)
    summary = sheet.summary(lines, int(head["process_yield_ppm"]), int(head["piece_mg"]))
    summary["minutes_per_kg"] = labour.rates(summary)["minutes_per_kg"]
    row = summary.iloc[0]
    spec = pd.DataFrame(_SUMMARY, columns=["measure", "title", "kind"])
    spec["value"] = pd.Series([row[m] for m in spec["measure"]], dtype=object)
    ranked = losses.losses(lines)
    tables = {
        "summary": Table("Figures", spec, columns(("title", "measure"), ("value", "value", "row"))),
        "steps": Table("Steps", sheet.steps(lines), STEP_COLUMNS),
        "losses": Table("Losses", ranked, LOSS_COLUMNS),
        "lots_in": Table("Went in", sheet.lots_in(lines), _LOTS[:5]),
        "lots_out": Table("Came out", sheet.lots_out(lines), _LOTS),
        "left": Table("Held now", _left(on, batch), columns(("lot", "lot"), ("kind", "kind"), ("item", "what", "item"), ("mass_mg", "mass", "mass"),
                      ("pieces", "pieces", "count"), ("packs", "packs", "count"), ("best_before", "best before", "day"), ("held", "held for"))),
        "workers": Table("Hands", labour.by_worker(lines), RATE_COLUMNS["worker"]),
        "flags": Table("Flags", _flags(on, batch, lines), FLAG_COLUMNS),
    }  # fmt: skip
    done = ", ".join(str(head["steps"]).split())
    clauses = [f"{title.split(': ')[0]} of {head['day']} is {head['status']} (recorded: {done})."]
    if row["good_mg"] > 0 and row["charged_mg"] > 0:
        clauses.append(
            f"{mass_text(int(row['charged_mg']), on.shop.units)} charged gave {mass_text(int(row['good_mg']), on.shop.units)} of good pieces, "
            f"a process yield of {words.percent(row['process_yield_ratio'])}" + _against(on, head, row) + "."
        )
    clauses.append(words.worst_loss(losses.worst(ranked), on.shop.units))
    return Report("batch", title, on.as_of, words.sentence(clauses), tables, (), on.shop)


def _against(on: Basis, head: pd.Series, row: pd.Series) -> str:
    planned = int(head["process_yield_ppm"]) / 1e6
    recipe = on.book.find(e.Recipe, str(head["recipe"]))
    return f" (the recipe expects {words.percent(planned)})" if planned and recipe is not None else ""


def _left(on: Basis, batch: str) -> pd.DataFrame:
    frame = on.queries.lots(batch=batch)
    return frame[["lot", "kind", "item", "mass_mg", "pieces", "packs", "best_before", "held"]]


def _flags(on: Basis, batch: str, lines: pd.DataFrame) -> pd.DataFrame:
    frame = on.queries.flags(str(lines["week"].min()), str(lines["week"].max()), known=on.known)
    return frame[frame["batch"] == batch].reset_index(drop=True)


__all__ = ["batch_report"]
