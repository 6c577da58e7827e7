"""A season's planning problem in the shop's own words: what sells, what a batch gives, which weeks, whose hands.

Masses are whole grams, money whole minor units (pence, cents), time whole minutes, weeks are counted from 0 (the first week
planned). A batch is a whole kettle-load: it is made or not made. Nothing here computes; ``findings.py`` says what is wrong
with a problem and gives back the part that can be planned, ``arrays.py`` lays it out for the solvers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

Tangents = tuple[tuple[int, int], ...]
"""Straight lines under a loss curve: (loss in grams at no supply, grams of loss saved by 1000 g more supply)."""

ANY_KETTLE = "kettle"
"""The station that stands for all kettles together, where they are not told apart."""

UNSTATED_G = 10**9
"""A kettle of this size holds any load: the book does not state its size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """Stock in the house at the start: grams, and the last week (number) in which it may still be sold."""

    grams: int
    good_through: int = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """The weeks in which a holiday design sells; what is left after ``last_week`` goes at ``salvage_per_kg``.

    ``runs_on``: ``last_week`` is only the last week planned, and the season goes on after it.
    """

    first_week: int
    last_week: int
    salvage_per_kg: int = 0
    runs_on: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """A whole load of an item in one kettle: what it gives, what it puts in, and the minutes it asks of the floor.

    ``kettle``: the :class:`Kettle`'s name. ``batch_g``: sellable grams from one load. ``load_g``: grams put into the kettle
    (0: not stated). ``minutes``: as of an :class:`Item`; None takes the item's. Minutes of station ``kettle`` are charged to the
    station of this kettle's name (give each :class:`Week` its minutes), so that a kettle out for a week stops its own loads only.
    """

    kettle: str
    batch_g: int
    load_g: int = 0
    minutes: Mapping[str, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing the shop plans by itself: a design in a flavour for a family of packs.

    ``batch_g``: sellable grams from one batch. ``load_g``: what that batch puts into the kettle (0: not stated).
    ``material_per_kg``: bought-in cost of a sellable kilo, charged when made. ``lost_per_kg``: what a missed kilo costs (see
    :func:`price_of_a_missed_kilo`). ``hold_per_kg_week``: keeping a kilo one week. ``display_g``: least to have on the shelf.
    ``shelf_weeks``: weeks a batch may be sold, its own week the first. ``earliest_week``: first week with everything for it in
    the house. ``minutes``: minutes a batch needs of each station, and ``hands`` in person-minutes. ``loss_curves``: one set of
    tangents a week on cumulative supply, for uncertain season demand; None means demand as forecast. ``loads``: the kettles it
    can be made in, where they differ (then ``batch_g``, ``load_g`` and ``minutes`` are only the typical batch); empty: one
    size of batch in whatever kettle. ``most_a_week``: most batches of it in a week, of each kettle.
    """

    key: str
    name: str
    batch_g: int
    demand_g: tuple[int, ...]
    minutes: Mapping[str, int] = field(default_factory=dict)
    kind: str = "plain"
    flavour: str = ""
    family: str = ""
    load_g: int = 0
    has_recipe: bool = True
    price_per_kg: int = 0
    material_per_kg: int = 0
    lost_per_kg: int = 0
    hold_per_kg_week: int = 0
    thrown_per_kg: int = 0
    display_g: int = 0
    shelf_weeks: int = 40
    opening: tuple[Opening, ...] = ()
    season: Season | None = None
    earliest_week: int = 0
    not_yet: str = "the material is not in the house"
    closing_cap_g: int = 0
    closing_value_per_kg: int = 0
    closing_low_per_kg: int = 0
    good_to_show: bool = False
    most_a_week: int = 6
    loss_curves: tuple[Tangents, ...] | None = None
    loads: tuple[Load, ...] = ()

    @property
    def opening_g(self) -> int:
        """Grams in the house at the start."""
        return sum(lot.grams for lot in self.opening)

    @property
    def ways(self) -> tuple[Load, ...]:
        """How a batch of it can be made: its loads, or the one typical batch in no named kettle."""
        if not self.loads:
            return (Load(kettle="", batch_g=self.batch_g, load_g=self.load_g, minutes=self.minutes),)
        return tuple(replace(load, minutes=self._in(load)) for load in self.loads)

    def _in(self, load: Load) -> dict[str, int]:
        """Minutes of a load, those of any kettle on its own."""
        minutes = self.minutes if load.minutes is None else load.minutes
        return {load.kettle if name == ANY_KETTLE else name: asked for name, asked in minutes.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """One week of the floor: making days, person-minutes and station minutes there are, and what can be bought on top."""

    label: str
    days: int = 5
    hands_minutes: int = 0
    overtime_minutes: int = 0
    helper_shifts: int = 0
    stations: Mapping[str, int] = field(default_factory=dict)
    shows: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """What bending a limit costs, in minor units."""

    overtime_per_hour: int = 1800
    helper_shift: int = 8400
    helper_minutes: int = 360
    store_over_per_kg_week: int = 200
    missed_show: int = 15_000
    display_gap_per_kg_week: int = 80
    moved_batch: int = 3000


@dataclass(frozen=True, slots=True, kw_only=True)
class Kettle:
    """A kettle: what it holds at most and the least it can cook without burning, in grams of load."""

    name: str
    size_g: int
    minimum_g: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShowTime:
    """A promised demonstration: week number, making day of that week (0 the first), minutes after midnight from and to."""

    week: int
    day: int
    start: int
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Batches:
    """Whole batches of an item in a week: a line of a plan, a frozen line, or a line kept from the plan before.

    ``kettle``: where the item has loads, the kettle they are made in; empty or not among them: its first.
    """

    item: str
    week: int
    batches: int
    kettle: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Everything a plan is made from. ``frozen_weeks``: the first weeks are as in ``frozen`` and stay so.

    ``kept``: lines of the plan in force; moving one in the first ``kept_weeks`` weeks costs ``prices.moved_batch``.
    ``store_g``: most grams the shelves and the store hold (None: never full). ``currency``: how money is written in words.
    ``units``: `metric` or `us`, how masses are said; the numbers here are grams either way. ``opens``/``closes``: making hours of a day, minutes after midnight.
    """

    items: tuple[Item, ...]
    weeks: tuple[Week, ...]
    prices: Prices = field(default_factory=Prices)
    kettles: tuple[Kettle, ...] = ()
    show_times: tuple[ShowTime, ...] = ()
    store_g: int | None = None
    frozen_weeks: int = 0
    frozen: tuple[Batches, ...] = ()
    kept: tuple[Batches, ...] = ()
    kept_weeks: int = 2
    currency: str = "GBP"
    minor_per_major: int = 100
    units: str = "metric"
    opens: int = 9 * 60
    closes: int = 16 * 60 + 30

    def item(self, key: str) -> Item:
        """The item of that key; KeyError names it."""
        for item in self.items:
            if item.key == key:
                return item
        raise KeyError(key)

    def with_item(self, changed: Item) -> Problem:
        """The same problem with one item replaced by the changed one of the same key."""
        return replace(self, items=tuple(changed if item.key == changed.key else item for item in self.items))


def price_of_a_missed_kilo(price_per_kg: int, material_per_kg: int, share_lost_percent: int) -> int:
    """What missing the sale of a kilo costs: its material back, and the margin of the customers who take nothing else.

    The material belongs in it because a plan is charged for material when a batch is made. Common practice: of ten
    customers who miss their flavour four take another for every day, one for a feast (share lost 60 and 90 percent).
    """
    margin = max(0, price_per_kg - material_per_kg)
    return material_per_kg + margin * share_lost_percent // 100
