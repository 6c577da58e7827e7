"""What stands on the Season page of the desk as it is: what goes on, the sum, words and charts, the table, the change beside it, the files."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from dashboard.components.season_folds import folds, plan_figure, went
from dashboard.components.season_parts import charts, in_house, side_by_side, words
from dashboard.components.season_sum import sum_words
from dashboard.components.season_table import not_shown, plan_table, weeks_shown
from dashboard.components.ways import for_page
from dashboard.page import Asked, address
from ledger.application.season_jobs import Desk
from ledger.application.season_plan import PlanMade

PATH = "/season"


def status(desk: Desk) -> list[Any]:
    """What is going on, what went wrong, what was adopted."""
    job = desk.job
    if job is not None:
        stage = "Stopping, with the best so far" if job.stop.is_set() else job.stage or "Reading the ledger"
        return [
            html.P([html.Strong(job.what), ". ", stage, " ..."], className="note"),
            html.Progress(value=f"{job.share:.2f}", max="1", **{"aria-label": job.what}),
        ]
    parts: list[Any] = []
    if desk.trouble:
        parts.append(html.P(for_page(desk.trouble), className="refusal", role="alert"))
    if desk.adopted:
        parts.append(
            html.P(
                f"Adopted as {desk.adopted}. Its next batches stand below, each to be opened with its sheet.",
                className="note",
            )
        )
    if desk.base is not None:
        position = desk.base.asked.forecast.seen.on.known
        now = desk.ledger.queries.as_of().position
        if now != position and not desk.adopted and not desk.base.in_force:
            parts.append(
                html.P(
                    f"Made from entry {position}; {now - position} entries were recorded since. Make the plan again to take them in.",
                    className="quiet",
                )
            )
    return parts


def head(desk: Desk) -> Any:
    """How the season stands in one breath."""
    if desk.base is not None:
        return html.P(sum_words(desk.base, desk.standing), className="sentence", id="season-sum")
    if desk.standing is None:
        text = "Reading what has sold and what is in the house: some seconds." if desk.busy else ""
        return html.P(text, className="sentence") if text else None
    weeks = desk.standing.made.problem.weeks
    text = (
        f"No plan is in force. Below is what should sell from {weeks[0].label} to {weeks[-1].label} against what is in the "
        "house if nothing more were made. Make the plan: it takes some seconds, shows how far it is, and can be stopped."
    )
    return html.P(text, className="sentence", id="season-sum")


def top(desk: Desk, asked: Asked) -> list[Any]:
    """Words and charts of the plan; without one what should sell against what is in the house."""
    made = desk.base
    if made is not None:
        shown = charts(made, _item(made, asked.get("flavour", "")), made.asked.forecast.seen.on.shop)
        return [words(made.words, [w.label for w in made.problem.weeks]), shown]
    if desk.standing is None:
        return []
    made = desk.standing.made
    item = _item(made, asked.get("flavour", ""))
    return [charts(made, item, made.asked.forecast.seen.on.shop, planned=False), in_house(made)]


def lines(desk: Desk, asked: Asked) -> list[Any]:
    """The table to edit, and which rows it leaves out."""
    made = desk.base
    if made is None:
        return []
    every, span = asked.get("rows") == "all", span_of(asked)
    out = "" if every else not_shown(desk, weeks_shown(made, span))
    more = html.P([out, " ", dcc.Link("Show every row", href=address(PATH, asked, rows="all"))], className="quiet")
    return [plan_table(desk, span, every), more if out else None]


def figure(desk: Desk) -> str:
    return plan_figure(desk.base) if desk.base is not None else ""


def span_of(asked: Asked) -> int:
    """How many weeks the table shows."""
    return int(asked.get("shown", "8")) if asked.get("shown", "8").isdigit() else 8


def _item(made: PlanMade, flavour: str) -> str:
    return next((key for key, (f, _) in made.asked.made_of.items() if f == flavour), "")


def looking_back(desk: Desk) -> Any:
    """An earlier plan against what happened, with its exact split; None while none has a week behind it."""
    return None if desk.went is None else went(desk.went)


def trial(desk: Desk) -> Any:
    """The change being tried, beside the plan."""
    if desk.base is None or desk.trial is None or desk.by_hand:
        return None
    return side_by_side(desk.base, desk.trial, desk.said)


def bottom(desk: Desk) -> list[Any]:
    """The tables behind the words, the days and the order list."""
    return [] if desk.base is None else folds(desk.base, desk.ledger)


def files(desk: Desk) -> Any:
    """The plan, its lines, the order list and the forecast as files."""
    if desk.base is None:
        return None
    given = [("Plan (spreadsheet)", "/api/v1/season/plan?form=xlsx"), ("lines (CSV)", "/api/v1/season/plan?form=csv&table=lines"),
             ("order list (CSV)", "/api/v1/season/buy?form=csv"), ("containers (CSV)", "/api/v1/season/buy?form=csv&table=containers"), ("forecast (CSV)", "/api/v1/season/forecast?form=csv&table=weekly&horizon=26")]  # fmt: skip
    links = [x for text, href in given for x in (html.A(text, href=href, download=""), " ")]
    return html.P(["Take it with you: ", *links], className="files")


__all__ = ["PATH", "bottom", "figure", "files", "head", "lines", "looking_back", "span_of", "status", "top", "trial"]
