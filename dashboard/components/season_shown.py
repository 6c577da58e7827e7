"""What stands on the Season page of the desk as it is: what goes on, the sum, words and charts, the table, the change beside it, the files."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dash import dcc, html

from dashboard.components.season_demand import demand_part
from dashboard.components.season_folds import folds, plan_figure, went
from dashboard.components.season_parts import charts, in_house, words
from dashboard.components.season_side import beside_part, side_by_side
from dashboard.components.season_sum import sum_words
from dashboard.components.season_table import not_shown, plan_table, weeks_shown
from dashboard.components.ways import for_page
from dashboard.page import Asked, address
from ledger.application import season_words
from ledger.application.season_jobs import Desk, Job
from ledger.application.season_plan import PlanMade

PATH = "/season"


def status(desk: Desk) -> list[Any]:
    """What is going on, what went wrong, what was adopted."""
    parts: list[Any] = []
    if desk.trouble:
        parts.append(html.P(for_page(desk.trouble), className="refusal", role="alert"))
    if desk.job is not None:
        return [*parts, going_on(desk.job, season_words.money_of(desk.ledger.book().site()))]
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
            one = now - position == 1
            since = "1 entry was" if one else f"{now - position} entries were"
            parts.append(
                html.P(
                    f"Made from entry {position}; {since} recorded since. Make the plan again to take {'it' if one else 'them'} in.",
                    className="quiet",
                )
            )
    return parts


def going_on(job: Job, money: Callable[[int], str]) -> Any:
    """The work that goes on: what it is and its stage, then how long it has been and how good the best so far is.

    Only the first line is read aloud when it changes; the figures move too often for that.
    """
    at = job.at
    if job.stop.is_set():
        early = at is not None and at.stage == "forecast"
        stage = (
            "Stopping: the forecast is finished first, then the best simple rule stands"
            if early
            else "Stopping, with the best so far"
        )
    else:
        stage = season_words.name(at) if at is not None else "Reading the ledger"
    share = season_words.done(at) if at is not None else None
    told = [f"{job.seconds:.0f} s so far"]
    if at is not None and not job.stop.is_set():
        told += [text for text in (season_words.how_far(at), season_words.best(at, money)) if text]
    bar = {} if share is None else {"value": f"{share:.2f}", "max": "1"}
    return html.Div([
        html.P([html.Strong(job.what), ". ", stage, " ..."], className="note"),
        html.P("; ".join(told) + ".", className="quiet", **{"aria-live": "off"}),
        html.Progress(**bar, **{"aria-label": stage}),
    ], className="going-on")  # fmt: skip


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
        return [
            words(made.words, [w.label for w in made.problem.weeks]),
            shown,
            html.Div(demand_part(desk, asked), className="folds"),
        ]
    if desk.standing is None:
        return []
    made = desk.standing.made
    item = _item(made, asked.get("flavour", ""))
    sells = html.Div(demand_part(desk, asked), className="folds")
    return [charts(made, item, made.asked.forecast.seen.on.shop, planned=False), in_house(made), sells]


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


def old_and_new(desk: Desk) -> Any:
    """The plan in force beside the plan made anew, until that one is adopted or forgotten."""
    return beside_part(desk.beside) if desk.beside is not None and desk.base is not None and desk.mine else None


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


__all__ = [
    "PATH",
    "bottom",
    "figure",
    "files",
    "head",
    "lines",
    "looking_back",
    "old_and_new",
    "span_of",
    "status",
    "top",
    "trial",
]
