"""A six-week shop for the tests of the batch sheet."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from ledger.application.ledger import Ledger, open_ledger
from seeds.shop import fill


@pytest.fixture(scope="module")
def shop_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("shop") / "shop.sqlite"
    fill(f"sqlite:///{path}", seed=7, weeks=6)
    return path


@pytest.fixture
def shop(shop_file: Path, tmp_path: Path) -> Ledger:
    shutil.copy(shop_file, tmp_path / "shop.sqlite")
    return open_ledger(f"sqlite:///{tmp_path}/shop.sqlite")
