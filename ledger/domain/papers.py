"""Entries that are looked up by a name of their own: sheets, plans, forecasts, recalls, checks. They move nothing."""

from __future__ import annotations

from typing import Any

from ledger.domain.batch.events import BatchSheetIssued, ThermometerChecked
from ledger.domain.season.events import (
    ForecastIssued,
    OverrideMade,
    PlanAdopted,
    RecallClosed,
    RecallNoted,
    RecallStarted,
)
from ledger.domain.shelf.events import PromotionPlanned, RanOut

_KINDS: dict[type, tuple[str, Any]] = {
    BatchSheetIssued: ("sheet", lambda e: e.batch),
    ThermometerChecked: ("thermometer", lambda e: f"{e.station}/{e.day}"),
    ForecastIssued: ("forecast", lambda e: e.forecast),
    OverrideMade: ("override", lambda e: f"{e.forecast}/{e.level}/{e.key}/{e.week}"),
    PlanAdopted: ("plan", lambda e: e.plan),
    RecallStarted: ("recall", lambda e: e.recall),
    RecallNoted: ("recall-note", lambda e: f"{e.recall}/{e.kind}/{e.partner}/{e.day}"),
    RecallClosed: ("recall-closed", lambda e: e.recall),
    PromotionPlanned: ("promotion", lambda e: f"{e.from_day}/{e.to_day}/{e.flavour}/{e.channel}"),
    RanOut: ("ran-out", lambda e: f"{e.day}/{e.flavour}/{e.channel}"),
}


def paper_of(event: object) -> tuple[str, str] | None:
    """(kind, id) under which an entry is looked up, or None for an entry that is not a paper."""
    found = _KINDS.get(type(event))
    return (found[0], str(found[1](event))) if found else None
