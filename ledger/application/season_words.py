"""The stages of a plan in the making, in words."""

from __future__ import annotations

from ledger.planning import Progress

STAGES = {
    "forecast": "Forecasting from the sales",
    "rules": "Trying the simple rules",
    "bound": "Finding what no plan can beat",
    "search": "Searching for a better plan",
    "proof": "Proving how good it is",
    "days": "Checking the making days",
}


def stage(at: Progress) -> str:
    """What is going on, how far it is, and how good the best plan is so far."""
    text = STAGES.get(at.stage, at.stage)
    if at.of > 1 and at.done:
        text += f", {100 * at.done // at.of} %"
    if at.cost_milli and at.bound_milli:
        text += f"; at most {100 * max(0, at.cost_milli - at.bound_milli) / max(1, abs(at.cost_milli)):.1f} % above the best possible"
    return text


def done(at: Progress) -> float:
    """How much of the stage is done, 0 to 1 (0 where it is not counted)."""
    return min(1.0, at.done / at.of) if at.of > 1 else 0.0


__all__ = ["STAGES", "done", "stage"]
