"""What left the shelf and what came back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from ledger.domain.movement import Movement
from ledger.domain.stored_names import stored_as


@stored_as("shelf.sold", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Sold(Movement):
    """Packs were sold to a consumer through a channel; no name is kept."""

    step: ClassVar[str] = "sell"
    pack: str = ""


@stored_as("shelf.shipped", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Shipped(Movement):
    """Packs went to a business customer (``partner``), on a document."""

    step: ClassVar[str] = "ship"
    pack: str = ""
    document: str = ""
    carrier: str = ""


@stored_as("shelf.returned", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Returned(Movement):
    """Packs came back from a customer into a lot."""

    step: ClassVar[str] = "return"
    pack: str = ""
    document: str = ""


@stored_as("shelf.ran-out", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class RanOut:
    """A flavour was gone from a channel on this day, from ``seconds_open`` into the day (0: all day)."""

    day: str
    flavour: str
    channel: str
    until_day: str = ""
    note: str = ""


@stored_as("shelf.promotion-planned", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class PromotionPlanned:
    """What is known ahead of certain days: a promotion, a closure, a bulk order (``units``: packs promised), a show (``at``: from when to
    when of each of its days, `14:00-15:30`). Entries older than these two fields say both in their note.
    """

    day: str
    from_day: str
    to_day: str
    flavour: str = ""
    channel: str = ""
    kind: str = "promotion"
    units: int = 0
    at: str = ""
    note: str = ""
