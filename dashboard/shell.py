"""The frame around every page: menu, as-of line, live updates, print and colour choice. Its callbacks are plain functions."""

from __future__ import annotations

import json
import logging
from typing import Any

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, dcc, html, no_update
from starlette.concurrency import run_in_threadpool

from dashboard.components.ways import WAYS, for_page
from dashboard.components.words import moment
from dashboard.page import Page, pages, read_address
from ledger.application.ledger import Ledger
from ledger.errors import SlabbookError

POLL_MS = 4_000
LOG = logging.getLogger(__name__)


def shell() -> Any:
    """The frame. Page parts are filled by callbacks."""
    menu = [
        dcc.Link(p.name, href=p.path, id={"type": "menu", "path": p.path}, className="menu-link")
        for p in pages()
        if p.menu
    ]
    return dmc.MantineProvider(
        [
            dcc.Location(id="address", refresh="callback-nav"),
            dcc.Store(id="position", data=-1),
            dcc.Store(id="go", data=""),
            dcc.Interval(id="tick", interval=POLL_MS),
            html.A("Skip to the page", href="#page", className="skip"),
            html.Header(
                [
                    html.Div(
                        [html.Span("Slabbook", className="mark"), html.Span(id="shop-name", className="shop")],
                        className="brand",
                    ),
                    html.Nav(menu, id="menu", **{"aria-label": "Pages"}),
                    html.Div(
                        [
                            html.Button("Light or dark", id="theme", type="button", className="plain", n_clicks=0),
                            html.Button("Print", id="print", type="button", className="plain", n_clicks=0),
                            html.Button("Refresh", id="refresh-now", type="button", className="plain", n_clicks=0),
                        ],
                        className="tools",
                    ),
                ],
                className="top",
            ),
            html.Div(id="outbox", role="status", **{"aria-live": "polite", "data-ways": json.dumps(WAYS)}),
            html.Main(
                [
                    html.Div([html.H1(id="title"), html.P(id="as-of", className="as-of")], className="page-head"),
                    html.Div(id="filters", className="filters"),
                    html.Div(id="page", tabIndex="-1", className="page"),
                ]
            ),
        ],
    )


def page_of(path: str | None) -> Page | None:
    """The page at a path; the bench is at `/` too."""
    wanted = "/bench" if path in ("", "/", None) else (path or "").rstrip("/")
    return next((p for p in pages() if p.path == wanted), None)


def render(ledger: Ledger, path: str | None, search: str | None) -> list[Any]:
    """What stands on the page at an address. Trouble is told in place, with the way out."""
    page = page_of(path)
    if page is None:
        return [
            html.Div(
                [html.H2("There is no such page"), html.P(["Go to the ", dcc.Link("bench", href="/bench"), "."])],
                className="empty",
            )
        ]
    try:
        return page.layout(ledger, read_address(search))
    except SlabbookError as error:
        return [html.Div([html.H2("This cannot be shown"), html.P(for_page(error.message)), html.P(dcc.Link("Show the page without filters", href=page.path))],
                         className="empty", role="alert")]  # fmt: skip
    except Exception:  # a fault of the program: told on the page, kept whole in the service's own log, and no other page is held up by it
        LOG.exception("The page %s%s could not be made.", path, search or "")
        told = "Nothing is lost: the ledger is not touched by showing a page. Tell whoever keeps the program; its log has the details."
        return [html.Div([html.H2("A fault in the program: this page cannot be shown"), html.P(told), html.P(dcc.Link("Go to the bench", href="/bench"))],
                         className="empty", role="alert")]  # fmt: skip


def render_filters(ledger: Ledger, path: str | None, search: str | None) -> list[Any]:
    """The fields above the page. A filter that cannot be read leaves them as they are without any."""
    page = page_of(path)
    if page is None:
        return []
    try:
        return page.filters(ledger, read_address(search))
    except SlabbookError:
        return page.filters(ledger, {})


def as_of_line(ledger: Ledger) -> str:
    """`As of entry 1 204, recorded ...` in the shop's zone."""
    at = ledger.queries.as_of()
    if not at.position:
        return "As of entry 0: nothing is recorded yet."
    entry = f"{at.position:,}".replace(",", "\u202f")
    return f"As of entry {entry}, recorded {moment(at.recorded_at, ledger.book().site().zone)}"


def poll(ledger: Ledger, known: int) -> Any:
    """The newest position, or nothing to do."""
    position = ledger.queries.as_of().position
    return no_update if position == known else position


def wire(app: Dash, ledger: Ledger) -> None:
    """Connect the frame's callbacks to a ledger."""

    @app.callback(
        Output("position", "data"),
        Input("tick", "n_intervals"),
        Input("refresh-now", "n_clicks"),
        State("position", "data"),
    )
    async def _poll(_n: int | None, _c: int | None, known: int) -> Any:
        return await run_in_threadpool(poll, ledger, known)

    @app.callback(Output("page", "children"), Output("as-of", "children"), Output("shop-name", "children"),
                  Input("address", "pathname"), Input("address", "search"), Input("position", "data"))  # fmt: skip
    async def _page(path: str | None, search: str | None, position: int) -> Any:
        if position < 0:
            return no_update, no_update, no_update
        return await run_in_threadpool(
            lambda: (render(ledger, path, search), as_of_line(ledger), ledger.book().site().name)
        )  # a slow page on one tablet must not hold up the others

    @app.callback(Output("filters", "children"), Output("title", "children"), Output("menu", "children"),
                  Input("address", "pathname"), Input("address", "search"))  # fmt: skip
    async def _frame(path: str | None, search: str | None) -> Any:
        here = page_of(path)
        menu = [
            dcc.Link(p.name, href=p.path, id={"type": "menu", "path": p.path}, className="menu-link here" if here and p.path == here.path else "menu-link")
            for p in pages() if p.menu
        ]  # fmt: skip
        shown = await run_in_threadpool(render_filters, ledger, path, search)
        return shown, here.name if here else "Not here", menu

    app.clientside_callback(
        """function(values, ids, search) {
            const now = new URLSearchParams(search || "");
            let same = true;
            ids.forEach((id, i) => {
                const given = values[i] === null || values[i] === undefined ? "" : String(values[i]);
                const value = given === id.unset ? "" : given;
                if ((now.get(id.name) || "") === value || (now.get(id.name) === id.unset && !value)) return;
                same = false;
                if (value) now.set(id.name, value); else now.delete(id.name);
                now.delete("before");
            });
            if (same) return window.dash_clientside.no_update;
            const text = now.toString();
            return text ? "?" + text : "";
        }""",
        Output("address", "search"), Input({"type": "filter", "name": ALL, "unset": ALL}, "value"),
        State({"type": "filter", "name": ALL, "unset": ALL}, "id"), State("address", "search"), prevent_initial_call=True,
    )  # fmt: skip
