"""The shelf and the store room, and what waits for an answer."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

import pandas as pd

from ledger.analytics import compare, stock, words
from ledger.analytics.forecast_input import days
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Basis, Column, Report, Table, basis, columns, read_weeks, total_of
from ledger.domain.books import entries as e

SHELF_COLUMNS = columns(
    ("flavour", "flavour", "flavour"), ("item", "pack", "item"), ("packs", "packs", "count"), ("held_packs", "held", "count"),
    ("mass_mg", "mass", "mass"), ("lots", "lots", "count"), ("oldest_days", "oldest", "days"), ("next_best_before", "first date", "day"),
    ("sold_packs", "sold in 28 days", "count"), ("packs_per_day", "packs", "rate"), ("cover_days", "cover", "cover"),
)  # fmt: skip
LOT_COLUMNS = columns(
    ("lot", "lot"), ("flavour", "flavour", "flavour"), ("item", "pack", "item"), ("packs", "packs", "count"), ("mass_mg", "mass", "mass"),
    ("age_days", "age", "days"), ("best_before", "best before", "day"), ("left_days", "left", "days"), ("held", "held for"),
)  # fmt: skip
MATERIAL_COLUMNS = columns(
    ("item", "material", "item"), ("kind", "kind"), ("mass_mg", "free", "mass"), ("held_mg", "held", "mass"), ("lots", "lots", "count"),
    ("next_best_before", "first date", "day"), ("used_mg", "used in 28 days", "mass"), ("cover_days", "cover", "cover"),
    ("lead_days", "lead time", "days"), ("order_now", "order now", "yes"),
)  # fmt: skip
WORK_COLUMNS = columns(
    ("lot", "lot"), ("kind", "kind"), ("batch", "batch"), ("flavour", "flavour", "flavour"), ("mass_mg", "mass", "mass"),
    ("pieces", "pieces", "count"), ("age_days", "age", "days"), ("held", "held for"),
)  # fmt: skip
FLAG_COLUMNS = columns(
    ("day", "day", "day"), ("batch", "batch"), ("flavour", "flavour", "flavour"), ("code", "code"), ("text", "what"),
    ("answer", "answer"), ("origin", "entry", "count"),
)  # fmt: skip


def stock_report(ledger: Ledger, known: int | str | None = None) -> Report:
    """What is there: packs by flavour and lot with age, date and days of cover; materials and re-boil; what is in work.

    Rates are over the 28 days before today (as known on a day: before that day; at a position:
    before the day it was recorded). Whether a lot is held is
    told as it stands now, also in a report of the past.
    """
    on = basis(ledger, known)
    today = _day(on, known)
    lots = _lots(on, known)
    lately = stock_lines(on, today, ["lot.packs", "lot.material", "lot.reboil"])
    packs = lately[lately["kind"] == "lot.packs"]
    shelf = stock.on_the_shelf(lots, packs, today)
    rates = stock.channel_rates(packs, today)
    channels = [str(c) for c in rates.columns if c not in ("flavour", "item")]
    by_channel = (
        shelf[["flavour", "item", "packs"]].merge(rates, how="left", on=["flavour", "item"])
        if channels
        else shelf.iloc[:0]
    )
    for name in channels:
        by_channel[f"{name.removesuffix('_per_day')}_cover_days"] = by_channel["packs"] / by_channel[name].where(
            by_channel[name] > 0
        )
    finished = stock.finished_lots(lots, today)
    lead = pd.DataFrame(
        {"item": [m.id for m in on.book.all(e.Material)], "lead_days": [m.lead_days for m in on.book.all(e.Material)]}
    )
    raw = stock.materials(lots, lately[lately["kind"] != "lot.packs"], today, book=lead)
    work = _in_work(lots, today)
    tables = {
        "shelf": Table("On the shelf", shelf, SHELF_COLUMNS, total_of(shelf, SHELF_COLUMNS[:5], flavour="all") if len(shelf) else None),
        "channels": Table("Cover if only one channel sold", by_channel, _channel_columns(on, channels)),
        "lots": Table("Lots of packs, first to expire first", finished, LOT_COLUMNS),
        "materials": Table("Materials and re-boil", raw, MATERIAL_COLUMNS, note="Re-boil stands under its flavour. Cover at the use of the last 28 days."),
        "in_work": Table("In work", work, WORK_COLUMNS),
    }  # fmt: skip
    seasonal = {f.id for f in on.book.all(e.Flavour) if f.feast}
    cover = stock.cover_by_flavour(lots, packs, today, seasonal=seasonal)
    text = words.sentence(_clauses(on, shelf, cover, finished, raw))
    if all(t.frame.empty for t in tables.values()):
        text = "Nothing is in stock. Record what came in with `slabbook receive`, or load receipts from a file."
    return Report("stock", f"Stock on {today}", on.as_of, text, tables, (), on.shop)


def _clauses(
    on: Basis, shelf: pd.DataFrame, cover: pd.DataFrame, finished: pd.DataFrame, raw: pd.DataFrame
) -> list[str]:
    packs, held = int(shelf["packs"].sum()), int(shelf["held_packs"].sum())
    clauses = [f"{packs} packs are free to sell" + (f", {held} are held." if held else ".")]
    clauses.append(words.short(cover, on.shop.name))
    past = finished[(finished["left_days"] < 0) & (finished["packs"] > 0)]
    if len(past):
        clauses.append(
            f"Past their date: {', '.join(past['lot'].head(5))}{' and more' if len(past) > 5 else ''}. Take them off the shelf."
        )
    order = raw[raw["order_now"]]
    if len(order):
        clauses.append(f"Order now: {', '.join(on.shop.name('item', i) for i in order['item'])}.")
    return clauses


def _channel_columns(on: Basis, channels: list[str]) -> tuple[Column, ...]:
    found = [Column("flavour", "flavour", "flavour"), Column("item", "pack", "item"), Column("packs", "packs", "count")]
    for name in channels:
        channel = name.removesuffix("_per_day")
        words_for = on.shop.name("channel", channel)
        found += [Column(name, words_for, "rate"), Column(f"{channel}_cover_days", words_for, "cover")]
    return tuple(found)


def _day(on: Basis, known: int | str | None) -> str:
    if known is None or not on.as_of.recorded_at:
        return on.today
    if isinstance(known, str) and not known.isdigit():
        return known
    return str(pd.Timestamp(on.as_of.recorded_at).tz_convert(on.site.zone).date())


def _lots(on: Basis, known: int | str | None) -> pd.DataFrame:
    """Lots that hold something, now or as known then, always with their birth facts."""
    if known is None:
        return on.queries.lots()
    then = on.queries.lots_known(on.known).drop(columns=["kind", "item"])
    facts = on.queries.lots(holding=False).drop(columns=["mass_mg", "pieces", "packs", "cost"])
    return facts.merge(then, on="lot")


def _in_work(lots: pd.DataFrame, today: str) -> pd.DataFrame:
    rows = lots[lots["kind"].isin(["mass", "log", "rods", "pieces"])] if not lots.empty else lots
    rows = rows[rows["mass_mg"] > 0] if not rows.empty else rows
    if rows.empty:
        return pd.DataFrame(
            {c.name: pd.Series(dtype="int64" if c.kind in ("mass", "count", "days") else object) for c in WORK_COLUMNS}
        )
    age = (pd.Timestamp(today) - pd.to_datetime(rows["day"])).dt.days.astype("int64")
    return rows.assign(age_days=age)[[c.name for c in WORK_COLUMNS]].reset_index(drop=True)


def stock_lines(on: Basis, today: str, kinds: list[str]) -> pd.DataFrame:
    """Balances by day of the weeks that the 28 days before today lie in."""
    first, last = stock.rate_window(today)
    span = (compare.week_of(date.fromisoformat(first)), compare.week_of(date.fromisoformat(last)))
    return on.queries.balances(
        ["day", "step", "kind", "flavour", "item", "channel"], *span, known=on.known, kinds=kinds
    )


def run_outs(on: Basis, this: str) -> pd.DataFrame:
    """What was noted as gone in a week: ``flavour``, ``channel``, ``days`` (of that week)."""
    start = compare.monday(this)
    inside = {(start + timedelta(days=n)).isoformat() for n in range(7)}
    gone: dict[tuple[str, str], set[str]] = {}
    for _, paper in on.queries.papers("ran-out", known=on.known):
        if paper.day <= max(inside) and (paper.until_day or paper.day) >= min(inside):
            listed = {d.isoformat() for d in days(paper.day, paper.until_day or paper.day)}
            gone.setdefault((paper.flavour, paper.channel), set()).update(listed & inside)
    rows = [(*key, len(found)) for key, found in sorted(gone.items())]
    return pd.DataFrame(rows, columns=["flavour", "channel", "days"]).astype({"days": "int64"})


def flags_report(
    ledger: Ledger, first_week: str = "", last_week: str = "", known: int | str | None = None, open_only: bool = False
) -> Report:
    """What was strange and what was answered, for a range of weeks (none: all of time)."""
    on = basis(ledger, known)
    if first_week:
        first_week, last_week = read_weeks(first_week, last_week or first_week)
    table = on.queries.flags(first_week or None, last_week or None, known=on.known, open_only=open_only)
    waiting = int((table["answered"] == 0).sum()) if len(table) else 0
    open_ones: list[str] = table.loc[table["answered"] == 0, "code"].tolist() if len(table) else []
    codes = Counter(open_ones)
    kinds = ", ".join(f"{code} {count}" for code, count in codes.most_common())
    text = (
        f"{waiting} of {len(table)} flags wait for an answer{f' ({kinds})' if kinds else ''}."
        if len(table)
        else "No flags: nothing strange was recorded."
    )
    span = f" {first_week} to {last_week}" if first_week else ""
    note = "Answer one with `slabbook answer ENTRY CODE TEXT`." if waiting else ""
    return Report(
        "flags", f"Flags{span}", on.as_of, text, {"flags": Table("Flags", table, FLAG_COLUMNS, note=note)}, (), on.shop
    )


__all__ = ["FLAG_COLUMNS", "flags_report", "run_outs", "stock_lines", "stock_report"]
