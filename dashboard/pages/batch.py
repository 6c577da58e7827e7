"""Batch: everything of one batch, from the sheet to the jar, with its postings, lots, picture and amendments."""

from __future__ import annotations

import base64
import json
from typing import Any

from dash import dcc, html

from dashboard.components.parts import choose, empty, files, report_table, sentence, table_of
from dashboard.components.words import entry_name, moment
from dashboard.entries import batch_entries
from dashboard.page import Asked, Page, address, register
from dashboard.pages.bench import amend_line, card
from dashboard.remember import remembered
from ledger.analytics.records import records
from ledger.application.ledger import Ledger
from ledger.application.report_text import shown
from ledger.application.reports import batch_report
from ledger.application.reports_types import Shop, shop_of
from ledger.domain.books import entries as e


def filters(ledger: Ledger, asked: Asked) -> list[Any]:
    """Which batch."""
    found = ledger.queries.batches(most=200)
    codes = list(found["batch"])
    if asked.get("batch") and asked["batch"] not in codes:
        codes.insert(0, asked["batch"])
    return [choose("batch", "Batch", [(c, c) for c in codes], asked.get("batch", codes[0]), codes[0])] if codes else []


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """The page of one batch."""
    found = ledger.queries.batches(names=[asked["batch"]] if asked.get("batch") else None, most=1)
    if found.empty:
        if asked.get("batch"):
            return [
                empty(
                    f"There is no batch {asked['batch']}",
                    "Choose one above, or open it at the bench.",
                    "Go to the bench",
                    "/bench",
                )
            ]
        return [empty("No batch yet", "Open one at the bench.", "Go to the bench", "/bench")]
    batch = dict(found.iloc[0])
    code, book = str(batch["batch"]), ledger.book()
    shop = shop_of(book, book.site())
    report = remembered(batch_report, ledger, code)
    parts: list[Any] = list(sentence(report)) if report.tables else [not_begun(batch)]
    if batch["status"] == "open":
        parts.append(html.Div(card(ledger, book, batch, ledger.queries.batches(most=40)), className="cards"))
    parts.append(picture(ledger, book, batch))
    parts += [report_table(t, report.shop) for t in report.tables.values() if not t.frame.empty]
    parts.append(steps(ledger, code, book.site().zone))
    parts.append(lots(ledger, shop, code))
    parts.append(postings(ledger, shop, code))
    parts.append(files("batch", {"batch": code}))
    return [p for p in parts if p is not None]


def not_begun(batch: dict[str, Any]) -> Any:
    """What is told of a batch that has its code and nothing else."""
    following = " Next is the cook." if batch["status"] == "open" else ""
    return html.P(f"Opened on {batch['day']}; nothing is recorded on it yet.{following}", className="sentence")


def picture(ledger: Ledger, book: Any, batch: dict[str, Any]) -> Any:
    """The sheet as it was issued: its picture and the planned figures; a plain line where none was."""
    sheets = ledger.queries.papers("sheet", str(batch["batch"]))
    if not sheets:
        design = book.find(e.Design, batch["design"]) if batch["design"] else None
        asked = {"design": design.id, "flavour": str(batch["flavour"])} if design else {}
        return html.P(
            [
                f"No sheet was issued for this batch. Design: {design.name if design else 'none'}. ",
                dcc.Link("Plan one on the Sheet page", href=address("/sheet", asked)),
            ],
            className="quiet",
        )
    position, paper = sheets[-1]
    sheet = paper.sheet
    image = sheet.get("picture_png_base64", "")
    try:
        base64.b64decode(image, validate=True)
    except ValueError:
        image = ""
    drawn = (
        html.Img(
            src=f"data:image/png;base64,{image}",
            className="picture",
            alt=f"Section of {sheet.get('design', 'the design')}",
        )
        if image
        else None
    )
    told = html.Details([html.Summary(f"The sheet as issued, entry {position}"), html.Pre(json.dumps({k: v for k, v in sheet.items() if k != "picture_png_base64"}, indent=1))],
                        className="log-entry")  # fmt: skip
    printed = html.P(
        [
            html.A("The sheet as a page", href=f"/api/v1/batches/{batch['batch']}/sheet.html"),
            " ",
            html.A("The sheet to print (PDF)", href=f"/api/v1/batches/{batch['batch']}/sheet.pdf"),
        ],
        className="files",
    )
    return html.Section([html.H2("Sheet"), drawn, printed, told])


