"""The stages of a plan in the making, in words."""

from __future__ import annotations

from collections.abc import Callable

from ledger.domain.books.entries import Site
from ledger.planning import Progress

STAGES = {
    "forecast": "Forecasting from the sales",
    "rules": "Trying the simple rules",
    "bound": "Finding what no plan can beat",
    "items": "Planning each thing by itself",
    "search": "Searching for a better plan",
    "proof": "Proving how good it is",
    "days": "Laying the batches on the making days",
    "seasons": "Trying the plan on other seasons",
    "helps": "Working out what a helper would save",
}
COUNTED = ("search", "items")
"""Stages whose end is known from the start; the others show no share."""
Money = Callable[[int], str]


def name(at: Progress) -> str:
    """What is going on."""
    return STAGES.get(at.stage, at.stage)


def how_far(at: Progress) -> str:
    """How much of the stage is done where that is counted; planning begun anew says why."""
    share = done(at)
    parts = [f"{100 * share:.0f} %"] if share else []
    if at.again:
        more = "" if at.again == 1 else f" ({at.again})"
        parts.append(f"begun again{more}, since some days carry less than their minutes say")
    return ", ".join(parts)


def stage(at: Progress) -> str:
    """What is going on and how far it is."""
    return ", ".join(text for text in (name(at), how_far(at)) if text)


def best(at: Progress, money: Money) -> str:
    """What the best plan so far costs and how good it is; empty before there is one."""
    if not at.cost_milli:
        return ""
    text = f"best so far {money(at.cost_milli)}"
    if at.bound_milli:
        text += f", at most {100 * max(0, at.cost_milli - at.bound_milli) / max(1, abs(at.cost_milli)):.1f} % above the best possible"
    return text


def done(at: Progress) -> float | None:
    """How much of the stage is done, 0 to 1; None where it is not counted."""
    return min(1.0, at.done / at.of) if at.stage in COUNTED and at.of > 1 else None


def money_of(site: Site) -> Money:
    """How this shop's money is said: thousandths of a minor unit as whole major units."""
    return lambda milli: f"{site.currency} {round(milli / 1000 / 10**site.currency_digits):,}".replace(",", " ")


__all__ = ["STAGES", "best", "done", "how_far", "money_of", "name", "stage"]
