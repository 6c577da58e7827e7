"""Everything that moves while the invented shop's history is told, in one place."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import date
from typing import Protocol

from ledger.analytics.records import records
from seeds.shop.bench import Bench
from seeds.shop.counter import Counter
from seeds.shop.demand import Demand
from seeds.shop.planner import Planner
from seeds.shop.recorder import Recorder
from seeds.shop.settings import Line, Shop
from seeds.shop.shelf import PackLot, Shelf, StoreRoom
from seeds.shop.stores import Stores


class Planned(Protocol):
    """The plan the shop works by."""

    def next(self, line: Line, day: date) -> str:
        """The planned batch that one of this flavour made today is: empty where none is due."""


@dataclass(slots=True)
class World:
    """The shop with its people, shelves and chance."""

    shop: Shop
    rng: random.Random
    recorder: Recorder
    shelf: Shelf
    room: StoreRoom
    demand: Demand
    bench: Bench
    stores: Stores
    planner: Planner
    counter: Counter
    first: date
    last: date
    aside: list[tuple[date, PackLot]] = field(default_factory=list)
    rates: dict[str, int] = field(default_factory=dict)
    count: dict[str, int] = field(default_factory=dict)
    doubled: list[str] = field(default_factory=list)
    settling: set[date] = field(default_factory=set)
    plan: Planned | None = None

    def note(self, what: str, times: int = 1) -> None:
        """Count something for the summary."""
        self.count[what] = self.count.get(what, 0) + times

    def all_year(self) -> list[str]:
        """Packs on the shelf of flavours that are sold all year."""
        return sorted(
            p.id
            for line in self.shop.lines.values()
            if not line.flavour.feast
            for p in line.packs
            if p.id in self.shelf.lots
        )

    def settle(self) -> None:
        """Enter everything that waits, and take the shelf from the ledger itself: what must be exact comes after this."""
        self.recorder.flush()
        frame = self.recorder.ledger.queries.lots(kinds=["packs"])
        self.shelf.lots, self.shelf.coming = {}, []
        for row in records(frame[(frame.held == "") & (frame.packs > 0)].sort_values(["best_before", "lot"])):
            lot = PackLot(
                row["lot"],
                row["item"],
                int(row["packs"]),
                int(row["made_packs"]),
                row["best_before"],
                date.fromisoformat(row["day"]),
            )
            self.shelf.lots.setdefault(row["item"], []).append(lot)


def build(shop: Shop, rng: random.Random, recorder: Recorder, first: date, opening: date, last: date) -> World:
    """A shop on the morning of its first day."""
    shelf, room = Shelf(), StoreRoom()
    demand = Demand(shop, rng, opening, last)
    bench = Bench(shop, rng, recorder, shelf, room)
    stores = Stores(shop, rng, recorder, room, demand)
    planner = Planner(shop, rng, shelf, demand)
    counter = Counter(shop, rng, recorder, shelf, demand)
    return World(shop, rng, recorder, shelf, room, demand, bench, stores, planner, counter, first, last)
