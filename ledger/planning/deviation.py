"""Planned against sold, split so that it adds up to the gram.

Net position = stock left less demand not met. The plan expected one (it may itself have known of a shortage or a left-over);
the season gave another. The difference is forecast, batches made, yield of the batches, and stock count, with no rest.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What the plan said of an item over a span of weeks, in grams and batches.

    ``planned_g``: sellable grams of all its batches, where they are not all of ``batch_g`` (kettles of two sizes).
    """

    opening_g: int
    batches: int
    batch_g: int
    demand_g: int
    planned_g: int | None = None

    @property
    def made_g(self) -> int:
        """Grams the plan meant to make."""
        return self.batches * self.batch_g if self.planned_g is None else self.planned_g


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """What happened: opening stock as counted, later count corrections, batches, sellable grams made, demand.

    ``demand_g`` is sales plus what is known or estimated to have been missed while the item was gone.
    """

    opening_g: int
    corrections_g: int
    batches: int
    made_g: int
    demand_g: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """Grams of the net position by cause; ``net_g`` is their sum exactly. Below 0 is short, above 0 left over."""

    known_by_plan_g: int
    forecast_g: int
    made_g: int
    yield_g: int
    count_g: int
    net_g: int


def split(expected: Expected, happened: Happened) -> Split:
    """Split the season's net position into what the plan knew and what came differently."""
    known = expected.opening_g + expected.made_g - expected.demand_g
    more_g = (happened.batches - expected.batches) * expected.batch_g
    parts = {
        "forecast_g": expected.demand_g - happened.demand_g,
        "made_g": more_g,
        "yield_g": happened.made_g - expected.made_g - more_g,
        "count_g": happened.opening_g - expected.opening_g + happened.corrections_g,
    }
    net = happened.opening_g + happened.corrections_g + happened.made_g - happened.demand_g
    return Split(known_by_plan_g=known, net_g=net, **parts)
