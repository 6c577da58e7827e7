"""Bench: the batches under way, each with its next step as one big button. For the tablet by the slab."""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash import dcc, html

from dashboard.components.bench_plan import due_part
from dashboard.components.parts import empty, first_steps, next_to_enter
from dashboard.components.words import since
from dashboard.entries import batch_entries
from dashboard.forms.steps import STEP_FORMS
from dashboard.page import Asked, Page, register
from ledger.analytics.records import records
from ledger.application.ledger import Ledger
from ledger.craft.sheet_lines import changeover_note
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book

MAIN = ("cook", "pull", "build", "roll", "cut", "pack")


def next_step(steps: list[str], pulls: bool) -> str:
    """The step a batch most likely needs next; `close-batch` once it is packed."""
    for step in MAIN:
        if step == "pull" and (not pulls or "build" in steps):
            continue
        if step not in steps:
            return step
    return "close-batch"


def allergens_of(book: Book, recipe: str) -> tuple[str, ...]:
    """Allergens of everything a recipe takes."""
    found = book.find(e.Recipe, recipe)
    named = [book.find(e.Material, line.material) for line in found.lines] if found else []
    return tuple(sorted({a for m in named if m is not None for a in m.allergens}))


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """Cards of the open batches, newest first, and what the plan wants opened next."""
    book, queries = ledger.book(), ledger.queries
    rows = queries.batches(status="open")
    actions = html.Div(
        [
            html.Button(
                "Open a batch", **{"data-form": "open-batch", "data-ahead": "1"}, className="button", id="open-batch"
            ),
            html.Button("Receive goods", **{"data-form": "receive"}, className="plain"),
            html.Button("Sell", **{"data-form": "sell"}, className="plain"),
            html.Button("Other time", **{"data-form": "work"}, className="plain"),
        ],
        className="actions",
    )
    if not book.all(e.Recipe):
        return [first_steps(book)]
    if rows.empty:
        return [
            *next_to_enter(book),
            actions,
            empty(
                "No batch is open",
                "Open a batch to start. Its card then stands here with the next step as one big button.",
            ),
            due_part(ledger, book),
        ]
    rest_of_book = next_to_enter(book)
    rows = rows.sort_values("last_position", ascending=False)
    made = queries.batches(most=40)
    most = 24
    cards = [card(ledger, book, r, made) for r in records(rows.head(most))]
    rest = (
        [html.P(f"{len(rows) - most} older open batches are not shown. Close those that are done.", className="note")]
        if len(rows) > most
        else []
    )
    return [*rest_of_book, actions, html.Div(cards, className="cards"), *rest, due_part(ledger, book)]


def card(ledger: Ledger, book: Book, batch: dict[str, Any], made: pd.DataFrame) -> Any:
    """One batch: where it is, how long since, what comes next, what to mind, and what may be amended."""
    code, steps = str(batch["batch"]), str(batch["steps"]).split()
    flavour, design = (
        book.find(e.Flavour, batch["flavour"]),
        book.find(e.Design, batch["design"]) if batch["design"] else None,
    )
    pulls = design is None or design.kind != "plain"
    step = next_step(steps, pulls)
    title = STEP_FORMS[step][0] if step in STEP_FORMS else "Close the batch"
    others = [s for s in STEP_FORMS if s != step]
    line = [
        html.Li(s, className="done" if s in steps else "next" if s == step else "") for s in MAIN if pulls or s != "pull"
    ]  # fmt: skip
    told = f"{steps[-1]} recorded" if steps else "opened"
    entries = batch_entries(ledger, code)
    return html.Article(
        [
            html.Header([
                html.Div([html.Div(dcc.Link(code, href=f"/batch?batch={code}"), className="code"),
                          html.Div([html.Strong(flavour.name if flavour else batch["flavour"]), f", {design.name}" if design else ""], className="what")]),
                html.Span(f"{told}, {since(batch['last_at'], ledger.clock())}", className="quiet"),
            ]),
            html.Ol(line, className="steps", **{"aria-label": "Steps"}),
            *mind(book, batch, made),
            html.Button(title, **{"data-form": f"{step}?batch={code}", "data-ahead": "1"}, className="button big", id={"type": "next", "batch": code}),
            html.Div([html.Button("Start clock", **{"data-clock": f"{code}:{step}"}, className="plain", **{"aria-label": f"Clock of {step}, batch {code}"})]) if step in STEP_FORMS else None,
            html.Details([html.Summary("Another step, or amend"), html.Div([
                html.Div([html.Button(STEP_FORMS[s][0], **{"data-form": f"{s}?batch={code}"}, className="plain") for s in others]
                         + [html.Button("Other time", **{"data-form": f"work?batch={code}"}, className="plain")]
                         + ([] if step == "close-batch" else [html.Button("Close the batch", **{"data-form": f"close-batch?batch={code}"}, className="plain")]),
                         className="actions"),
                *[amend_line(x) for x in reversed(entries)],
            ], className="more")]),
        ],
        className="card", id={"type": "card", "batch": code}, **{"aria-label": f"Batch {code}"},
    )  # fmt: skip


def amend_line(entry: dict[str, Any]) -> Any:
    """One recorded entry with its two ways to correct it."""
    marks = [html.Em(" amended")] if entry["amended"] else []
    return html.P(
        [
            f"{entry['what']}, {entry['day']} ", *marks, " ",
            html.Button("Amend", **{"data-form": f"amend?origin={entry['position']}"}, className="plain", **{"aria-label": f"Amend {entry['what']}, entry {entry['position']}"}),
            " ",
            html.Button("Void", **{"data-form": f"void?origin={entry['position']}"}, className="plain", **{"aria-label": f"Void {entry['what']}, entry {entry['position']}"}),
        ],
        className="amend",
    )  # fmt: skip


def mind(book: Book, batch: dict[str, Any], made: pd.DataFrame) -> list[Any]:
    """Allergens of this batch, and what to clean after the batch before it."""
    now = allergens_of(book, batch["recipe"])
    said: list[Any] = []
    if now:
        said.append(
            html.P(
                [html.Strong("Allergens: "), ", ".join(now), ". Keep tools and labels apart; follow your local law."],
                className="allergens",
            )
        )
    before = made[made["position"] < batch["position"]]
    if len(before):
        last = before.iloc[0]
        note = changeover_note(allergens_of(book, str(last["recipe"])), now)
        if note:
            said.append(html.P([html.Strong("Changeover: "), note], className="allergens"))
    if not said:
        said.append(html.P("No allergens stand in the book for this recipe.", className="quiet"))
    return said


register(Page(path="/bench", name="Bench", order=10, layout=layout, intro="Record what happens"))
