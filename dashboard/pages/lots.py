"""Lots: type or scan anything that stands on a label, and read its story, its path both ways, its balance and its label."""

from __future__ import annotations

import base64
from typing import Any

from dash import dcc, html

from dashboard.components.grid import Col, grid, report_grid
from dashboard.components.parts import choose, empty, report_table, sentence, type_in
from dashboard.components.ways import for_page
from dashboard.page import Asked, Page, address, register
from ledger.analytics.records import records
from ledger.application import audit, audit_label
from ledger.application.ledger import Ledger
from ledger.application.report_text import shown
from ledger.application.reports_types import Report, shop_of
from ledger.errors import SlabbookError
from ledger.trace.graph import Direction
from ledger.trace.label_sheets import Sheet
from ledger.trace.marks import find

LINKS = dict.fromkeys(("lot", "parent", "child"), "/lots?mark={}")


def filters(_ledger: Ledger, asked: Asked) -> list[Any]:
    """The search box, the way to follow, and the day to ask as known."""
    ways = [("backward", "Back to its sources"), ("forward", "Forward to where it went")]
    return [
        type_in("mark", "Lot, batch, jar or delivery", asked.get("mark", ""), hint="26302A-J1, or scan a label"),
        choose("way", "Path", ways, asked.get("way", "backward"), "backward"),
        type_in("known", "As known on", asked.get("known", ""), "date"),
    ]


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """The story of what is asked, or the newest packed lots."""
    if not asked.get("mark"):
        return newest(ledger)
    found = find(ledger.queries, asked["mark"])
    known = asked.get("known") or None
    way: Direction = "forward" if asked.get("way") == "forward" else "backward"
    parts: list[Any] = []
    if found.kind == "lot":
        story = audit.lot_report(ledger, found.mark, known)
        parts += [html.H2(story.title), *sentence(story), actions(found.mark, recall_of(ledger, found.mark))]
        tables = story.tables
        parts.append(report_table(tables["balance"], story.shop))
        parts.append(report_table(tables["story"], story.shop, most=60))
        if not tables["leaks"].frame.empty:
            parts.append(report_table(tables["leaks"], story.shop, {"batch": "/batch?batch={}"}, most=20))
        parts.append(label(ledger, found.mark))
    else:
        links = [dcc.Link(lot, href=address("/lots", {"mark": lot}), className="plain") for lot in found.lots]
        parts += [html.H2(f"{found.kind.capitalize()} {found.mark}"), html.Div(links, className="actions") if links else empty("No lot yet", "Nothing was made in it.")]  # fmt: skip
    traced = audit.trace(ledger, found.mark, way, known)
    parts += [html.H2(traced.report.title, id="path"), *sentence(traced.report), drawn(traced)]
    parts += [report_grid(f"path-{n}", t, traced.report.shop, LINKS) for n, t in traced.report.tables.items()]
    parts.append(checkable(traced.report))
    return [p for p in parts if p is not None]


def newest(ledger: Ledger) -> list[Any]:
    """Every lot that holds anything, made or received last first, to begin from."""
    lots = ledger.queries.lots()
    if lots.empty:
        return [
            empty("No lot yet", "Receive goods or pack a batch at the bench, and its lots stand here.", "Go to the bench", "/bench")
        ]  # fmt: skip
    shop = shop_of(ledger.book(), ledger.book().site())
    unit = "lb" if shop.units == "us" else "kg"
    rows = []
    for r in records(lots.sort_values(["day", "position"], ascending=False)):
        packs = int(r["packs"]) if r["kind"] == "packs" else None
        rows.append(
            {
                "lot": r["lot"], "what": shop.name("item", r["item"]) if r["item"] else shop.name("flavour", r["flavour"]),
                "kind": f"{'portion' if r['kind'] == 'mass' else r['kind']} {r['portion']}".strip(), "day": r["day"], "mass": float(shown(r["mass_mg"], "mass", shop).replace("\u202f", "")),
                "mass~": shown(r["mass_mg"], "mass", shop), "packs": packs, "before": r["best_before"], "held": r["held"] or "",
            }
        )  # fmt: skip
    columns = [
        Col("lot", "lot", link="/lots?mark={lot}"), Col("what", "what"), Col("kind", "kind"), Col("packs", "packs", "number"), Col("mass", "mass", "number", unit),
        Col("day", "made or received"), Col("before", "best before"), Col("held", "held"),
    ]  # fmt: skip
    told = "Type or scan what stands on a label: a lot, a batch, a jar's code, or the number of a delivery. Or begin from a lot on hand."
    return [html.P(told, className="sentence"), grid("lots", "Lots on hand, newest first", columns, rows)]


