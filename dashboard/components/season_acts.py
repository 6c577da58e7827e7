"""What the buttons of the Season page do: the planner's, those that open a planned batch, and the fact noted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from dash import html

from dashboard.components.season_change import change_of
from dashboard.components.season_demand import asked_of
from dashboard.components.season_next import opened_words
from dashboard.components.ways import for_page
from dashboard.page import Asked
from ledger.analytics.compare import week_of
from ledger.application import season_adopt, season_facts, season_forecast
from ledger.application.ledger import Ledger
from ledger.application.season_jobs import Desk
from ledger.application.season_settings import settings_for
from ledger.errors import BadInput, SlabbookError

OF_THE_PLAN = ("season-adopt", "season-forget", "season-try", "typed")
"""What is done to the plan that stands on the page, whatever is being tried beside it."""
OF_THE_TRIAL = ("season-take", "season-drop", "season-keep", "season-again", "season-undo", "season-undo-all")
"""What is done to the change that stands on the page."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What stood on the page when a button was pressed: the version of everything on the desk, and of the plan alone."""

    version: int
    base: int


def told_stale(desk: Desk, button: str, seen: Seen | None) -> bool:
    """Whether a button was pressed on what is no longer on the desk, since another tablet changed it; then the desk's trouble says so.

    Nobody adopts a plan they have not seen.
    """
    if (
        seen is None
        or (button in OF_THE_PLAN and seen.base == desk.base_version)
        or (button in OF_THE_TRIAL and seen.version == desk.version)
    ):
        return False
    if button not in (*OF_THE_PLAN, *OF_THE_TRIAL):
        return False
    desk.trouble = "The plan was changed from another tablet meanwhile, and nothing was done. Now the newest stands here: look at it, then press again."
    desk.version += 1
    return True


def act(
    desk: Desk, button: str, asked: Asked, what: tuple[str, str, float, str, str], seen: Seen | None = None
) -> None:
    """One button pressed. Trouble is kept on the desk and told on the page."""
    if told_stale(desk, button, seen):
        return
    try:
        if button == "season-make":
            weeks = int(asked.get("weeks", "26")) if asked.get("weeks", "26").isdigit() else 26
            desk.make(settings_for(desk.ledger, weeks=weeks), "quick" if asked.get("effort") == "quick" else "normal")
        elif button == "season-stop":
            desk.stop()
        elif button == "season-adopt":
            desk.adopt()
        elif button == "season-forget":
            desk.forget()
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
    row = asked_of(row)
    try:
        if row["kind"] != "own":
            outcome = season_facts.record(ledger, row)
            return html.P(f"Noted as entry {outcome.first}. Make the plan again to take it in.", className="note")
        if not row["packs"].isdigit():
            raise BadInput(f"`{row['packs']}` is no number of packs; give a whole number.", value=row["packs"])
        if not row["from"]:
            raise BadInput("Your own figure needs the first day it is for.")
        first, last = (week_of(date.fromisoformat(d)) for d in (row["from"], row["to"] or row["from"]))
        if not season_forecast.covered(ledger, first, last):
            season_forecast.issue(
                ledger, season_forecast.make_forecast(ledger, season_forecast.horizon_for(ledger, last))
            )
        said, _ = season_forecast.override(
            ledger, row["flavour"], first, last, int(row["packs"]), row["note"], row["channel"]
        )
        return html.P(
            f"Noted: the model said {said} packs for {first} to {last}, you say {row['packs']}. "
            f"{season_forecast.on_top(ledger, row['flavour'], row['channel'], first, last)} Make the plan again to take it in.".replace(
                "  ", " "
            ),
            className="note",
        )
    except (SlabbookError, ValueError) as error:
        return html.P(
            for_page(error.message) if isinstance(error, SlabbookError) else f"{error}",
            className="refusal",
            role="alert",
        )


__all__ = ["Seen", "act", "note", "open_batch", "told_stale"]
