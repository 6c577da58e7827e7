"""A forecast's bands learn from a year of earlier origins, which is most of its time; tests of what is made of a forecast replay a few of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from ledger.application import season_history
from ledger.domain.books.book import Book
from ledger.forecast import ForecastSettings

EVERY = 8
"""Weeks between the origins replayed, instead of two."""


@pytest.fixture(scope="session", autouse=True)
def coarse_bands() -> Iterator[None]:
    """Every forecast of this folder's tests; how good bands are is tested and measured elsewhere (tests/forecast, benchmarks/forecast.py)."""
    real = season_history.settings_of_book

    def coarse(book: Book) -> tuple[ForecastSettings, list[str]]:
        settings, notes = real(book)
        return replace(settings, calibration_step=EVERY), notes

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(season_history, "settings_of_book", coarse)
        yield


__all__ = ["coarse_bands"]
