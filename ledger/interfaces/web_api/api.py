"""Builds the API: one FastAPI app over one ledger. Mounted at /api/v1 by the service; its OpenAPI is at /api/v1/openapi.json."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

from fastapi import FastAPI, Request, Response
from fastapi.responses import JSONResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from ledger.application.ledger import Ledger
from ledger.interfaces.web_api import audit, commands, problems, questions, reports, season, sheets
from ledger.interfaces.web_api.problems import MEDIA_TYPE, BadRequest, NotThere, kinds, problem, title_of

VERSION = "1.0.0"
MOST_BYTES = 4_000_000


class Guard:
    """Refuses what no honest client sends: a write from another site's page, a body that is not JSON, a body past 4 MB."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "http" and scope["method"] not in ("GET", "HEAD", "OPTIONS"):
            request = Request(scope)
            origin, host = request.headers.get("origin"), request.headers.get("host", "")
            refused = ""
            if origin and urlsplit(origin).netloc != host:
                refused, status = f"A page of {origin} may not write here; open the service at http://{host}.", 403
            elif request.headers.get("content-type", "").split(";")[0].strip() != "application/json":
                refused, status = "Send the body as application/json.", 415
            elif int(request.headers.get("content-length") or 0) > MOST_BYTES:
                refused, status = f"A body may hold {MOST_BYTES} bytes; send fewer commands at a time.", 413
            if refused:
                body = problem(BadRequest(refused), status)
                await JSONResponse(body, status, media_type=MEDIA_TYPE)(scope, receive, send)
                return
        await self.app(scope, receive, send)


def build_api(ledger: Ledger) -> FastAPI:
    """The API over a ledger. Every route works on that ledger alone; nothing is kept between requests."""
    answer: dict[int | str, dict[str, Any]] = {
        code: {"model": problems_model(), "description": text, "content": {MEDIA_TYPE: {}}}
        for code, text in {
            404: "There is no such thing in this ledger", 409: "The floor says no, or somebody was first", 413: "Too large",
            415: "Not JSON", 403: "A page of another site", 422: "Cannot be read",
        }.items()
    }  # fmt: skip
    app = FastAPI(
        title="Slabbook", version=VERSION, docs_url=None, redoc_url=None, openapi_url="/openapi.json", responses=answer,
        description="A production ledger for hard candy made by hand: record what happened, ask what it adds up to.",
        servers=[{"url": "/api/v1"}], root_path_in_servers=False,
    )  # fmt: skip
    app.state.ledger = ledger
    app.add_middleware(Guard)
    problems.install(app)
    app.include_router(commands.router)
    app.include_router(questions.router)
    app.include_router(reports.router)
    app.include_router(audit.router)
    app.include_router(season.router)
    app.include_router(sheets.router)

    @app.get("/problems", tags=["problems"], summary="Every problem this API can answer with")
    def all_problems() -> dict[str, str]:
        return {code: title_of(kind("")) for code, kind in sorted(kinds().items())}

    @app.get("/problems/{code}", tags=["problems"], summary="What one problem means")
    def one_problem(code: str, response: Response) -> dict[str, str]:
        kind = kinds().get(code)
        if kind is None:
            raise NotThere(f"There is no problem `{code}`; GET /api/v1/problems lists them.", code_asked=code)
        response.headers["Cache-Control"] = "max-age=3600"
        return {"code": code, "title": title_of(kind("")), "meaning": (kind.__doc__ or "").strip()}

    return app


def problems_model() -> type:
    """The model of a problem (kept apart so that the import order stays plain)."""
    from ledger.interfaces.web_api.schemas import Problem

    return Problem
