"""What to make today: whatever is lowest against what the coming weeks should sell, within the day's kettles and hands."""

from __future__ import annotations

import random
from datetime import date, timedelta

from seeds.shop.demand import JAR, Demand
from seeds.shop.settings import Line, Shop
from seeds.shop.shelf import Shelf

BATCH_JARS = 92


class Planner:
    """The owner's rule of thumb, with an owner's errors of judgement."""

    def __init__(self, shop: Shop, rng: random.Random, shelf: Shelf, demand: Demand) -> None:
        self.shop, self.rng, self.shelf, self.demand = shop, rng, shelf, demand
        self._judgement: dict[tuple[str, int], float] = {}
        self.known: list[tuple[date, str, int]] = []  # bulk orders: day, flavour, jars

    def stock(self, line: Line) -> float:
        """Packs of 113 g on the shelf or about to be entered."""
        return sum((self.shelf.free(p.id) + self.shelf.on_the_way(p.id)) * p.net_mg / JAR for p in line.packs)

    def today(self, day: date, hands: int = 3, opening: bool = False) -> list[Line]:
        """The lines to make, most wanted first."""
        wanted = []
        low = 0
        for line in self.shop.lines.values():
            days = (
                38 if line.flavour.feast else 40 if day.month in (10, 11) else 30 if day.month in (5, 6, 7, 12) else 23
            )
            ahead = self.demand.ahead(line, day, days) * self._belief(line, day)
            ahead += sum(
                jars for when, id, jars in self.known if id == line.id and day <= when <= day + timedelta(days=30)
            )
            if ahead < 12:
                continue
            stock = self.stock(line)
            if line.flavour.feast:
                rest = self.demand.ahead(line, day, 120) * self._belief(line, day)
                if rest - stock < 0.4 * BATCH_JARS:
                    continue
            cover = stock / ahead
            if cover < 1 - 0.3 * min(1.0, BATCH_JARS / ahead):
                wanted.append((cover, line.id, line))
                low += cover < 0.45
        wanted.sort(key=lambda x: x[:2])
        most = 3 if opening or low >= 3 else 2
        return [line for _, _, line in wanted[: min(most, hands)]]

    def _belief(self, line: Line, day: date) -> float:
        key = (line.id, day.year * 4 + day.month // 3)
        if key not in self._judgement:
            self._judgement[key] = min(1.25, max(0.8, self.rng.gauss(1.02, 0.09)))
        return self._judgement[key]
