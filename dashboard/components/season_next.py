"""The planned batches that come next: each opens as a batch, and leads to its sheet."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any
from urllib.parse import urlencode

from dash import dcc, html

from ledger.application.ledger import Ledger
from ledger.application.season_adopt import adopted, line_states, next_lines, sheet_of
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.planning.said import mass_said

SHOWN = 8
GONE = ", was due"
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def next_part(ledger: Ledger, told: Any = None) -> Any:
    """The next batches of the plan in force with a button each; `told`: what came of the last one pressed. None while no plan is adopted."""
    papers = [p for _, p in ledger.queries.papers("plan")]
    if not papers:
        return None
    paper, book = papers[-1], ledger.book()
    states = next_lines(ledger, paper, SHOWN)
    head = html.H2("Next to make")
    if not states:
        last = paper.lines[-1]["label"] if paper.lines else ""
        words = (
            f"Every batch of the plan is made, or its weeks are over (the last is {last})."
            if last
            else "The plan makes nothing."
        )
        return html.Section([head, html.P(f"{words} Make a plan anew and adopt it."), told], id="season-next-lines")
    rows = [row(state, book, ledger.today(), _opened if state["batch"] else _button) for state in states]
    many = "The next batch" if len(rows) == 1 else f"The next {len(rows)} batches"
    said = html.P(f"{many} of plan {paper.plan}.", className="quiet")
    return html.Section([head, said, told, html.Ul(rows, className="next-lines")], id="season-next-lines")


def row(state: dict[str, Any], book: Book, today: str, doing: Callable[[dict[str, Any], Book, str], Any]) -> Any:
    """One planned batch: what it is first, then when, in which kettle and how much, then what can be done with it (`doing`: of state, book, flavour's name)."""
    flavour, design = book.find(e.Flavour, state["flavour"]), book.find(e.Design, state["design"])
    what = flavour.name if flavour else state["flavour"]
    facts = [
        when(state, today),
        state["kettle"] or "any kettle",
        f"about {mass_said(state['grams'], book.site().units)}",
    ]
    late = " late" if facts[0].endswith(GONE) else ""
    return html.Li([
        html.Span([html.Strong(what), f", {design.name if design else state['design']}" if state["design"] else ""], className="next-what"),
        html.Span([html.Span(text) for text in facts], className=f"next-facts{late}"),
        doing(state, book, what),
    ])  # fmt: skip


def when(state: dict[str, Any], today: str = "") -> str:
    """The day a planned batch is due, `Wed 2026-12-02`, or its week where no day was found; one that has gone by says so."""
    if not state["date"]:
        return f"{state['label']}, no day found"
    day = date.fromisoformat(state["date"])
    gone = GONE if state["date"] < today and not state["batch"] else ""
    return f"{_DAYS[day.weekday()]} {state['date']}{gone}"


def _button(state: dict[str, Any], _book: Book, what: str) -> Any:
    return html.Button(
        "Open this batch", id={"type": "season-open", "line": state["plan_line"]}, type="button", className="plain", n_clicks=0,
        **{"aria-label": f"Open this batch: {what}, {when(state)}"},
    )  # fmt: skip


def _opened(state: dict[str, Any], book: Book, _what: str) -> Any:
    query = sheet_of(book, state).query()
    parts: list[Any] = [dcc.Link(state["batch"], href=f"/batch?batch={state['batch']}"), " is open. "]
    if query.get("design"):
        parts.append(dcc.Link("Its sheet", href=f"/sheet?{urlencode(query)}"))
    return html.Span(parts, className="next-open")


def opened_words(ledger: Ledger, plan_line: str, batch: str) -> Any:
    """What to do with a batch just opened: its sheet, its page."""
    state = next(
        s for s in line_states(ledger, adopted(ledger, plan_line.split("/")[0])) if s["plan_line"] == plan_line
    )
    query = sheet_of(ledger.book(), state).query()
    sheet = (
        dcc.Link("Size it and print its sheet", href=f"/sheet?{urlencode(query)}")
        if query.get("design")
        else "It has no design, so it has no sheet."
    )
    return html.P(
        [
            html.Strong(f"Batch {batch} is open. "),
            sheet,
            " ",
            dcc.Link("Record at its page", href=f"/batch?batch={batch}"),
        ],
        className="note",
        role="status",
    )


__all__ = ["next_part", "opened_words", "row", "when"]
