"""An eight-week shop for the tests of the batch sheet."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.application.ledger import Ledger
from tests.support.made_once import invented_shop, own_ledger


@pytest.fixture(scope="session")
def shop_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return invented_shop(tmp_path_factory, weeks=8)


@pytest.fixture
def shop(shop_file: Path, tmp_path: Path) -> Ledger:
    return own_ledger(shop_file, tmp_path)
