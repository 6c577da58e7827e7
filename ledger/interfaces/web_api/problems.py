"""Errors on the wire: RFC 9457 problem details with the ledger's own permanent codes."""

from __future__ import annotations

from typing import Any

import msgspec
from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from ledger.errors import BadInput, Conflict, Refused, SlabbookError, UnknownThing

MEDIA_TYPE = "application/problem+json"


class NotThere(UnknownThing):
    """A lot, batch, book entry or page that was asked for and is not in this ledger."""

    code = "api.not-there"


class BadRequest(BadInput):
    """The request itself cannot be read: not JSON, a missing field, a parameter of the wrong kind."""

    code = "api.bad-request"


def status_of(error: SlabbookError) -> int:
    """The HTTP status of an error: 404 not there, 422 cannot be read, 409 the floor says no or somebody was first, 500 damage."""
    if isinstance(error, NotThere):
        return 404
    if isinstance(error, BadInput):
        return 422
    return 409 if isinstance(error, (Refused, Conflict)) else 500


def title_of(error: SlabbookError) -> str:
    """What kind of error it is, in one line that is the same every time (RFC 9457, 3.1.3)."""
    return (type(error).__doc__ or "Refused.").strip().splitlines()[0]


def problem(error: SlabbookError, status: int = 0) -> dict[str, Any]:
    """The problem object: type, title, status, detail, our code, and the facts behind the message."""
    plain = {
        k: _plain(v)
        for k, v in error.facts.items()
        if k not in ("type", "title", "status", "detail", "code", "instance")
    }
    return {
        "type": f"/api/v1/problems/{error.code}", "title": title_of(error), "status": status or status_of(error),
        "detail": error.message, "code": error.code, **plain,
    }  # fmt: skip


def _plain(value: Any) -> Any:
    try:
        return msgspec.to_builtins(value)
    except TypeError:
        return str(value)


def kinds() -> dict[str, type[SlabbookError]]:
    """Every error class by its code."""
    found: dict[str, type[SlabbookError]] = {}
    todo: list[type[SlabbookError]] = [SlabbookError]
    while todo:
        kind = todo.pop()
        found.setdefault(kind.code, kind)
        todo.extend(kind.__subclasses__())
    return found


def install(app: FastAPI) -> None:
    """Answer every error of the app as a problem."""

    @app.exception_handler(SlabbookError)
    async def ours(_request: Request, error: SlabbookError) -> JSONResponse:
        return JSONResponse(problem(error), status_of(error), media_type=MEDIA_TYPE)

    @app.exception_handler(RequestValidationError)
    async def unreadable(_request: Request, error: RequestValidationError) -> JSONResponse:
        found = [{"field": ".".join(str(x) for x in e["loc"]), "message": str(e["msg"])} for e in error.errors()]
        told = "; ".join(f"{p['field']}: {p['message']}" for p in found)
        refused = BadRequest(f"The request cannot be read. {told}", problems=found)
        return JSONResponse(problem(refused), 422, media_type=MEDIA_TYPE)

    @app.exception_handler(HTTPException)
    async def other(_request: Request, error: HTTPException) -> Response:
        if error.status_code == 304:
            return Response(status_code=304, headers=error.headers)
        body = {
            "type": "about:blank",
            "title": str(error.detail),
            "status": error.status_code,
            "detail": str(error.detail),
            "code": "api.http",
        }
        return JSONResponse(body, error.status_code, headers=error.headers, media_type=MEDIA_TYPE)
