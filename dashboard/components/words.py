"""Figures and moments in words, as they stand on a page."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from ledger.quantities import duration_text
from ledger.store.times import from_utc_text


def moment(utc: str, zone: str) -> str:
    """A stored moment on the shop's clock: `2026-11-02 09:15`."""
    return from_utc_text(utc).astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")


def since(utc: str, now: datetime) -> str:
    """How long ago: `25 min`, `3 h 05 min`, `4 days`."""
    seconds = max(0, int((now - from_utc_text(utc)).total_seconds()))
    if seconds >= 2 * 86_400:
        return f"{seconds // 86_400} days"
    return duration_text(seconds) if seconds >= 60 else "just now"


def entry_name(stored: str) -> str:
    """A stored name as people say it: `batch.cooked` -> `cooked`."""
    return stored.split(".")[-1].replace("-", " ")
