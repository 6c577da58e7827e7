"""Fixtures every test may ask for."""

from __future__ import annotations

from hypothesis import settings

from tests.support.databases import (  # noqa: F401
    _postgres_template,
    _sqlite_template,
    empty_url,
    ledger_url,
    postgres_server,
    postgres_url,
    sqlite_url,
)

settings.register_profile(
    "house", deadline=None
)  # speed is measured in benchmarks/, never asserted by a test on a busy machine
settings.load_profile("house")
