"""Season: what will sell, what the shop can make, when to start; the plan as a table to edit, what-if beside it, adopt, files out."""

from __future__ import annotations

from datetime import date
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from starlette.concurrency import run_in_threadpool

from dashboard.components.grid import grid_id
from dashboard.components.parts import choose, empty
from dashboard.components.season_change import change_of
from dashboard.components.season_folds import fold, folds, plan_figure, went
from dashboard.components.season_next import next_part, opened_words
from dashboard.components.season_parts import charts, fact_fields, in_house, side_by_side, whatif_fields, words
from dashboard.components.season_sum import sum_words
from dashboard.components.season_table import (
    NAME,
    changes_of,
    edit_panel,
    hands_rows,
    not_shown,
    plan_table,
    table_rows,
    weeks_shown,
)
from dashboard.components.season_ways import ways
from dashboard.components.ways import for_page
from dashboard.page import Asked, Page, address, read_address, register
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
        dcc.Store(id="season-version", data=desk.version),
        dcc.Store(id="season-base", data=desk.base_version),
        html.Div(head(desk), id="season-head"),
        html.Div([
            html.Button("Make the plan", id="season-make", type="button", className="button", n_clicks=0, hidden=not can.make),
            html.Button("Adopt this plan", id="season-adopt", type="button", className="plain", n_clicks=0, disabled=not can.adopt,
                        **{"aria-describedby": "season-why"}),
            html.P(can.why, id="season-why", className="quiet"),
        ], className="actions"),
        html.Div([
            html.Div(status(desk), id="season-status", role="status", **{"aria-live": "polite"}),
            html.Button("Stop, keep the best so far", id="season-stop", type="button", className="plain", n_clicks=0, hidden=not can.stop),
        ], id="season-now"),
        html.Div(next_part(ledger), id="season-next"),
        html.Div(top(desk, asked), id="season-top", className="page"),
        html.Div([
            fold("The plan, week by week, to type into", html.Span(_figure(desk), id="season-lines-figure"),
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
            [fact_fields(ledger), html.Div(id="fact-told", role="status", **{"aria-live": "polite"})], "season-facts",
        ), className="folds"),
        html.Div(files(desk), id="season-files"),
    ]  # fmt: skip


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


def _figure(desk: Desk) -> str:
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
            elif desk.busy:  # one more tick of work that goes on: nothing else changes
                return no_update, status(desk), no_update
            return not desk.busy, status(desk), no_update if desk.version == version else desk.version

        return await run_in_threadpool(work)

    @app.callback(
        Output("season-make", "hidden"), Output("season-stop", "hidden"), Output("season-adopt", "disabled"), Output("season-why", "children"),
        Output("season-try", "disabled"), Input("season-tick", "disabled"), Input("season-version", "data"), prevent_initial_call=True,
    )  # fmt: skip
    async def _ways(_disabled: bool, _version: int) -> Any:
        can = await run_in_threadpool(lambda: ways(desk_of(ledger)))
        return not can.make, not can.stop, not can.adopt, can.why, not can.tries

    app.clientside_callback(  # only the fields the change asks for
        "function(what) { const off = {display: 'none'}, f = what === 'demand' || what === 'drop'; return [f ? {} : off, what === 'demand' ? {} : off]; }",
        Output("season-flavour", "style"), Output("season-percent", "style"), Input("season-what", "value"),
    )  # fmt: skip
    app.clientside_callback(
        "function(idle) { return window.slabbookSeasonFocus(idle); }", Output("season-now", "title"), Input("season-stop", "hidden"),
        prevent_initial_call=True,
    )  # fmt: skip

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
            taken = True
            if button in EDITS:
                if not given[EDITS.index(button)]:
                    return (no_update,) * 6
                act(desk, str(button), asked, ("", "", 0.0, "", ""))
            else:
                taken = desk.type_in(changes_of(events))
            if desk.base is None:
                return (no_update,) * 6
            weeks = weeks_shown(desk.base, span_of(asked))
            rows = table_rows(desk, weeks, asked.get("rows") == "all") if button in EDITS or not taken else no_update
            shown = {**(options or {}), "pinnedBottomRowData": hands_rows(desk, weeks)}
            return not desk.busy, status(desk), desk.version, edit_panel(desk), rows, shown

        return await run_in_threadpool(work)

    @app.callback(
        Output("season-head", "children"), Output("season-top", "children"), Output("season-lines", "children"), Output("season-lines-figure", "children"),
        Output("season-side", "children"), Output("season-bottom", "children"), Output("season-files", "children"), Output("season-base", "data"),
        Output("season-edit", "children", allow_duplicate=True), Output("season-work", "hidden"),
        Output("season-trial-actions", "hidden"), Output("season-next", "children", allow_duplicate=True), Output("season-went", "children"),
        Input("season-version", "data"), State("season-base", "data"), State("address", "search"), prevent_initial_call=True,
    )  # fmt: skip
    async def _show(_version: int, base: int, search: str | None) -> Any:
        desk, asked = desk_of(ledger), read_address(search)

        def work() -> Any:
            same = desk.base_version == base
            above = (no_update,) * 4 if same else (head(desk), top(desk, asked), lines(desk, asked), _figure(desk))
            below = (no_update,) * 2 if same else (bottom(desk), files(desk))
            panel = no_update if same else edit_panel(desk)
            alone = desk.trial is None or desk.by_hand
            return (
                *above,
                trial(desk),
                *below,
                desk.base_version,
                panel,
                desk.base is None,
                alone,
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
