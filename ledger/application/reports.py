"""Every report of the shop, each pinned to one position of the ledger. Here: the week; the others are brought in from their files.

A report asks the queries, hands the frames to the pure functions of `ledger.analytics`, and names the columns. It has no
arithmetic of its own.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from ledger.analytics import compare, control, forecast_input, labour, losses, stock, words, yields
from ledger.analytics.flows import FLOWS, KINDS, flows
from ledger.application.ledger import Ledger
from ledger.application.reports_batch import batch_report
from ledger.application.reports_losses import (
    LOSS_COLUMNS,
    STEP_COLUMNS,
    WATERFALL_COLUMNS,
    control_report,
    losses_report,
)
from ledger.application.reports_stock import FLAG_COLUMNS, flags_report, run_outs, stock_lines, stock_report
from ledger.application.reports_time import DAY_COLUMNS, RATE_COLUMNS, hours_report
from ledger.application.reports_types import (
    Basis,
    Column,
    Report,
    Shop,
    Table,
    as_row,
    basis,
    columns,
    read_week,
    total_of,
)
from ledger.domain.books import entries as e

YIELD_COLUMNS = tuple(replace(c, dash=c.kind != "flavour") for c in columns(
    ("flavour", "flavour", "flavour"), ("batches", "batches", "count"),
    ("charged_mg", "charged", "mass"), ("evaporated_mg", "boiled off", "mass"), ("theory_mg", "by recipe", "mass"),
    ("poured_mg", "poured", "mass"), ("built_mg", "built", "mass"), ("good_mg", "cut good", "mass"), ("good_pieces", "pieces", "count"),
    ("expected_pieces", "expected", "count"), ("packed_packs", "packed", "count"),
))  # fmt: skip
SOLD_COLUMNS = columns(
    ("flavour", "flavour", "flavour"), ("sold_packs", "packs sold", "count"), ("takings_minor", "takings", "money")
)
SHARE_COLUMNS = columns(
    ("flavour", "flavour", "flavour"), ("design", "design", "design"), ("good_mg", "cut good", "mass"), ("kettle_yield_ratio", "kettle yield", "share"),
    ("process_yield_ratio", "process yield", "share"), ("solids_yield_ratio", "on dry solids", "share"),
    ("finished_goods_ratio", "finished goods", "share"), ("rolled_throughput_ratio", "rolled through", "share"),
    ("defects_per_unit", "defects/unit", "number"), ("rework_ratio", "re-boil", "share"), ("scrap_ratio", "scrap", "share"),
    ("unexplained_mg", "unexplained", "small"), ("unexplained_ratio", "unexplained", "share"),
)  # fmt: skip
BATCH_COLUMNS = columns(
    ("batch", "batch"), ("day", "day", "day"), ("flavour", "flavour", "flavour"), ("design", "design", "design"),
    ("charged_mg", "charged", "mass"), ("good_mg", "cut good", "mass"), ("good_pieces", "pieces", "count"),
    ("expected_pieces", "expected", "count"), ("process_yield_ratio", "process yield", "share"), ("scrap_mg", "scrap", "mass"),
    ("unexplained_mg", "unexplained", "small"), ("seconds", "hands", "time"),
)  # fmt: skip
COMPARED = (
    ("charged_mg", "charged", "mass"), ("good_mg", "cut good", "mass"), ("packed_packs", "packs packed", "count"),
    ("sold_packs", "packs sold", "count"), ("takings_minor", "takings", "money"), ("seconds", "hands", "time"),
    ("process_yield_ratio", "process yield", "share"), ("solids_yield_ratio", "yield on dry solids", "share"),
    ("rework_ratio", "re-boil", "share"), ("scrap_ratio", "scrap", "share"), ("unexplained_ratio", "unexplained", "share"),
)  # fmt: skip
COMPARE_COLUMNS = columns(
    ("title", "measure"), ("this", "this week", "row"), ("before", "mean of 4 weeks before", "row"), ("change_ratio", "change", "change"),
    ("last_year", "same week last year", "row"), ("year_change_ratio", "change", "change"),
)  # fmt: skip

MADE = FLOWS[: FLOWS.index("sold_mg")]
"""What a flavour that was worked this week has some of. One that was only sold stands in its own table, not in a row of noughts."""
OF_PIECES = ("process_yield_ratio", "solids_yield_ratio", "finished_goods_ratio")
"""Yields that nobody knows before the cut."""


def week_report(ledger: Ledger, week: str, known: int | str | None = None, hands: bool = True) -> Report:
    """The weekly review: yield, losses, hours and what changed, for one ISO week.

    Args:
        week: such as `2026-W44`.
        known: a position, or a day (`2026-11-02`: as known at its end); None is now.
        hands: with the tables of who worked how long (`hours`, `workers`, `days`).

    Raises:
        BadInput: no such week, day or position.
    """
    on = basis(ledger, known)
    this = read_week(week)
    lines = on.queries.week_lines(this, known=on.known)
    if lines.empty:
        return _nothing_yet(on, this)
    before = compare.shift(this, -compare.BEFORE), compare.shift(this, -1)
    earlier = on.queries.weekly(*before, known=on.known, kinds=KINDS, by=("week", "flavour", "step", "kind"))
    then = compare.same_week_last_year(this)
    last_year = on.queries.weekly(then, known=on.known, kinds=KINDS, by=("week", "step", "kind"))
    batches = _batches(on, lines)
    table = yields.yields(lines, ("flavour",), batches)
    table["batches"] = table["flavour"].map(_count(batches)).fillna(0).astype("int64")
    made = table[(table["flavour"] != "") & (table[list(MADE)] != 0).any(axis=1)].reset_index(drop=True)
    sold = table[(table[["sold_packs", "takings_minor"]] != 0).any(axis=1)]
    sold = sold.sort_values(["sold_packs", "flavour"], ascending=[False, True], ignore_index=True)
    designs = yields.yields(lines).merge(
        yields.rolled(lines, ("flavour", "design")), how="left", on=["flavour", "design"]
    )
    designs = designs[(designs["charged_mg"] > 0) | (designs["good_mg"] > 0)].reset_index(drop=True)
    total = yields.shop_row(table).iloc[0]
    kept, done, whole = _judged(lines, batches, made, total)
    designs, batches, judged = _still_to_come(designs, batches, kept, total, whole)
    ranked = losses.losses(lines)
    steps = yields.first_pass(lines)
    through = yields.rolled_of(steps).iloc[0]
    gone = run_outs(on, this)
    flags = on.queries.flags(this, known=on.known)
    tables = {
        "flavours": Table("Kettle to jar, by flavour", made, YIELD_COLUMNS, total_of(made, YIELD_COLUMNS, flavour="shop")),
        "yields": Table(
            "Yields and losses", designs, SHARE_COLUMNS, as_row(judged) | as_row(through, flavour="shop"),
            "Shares of the cooked mass; process yield of the mass the recipe says.",
        ),
        "sold": Table("Sold, by flavour", sold, SOLD_COLUMNS, total_of(sold, SOLD_COLUMNS, flavour="shop")),
        "waterfall": Table("Where the sugar went", losses.waterfall(lines), WATERFALL_COLUMNS),
        "losses": Table("Losses by step and cause", ranked, LOSS_COLUMNS),
        "steps": Table("First pass by step", steps, STEP_COLUMNS),
        **(_hands(lines) if hands else {}),
        "batches": Table("Batches", batches, BATCH_COLUMNS),
        "compare": Table("Beside other weeks", compared(lines, earlier, last_year, this, kept), COMPARE_COLUMNS, note="Change of a share is in points of 100."),
        "ran_out": Table("Ran out", gone, columns(("flavour", "flavour", "flavour"), ("channel", "channel", "channel"), ("days", "days", "count"))),
        "flags": Table("Flags", flags, FLAG_COLUMNS),
    }  # fmt: skip
    text = _sentence(on, this, kept, done, whole, earlier, ranked, gone, live=known is None)
    return Report("week", f"Week {this}", on.as_of, text, tables, _notes(flags, batches), on.shop)


def _hands(lines: pd.DataFrame) -> dict[str, Table]:
    steps = labour.by_step(lines)
    whole = total_of(steps[["seconds"]], RATE_COLUMNS["step"], step="all")
    return {
        "hours": Table("Hands by step", steps, RATE_COLUMNS["step"], whole),
        "workers": Table("Hands by worker and step", labour.by_worker(lines), RATE_COLUMNS["worker"]),
        "days": Table("Where the day went", labour.by_day(lines), DAY_COLUMNS),
    }


def _nothing_yet(on: Basis, this: str) -> Report:
    first = "Start with the book: `slabbook book load FILE` brings in materials, flavours, recipes and packs."
    if on.book.all(e.Flavour):
        first = "Open a batch with `slabbook open FLAVOUR`, or bring in past days from a file."
    if on.known == 0:
        first = "The ledger was still empty then."
    return Report("week", f"Week {this}", on.as_of, f"Nothing is recorded in week {this}. {first}", {}, (), on.shop)


def _batches(on: Basis, lines: pd.DataFrame) -> pd.DataFrame:
    """The week's batches with their yields, the pieces expected of each, and whether its cut is still to come (a batch closed uncut is lost)."""
    rows = lines[lines["batch"] != ""]
    table = yields.yields(rows, ("batch", "flavour", "design"))
    table = table[(table["charged_mg"] > 0) | (table["good_mg"] > 0) | (table["packed_mg"] > 0)].reset_index(drop=True)
    plan = on.queries.batches(names=sorted(set(table["batch"])), most=1_000_000).set_index("batch")
    plan = plan.reindex(table["batch"])
    table["day"] = plan["day"].to_numpy(dtype=object)
    lost = (plan["status"] == "closed") & ~plan["steps"].fillna("").str.split().map(lambda steps: "cut" in steps)
    table["uncut"] = ((table["charged_mg"] > 0) & (table["good_mg"] == 0)).to_numpy() & ~lost.to_numpy(dtype=bool)
    for name in ("process_yield_ppm", "piece_mg"):
        table[name] = plan[name].fillna(0).to_numpy(dtype="int64")
    each = yields.expected_pieces(table, ("batch",))
    expected = dict(zip(each["batch"], each["expected_pieces"], strict=True))
    table["expected_pieces"] = pd.Series([expected.get(b, 0) for b in table["batch"]], dtype="int64")
    return table.sort_values(["day", "batch"], ignore_index=True)


