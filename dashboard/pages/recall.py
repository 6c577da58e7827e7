"""Recall: start one, follow it, close it. The numbers are worked out from the rows each time the page is drawn."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from dashboard.components.audit_forms import CAUTION
from dashboard.components.grid import Col
from dashboard.components.parts import chart, choose, table_of
from dashboard.components.recall_parts import count_of, folded, left_to_do, long_table, stock_table, to_call, told
from dashboard.components.words import moment
from dashboard.figures.path import whereabouts
from dashboard.page import Asked, Page, register
from ledger.application import audit_recall
from ledger.application.ledger import Ledger
from ledger.store.times import utc_text

WHERE = (("on_hand", "on hand"), ("still_out", "with customers"), ("sold", "sold over the counter"), ("sampled", "sampled"),
         ("scrapped", "scrapped"), ("lost", "lost on record"), ("used", "used in other lots"), ("unexplained", "unexplained"))  # fmt: skip


def filters(ledger: Ledger, asked: Asked) -> list[Any]:
    """Which recall."""
    codes = [paper.recall for _, paper in reversed(ledger.queries.papers("recall"))]
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
    code = asked.get("recall") or every[-1].started.recall
    case = next((c for c in reversed(every) if c.started.recall == code), None) or audit_recall.the_recall(ledger, code)
    ended = {paper.recall: position for position, paper in ledger.queries.papers("recall-closed")}.get(code)
    r = audit_recall.work(ledger, code, ended, behind=False, case=case).recall
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
    open_ = case.closed is None
    held_words = (
        f"The figures are those of the closing, entry {ended}; where the lot is today stands behind its link."
        if case.closed
        else "All stock on hand is held."
        if todo.empty
        else f"Still to hold: {', '.join(todo['lot'])}."
    )
    lot = Col("lot", "lot", link="/lots?mark={lot}")
    deliveries = long_table("deliveries", "Deliveries", (
        Col("name", "customer"), lot, Col("packs", "packs", "number"), Col("day", "day"), Col("document", "document"), Col("address", "address"),
    ), r.recipients)  # fmt: skip
    counter = long_table("counter", "Counter sales", (
        lot, Col("packs", "packs", "number"), Col("first_day", "first day"), Col("last_day", "last day"),
    ), r.counter)  # fmt: skip
    return [
        html.P(f"{kind} {code} is open at this lot already: nothing new was started. Go on with it here.", className="note", role="status") if asked.get("already") and open_ else None,
        html.P(CAUTION, className="caution") if open_ and not r.case.drill else None,
        html.H2([f"{kind} {code}, lot ", dcc.Link(r.case.lot, href=f"/lots?mark={r.case.lot}&way=forward"), f": {state}"]),
        html.P(f"{r.case.reason}. {count_of(len(r.affected), 'lot')} affected; {r.score:.2f} % of {made} {r.score_unit} accounted for.", className="sentence"),
        left_to_do(r, code) if open_ else None,
        html.Div([*buttons, *papers], className="actions"),
        html.P(held_words, className="quiet" if case.closed else "sentence" if todo.empty else "caution"),
        to_call(r, code, open_=open_),
        told(ledger, r, code, open_=open_),
        stock_table(ledger, code, r, open_=open_),
        chart(whereabouts(amounts, r.score_unit, int(rows["still_out"].sum()), len(calls)), ", ".join(f"{n} {w}" for w, n in amounts)),
        folded(f"Deliveries: {len(r.recipients)} to {count_of(r.recipients['party'].nunique(), 'customer')}", deliveries) if len(r.recipients) else None,
        folded(f"Counter sales: {int(r.counter['packs'].sum())} packs from {r.counter['first_day'].min()} to {r.counter['last_day'].max()}", counter) if len(r.counter) else None,
        table_of("The clock", ["when", "what"], [[moment(utc_text(at), zone), what] for what, at in r.clock]),
        begin,
    ]  # fmt: skip


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
