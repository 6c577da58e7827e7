"""One service on one address: the dashboard (Dash on FastAPI), the forms of the bench, and the API under /api/v1."""

from __future__ import annotations

import gc
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from dash import Dash
from dash.backends._fastapi import reset_current_request, set_current_request
from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, Response
from starlette.middleware.gzip import GZipMiddleware

from dashboard.components import audit_forms, contact_forms, season_callbacks
from dashboard.forms import routes
from dashboard.page import pages
from dashboard.pages import sheet
from dashboard.shell import shell, wire
from ledger.application.ledger import Ledger, open_ledger
from ledger.interfaces.web_api import build_api
from ledger.store.times import utc_now

ASSETS = Path(__file__).parent / "assets"
INDEX = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title><link rel="icon" href="/assets/mark.svg" type="image/svg+xml">
<script>try{const t=localStorage.getItem("slabbook.theme")||(matchMedia("(prefers-color-scheme: dark)").matches?"dark":"light");
document.documentElement.setAttribute("data-mantine-color-scheme",t)}catch(e){}</script>
{%css%}</head>
<body>{%app_entry%}<noscript>This page needs JavaScript. The same ledger answers at /api/v1 and on the command line.</noscript>
<footer>{%config%}{%scripts%}{%renderer%}</footer></body></html>"""
POLICY = ("default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
          "connect-src 'self' ws: wss:; object-src 'none'; base-uri 'self'; frame-ancestors 'none'")  # fmt: skip


def create_app(ledger_url: str | Ledger, clock: Callable[[], datetime] = utc_now) -> FastAPI:
    """The whole service over a ledger (a database URL, or a ledger opened already). Run it with any ASGI server."""
    own = isinstance(ledger_url, str)
    ledger = open_ledger(ledger_url, clock=clock) if isinstance(ledger_url, str) else ledger_url

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        if own:  # a service that stays: what was loaded is no rubbish, and looking through it again takes 0.1 s of somebody's page
            gc.collect()
            gc.freeze()
        yield
        if own:
            ledger.close()

    server = FastAPI(title="Slabbook", docs_url=None, redoc_url=None, openapi_url=None, lifespan=life)
    server.state.ledger = ledger
    server.add_middleware(GZipMiddleware, minimum_size=2000)
    server.mount("/api/v1", build_api(ledger))
    server.include_router(routes.router)
    server.include_router(audit_forms.router)
    server.include_router(contact_forms.router)

    @server.middleware("http")
    async def headers(request: Request, call_next: Any) -> Response:
        response: Response = await call_next(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("X-Content-Type-Options", "nosniff")
        response.headers.setdefault("Referrer-Policy", "no-referrer")
        return response

    dash = Dash("slabbook", server=server, backend="fastapi", assets_folder=str(ASSETS), title="Slabbook", update_title="",
                index_string=INDEX, serve_locally=True, suppress_callback_exceptions=True, add_log_handler=False,
                meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}])  # fmt: skip
    dash.layout = shell
    wire(dash, ledger)
    season_callbacks.wire(dash, ledger)
    sheet.wire(dash, ledger)

    async def index(request: Request) -> HTMLResponse:
        token = set_current_request(request)
        try:
            return HTMLResponse(dash.index())
        finally:
            reset_current_request(token)

    for page in pages():
        server.add_api_route(page.path, index, methods=["GET"], include_in_schema=False)
    dash._setup_server()  # reads the assets now; left alone, Dash would do so at the first visit of `/` only
    return server
