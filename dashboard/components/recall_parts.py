"""Parts of the Recall page: whom to call with a number under the thumb, who was told, and the stock lot by lot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
from dash import dcc, html

from dashboard.components.grid import LONG, Col, grid
from dashboard.components.parts import table_of
from dashboard.components.words import moment
from ledger.analytics.records import records
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.quantities import mass_text
from ledger.store.times import utc_text
from ledger.trace.recall import Recall
from ledger.trace.recall_progress import sum_in_words

DEEDS = {"counted": "Count", "returned": "Came back", "destroyed": "Destroyed"}
"""What can be written down about a lot, as its button says it."""
SIDE_BY_SIDE = {"display": "inline-flex", "gap": ".45rem"}


def count_of(number: int, word: str) -> str:
    """`1 customer`, `4 customers`."""
    return f"{number} {word}" + ("" if number == 1 else "s")


def left_to_do(r: Recall, code: str) -> Any:
    """What an open recall still asks for, in the order to do it; each leads to its place on the page."""
    uncounted = int((r.progress["counted"].isna() & (r.progress["on_hand"] > 0)).sum())
    steps: list[tuple[str, str]] = []
    if not r.case.drill and not any(what.startswith("authority") for what, _ in r.clock):
        steps.append(("Authority told? Write it down", f"/recall/{code}/note?kind=authority"))
    if len(r.to_call):
        steps.append((f"Call {count_of(len(r.to_call), 'customer')}", "#call"))
    if uncounted:
        steps.append((f"Count {count_of(uncounted, 'lot')} on the shelf", "#stock"))
    if not steps:
        steps.append(("Nothing is left to call or count: close it", f"/recall/{code}/close"))
    return html.Ol(
        [html.Li(html.A(words, href=to)) for words, to in steps], className="sentence", **{"aria-label": "Left to do"}
    )


def to_call(r: Recall, code: str, *, open_: bool) -> Any:
    """A card for each customer not told yet, most packs first: the telephone is what the thumb finds."""
    calls = r.to_call
    if not len(calls):
        told = (
            "Every customer who had some was called." if len(r.recipients) else "Nothing was delivered to a business."
        )
        return html.P(told, className="sentence")
    if not open_:  # it is over: a name in a sentence, no telephone that asks to be pressed
        names = ", ".join(str(row["name"] or row["party"]) for row in records(calls))
        why = "a drill calls nobody" if r.case.drill else "no call was written down"
        return html.P(f"Not called before it was closed ({why}): {names}.", className="sentence")
    cards = []
    for row in records(calls):
        name = row["name"] or row["party"]
        call = (
            html.A(f"Call {row['phone']}", href=f"tel:{''.join(str(row['phone']).split())}", className="button", **{"aria-label": f"Call {name}"})
            if row["phone"] else html.A("No telephone on record: enter it", href=f"/contact?kind=partner&id={row['party']}", className="plain")
        )  # fmt: skip
        done = html.A(
            "Was called",
            href=f"/recall/{code}/note?kind=called&partner={row['party']}",
            className="plain",
            **{"aria-label": f"{name} was called"},
        )
        cards.append(html.Div([html.Strong(name), html.Span(f"{count_of(row['packs'], 'pack')} · {row['address'] or 'no address on record'}", className="what"),
                               html.Div([call, done], className="actions")], className="card"))  # fmt: skip
    return html.Section([html.H3(f"Customers to call: {len(calls)}"), html.Div(cards, className="cards")], id="call")


def told(ledger: Ledger, r: Recall, code: str, *, open_: bool) -> Any:
    """Customers who were told: when, what they answered, what was set aside there and what came back."""
    if not r.told:
        return None
    zone = ledger.book().site().zone
    names = dict(zip(r.recipients["party"], r.recipients["name"], strict=True))
    phones = dict(zip(r.recipients["party"], r.recipients["phone"], strict=True))
    kinds = [("answered", "Answered"), ("pulled", "Set aside"), *([] if r.case.drill else [("returned", "Came back")])]
    rows = []
    for t in r.told:
        doing = html.Span([html.A(word, href=f"/recall/{code}/note?kind={kind}&partner={t.party}", className="plain", **{"aria-label": f"{word}: {names.get(t.party, t.party)}"}) for kind, word in kinds],
                          style=SIDE_BY_SIDE)  # fmt: skip
        phone = phones.get(t.party, "")
        rows.append([names.get(t.party, t.party), *([doing] if open_ else []), moment(utc_text(t.at), zone),
                     moment(utc_text(t.answered_at), zone) if t.answered_at else "no answer yet", "" if t.still_there is None else t.still_there,
                     t.set_aside or "", t.came_back or "", html.A(phone, href=f"tel:{''.join(phone.split())}") if phone else ""])  # fmt: skip
    head = [
        "customer",
        *(["write down"] if open_ else []),
        "told",
        "answered",
        "still there",
        "set aside",
        "came back",
        "telephone",
    ]
    return table_of("Customers told", head, rows, tuple(range(len(head) - 4, len(head) - 1)))


def folded(summary: str, table: Any) -> Any:
    """A long table behind its summary."""
    return html.Details([html.Summary(summary), table], className="card")


def long_table(name: str, title: str, columns: Sequence[Col], frame: pd.DataFrame) -> Any:
    """Rows of a recall: a grid where there are many (a browser needs seconds for some hundred plain ones), a plain table where there are few."""
    rows = [{"#": n, **row} for n, row in enumerate(records(frame))]
    if len(rows) >= LONG:
        return grid(f"recall-{name}", title, columns, rows, key="#")
    plain = [
        [
            dcc.Link(row[c.name], href=c.link.format(**row)) if c.link else row.get(f"{c.name}~", row[c.name])
            for c in columns
        ]
        for row in rows
    ]
    return table_of(title, [c.title for c in columns], plain, [n for n, c in enumerate(columns) if c.kind == "number"])


def stock_table(ledger: Ledger, code: str, r: Recall, *, open_: bool) -> Any:
    """Lot by lot: what is on hand and held, what came back, was destroyed and not found since the start, with what can be done about each."""
    if r.progress.empty:
        return html.P("Nothing of it is on hand.", className="quiet")
    book = ledger.book()
    site, stations = book.site(), {x.id: x.name or x.id for x in book.all(e.Station)}
    held = dict(zip(r.holdings["lot"], r.holdings["held"], strict=True))
    packs_only = (r.progress["unit"] == "packs").all()

    def amount(value: int, unit: str) -> str:
        return (
            ("-" if value < 0 else "") + mass_text(abs(value), site.units)
            if unit == "mg"
            else str(value)
            if packs_only
            else count_of(value, unit.removesuffix("s"))
        )

    def ways(row: dict[str, Any]) -> list[str]:
        if r.case.drill:
            return ["counted"]
        return ["counted", *(["returned"] if row["unit"] == "packs" else []), *(["destroyed"] if row["on_hand"] else [])]  # fmt: skip

    def doing(row: dict[str, Any]) -> Any:
        return html.Span([html.A(DEEDS[kind], href=f"/recall/{code}/note?kind={kind}&lot={row['lot']}", className="plain", **{"aria-label": f"{DEEDS[kind]}: {row['lot']}"}) for kind in ways(row)],
                         style=SIDE_BY_SIDE)  # fmt: skip

    shown = to_show(r, open_=open_)
    rows = []
    for row in records(shown):
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
                stations.get(r.place(row["lot"]), r.place(row["lot"])),
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
    said = sum_in_words(r.progress, r.score_unit)
    gone = len(r.progress) - len(shown)
    rest = f"{gone} more lots held something when it began and hold nothing now: the report has them." if gone else ""
    title = "Stock, lot by lot" + (" (packs)" if packs_only else "")
    if open_ and len(rows) < LONG:
        table = table_of(title, head, rows, tuple(range(first, first + 5)))
    else:
        columns = [
            Col("lot", "lot", link="/lots?mark={lot}"),
            *([Col("do", "write down", "do", buttons={k: (word, f"/recall/{code}/note?kind={k}&lot={{lot}}") for k, word in DEEDS.items()})] if open_ else []),
            *(Col(x, x, "number" if n < 5 else "text") for n, x in enumerate(head[first:])),
        ]  # fmt: skip
        frame = sortable(shown, held, head[first:], [row[first:] for row in rows])
        if open_:
            frame["do"] = [ways(row) for row in records(shown)]
        table = long_table("stock", title, columns, frame)
    return html.Section([table,
                     html.P(rest, className="quiet") if rest else None,
                     html.P(f"Since the start: {said}.", className="sentence") if said else None], id="stock")  # fmt: skip


def sortable(shown: pd.DataFrame, held: dict[str, Any], head: list[str], rows: list[list[Any]]) -> pd.DataFrame:
    """What `stock_table` shows of each lot, with the figures themselves to sort by beside their words."""
    frame = pd.DataFrame(rows, columns=head)
    frame.insert(0, "lot", list(shown["lot"]))
    for name in head[:5]:
        frame[f"{name}~"] = frame[name]
        frame[name] = (
            [int(held.get(x, 0)) for x in shown["lot"]]
            if name == "held"
            else [int(x) for x in shown[name.replace(" ", "_")]]
        )
    return frame


def to_show(r: Recall, *, open_: bool) -> pd.DataFrame:
    """The lots there is something to see or do about: on hand, counted or moved since, or (while it is open) out with customers."""
    p = r.progress
    moved = (p[["on_hand", "came_back", "destroyed", "not_found"]] != 0).any(axis=1) | p["counted"].notna()
    return p[moved | p["lot"].isin(r.recipients["lot"])] if open_ else p[moved]
