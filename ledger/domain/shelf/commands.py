"""What a person asks to be recorded about the shelf."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True, kw_only=True)
class Sell:
    """Packs were sold. Without a lot the first to expire go first. amount: minor units for all of them."""

    name: ClassVar[str] = "sell"
    day: str
    pack: str
    packs: int
    channel: str
    lot: str = ""
    amount: int = 0
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ship:
    """Packs went to a business customer on a document."""

    name: ClassVar[str] = "ship"
    day: str
    pack: str
    packs: int
    customer: str
    channel: str = ""
    lot: str = ""
    amount: int = 0
    document: str = ""
    carrier: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeBack:
    """Packs of one lot came back."""

    name: ClassVar[str] = "return"
    day: str
    lot: str
    packs: int
    customer: str = ""
    channel: str = ""
    amount: int = 0
    document: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRunOut:
    """A flavour was gone from a channel, from this day to another (empty: this day only)."""

    name: ClassVar[str] = "run-out"
    day: str
    flavour: str
    channel: str
    until_day: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPromotion:
    """A promotion, closure, bulk order or show is known for these days. A bulk order says how many packs (``units``), of which flavour and
    through which channel; a show says from when to when on each of its days (``at``: `14:00-15:30`).
    """

    name: ClassVar[str] = "promotion"
    day: str
    from_day: str
    to_day: str
    flavour: str = ""
    channel: str = ""
    kind: str = "promotion"
    units: int = 0
    at: str = ""
    note: str = ""
