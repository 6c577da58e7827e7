"""An eight-week shop for the audit's tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.application.ledger import Ledger
from tests.support.made_once import invented_shop, own_ledger


@pytest.fixture(scope="session")
def audit_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return invented_shop(tmp_path_factory, weeks=8)


@pytest.fixture
def shop(audit_file: Path, tmp_path: Path) -> Ledger:
    """A copy of an eight-week shop that a test may write to."""
    return own_ledger(audit_file, tmp_path)
