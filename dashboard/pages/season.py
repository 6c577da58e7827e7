"""Season: what will sell, what the shop can make, when to start; the plan as a table to edit, what-if beside it, adopt, files out."""

from __future__ import annotations

from datetime import date
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from starlette.concurrency import run_in_threadpool

from dashboard.components.grid import grid_id
from dashboard.components.parts import choose, empty
from dashboard.components.season_change import change_of
from dashboard.components.season_next import next_part, opened_words
from dashboard.components.season_parts import (
    charts,
    fact_fields,
    in_house,
    side_by_side,
    tables,
    went_part,
    whatif_fields,
    words,
)
from dashboard.components.season_sum import sum_words
from dashboard.components.season_table import NAME, changes_of, edit_panel, hands_rows, plan_table, table_rows
from dashboard.page import Asked, Page, read_address, register
from ledger.analytics.compare import week_of
from ledger.application import season_adopt, season_facts, season_forecast
from ledger.application.ledger import Ledger
from ledger.application.season_jobs import Desk, desk_of
from ledger.application.season_plan import PlanMade
from ledger.application.season_settings import settings_for
from ledger.domain.books import entries as e
from ledger.errors import BadInput, SlabbookError

PATH = "/season"
TICK_MS = 400


def filters(ledger: Ledger, asked: Asked) -> list[Any]:
    """Which flavour the chart shows, how many weeks are planned and shown, how hard to try."""
    flavours = [("", "the whole shop only"), *((f.id, f.name) for f in ledger.book().all(e.Flavour))]
    plans = [
        ("", "the last season"),
        *((p.plan, f"{p.plan} of {p.day}") for _, p in reversed(ledger.queries.papers("plan"))),
    ]
    return [
        choose("flavour", "Chart of", flavours, asked.get("flavour", "")),
        choose("weeks", "Weeks planned", [("13", "13"), ("26", "26"), ("39", "39")], asked.get("weeks", "26"), "26"),
        choose("effort", "Effort", [("quick", "quick"), ("normal", "normal")], asked.get("effort", "normal"), "normal"),
        choose("shown", "Weeks in the table", [("8", "8"), ("13", "13"), ("26", "26")], asked.get("shown", "8"), "8"),
        choose(
            "kettles",
            "Kettles in the table",
            [("", "those the plan uses"), ("all", "every one")],
            asked.get("kettles", ""),
        ),
        choose("went", "Look back on", plans, asked.get("went", "")),
    ]


def layout(ledger: Ledger, asked: Asked) -> list[Any]:
    """The page. How the season stands is read, and a plan made on request, in a thread; what is on the desk is shown at once."""
    if not any(ledger.queries.weeks(1)):
        return [empty("There is nothing to plan from yet", "Record batches and sales at the bench, or load older sales from a file; a season is forecast from them.",
                      "Go to the bench", "/bench")]  # fmt: skip
    desk = desk_of(ledger)
    desk.look(asked.get("went", ""))
    return [
        dcc.Interval(id="season-tick", interval=TICK_MS, disabled=not desk.busy),
        dcc.Store(id="season-version", data=desk.version),
        dcc.Store(id="season-base", data=desk.base_version),
        html.Div([
            html.Button("Make the plan", id="season-make", type="button", className="button", n_clicks=0),
            html.Button("Stop, keep the best so far", id="season-stop", type="button", className="plain", n_clicks=0),
            html.Button("Adopt this plan", id="season-adopt", type="button", className="plain", n_clicks=0),
        ], className="actions"),
        html.Div(status(desk), id="season-status", role="status", **{"aria-live": "polite"}),
        html.Div(next_part(ledger), id="season-next"),
        html.Div(top(desk, asked), id="season-top", className="page"),
        html.Section(edit_panel(desk), id="season-edit", hidden=desk.base is None),
        html.Section([html.H2("Try a change"), whatif_fields(ledger)], id="season-whatif", hidden=desk.base is None),
        html.Div(trial(desk), id="season-side"),
        html.Div([
            html.Button("Take this plan", id="season-take", type="button", className="button", n_clicks=0),
            html.Button("Forget it", id="season-drop", type="button", className="plain", n_clicks=0),
        ], className="actions", id="season-trial-actions", hidden=desk.trial is None or desk.by_hand),
        html.Div(bottom(desk), id="season-bottom", className="page"),
        html.Div(looking_back(desk), id="season-went", className="page"),
        html.Details([
            html.Summary("Tell what the sales do not say: run-outs, promotions, closures, bulk orders, shows, your own figure"),
            fact_fields(ledger), html.Div(id="fact-told", role="status", **{"aria-live": "polite"}),
        ], id="season-facts"),
    ]  # fmt: skip


