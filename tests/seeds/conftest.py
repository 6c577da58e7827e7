"""Two histories of the invented shop, each filled once for all tests: eight weeks, and the whole three years."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from ledger.application.ledger import Ledger, open_ledger
from seeds.shop import fill

History = tuple[Ledger, dict[str, Any]]


def _filled(path: str, **how: Any) -> Iterator[History]:
    summary = fill(path, **how)
    ledger = open_ledger(path, create=False)
    yield ledger, summary
    ledger.close()


@pytest.fixture(scope="session")
def short(tmp_path_factory: pytest.TempPathFactory) -> Iterator[History]:
    """Eight weeks."""
    yield from _filled(f"sqlite:///{tmp_path_factory.mktemp('short') / 'shop.sqlite'}", weeks=8)


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[History]:
    """Three years."""
    yield from _filled(f"sqlite:///{tmp_path_factory.mktemp('whole') / 'shop.sqlite'}")
