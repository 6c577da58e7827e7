"""What the buttons of the Season page do: the planner's, those that open a planned batch, and the fact noted."""

from __future__ import annotations

from datetime import date
from typing import Any

from dash import html

from dashboard.components.season_change import change_of
from dashboard.components.season_next import opened_words
from dashboard.components.ways import for_page
from dashboard.page import Asked
from ledger.analytics.compare import week_of
from ledger.application import season_adopt, season_facts, season_forecast
from ledger.application.ledger import Ledger
from ledger.application.season_jobs import Desk
from ledger.application.season_settings import settings_for
from ledger.errors import BadInput, SlabbookError


def act(desk: Desk, button: str, asked: Asked, what: tuple[str, str, float, str, str]) -> None:
    """One button pressed. Trouble is kept on the desk and told on the page."""
    try:
        if button == "season-make":
            weeks = int(asked.get("weeks", "26")) if asked.get("weeks", "26").isdigit() else 26
            desk.make(settings_for(desk.ledger, weeks=weeks), "quick" if asked.get("effort") == "quick" else "normal")
        elif button == "season-stop":
            desk.stop()
        elif button == "season-adopt":
            desk.adopt()
        elif button in ("season-take", "season-keep"):
            desk.take()
        elif button == "season-drop":
            desk.drop()
        elif button == "season-try" and desk.base is not None:
            desk.try_change(*change_of(desk.base, *what))
        elif button == "season-again":
            desk.edit_rest()
        elif button in ("season-undo", "season-undo-all"):
            desk.undo(button == "season-undo-all")
    except SlabbookError as error:
        desk.trouble = error.message


def open_batch(ledger: Ledger, plan_line: str) -> Any:
    """Open a planned batch: what to do with it next, or why it cannot be opened."""
    try:
        outcome = season_adopt.open_line(ledger, plan_line)
        return opened_words(ledger, plan_line, outcome.batch)
    except SlabbookError as error:
        return html.P(for_page(error.message), className="refusal", role="alert")


def note(ledger: Ledger, row: dict[str, str]) -> Any:
    """Record one fact, or the owner's own figure (a forecast is issued first where none was). Told in words, also the refusal."""
    try:
        if row["kind"] != "own":
            outcome = season_facts.record(ledger, row)
            return html.P(f"Noted as entry {outcome.first}. Make the plan again to take it in.", className="note")
        if not row["packs"].isdigit():
            raise BadInput(f"`{row['packs']}` is no number of packs; give a whole number.", value=row["packs"])
        if not row["from"]:
            raise BadInput("Your own figure needs the first day it is for.")
        first, last = (week_of(date.fromisoformat(d)) for d in (row["from"], row["to"] or row["from"]))
        if not ledger.queries.papers("forecast"):
            season_forecast.issue(ledger, season_forecast.make_forecast(ledger, 26))
        said, _ = season_forecast.override(
            ledger, row["flavour"], first, last, int(row["packs"]), row["note"], row["channel"]
        )
        return html.P(
            f"Noted: the model said {said} packs for {first} to {last}, you say {row['packs']}. Make the plan again to take it in.",
            className="note",
        )
    except (SlabbookError, ValueError) as error:
        return html.P(
            for_page(error.message) if isinstance(error, SlabbookError) else f"{error}",
            className="refusal",
            role="alert",
        )


__all__ = ["act", "note", "open_batch"]
