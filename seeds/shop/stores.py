"""The store room: ordering, receipts with the supplier's lot and date, and what goes past its date."""

from __future__ import annotations

import random
from datetime import date, timedelta

from ledger.domain.books import entries as e
from ledger.domain.codes import day_code
from ledger.domain.lots.commands import ReceiveLot, ScrapLot
from seeds.shop.demand import Demand
from seeds.shop.recorder import Recorder, at
from seeds.shop.settings import Shop
from seeds.shop.shelf import StoreLot, StoreRoom

JARS_A_KETTLE = 98


class Stores:
    """Orders so that two to three weeks of work are always at hand, and notes what comes in."""

    def __init__(self, shop: Shop, rng: random.Random, recorder: Recorder, room: StoreRoom, demand: Demand) -> None:
        self.shop, self.rng, self.recorder, self.room, self.demand = shop, rng, recorder, room, demand
        self.receipts: list[str] = []
        self._numbers: dict[date, int] = {}
        self._documents = 1000
        self._use = {
            line.id: {x.material: x.mass_mg / JARS_A_KETTLE for x in line.recipe.lines} for line in shop.lines.values()
        }

    def delivery_day(self, day: date) -> bool:
        """Deliveries come on Tuesdays."""
        return day.weekday() == 1

    def order(self, day: date, opening: bool = False) -> None:
        """Bring in what the next six weeks may take of everything that runs below three."""
        soon = self._need(day, 21)
        later = self._need(day, 42)
        for id, mass in sorted(later.items()):
            material = self.shop.book.get(e.Material, id)
            self._clear_old(material, day)
            per_kettle = max(
                x.mass_mg for line in self.shop.lines.values() for x in line.recipe.lines if x.material == id
            )
            if opening or self.room.free(id) < soon.get(id, 0) + 3 * per_kettle:
                self.receive(material, max(mass, 6 * per_kettle) - self.room.free(id), day)

    def ensure(self, need: dict[str, int], day: date) -> None:
        """Fetch by hand, the same morning, what a planned batch would lack."""
        for id, mass in need.items():
            if self.room.free(id) < mass:
                self.receive(self.shop.book.get(e.Material, id), mass, day, hour=7.4, note="fetched by hand")

    def receive(self, material: e.Material, mass: int, day: date, hour: float = 8.2, note: str = "") -> str:
        """Whole packs of one material come in as one lot."""
        packs = max(1, -(-mass // material.pack_mg))
        total = packs * material.pack_mg
        number = self._numbers[day] = self._numbers.get(day, 0) + 1
        self._documents += 1
        lot = f"M{day_code(day.isoformat())}-{number}"
        best = day + timedelta(days=round(material.shelf_days * self.rng.uniform(0.72, 0.97)))
        price = material.cost * (1 + 0.03 * self.demand.years(day)) * self.rng.gauss(1, 0.02)
        when = at(day, hour + number * 0.01, self.recorder.zone)
        command = ReceiveLot(
            day=day.isoformat(), material=material.id, mass_mg=total, supplier=material.supplier, lot=lot,
            supplier_lot=f"{material.supplier[:2]}{day:%y%j}{self.rng.randint(100, 999)}", best_before=best.isoformat(),
            cost=round(total / 1e6 * price), document=f"DN-{self._documents}", carrier=f"{material.supplier} van" if not note else "own van",
            entered=f"{packs} x {material.pack_mg / 1e6:g} kg", note=note,
        )  # fmt: skip
        self.recorder.tell(command, "MK", when, tag=f"receive/{lot}")
        self.room.put(StoreLot(lot, material.id, total, day, best))
        self.receipts.append(lot)
        return lot

    def _clear_old(self, material: e.Material, day: date) -> None:
        for lot in list(self.room.lots.get(material.id, ())):
            if lot.best_before <= day + timedelta(days=7):
                self.room.lots[material.id].remove(lot)
                command = ScrapLot(
                    day=day.isoformat(),
                    lot=lot.lot,
                    cause="past date",
                    mass_mg=lot.left,
                    note=f"best before {lot.best_before}",
                )
                self.recorder.tell(command, "TB", at(day, 8.1, self.recorder.zone))

    def _need(self, day: date, days: int) -> dict[str, int]:
        need: dict[str, float] = {}
        for line in self.shop.lines.values():
            jars = self.demand.ahead(line, day + timedelta(days=14), days)
            for id, mass in self._use[line.id].items():
                need[id] = need.get(id, 0.0) + jars * mass
        return {id: round(mass) for id, mass in need.items()}
