"""What is asked to be kept of forecasts, plans and recalls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar


@dataclass(frozen=True, slots=True, kw_only=True)
class IssueForecast:
    """Keep a forecast as it left the house."""

    name: ClassVar[str] = "issue-forecast"
    day: str
    forecast: str
    origin_week: str
    as_of: int
    method: str
    lines: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeOverride:
    """Set the owner's figure beside the model's."""

    name: ClassVar[str] = "override"
    day: str
    forecast: str
    level: str
    key: str
    week: str
    units: int
    model_units: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AdoptPlan:
    """Make a plan the plan."""

    name: ClassVar[str] = "adopt-plan"
    day: str
    plan: str
    as_of: int
    frozen_until: str
    cost: int
    bound: int
    method: str
    lines: tuple[dict[str, Any], ...]
    settings: dict[str, Any]
    supersedes: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartRecall:
    """Begin a recall or a drill: the affected lots are held in the same breath."""

    name: ClassVar[str] = "start-recall"
    day: str
    recall: str
    lot: str
    reason: str
    drill: bool
    lots: tuple[str, ...]
    started_at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRecall:
    """Progress of a recall. What was counted, came back or was destroyed names its lot and moves the stock in the same command.

    packs or mass_mg: how much (destroyed: none means all of it). channel: where consumers brought it back (a customer's own channel is known).
    amount: refunded for what came back, minor units.
    """

    name: ClassVar[str] = "note-recall"
    day: str
    recall: str
    kind: str
    partner: str = ""
    lot: str = ""
    packs: int | None = None
    mass_mg: int | None = None
    channel: str = ""
    amount: int = 0
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseRecall:
    """End a recall with its figures."""

    name: ClassVar[str] = "close-recall"
    day: str
    recall: str
    accounted_ppm: int
    figures: dict[str, Any]
    closed_at: str
    release: bool = False
