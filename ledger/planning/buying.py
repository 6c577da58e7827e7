"""What to buy and by when: a plan's batches against recipes, lots in the house with their dates, lead times and pack sizes."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from ledger.errors import UnknownThing
from ledger.planning.plan import Plan

MARGIN_DAYS = 2
"""Days a material should be in the house before the week that uses it (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """An ingredient or packaging as it is bought. Amounts in its own whole unit (grams, pieces).

    ``pack``: amount in one pack; ``least_packs``: fewest the supplier sends; ``keeps_days``: how long it may lie (None:
    does not spoil); ``margin_days``: days it should be in the house before it is used.
    """

    key: str
    name: str
    unit: str
    pack: int
    lead_days: int
    least_packs: int = 1
    keeps_days: int | None = None
    margin_days: int = MARGIN_DAYS
    price_per_pack: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class InHouse:
    """A lot in the house, or on its way: amount, the day it is there, the last day it may be used (None: no date)."""

    material: str
    amount: int
    there: date
    use_by: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One order: by when, how many packs, for which first week, what is left of it; ``late``: the day to order is past."""

    material: str
    name: str
    order_by: date
    needed_by: date
    packs: int
    amount: int
    unit: str
    cost: int
    needed: int
    late: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoils:
    """A lot that passes its date before the plan uses it up."""

    material: str
    amount: int
    use_by: date


def first_week_with(today: date, lead_days: int, margin_days: int = MARGIN_DAYS) -> int:
    """The first week (0 is the running one) that a material ordered today is there for in time: ``margin_days`` before its Monday, or today for
    the running week."""
    return -(-(today.weekday() + lead_days + margin_days) // 7) if lead_days else 0


def needs(plan: Plan, recipes: Mapping[str, Mapping[str, int]]) -> dict[str, dict[int, int]]:
    """Amount of each material by week: batches of the lines times what a batch takes. UnknownThing for a missing recipe."""
    wanted: dict[str, dict[int, int]] = {}
    for line in plan.lines:
        if line.item not in recipes:
            raise UnknownThing(
                f"{line.item} is planned in {line.label} but has no recipe here: give it one to know what to buy",
                item=line.item,
            )
        for material, amount in recipes[line.item].items():
            weeks = wanted.setdefault(material, {})
            weeks[line.week] = weeks.get(line.week, 0) + amount * line.batches
    return wanted


def order_list(
    plan: Plan,
    recipes: Mapping[str, Mapping[str, int]],
    materials: Sequence[Material],
    lots: Sequence[InHouse],
    week_starts: Sequence[date],
    today: date,
    cover_weeks: int = 4,
) -> tuple[list[Order], list[Spoils]]:
    """Orders by date that keep every batch of the plan supplied, and lots that will spoil.

    Lots are used first-expired-first. When a week runs short, one order covers the needs of the next ``cover_weeks`` weeks as far
    as the material keeps and lots do not last, in whole packs. What the running week needs should be there today. Spoiling are lots that pass
    their date before the last week planned, needed or not. UnknownThing for a material nobody described.
    """
    known = {material.key: material for material in materials}
    orders: list[Order] = []
    spoils: list[Spoils] = []
    wanted = needs(plan, recipes)
    for key in wanted:
        if key not in known:
            raise UnknownThing(f"recipes need {key}, which is not in the book of materials: add it there", material=key)
    for key in sorted(known):
        by_week = wanted.get(key, {})
        mine = [lot for lot in lots if lot.material == key]
        more, gone = _buy(known[key], by_week, mine, week_starts, today, cover_weeks)
        orders += more
        spoils += gone
    return sorted(orders, key=lambda o: (o.order_by, o.material)), spoils


@dataclass(slots=True)
class _Heap:
    """What is left of a lot while the plan uses it up."""

    use_by: date
    there: date
    amount: int

    def take(self, wanted: int, first: date, last: date) -> int:
        """Use it for a week from ``first`` to ``last`` as far as it is there and keeps; what it gave."""
        given = min(wanted, self.amount) if self.there <= first and self.use_by >= last else 0
        self.amount -= given
        return given


def _short(stock: Sequence[_Heap], wanted: int, first: date, last: date) -> int:
    """What a week lacks after the lots that are there, the first to expire used first."""
    for lot in sorted(stock, key=lambda s: (s.use_by, s.there)):
        wanted -= lot.take(wanted, first, last)
    return wanted


def _buy(
    material: Material,
    by_week: Mapping[int, int],
    lots: Sequence[InHouse],
    week_starts: Sequence[date],
    today: date,
    cover_weeks: int,
) -> tuple[list[Order], list[Spoils]]:
    """Orders of one material, walking through the weeks that need it."""
    stock = [_Heap(lot.use_by or date.max, lot.there, lot.amount) for lot in lots]
    days = [(max(start, today), start + timedelta(days=6)) for start in week_starts]
    orders: list[Order] = []
    for week in sorted(by_week):
        first, last = days[week]
        short = _short(stock, by_week[week], first, last)
        if short <= 0:
            continue
        keeps_to = date.max if material.keeps_days is None else first + timedelta(days=material.keeps_days)
        later = [w for w in sorted(by_week) if week < w < week + cover_weeks and days[w][1] <= keeps_to]
        lying = [replace(lot) for lot in stock]
        wanted = short + sum(_short(lying, by_week[w], *days[w]) for w in later)
        packs = max(material.least_packs, -(-wanted // material.pack))
        arrives = max(today, week_starts[week] - timedelta(days=material.margin_days))
        order_by = arrives - timedelta(days=material.lead_days)
        orders.append(
            Order(
                material=material.key,
                name=material.name,
                order_by=order_by,
                needed_by=arrives,
                packs=packs,
                amount=packs * material.pack,
                unit=material.unit,
                cost=packs * material.price_per_pack,
                needed=short,
                late=order_by < today,
            )
        )
        stock.append(_Heap(keeps_to, first, packs * material.pack - short))
    gone = [
        Spoils(material=material.key, amount=lot.amount, use_by=lot.use_by)
        for lot in stock[: len(lots)]
        if lot.amount > 0 and week_starts and lot.use_by < week_starts[-1]
    ]
    return orders, gone


def to_csv(orders: Sequence[Order]) -> str:
    """The order list as CSV with a header, dates as in ISO 8601, amounts in each material's own unit."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["order_by", "needed_by", "material", "name", "packs", "amount", "unit", "cost_minor", "late"])
    for o in orders:
        row = [o.order_by.isoformat(), o.needed_by.isoformat(), o.material, o.name, o.packs, o.amount, o.unit, o.cost]
        writer.writerow([*row, "late" if o.late else ""])
    return out.getvalue()