def _count(batches: pd.DataFrame) -> pd.Series:
    cooked = batches[batches["charged_mg"] > 0]
    return cooked.groupby("flavour")["batch"].nunique()


def compared(
    lines: pd.DataFrame, earlier: pd.DataFrame, last_year: pd.DataFrame, this: str, cut: pd.DataFrame
) -> pd.DataFrame:
    """The compared measures with their titles and kinds. `cut`: the week's lines without batches whose yield is still to come."""

    def beside(now: pd.DataFrame) -> pd.DataFrame:
        totals = [t for t in (flows(f, ("week",)) for f in (now, earlier, last_year)) if not t.empty]
        return compare.compare(pd.concat(totals, ignore_index=True), this).set_index("measure")

    table = beside(lines)
    if len(cut) < len(lines):
        table.loc[list(OF_PIECES)] = beside(cut).loc[list(OF_PIECES)] if len(cut) else float("nan")
    rows = pd.DataFrame(COMPARED, columns=["measure", "title", "kind"])
    return rows.join(table, on="measure")


def _judged(
    lines: pd.DataFrame, batches: pd.DataFrame, made: pd.DataFrame, total: pd.Series
) -> tuple[pd.DataFrame, pd.DataFrame, pd.Series]:
    """The week without batches that were cooked and not yet cut: the sentence judges no yield that is still to come."""
    uncut = batches[batches["uncut"]]["batch"]
    if uncut.empty:
        return lines, made, total
    kept = lines[~lines["batch"].isin(uncut)]
    done = yields.yields(kept, ("flavour",))
    done["batches"] = done["flavour"].map(_count(batches[~batches["batch"].isin(uncut)])).fillna(0).astype("int64")
    whole = yields.shop_row(done).iloc[0].copy()
    whole["seconds"] = total["seconds"]
    return kept, done[done["flavour"] != ""].reset_index(drop=True), whole


