"""Hours: who worked at what, for how much good candy, and whether it gets quicker."""

from __future__ import annotations

import pandas as pd

from ledger.analytics import capacity, labour, words
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Column, Report, Table, as_row, basis, columns, read_weeks
from ledger.domain.books import entries as e
from ledger.quantities import duration_text

_RATES = (
    ("seconds", "hands", "time"), ("good_mg", "good", "mass"), ("good_pieces", "pieces", "count"), ("minutes_per_kg", "time", "per_mass"),
    ("minutes_per_thousand_pieces", "min/1000 pieces", "minutes"),
)  # fmt: skip
RATE_COLUMNS = {
    "step": columns(("step", "step"), _RATES[0], ("time_ratio", "share", "share"), *_RATES[1:]),
    "flavour": columns(("flavour", "flavour", "flavour"), *_RATES),
    "worker": columns(("worker", "worker"), ("step", "step"), *_RATES),
}
DAY_COLUMNS: tuple[Column, ...] = columns(
    ("day", "day", "day"), ("workers", "people", "count"),
    *((f"{s}_s", s, "time") for s in ("cook", "pull", "blend", "build", "roll", "cut", "pack", "other")), ("total_s", "all", "time"),
)  # fmt: skip
LEARNING_COLUMNS = columns(
    ("design", "design", "design"), ("batches", "batches", "count"), ("first_minutes_per_kg", "first batch", "per_mass"),
    ("last_minutes_per_kg", "latest", "per_mass"), ("learning_ratio", "left at doubling", "share"), ("fit_ratio", "fit", "share"),
)  # fmt: skip
STEP_TIME_COLUMNS = columns(
    ("design_kind", "kind of design"), ("step", "step"), ("batches", "batches", "count"), ("median_s", "middle", "time"),
    ("p80_s", "8 in 10 within", "time"), ("thin", "few batches", "yes"),
)  # fmt: skip
_KEYS = ["day", "step", "batch", "flavour", "design", "kind", "account"]


def hours_report(ledger: Ledger, first_week: str, last_week: str = "", known: int | str | None = None) -> Report:
    """Hours of a range of ISO weeks (both ends included): minutes a kilogram and a thousand pieces by step, worker and flavour."""
    on = basis(ledger, known)
    first, last = read_weeks(first_week, last_week or first_week)
    lines = on.queries.balances(_KEYS, first, last, known=on.known, kinds=["worker", "work", "lot.pieces", "lot.packs"])
    title = f"Hours {first}" + (f" to {last}" if last != first else "")
    steps = labour.by_step(lines)
    if steps.empty:
        text = f"No hours are recorded in {first} to {last}. Add who worked how long to each step, or use `slabbook work` for the rest."
        return Report("hours", title, on.as_of, text, {}, (), on.shop)
    flavours = labour.by_flavour(lines)
    workers = labour.by_worker(lines)
    curve = labour.learning(lines)
    kinds = pd.DataFrame([(d.id, d.kind) for d in on.book.all(e.Design)], columns=["design", "design_kind"])
    own = int(flavours.loc[flavours["flavour"] == "", "seconds"].sum())
    total = labour.rates(
        pd.DataFrame({"seconds": [int(steps["seconds"].sum())], "good_mg": [int(flavours["good_mg"].sum())], "good_pieces": [int(flavours["good_pieces"].sum())]})
    ).iloc[0]  # fmt: skip
    tables = {
        "steps": Table("By step", steps, RATE_COLUMNS["step"], as_row(total, step="all"), "Packing is set against what was packed."),
        "flavours": Table("By flavour", flavours, RATE_COLUMNS["flavour"], as_row(total, flavour="all")),
        "workers": Table("By worker and step", workers, RATE_COLUMNS["worker"],
                         note="Kilograms of a batch are credited to its hands by their time on it."),
        "days": Table("Where the day went", labour.by_day(lines), DAY_COLUMNS),
        "learning": Table("Learning", curve, LEARNING_COLUMNS, note="Time left at each doubling of batches; 100 % is no learning."),
        "step_times": Table("Hands' time a batch", capacity.step_times(lines, kinds), STEP_TIME_COLUMNS),
    }  # fmt: skip
    longest = steps.sort_values("seconds", ascending=False, kind="stable").iloc[0]
    clauses = [
        words.hours(int(total["seconds"]), float(total["minutes_per_kg"]), float("nan"), on.shop.units),
        f"Most of it went into {words.step_word(longest['step'])}: {duration_text(int(longest['seconds']))}, {words.percent(longest['time_ratio'], 0)}.",
        f"{duration_text(own)} belong to no flavour." if own else "",
    ]
    return Report("hours", title, on.as_of, words.sentence(clauses), tables, (), on.shop)


__all__ = ["DAY_COLUMNS", "RATE_COLUMNS", "STEP_TIME_COLUMNS", "hours_report"]
