"""The invented shop of the season's tests: made once, read by many, copied for a test that writes."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest

from ledger.application import season_plan
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.season_plan import PlanMade
from ledger.application.season_settings import PlanSettings
from tests.support.coarse_bands import coarse_bands
from tests.support.made_once import invented_shop


def season_clock() -> datetime:
    """A Wednesday: the running week has three making days left."""
    return datetime(2026, 11, 25, 9, tzinfo=UTC)


@pytest.fixture(scope="session")
def season_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Seventy weeks of the invented shop in a file."""
    return invented_shop(tmp_path_factory, weeks=70)


@pytest.fixture(scope="session")
def season_shop(season_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    """The shop, only read."""
    path = tmp_path_factory.mktemp("read") / "shop.sqlite"
    shutil.copy(season_file, path)
    return open_ledger(f"sqlite:///{path}", clock=season_clock)


@pytest.fixture
def own(season_file: Path, tmp_path: Path) -> Ledger:
    """A copy a test may write to."""
    shutil.copy(season_file, tmp_path / "shop.sqlite")
    return open_ledger(f"sqlite:///{tmp_path}/shop.sqlite", clock=season_clock)


@pytest.fixture(scope="session")
def quick_plan(season_shop: Ledger) -> Callable[[int], PlanMade]:
    """A quick plan of so many weeks of the shop, made once. It is the plan of an untouched copy (`own`) too: same entries, same clock."""
    return cache(lambda weeks: season_plan.make(season_shop, PlanSettings(weeks=weeks), "quick"))


@pytest.fixture(scope="session")
def season_made(quick_plan: Callable[[int], PlanMade]) -> PlanMade:
    """A quick plan of eight weeks of the shop."""
    return quick_plan(8)


__all__ = ["coarse_bands"]