def _still_to_come(
    designs: pd.DataFrame, batches: pd.DataFrame, kept: pd.DataFrame, total: pd.Series, whole: pd.Series
) -> tuple[pd.DataFrame, pd.DataFrame, pd.Series]:
    """The tables and the shop's row with the same yields as the sentence: what is cooked and not yet cut has none, rather than 0 %."""
    uncut = batches["uncut"]
    if not uncut.any():
        return designs, batches, total
    cut = yields.yields(kept)[["flavour", "design", *OF_PIECES]]
    both = designs.drop(columns=list(OF_PIECES)).merge(cut, how="left", on=["flavour", "design"])
    batches = batches.copy()
    batches.loc[uncut, list(OF_PIECES)] = float("nan")
    shop = total.copy()
    shop[list(OF_PIECES)] = whole[list(OF_PIECES)]
    return both[designs.columns], batches, shop


def _sentence(
    on: Basis, this: str, lines: pd.DataFrame, made: pd.DataFrame, total: pd.Series, earlier: pd.DataFrame, ranked: pd.DataFrame,
    gone: pd.DataFrame, *, live: bool,
) -> str:  # fmt: skip
    shop = on.shop
    change = words.largest_change(
        made, yields.yields(earlier, ("flavour",)),
        losses.masses(lines, ("flavour",)), losses.masses(earlier, ("flavour",)),
    )  # fmt: skip
    before = flows(earlier, ())
    now_rate = labour.rates(pd.DataFrame([total[["seconds", "good_mg", "good_pieces"]]]).astype("int64"))[
        "minutes_per_kg"
    ].iloc[0]
    then_rate = float("nan") if before.empty else float(labour.rates(before)["minutes_per_kg"].iloc[0])
    clauses = [
        words.made(int(made["batches"].sum()), total, shop.units),
        words.changed(change, shop.name),
        words.worst_loss(losses.worst(ranked), shop.units),
        words.ran_out(gone, shop.name),
        words.hours(int(total["seconds"]), float(now_rate), then_rate, shop.units),
    ]
    today = on.today
    if live and compare.shift(this, 1) >= compare.week_of(pd.Timestamp(today).date()):
        seasonal = {f.id for f in on.book.all(e.Flavour) if f.feast}
        lots = on.queries.shelf([p.id for p in on.book.all(e.Pack)])
        shelf = stock.cover_by_flavour(lots, stock_lines(on, today, ["lot.packs"]), today, seasonal=seasonal)
        clauses.insert(4, words.short(shelf, shop.name))
    return words.sentence(clauses)


def _notes(flags: pd.DataFrame, batches: pd.DataFrame) -> tuple[str, ...]:
    notes = []
    waiting = int((flags["answered"] == 0).sum()) if not flags.empty else 0
    if waiting:
        notes.append(
            f"{waiting} flag{'s' if waiting > 1 else ''} of this week wait{'' if waiting > 1 else 's'} for an answer."
        )
    open_work = batches[batches["uncut"]]
    if len(open_work):
        notes.append(f"Not cut yet, so their yield is still to come: {', '.join(open_work['batch'])}.")
    return tuple(notes)


__all__ = [
    "Basis", "Column", "Report", "Shop", "Table", "batch_report", "control", "control_report", "flags_report", "forecast_input",
    "hours_report", "losses_report", "read_week", "stock_report", "week_report",
]  # fmt: skip
