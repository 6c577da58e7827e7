"""Talks to an ASGI app in this process, over httpx's own transport, from plain functions."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import httpx


class _Bridge(httpx.BaseTransport):
    def __init__(self, app: Any) -> None:
        self._inner = httpx.ASGITransport(app=app, raise_app_exceptions=True)

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        async def go() -> httpx.Response:
            answer = await self._inner.handle_async_request(request)
            content = b"".join([part async for part in answer.stream])  # type: ignore[union-attr]
            return httpx.Response(answer.status_code, headers=[(k, v) for k, v in answer.headers.raw], content=content)

        return asyncio.run(go())


@contextmanager
def client_of(app: Any) -> Iterator[httpx.Client]:
    """A client whose requests go straight to the app."""
    with httpx.Client(transport=_Bridge(app), base_url="http://shop.test") as client:
        yield client