def status(desk: Desk) -> list[Any]:
    """What is going on, what went wrong, what was adopted."""
    job = desk.job
    if job is not None:
        return [
            html.P([html.Strong(job.what), ". ", job.stage or "Reading the ledger", " ..."], className="note"),
            html.Progress(value=f"{job.share:.2f}", max="1", **{"aria-label": job.what}),
        ]
    parts: list[Any] = []
    if desk.trouble:
        parts.append(html.P(desk.trouble, className="refusal", role="alert"))
    if desk.adopted:
        parts.append(
            html.P(
                f"Adopted as {desk.adopted}. Its next batches stand above the plan, each to be opened with its sheet.",
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


def top(desk: Desk, asked: Asked) -> list[Any]:
    """Sum, words, charts and the table to edit."""
    made = desk.base
    if made is None:
        return without_plan(desk, asked)
    labels = [w.label for w in made.problem.weeks]
    item = _item(made, asked.get("flavour", ""))
    return [
        html.P(sum_words(made, desk.standing), className="sentence", id="season-sum"),
        words(made.words, labels),
        charts(made, item, made.asked.forecast.seen.on.shop),
        html.Div(
            plan_table(desk, span_of(asked), asked.get("kettles") == "all"), id="season-lines", className="plan-table"
        ),
    ]


def without_plan(desk: Desk, asked: Asked) -> list[Any]:
    """What should sell against what is in the house, while no plan is in force."""
    if desk.standing is None:
        return (
            [html.P("Reading what has sold and what is in the house: some seconds.", className="sentence")]
            if desk.busy
            else []
        )
    made = desk.standing.made
    text = (
        f"No plan is in force. Below is what should sell from {made.problem.weeks[0].label} to {made.problem.weeks[-1].label} against what is in the "
        "house if nothing more were made. Make the plan: it takes some seconds, shows how far it is, and can be stopped."
    )
    return [
        html.P(text, className="sentence", id="season-sum"),
        charts(made, _item(made, asked.get("flavour", "")), made.asked.forecast.seen.on.shop, planned=False),
        in_house(made),
    ]


def span_of(asked: Asked) -> int:
    """How many weeks the table shows."""
    return int(asked.get("shown", "8")) if asked.get("shown", "8").isdigit() else 8


def _item(made: PlanMade, flavour: str) -> str:
    return next((key for key, (f, _) in made.asked.made_of.items() if f == flavour), "")


def looking_back(desk: Desk) -> Any:
    """An earlier plan against what happened, with its exact split; None while none has a week behind it."""
    return None if desk.went is None else went_part(desk.went)


def trial(desk: Desk) -> Any:
    """The change being tried, beside the plan."""
    if desk.base is None or desk.trial is None or desk.by_hand:
        return None
    return side_by_side(desk.base, desk.trial, desk.said)


def bottom(desk: Desk) -> list[Any]:
    """The tables, the days, the order list, and files."""
    if desk.base is None:
        return []
    files = [("Plan (spreadsheet)", "/api/v1/season/plan?form=xlsx"), ("lines (CSV)", "/api/v1/season/plan?form=csv&table=lines"),
             ("order list (CSV)", "/api/v1/season/buy?form=csv"), ("containers (CSV)", "/api/v1/season/buy?form=csv&table=containers"), ("forecast (CSV)", "/api/v1/season/forecast?form=csv&table=weekly&horizon=26")]  # fmt: skip
    return [
        *tables(desk.base, desk.ledger),
        html.P(
            ["Take it with you: ", *[x for text, href in files for x in (html.A(text, href=href, download=""), " ")]],
            className="files",
        ),
    ]


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
        return html.P(error.message, className="refusal", role="alert")


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
            error.message if isinstance(error, SlabbookError) else f"{error}", className="refusal", role="alert"
        )


BUTTONS = ("season-make", "season-stop", "season-adopt", "season-try", "season-take", "season-drop")
EDITS = ("season-undo", "season-undo-all", "season-keep", "season-again")
FACTS = ("kind", "from", "to", "flavour", "channel", "packs", "at", "note")


def wire(app: Dash, ledger: Ledger) -> None:
    """Connect the page's callbacks to a ledger. Each works in a thread of its own: a slow answer holds up nobody else."""

    @app.callback(
        Output("season-tick", "disabled"), Output("season-status", "children"), Output("season-version", "data"),
        *[Input(b, "n_clicks") for b in BUTTONS], Input("season-tick", "n_intervals"),
        State("season-version", "data"), State("address", "search"), State("season-what", "value"), State("season-flavour", "value"),
        State("season-percent", "value"), State("season-from", "value"), State("season-to", "value"), prevent_initial_call=True,
    )  # fmt: skip
    async def _act(*given: Any) -> Any:
        version, search, what, flavour, percent, first, last = given[len(BUTTONS) + 1 :]
        desk, button = desk_of(ledger), str(ctx.triggered_id or "")
        fields = (what or "", flavour or "", float(percent or 0), (first or "").strip(), (last or "").strip())

        def work() -> Any:
            if button in BUTTONS and given[BUTTONS.index(button)]:
                act(desk, button, read_address(search), fields)
            return not desk.busy, status(desk), no_update if desk.version == version else desk.version

        return await run_in_threadpool(work)

    @app.callback(
        Output("season-tick", "disabled", allow_duplicate=True), Output("season-status", "children", allow_duplicate=True),
        Output("season-version", "data", allow_duplicate=True), Output("season-edit", "children"),
        Output(grid_id(NAME), "rowData"), Output(grid_id(NAME), "dashGridOptions"),
        Input(grid_id(NAME), "cellValueChanged"), *[Input(b, "n_clicks") for b in EDITS],
        State(grid_id(NAME), "dashGridOptions"), State("address", "search"), prevent_initial_call=True,
    )  # fmt: skip
    async def _typed(events: Any, *given: Any) -> Any:
        options, search = given[len(EDITS) :]
        desk, button, asked = desk_of(ledger), ctx.triggered_id, read_address(search)

        def work() -> Any:
            if button in EDITS:
                if not given[EDITS.index(button)]:
                    return (no_update,) * 6
                act(desk, str(button), asked, ("", "", 0.0, "", ""))
            else:
                desk.type_in(changes_of(events))
            if desk.base is None:
                return (no_update,) * 6
            weeks = range(min(span_of(asked), len(desk.base.problem.weeks)))
            rows = table_rows(desk, weeks, asked.get("kettles") == "all") if button in EDITS else no_update
            shown = {**(options or {}), "pinnedBottomRowData": hands_rows(desk, weeks)}
            return not desk.busy, status(desk), desk.version, edit_panel(desk), rows, shown

        return await run_in_threadpool(work)

    @app.callback(
        Output("season-top", "children"), Output("season-side", "children"), Output("season-bottom", "children"), Output("season-base", "data"),
        Output("season-edit", "children", allow_duplicate=True), Output("season-edit", "hidden"), Output("season-whatif", "hidden"),
        Output("season-trial-actions", "hidden"), Output("season-next", "children", allow_duplicate=True), Output("season-went", "children"),
        Input("season-version", "data"), State("season-base", "data"), State("address", "search"), prevent_initial_call=True,
    )  # fmt: skip
    async def _show(_version: int, base: int, search: str | None) -> Any:
        desk = desk_of(ledger)

        def work() -> Any:
            none, same = desk.base is None, desk.base_version == base
            above = no_update if same else top(desk, read_address(search))
            below = no_update if same else bottom(desk)
            beside = desk.trial is None or desk.by_hand
            panel = no_update if same else edit_panel(desk)
            return (
                above,
                trial(desk),
                below,
                desk.base_version,
                panel,
                none,
                none,
                beside,
                next_part(ledger),
                looking_back(desk),
            )

        return await run_in_threadpool(work)

    @app.callback(
        Output("season-next", "children"), Input({"type": "season-open", "line": ALL}, "n_clicks"), prevent_initial_call=True,
    )  # fmt: skip
    async def _open(clicks: list[int | None]) -> Any:
        line = ctx.triggered_id
        if not line or not any(clicks):
            return no_update
        return await run_in_threadpool(lambda: next_part(ledger, open_batch(ledger, str(line["line"]))))

    @app.callback(
        Output("fact-told", "children"), Input("fact-go", "n_clicks"), *[State(f"fact-{name}", "value") for name in FACTS], prevent_initial_call=True,
    )  # fmt: skip
    async def _note(clicks: int, *given: str | None) -> Any:
        if not clicks:
            return no_update
        row = {name: (value or "").strip() for name, value in zip(FACTS, given, strict=True)}
        return await run_in_threadpool(note, ledger, row)


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