def steps(ledger: Ledger, code: str, zone: str) -> Any:
    """Every entry as believed now, and every amendment with its reason."""
    entries = batch_entries(ledger, code)
    log = ledger.queries.log(batch=code, most=2000)
    fixes = [
        [str(r["position"]), moment(r["recorded_at"], zone), entry_name(r["name"]), f"entry {d['origin']}", "followed from another" if d.get("cause") else d["reason"]]
        for r in records(log) if r["name"].startswith("ledger.") for d in [json.loads(r["payload"])]
    ]  # fmt: skip
    rows = [
        [
            str(x["position"]),
            x["day"],
            x["what"],
            x["by"],
            moment(x["recorded_at"], zone),
            f"{x['amended']} times" if x["amended"] else "",
        ]
        for x in entries
    ]
    made = table_of("Entries, as believed now", ["entry", "day", "what", "by", "recorded", "amended"], rows)
    fixed = (
        table_of("Amendments", ["entry", "recorded", "what", "of", "why"], fixes)
        if fixes
        else html.P("Nothing was amended.", className="quiet")
    )
    return html.Section(
        [made, html.Details([html.Summary("Amend or void an entry"), *[amend_line(x) for x in entries]]), fixed]
    )


def lots(ledger: Ledger, shop: Shop, code: str) -> Any:
    """Lots that went in, and lots made."""
    moves = ledger.queries.postings(batch=code)
    taken = moves[(moves["kind"].isin(["lot.material", "lot.reboil"])) & (moves["mass_mg"] < 0)]
    went = taken.groupby(["account", "item"], sort=True)["mass_mg"].sum().reset_index()
    rows = [
        ["in", r["account"], shop.name("item", r["item"]), shown(-int(r["mass_mg"]), "mass", shop), ""]
        for r in records(went)
        if not str(r["account"]).startswith(code)
    ]
    for r in records(ledger.queries.lots(holding=False, batch=code)):
        what = shop.name("item", r["item"]) if r["item"] else f"{r['kind']} {r['portion']}".strip()
        rows.append(
            ["out", r["lot"], what, shown(int(r["made_mg"]), "mass", shop), shown(int(r["mass_mg"]), "mass", shop)]
        )
    if not rows:
        return html.P("No lot went in or came out yet.", className="quiet")
    unit = "lb" if shop.units == "us" else "kg"
    return table_of("Lots in and out", ["way", "lot", "what", f"moved, {unit}", f"holds now, {unit}"], rows, (3, 4))


def postings(ledger: Ledger, shop: Shop, code: str) -> Any:
    """The postings: where every gram went. They sum to zero in every entry."""
    moves = ledger.queries.postings(batch=code)
    rows = [
        [str(r["origin"]), r["step"], r["kind"], r["account"], shown(int(r["mass_mg"]), "mass", shop), str(r["pieces"] or ""), str(r["packs"] or ""),
         shown(int(r["seconds"]), "time", shop) if r["seconds"] else ""]
        for r in records(moves)
    ]  # fmt: skip
    total = sum(int(x) for x in moves["mass_mg"])
    title = f"Postings: {len(rows)} lines, their sum is {total}"
    unit = "lb" if shop.units == "us" else "kg"
    shown_table = table_of(
        title, ["entry", "step", "kind", "account", unit, "pieces", "packs", "time"], rows, (4, 5, 6, 7)
    )
    return html.Details([html.Summary("Postings: where every gram went"), shown_table])


register(Page(path="/batch", name="Batch", order=50, layout=layout, filters=filters))
