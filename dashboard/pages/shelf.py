"""Shelf: what is there to sell and to cook with, how old, how long it lasts, what is held, and the stock-take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dash import html

from dashboard.components.grid import Col, grid
from dashboard.components.parts import chart, choose, empty, files, report_table, sentence
from dashboard.figures.shelf import cover
from dashboard.page import Asked, Page, register
from dashboard.remember import remembered
from ledger.analytics.records import records
from ledger.application.ledger import Ledger
from ledger.application.report_text import shown
from ledger.application.reports import stock_report
from ledger.application.reports_types import Table
from ledger.domain.books import entries as e

DEEDS = {
    "count": ("Count", "count?lot={lot}"), "hold": ("Hold", "hold?lot={lot}"), "release": ("Release", "release?lot={lot}"),
    "scrap": ("Throw away", "scrap?lot={lot}"),
}  # fmt: skip

FIRST = ("item", "packs", "cover_days", "packs_per_day", "sold_packs", "held_packs", "next_best_before", "oldest_days")
"""What is looked for on the shelf, from the left: how much, how long it lasts, how fast it goes."""
TAKEN = ("shelf", "lots", "materials")


def filters(ledger: Ledger, asked: Asked) -> list[Any]:
    """Flavour and what to list."""
    flavours = [(f.id, f.name) for f in ledger.book().all(e.Flavour)]
    kinds = [("", "packs"), ("material", "materials and re-boil"), ("work", "in work")]
    return [
        choose("flavour", "Flavour", [("", "all"), *flavours], asked.get("flavour", "")),
        choose("show", "Lots of", kinds, asked.get("show", "")),
    ]


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """The shelf's page."""
    actions = html.Div([
        html.Button("Sell", **{"data-form": "sell"}, className="button"), html.Button("Receive goods", **{"data-form": "receive"}, className="plain"),
    ], className="actions")  # fmt: skip
    if ledger.queries.lots().empty:
        return [
            html.Div(html.Button("Receive goods", **{"data-form": "receive"}, className="button"), className="actions"),
            empty(
                "The shelf is empty", "Receive a material, or pack a batch; its lots then stand here with age and date."
            ),
        ]
    report = remembered(stock_report, ledger)
    parts: list[Any] = [*sentence(report), actions]
    flavour, show = asked.get("flavour", ""), asked.get("show", "")
    if show:  # what is asked for comes first: a count is made with the tablet in one hand
        table = on_page(report.tables["materials" if show == "material" else "in_work"], flavour)
        return [*parts, lots(ledger, report.shop, asked), report_table(table, report.shop), files("stock", {}, TAKEN)]
    shelf = report.tables["shelf"].frame.copy()
    if flavour:
        shelf = shelf[shelf["flavour"] == flavour]
    if len(shelf):
        shelf["name"] = [report.shop.name("item", x) for x in shelf["item"]]
        shelf["in_season_only"] = shelf["flavour"].isin({f.id for f in ledger.book().all(e.Flavour) if f.feast})
        parts.append(chart(cover(shelf), "Days of cover by pack, shortest first; the figures are in the table below."))
    parts += [
        report_table(table, report.shop)
        for table in (on_page(report.tables[n], flavour, FIRST) for n in ("shelf", "channels") if n in report.tables)
        if not table.frame.empty
    ]
    return [*parts, lots(ledger, report.shop, asked), files("stock", {}, TAKEN)]


def on_page(table: Table, flavour: str, first: Sequence[str] = ()) -> Table:
    """A table of the report as the page shows it: of one flavour, `first` columns first, and no column of the flavour where the pack names it."""
    frame, total = table.frame, table.total
    if flavour and "flavour" in frame:
        frame, total = frame[frame["flavour"] == flavour].reset_index(drop=True), None
    if not first:
        return replace(table, frame=frame, total=total)
    shown = [c for c in table.columns if c.name != "flavour"]
    shown.sort(key=lambda c: first.index(c.name) if c.name in first else len(first))
    return replace(table, frame=frame, columns=tuple(shown), total=None if total is None else {**total, "item": "all"})


def lots(ledger: Ledger, shop: Any, asked: Asked) -> Any:
    """Lots first to expire first, each with its stock-take and what else may be done with it."""
    kinds = {"": ["packs"], "material": ["material", "reboil"], "work": ["mass", "log", "rods", "pieces"]}.get(
        asked.get("show", ""), ["packs"]
    )
    found = ledger.queries.lots(kinds=kinds, flavour=asked.get("flavour") or None)
    if found.empty:
        return html.P("No such lot holds anything.", className="quiet")
    found["date"] = found["best_before"].where(found["best_before"] != "", "9999")
    today, rows = ledger.today(), []
    for row in records(found.sort_values(["date", "day", "lot"])):
        packs = row["kind"] == "packs"
        rows.append(
            {
                "lot": row["lot"],
                "what": (shop.name("item", row["item"]) if row["item"] else shop.name("flavour", row["flavour"])) or row["kind"],
                "holds": row["packs"] if packs else row["mass_mg"],
                "holds~": str(row["packs"]) if packs else shown(row["mass_mg"], "mass", shop),
                "since": row["day"],
                "before": row["best_before"] or "none",
                "before~": (row["best_before"] or "none") + (" (past)" if row["best_before"] and row["best_before"] < today else ""),
                "held": f"held: {row['held']}" if row["held"] else "",
                "do": ["count", "release" if row["held"] else "hold", "scrap"],
            }
        )  # fmt: skip
    unit = "packs" if kinds == ["packs"] else "lb" if shop.units == "us" else "kg"
    columns = [
        Col("lot", "lot", link="/lots?mark={lot}"), Col("do", "do", "do", buttons=DEEDS), Col("what", "what"), Col("holds", "holds", "number", unit),
        Col("before", "best before"), Col("since", "since"), Col("held", "held"),
    ]  # fmt: skip
    return grid("shelf-lots", "Lots, first to expire first", columns, rows)


register(Page(path="/shelf", name="Shelf", order=40, layout=layout, filters=filters))
