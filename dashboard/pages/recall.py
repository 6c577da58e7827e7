"""Recall: start one, follow it, close it. The numbers are worked out from the rows each time the page is drawn."""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash import dcc, html

from dashboard.components.audit_forms import CAUTION
from dashboard.components.parts import chart, choose, table_of
from dashboard.components.words import moment
from dashboard.figures.path import whereabouts
from dashboard.page import Asked, Page, register
from ledger.application import audit_recall
from ledger.application.ledger import Ledger
from ledger.quantities import mass_text
from ledger.store.times import utc_text
from ledger.trace.recall import Recall
from ledger.trace.recall_progress import sum_in_words

WHERE = (("on_hand", "on hand"), ("still_out", "with customers"), ("sold", "sold over the counter"), ("sampled", "sampled"),
         ("scrapped", "scrapped"), ("lost", "lost on record"), ("used", "used in other lots"), ("unexplained", "unexplained"))  # fmt: skip


def filters(ledger: Ledger, asked: Asked) -> list[Any]:
    """Which recall."""
    codes = [c.started.recall for c in reversed(audit_recall.recalls(ledger))]
    return (
        [choose("recall", "Recall", [(c, c) for c in codes], asked.get("recall", codes[0]), codes[0])] if codes else []
    )


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """One recall as it stands, with what to do next first."""
    every = audit_recall.recalls(ledger)
    begin = html.Div(html.A("Start a recall or a drill", href="/recall/start", className="button"), className="actions")
    if not every:
        return [
            html.P(CAUTION, className="caution"),
            begin,
            html.P("No recall and no drill yet. Do a drill twice a year.", className="sentence"),
        ]
    case = audit_recall.the_recall(ledger, asked.get("recall") or every[-1].started.recall)
    code = case.started.recall
    r = audit_recall.work(ledger, code).recall
    rows = r.accounts[r.accounts["unit"] == r.score_unit]
    amounts = [
        (word, int(rows[name].sum()))
        for name, word in WHERE
        if int(rows[name].sum()) or name in ("on_hand", "still_out", "unexplained")
    ]
    made, zone = int(rows["made"].sum()), ledger.book().site().zone
    kind = "Drill" if r.case.drill else "Recall"
    state = f"closed {moment(utc_text(case.closed_at), zone)}" if case.closed_at else "OPEN"
    buttons = [] if case.closed else [
        html.A("Write down what happened", href=f"/recall/{code}/note", className="button"),
        html.A("Close it", href=f"/recall/{code}/close", className="plain"),
    ]  # fmt: skip
    papers = [html.A(word, href=f"/api/v1/recalls/{code}{end}", className="plain", target="_blank") for word, end in (
        ("Report (PDF)", "?form=pdf"), ("Report (page)", "?form=html"), ("Report (CSV)", "?form=csv"), ("Notice (PDF)", "/notice?form=pdf"))]  # fmt: skip
    todo = r.holdings[r.holdings["still_to_hold"] > 0]
    calls = r.to_call
    return [
        html.P(f"{kind} {code} is open at this lot already: nothing new was started. Go on with it here.", className="note", role="status") if asked.get("already") and not case.closed else None,
        html.P(CAUTION, className="caution") if not case.closed and not r.case.drill else None,
        html.H2([f"{kind} {code}, lot ", dcc.Link(r.case.lot, href=f"/lots?mark={r.case.lot}&way=forward"), f": {state}"]),
        html.P(f"{r.case.reason}. {len(r.affected)} lots are affected; {r.score:.2f} % of {made} {r.score_unit} are accounted for.", className="sentence"),
        html.Div([*buttons, *papers], className="actions"),
        chart(whereabouts(amounts, r.score_unit, int(rows["still_out"].sum()), len(calls)), ", ".join(f"{n} {w}" for w, n in amounts)),
        html.P("It is closed: what was held then is in the report." if case.closed else "All stock on hand is held." if todo.empty else f"Still to hold: {', '.join(todo['lot'])}.", className="sentence" if todo.empty or case.closed else "caution"),
        table_of("Customers to call, most packs first", ["customer", "", "telephone", "packs", "address"], [
            [row["name"] or row["party"], "" if case.closed else html.A("Called", href=f"/recall/{code}/note?kind=called&partner={row['party']}", className="plain"),
             html.A(row["phone"], href=f"tel:{row['phone']}") if row["phone"] else "none on record", row["packs"], row["address"]]
            for row in calls.to_dict("records")], (3,)) if len(calls) else html.P("Every customer who had some was called.", className="sentence"),
        table_of("Deliveries", ["customer", "address", "lot", "packs", "day", "document"], [
            [x["name"], x["address"], dcc.Link(x["lot"], href=f"/lots?mark={x['lot']}"), x["packs"], x["day"], x["document"]] for x in r.recipients.to_dict("records")], (3,))
        if len(r.recipients) else html.P("Nothing was delivered to a business.", className="quiet"),
        table_of("Counter sales", ["lot", "packs", "first day", "last day"], [
            [x["lot"], x["packs"], x["first_day"], x["last_day"]] for x in r.counter.to_dict("records")], (1,)) if len(r.counter) else None,
        stock_table(ledger, code, r, open_=case.closed is None),
        table_of("The clock", ["when", "what"], [[moment(utc_text(at), zone), what] for what, at in r.clock]),
        begin,
    ]  # fmt: skip


