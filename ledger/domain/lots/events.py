"""What happened to a lot outside a batch: it came, was counted, sampled, thrown away, held and released."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from ledger.domain.movement import Movement
from ledger.domain.stored_names import stored_as


@stored_as("lot.received", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class LotReceived(Movement):
    """Goods came from a supplier and got a lot of ours. ``partner`` is the supplier, ``carrier`` who brought it."""

    step: ClassVar[str] = "receive"
    supplier_lot: str = ""
    document: str = ""
    carrier: str = ""
    gtin: str = ""


@stored_as("lot.counted", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class LotCounted(Movement):
    """A stock-take: what was found in a lot. The difference to the books is a visible entry, never an edit."""

    step: ClassVar[str] = "count"
    lot: str
    kind: str = ""
    item: str = ""
    found_mg: int = 0
    found_pieces: int = 0
    found_packs: int = 0
    counted: str = "mass"  # mass, pieces or packs


@stored_as("lot.sampled", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class LotSampled(Movement):
    """Some was tasted or kept as a sample. ``partner`` may say for what."""

    step: ClassVar[str] = "sample"


@stored_as("lot.scrapped", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class LotScrapped(Movement):
    """Some was thrown away, by cause."""

    step: ClassVar[str] = "scrap"


@stored_as("lot.held", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class LotsHeld:
    """Lots were put aside: nothing may leave them until released."""

    day: str
    lots: tuple[str, ...]
    reason: str
    recall: str = ""


@stored_as("lot.released", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class LotsReleased:
    """Held lots may be used and sold again."""

    day: str
    lots: tuple[str, ...]
    reason: str
    recall: str = ""
