"""What a person asks to be recorded about a lot outside a batch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiveLot:
    """Goods came in: material, mass, supplier and the supplier's own lot. cost: minor units for all of it."""

    name: ClassVar[str] = "receive"
    day: str
    material: str
    mass_mg: int
    supplier: str
    lot: str = ""
    supplier_lot: str = ""
    best_before: str = ""
    cost: int = 0
    document: str = ""
    carrier: str = ""
    gtin: str = ""
    entered: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CountLot:
    """A stock-take of one lot: what is really there, as mass or as pieces or as packs (exactly one of them)."""

    name: ClassVar[str] = "count"
    day: str
    lot: str
    mass_mg: int | None = None
    pieces: int | None = None
    packs: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleLot:
    """Some was tasted, or kept for the record."""

    name: ClassVar[str] = "sample"
    day: str
    lot: str
    mass_mg: int = 0
    pieces: int = 0
    packs: int = 0
    purpose: str = "tasting"
    entered: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrapLot:
    """Some was thrown away. With no figure, all of it."""

    name: ClassVar[str] = "scrap"
    day: str
    lot: str
    cause: str
    mass_mg: int = 0
    pieces: int = 0
    packs: int = 0
    entered: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldLots:
    """Put lots aside."""

    name: ClassVar[str] = "hold"
    day: str
    lots: tuple[str, ...]
    reason: str
    recall: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseLots:
    """Let held lots go again."""

    name: ClassVar[str] = "release"
    day: str
    lots: tuple[str, ...]
    reason: str
    recall: str = ""
