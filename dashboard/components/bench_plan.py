"""What the plan in force wants made in the coming days: on the bench, where it is made, one tap from being opened."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from urllib.parse import quote

from dash import dcc, html

from dashboard.components.season_next import row, when
from ledger.analytics.compare import monday
from ledger.application.ledger import Ledger
from ledger.application.season_adopt import next_lines
from ledger.domain.books.book import Book

AHEAD_DAYS = 6
"""Today and so many days more are the bench's business; what comes later is on the Season page."""
SHOWN = 4


def due_part(ledger: Ledger, book: Book) -> Any:
    """The planned batches of today and the six days after that nobody has opened yet, the earliest first. None where none is due or no plan is adopted."""
    papers = [p for _, p in ledger.queries.papers("plan")]
    if not papers:
        return None
    today = ledger.today()
    last = date.fromisoformat(today) + timedelta(days=AHEAD_DAYS)
    due = [s for s in next_lines(ledger, papers[-1], most=10_000) if not s["batch"] and _day(s) <= last]
    if not due:
        return None
    more = len(due) - SHOWN
    rest = [
        html.P([f"{more} more until {last.isoformat()}: ", dcc.Link("Season", href="/season"), "."], className="quiet")
    ]
    return html.Section(
        [html.H2("Planned for the coming days"), html.Ul([row(s, book, today, _button) for s in due[:SHOWN]], className="next-lines"), *(rest if more > 0 else [])],
        id="bench-due",
    )  # fmt: skip


def _day(state: dict[str, Any]) -> date:
    return date.fromisoformat(state["date"]) if state["date"] else monday(state["label"])


def _button(state: dict[str, Any], _book: Book, what: str) -> Any:
    return html.Button(
        "Open this batch", type="button", className="plain", **{"data-form": f"open-batch?line={quote(state['plan_line'], safe='')}"},
        **{"aria-label": f"Open this batch: {what}, {when(state)}"},
    )  # fmt: skip


__all__ = ["due_part"]