def stock_table(ledger: Ledger, code: str, r: Recall, *, open_: bool) -> Any:
    """Lot by lot: what is on hand and held, what came back, was destroyed and not found since the start, with what can be done about each."""
    if r.progress.empty:
        return html.P("Nothing of it is on hand.", className="quiet")
    site = ledger.book().site()
    held = dict(zip(r.holdings["lot"], r.holdings["held"], strict=True))
    packs_only = (r.progress["unit"] == "packs").all()

    def amount(value: int, unit: str) -> str:
        return (
            ("-" if value < 0 else "") + mass_text(abs(value), site.units)
            if unit == "mg"
            else str(value)
            if packs_only
            else f"{value} {unit}"
        )

    def doing(row: dict[str, Any]) -> Any:
        kinds = [("counted", "Count")]
        if not r.case.drill:
            kinds += [("returned", "Came back")] if row["unit"] == "packs" else []
            kinds += [("destroyed", "Destroyed")] if row["on_hand"] else []
        return html.Span([html.A(word, href=f"/recall/{code}/note?kind={kind}&lot={row['lot']}", className="plain", **{"aria-label": f"{word}: {row['lot']}"}) for kind, word in kinds],
                         className="do")  # fmt: skip

    rows = []
    for row in r.progress.to_dict("records"):
        figures = [amount(int(row[k]), row["unit"]) for k in ("on_hand",)] + [
            amount(int(held.get(row["lot"], 0)), row["unit"])
        ]
        figures += [amount(int(row[k]), row["unit"]) if row[k] else "" for k in ("came_back", "destroyed", "not_found")]
        when = moment(utc_text(row["counted"]), site.zone) if pd.notna(row["counted"]) else "not yet"
        rows.append(
            [
                dcc.Link(row["lot"], href=f"/lots?mark={row['lot']}"),
                *([doing(row)] if open_ else []),
                *figures,
                when,
                r.place(row["lot"]),
            ]
        )
    head = [
        "lot",
        *(["write down"] if open_ else []),
        "on hand",
        "held",
        "came back",
        "destroyed",
        "not found",
        "counted",
        "place",
    ]
    first = 2 if open_ else 1
    told = sum_in_words(r.progress, r.score_unit)
    return html.Div([table_of("Stock, lot by lot" + (" (packs)" if packs_only else ""), head, rows, tuple(range(first, first + 5))),
                     html.P(f"Since the start: {told}.", className="sentence") if told else None])  # fmt: skip


register(
    Page(
        path="/recall",
        name="Recall",
        order=65,
        layout=layout,
        filters=filters,
        intro="Start, follow and close a recall or a drill",
    )
)
