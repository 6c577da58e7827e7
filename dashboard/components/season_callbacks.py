"""The Season page's callbacks, connected to a ledger. Each works in a thread of its own: a slow answer holds up nobody else."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, no_update
from starlette.concurrency import run_in_threadpool

from dashboard.components.grid import grid_id
from dashboard.components.season_acts import Seen, act, note, open_batch, told_stale
from dashboard.components.season_demand import wire_facts
from dashboard.components.season_next import next_part
from dashboard.components.season_shown import (
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
from dashboard.components.season_table import NAME, changes_of, edit_panel, hands_rows, table_rows, weeks_shown
from dashboard.components.season_ways import ways
from dashboard.page import read_address
from ledger.application.ledger import Ledger
from ledger.application.season_jobs import desk_of

BUTTONS = ("season-make", "season-stop", "season-adopt", "season-forget", "season-try", "season-take", "season-drop")
EDITS = ("season-undo", "season-undo-all", "season-keep", "season-again")
FACTS = ("kind", "from", "to", "flavour", "channel", "packs", "at", "note")


def pressed(names: Sequence[str]) -> str:
    """What set the callback off: a button of these before anything else. On a slow machine a press comes together with a tick, the tick first, and
    must not be lost for that."""
    ids = list(ctx.triggered_prop_ids.values())
    return next((id for id in ids if id in names), str(ctx.triggered_id or ""))


def wire(app: Dash, ledger: Ledger) -> None:
    """Connect the page's callbacks to a ledger. Each works in a thread of its own: a slow answer holds up nobody else."""

    @app.callback(
        Output("season-tick", "disabled"), Output("season-status", "children"), Output("season-version", "data"),
        *[Input(b, "n_clicks") for b in BUTTONS], Input("season-tick", "n_intervals"), Input("season-follow", "n_intervals"),
        State("season-version", "data"), State("season-base", "data"), State("address", "search"), State("season-what", "value"), State("season-flavour", "value"),
        State("season-percent", "value"), State("season-from", "value"), State("season-to", "value"), prevent_initial_call=True,
    )  # fmt: skip
    async def _act(*given: Any) -> Any:
        version, base, search, what, flavour, percent, first, last = given[len(BUTTONS) + 2 :]
        desk, button = desk_of(ledger), pressed(BUTTONS)
        fields = (what or "", flavour or "", float(percent or 0), (first or "").strip(), (last or "").strip())

        def work() -> Any:
            if button in BUTTONS and given[BUTTONS.index(button)]:
                act(desk, button, read_address(search), fields, Seen(version, base))
            elif desk.busy:  # one more tick of work that goes on: nothing else changes; begun from another tablet, it is followed here too
                return no_update if button == "season-tick" else False, status(desk), no_update
            elif button == "season-follow" and desk.version == version:
                return (no_update,) * 3
            return not desk.busy, status(desk), no_update if desk.version == version else desk.version

        return await run_in_threadpool(work)

    @app.callback(
        Output("season-make", "hidden"), Output("season-stop", "hidden"), Output("season-adopt", "disabled"), Output("season-why", "children"),
        Output("season-try", "disabled"), Output("season-forget", "hidden"), Input("season-tick", "disabled"), Input("season-version", "data"), Input("season-base", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    async def _ways(_disabled: bool, _version: int, base: int) -> Any:
        desk = desk_of(ledger)
        can = await run_in_threadpool(ways, desk)
        drawn = base == desk.base_version  # a plan is adopted, changed or forgotten once it stands on the page
        return (
            not can.make,
            not can.stop,
            not (can.adopt and drawn),
            can.why,
            not (can.tries and drawn),
            not (can.forget and drawn),
        )

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
        State(grid_id(NAME), "dashGridOptions"), State("season-version", "data"), State("season-base", "data"), State("address", "search"),
        prevent_initial_call=True,
    )  # fmt: skip
    async def _typed(events: Any, *given: Any) -> Any:
        options, version, base, search = given[len(EDITS) :]
        desk, button, asked = desk_of(ledger), pressed(EDITS), read_address(search)

        def work() -> Any:
            taken = True
            if button in EDITS:
                if not given[EDITS.index(button)]:
                    return (no_update,) * 6
                act(desk, str(button), asked, ("", "", 0.0, "", ""), Seen(version, base))
            elif told_stale(desk, "typed", Seen(version, base)):
                taken = False
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
        Output("season-old", "children"),
        Input("season-version", "data"), State("season-base", "data"), State("address", "search"), prevent_initial_call=True,
    )  # fmt: skip
    async def _show(_version: int, base: int, search: str | None) -> Any:
        desk, asked = desk_of(ledger), read_address(search)

        def work() -> Any:
            same = desk.base_version == base
            above = (no_update,) * 4 if same else (head(desk), top(desk, asked), lines(desk, asked), figure(desk))
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
                old_and_new(desk),
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

    wire_facts(app)

    @app.callback(
        Output("fact-told", "children"), Input("fact-go", "n_clicks"), *[State(f"fact-{name}", "value") for name in FACTS], prevent_initial_call=True,
    )  # fmt: skip
    async def _note(clicks: int, *given: str | None) -> Any:
        if not clicks:
            return no_update
        row = {name: (value or "").strip() for name, value in zip(FACTS, given, strict=True)}
        return await run_in_threadpool(note, ledger, row)


__all__ = ["wire"]