def recall_of(ledger: Ledger, lot: str) -> str:
    """The open recall or drill a lot is held for (empty: none)."""
    held = str((ledger.queries.lot(lot) or {}).get("held") or "")
    return held.split()[-1] if held.startswith("recall ") else ""


def actions(lot: str, recall: str = "") -> Any:
    """What may be done with a lot, big enough for a thumb; a lot under recall leads there first."""
    there = [html.A(f"Go to {recall}", href=f"/recall?recall={recall}", className="button")] if recall else []
    return html.Div(
        [
            *there,
            html.A("Start a recall here", href=f"/recall/start?lot={lot}", className="plain" if recall else "button"),
            html.A("Path", href="#path", className="plain"),
            html.A("Label", href="#label", className="plain"),
            html.A(
                "Interchange document", href=f"/api/v1/epcis?lot={lot}", className="plain", download=f"{lot}.jsonld"
            ),
            html.A(
                "Proof for a stranger", href=f"/api/v1/proof?of={lot}", className="plain", download=f"proof-{lot}.json"
            ),
        ],
        className="actions",
    )


def checkable(report: Report) -> Any:
    """The tree's size and root at the entry the report stands on, as a stranger's proof names them."""
    at = report.as_of
    return html.P(
        ["Checkpoint of this answer: ", html.Code(f"{at.position}:{at.root}", style={"overflowWrap": "anywhere"})],
        className="quiet",
    )


def drawn(traced: audit.Traced) -> Any:
    """The path as a picture, when it is short enough to be read."""
    if not traced.drawing:
        return html.P(
            f"{len(traced.path.lots)} lots are too many to draw; the table holds them all.", className="quiet"
        )
    code = base64.b64encode(traced.drawing.encode()).decode()
    described = f"{traced.report.title}: {len(traced.path.lots)} lots, listed in the table below"
    return html.Figure(
        html.Div(html.Img(src=f"data:image/svg+xml;base64,{code}", alt=described, style={"minWidth": "640px", "width": "100%", "background": "#ffffff", "borderRadius": "12px"}),
                 className="scroll", tabIndex="0", role="region", **{"aria-label": described}), className="table",
    )  # fmt: skip


def label(ledger: Ledger, lot: str) -> Any:
    """The words of the lot's label and the sheets it can be printed on; nothing for a lot that is not packed."""
    try:
        made = audit_label.label(ledger, lot)
    except SlabbookError as error:
        return html.P(f"No label: {for_page(error.message)}", className="quiet", id="label")
    words = (
        made.words.ingredients,
        made.words.allergens or "No allergen on record of the lots used.",
        made.words.best_before,
        made.words.net,
        *made.words.warnings,
    )
    return html.Section(
        [
            html.H2("Label"), html.P(f"{made.pack.name}, {made.words.lot}, recipe {made.recipe}", className="sentence"),
            *[html.P(w) for w in words if w], *[html.P(n, className="caution" if i == 0 else "quiet") for i, n in enumerate(made.notes)],
            html.Ul([sheet_line(lot, made, sheet, word, high) for sheet, word, high in audit_label.sheets_for(ledger, made)], style={"listStyle": "none", "padding": 0}),
        ],
        id="label",
    )  # fmt: skip


def sheet_line(lot: str, made: audit_label.LotLabel, sheet: Sheet, word: str, high: float) -> Any:
    """A sheet as a link to print it; what it can carry of the words, and what it is too small for."""
    if not word:
        return html.Li(
            [html.Span(sheet.says), html.Span(": too small for what must stand on it", className="quiet")],
            style={"padding": ".5rem 0"},
        )
    short = "&short=true" if word == "short" else ""
    told = []
    if short:
        told.append("without the ingredient list, beside a printed one")
    if high < made.text.small_mm - 0.005:
        told.append(audit_label.small_note(made.words.market, high))
    link = html.A(
        sheet.says,
        href=f"/api/v1/lots/{lot}/label?sheet={sheet.name}&count={sheet.count}{short}",
        className="plain",
        target="_blank",
        style={"display": "inline-block"},
    )
    return html.Li([link, html.Div("; ".join(told), className="quiet") if told else None], style={"padding": ".3rem 0"})


register(
    Page(path="/lots", name="Lots", order=60, layout=layout, filters=filters, intro="Every lot and what became of it")
)
