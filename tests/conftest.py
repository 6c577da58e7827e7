"""Fixtures every test may ask for."""

from __future__ import annotations

from tests.support.databases import (  # noqa: F401
    _postgres_template,
    _sqlite_template,
    empty_url,
    ledger_url,
    postgres_server,
    postgres_url,
    sqlite_url,
)
