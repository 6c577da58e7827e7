"""Three ledgers every page must live with: empty, of one entry, and the small demo."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.application.ledger import Ledger, open_ledger
from ledger.domain.books.commands import Define
from ledger.domain.books.entries import Site
from tests.support.coarse_bands import coarse_bands
from tests.support.made_once import invented_shop, own_ledger


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return invented_shop(tmp_path_factory, weeks=4)


@pytest.fixture
def demo(demo_file: Path, tmp_path: Path) -> Ledger:
    """A copy of the demo that a test may write to."""
    return own_ledger(demo_file, tmp_path)


@pytest.fixture
def empty(tmp_path: Path) -> Ledger:
    return open_ledger(f"sqlite:///{tmp_path}/empty.sqlite")


@pytest.fixture
def single(tmp_path: Path) -> Ledger:
    ledger = open_ledger(f"sqlite:///{tmp_path}/single.sqlite")
    ledger.do(Define(day="2026-01-05", entry=Site(id="SHOP", name="Test shop")))
    return ledger


__all__ = ["coarse_bands"]
