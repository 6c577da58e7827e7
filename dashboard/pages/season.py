"""Season: what will sell, what the shop can make, when to start; the plan as a table to edit, what-if beside it, adopt, files out."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from dashboard.components.parts import choose, empty
from dashboard.components.season_demand import facts_told
from dashboard.components.season_folds import fold
from dashboard.components.season_next import next_part
from dashboard.components.season_parts import fact_fields, whatif_fields
from dashboard.components.season_shown import (
    PATH,
    bottom,
    figure,
    files,
    head,
    lines,
    looking_back,
    old_and_new,
    span_of,
    status,
    top,
    trial,
)
from dashboard.components.season_table import edit_panel
from dashboard.components.season_ways import ways
from dashboard.page import Asked, Page, register
from ledger.application.ledger import Ledger
from ledger.application.season_jobs import desk_of
from ledger.domain.books import entries as e

TICK_MS = 400
FOLLOW_MS = 4_000
"""How often an idle page looks whether another tablet did something on the desk."""


def filters(ledger: Ledger, asked: Asked) -> list[Any]:
    """How many weeks are planned and shown, how hard to try, which flavour the chart shows: folded, since most days none of it is touched."""
    flavours = [("", "the whole shop only"), *((f.id, f.name) for f in ledger.book().all(e.Flavour))]
    plans = [
        ("", "the last season"),
        *((p.plan, f"{p.plan} of {p.day}") for _, p in reversed(ledger.queries.papers("plan"))),
    ]
    fields = [
        choose("weeks", "Weeks planned", [("13", "13"), ("26", "26"), ("39", "39")], asked.get("weeks", "26"), "26"),
        choose("effort", "Effort", [("quick", "quick"), ("normal", "normal")], asked.get("effort", "normal"), "normal"),
        choose("flavour", "Chart of", flavours, asked.get("flavour", "")),
        choose("shown", "Weeks in the table", [("8", "8"), ("13", "13"), ("26", "26")], asked.get("shown", "8"), "8"),
        choose("rows", "Rows in the table", [("", "those with a batch"), ("all", "every flavour and kettle")], asked.get("rows", "")),
        choose("went", "Look back on", plans, asked.get("went", "")),
    ]  # fmt: skip
    said = f"{asked.get('weeks', '26')} weeks planned, {span_of(asked)} in the table"
    return [
        html.Details(
            [html.Summary(["What is planned and shown ", html.Span(said, className="fold-figure")]), html.Div(fields, className="filters")],
            className="choices", id="season-choices",
        )
    ]  # fmt: skip


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """The page: how it stands and what can be done, what is to be made next, the words, the charts; the rest under headings with a figure.

    How the season stands is read, and a plan made on request, in a thread; what is on the desk is shown at once.
    """
    if not any(ledger.queries.weeks(1)):
        return [empty("There is nothing to plan from yet", "Record batches and sales at the bench, or load older sales from a file; a season is forecast from them.",
                      "Go to the bench", "/bench")]  # fmt: skip
    desk = desk_of(ledger)
    desk.look(asked.get("went", ""))
    can, none = ways(desk), desk.base is None
    return [
        dcc.Interval(id="season-tick", interval=TICK_MS, disabled=not desk.busy),
        dcc.Interval(id="season-follow", interval=FOLLOW_MS),
        dcc.Store(id="season-version", data=desk.version),
        dcc.Store(id="season-base", data=desk.base_version),
        html.Div(head(desk), id="season-head"),
        html.Div([
            html.Button("Make the plan", id="season-make", type="button", className="button", n_clicks=0, hidden=not can.make),
            html.Button("Adopt this plan", id="season-adopt", type="button", className="plain", n_clicks=0, disabled=not can.adopt,
                        **{"aria-describedby": "season-why"}),
            html.Button("Forget this plan", id="season-forget", type="button", className="plain", n_clicks=0, hidden=not can.forget),
            html.P(can.why, id="season-why", className="quiet"),
        ], className="actions"),
        html.Div([
            html.Div(status(desk), id="season-status", role="status", **{"aria-live": "polite"}),
            html.Button("Stop, keep the best so far", id="season-stop", type="button", className="plain", n_clicks=0, hidden=not can.stop),
        ], id="season-now"),
        html.Div(old_and_new(desk), id="season-old"),
        html.Div(next_part(ledger), id="season-next"),
        html.Div(top(desk, asked), id="season-top", className="page"),
        html.Div([
            fold("The plan, week by week, to type into", html.Span(figure(desk), id="season-lines-figure"),
                 [html.Div(lines(desk, asked), id="season-lines", className="plan-table"), html.Section(edit_panel(desk), id="season-edit")],
                 "season-plan"),
            fold("Try a change", "more or less demand, a kettle out, a helper, a day more, a flavour dropped", [whatif_fields(ledger)], "season-whatif"),
        ], id="season-work", className="folds", hidden=none),
        html.Div(trial(desk), id="season-side"),
        html.Div([
            html.Button("Take this plan", id="season-take", type="button", className="button", n_clicks=0),
            html.Button("Forget it", id="season-drop", type="button", className="plain", n_clicks=0),
        ], className="actions", id="season-trial-actions", hidden=desk.trial is None or desk.by_hand),
        html.Div(bottom(desk), id="season-bottom", className="folds"),
        html.Div(looking_back(desk), id="season-went", className="folds"),
        html.Div(fold(
            "Tell what the sales do not say", "run-outs, promotions, closures, bulk orders, shows, your own figure",
            [fact_fields(ledger), html.Div(id="fact-told", role="status", **{"aria-live": "polite"}), facts_told(ledger)], "season-facts",
        ), className="folds"),
        html.Div(files(desk), id="season-files"),
    ]  # fmt: skip


register(
    Page(
        path=PATH,
        name="Season",
        order=45,
        layout=layout,
        filters=filters,
        intro="What will sell, what can be made, when to start",
    )
)
