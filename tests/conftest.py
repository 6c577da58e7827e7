"""Fixtures every test may ask for."""

from __future__ import annotations

import pytest
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


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Modules marked slow come first: where two processes share the work, the last one to finish then has only small ones left."""
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)
