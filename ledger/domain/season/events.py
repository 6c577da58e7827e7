"""What was foretold, planned and decided for a season. The figures are data in the event: a replay never solves or fits again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ledger.domain.stored_names import stored_as


@stored_as("season.forecast-issued", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastIssued:
    """A forecast left the house: its lines are kept so that it can be scored as it was made."""

    day: str
    forecast: str
    origin_week: str
    as_of: int
    method: str
    lines: tuple[dict[str, Any], ...] = ()


@stored_as("season.override-made", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class OverrideMade:
    """The owner's own figure beside the model's, with a reason."""

    day: str
    forecast: str
    level: str
    key: str
    week: str
    units: int
    model_units: int
    reason: str


@stored_as("season.plan-adopted", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class PlanAdopted:
    """A plan became the plan: lines, settings, cost and bound in minor units."""

    day: str
    plan: str
    as_of: int
    frozen_until: str
    cost: int
    bound: int
    method: str
    lines: tuple[dict[str, Any], ...] = ()
    settings: dict[str, Any]
    supersedes: str = ""


@stored_as("recall.started", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class RecallStarted:
    """A recall or a drill began at a lot; ``lots`` are the affected lots held with it."""

    day: str
    recall: str
    lot: str
    reason: str
    drill: bool
    lots: tuple[str, ...]
    started_at: str


@stored_as("recall.noted", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class RecallNoted:
    """Progress of a recall: a customer called, stock pulled back, a notice printed.

    With a lot and of kind counted, returned or destroyed, the entry of the movement stands right behind it, in the same command.
    """

    day: str
    recall: str
    kind: str
    partner: str = ""
    packs: int = 0
    text: str = ""
    lot: str = ""
    mass_mg: int = 0


@stored_as("recall.closed", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class RecallClosed:
    """A recall ended, with the figures it ended on."""

    day: str
    recall: str
    accounted_ppm: int
    figures: dict[str, Any]
    closed_at: str
