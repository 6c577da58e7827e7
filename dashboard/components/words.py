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


# Where the last part of a stored name does not say enough by itself on the Log page.
_SAID = {
    "batch.built": "log built", "batch.closed": "batch closed", "batch.flag-answered": "flag answered", "batch.opened": "batch opened",
    "batch.rolled": "rolled to rods", "batch.sheet-issued": "batch sheet issued", "batch.thermometer-checked": "thermometer checked",
    "batch.worked": "other work", "ledger.amended": "earlier entry amended", "ledger.voided": "earlier entry voided",
    "lot.counted": "stock-take", "lot.held": "lots put on hold", "lot.received": "goods received", "lot.released": "lots released",
    "lot.sampled": "sample taken", "lot.scrapped": "thrown away", "recall.closed": "recall ended", "recall.noted": "recall: progress noted",
    "recall.started": "recall or drill started", "season.override-made": "owner's own figure", "shelf.promotion-planned": "promotion or closure planned",
    "shelf.ran-out": "ran out on the shelf", "shelf.returned": "packs returned", "shelf.shipped": "packs shipped", "shelf.sold": "packs sold",
}  # fmt: skip


def kind_words(stored: str) -> str:
    """A stored kind of entry in plain words that stand alone: `lot.received` -> `goods received`, `book.pack-defined` -> `book: pack entered`."""
    if stored.startswith("book.") and stored.endswith("-defined"):
        return f"book: {stored.removeprefix('book.').removesuffix('-defined')} entered"
    return _SAID.get(stored) or entry_name(stored)
