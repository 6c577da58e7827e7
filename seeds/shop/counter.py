"""Selling: the day's packs over the counter and online, wholesale deliveries, run-outs and what is left after a season."""

from __future__ import annotations

import random
from datetime import date, timedelta

from ledger.domain.books import entries as e
from ledger.domain.lots.commands import ScrapLot
from ledger.domain.shelf.commands import NoteRunOut, Sell, Ship
from seeds.shop import calendar
from seeds.shop.demand import CHANNELS, Demand
from seeds.shop.recorder import Recorder, at
from seeds.shop.settings import Line, Shop
from seeds.shop.shelf import Shelf

WHOLESALE = {"MUSEUM": (2, 14), "TEAROOM": (3, 12), "HOTEL": (3, 16), "GIFTS": (4, 22)}  # weeks between, packs a line


class Counter:
    """The shop counter, the online orders and the wholesale van."""

    def __init__(self, shop: Shop, rng: random.Random, recorder: Recorder, shelf: Shelf, demand: Demand) -> None:
        self.shop, self.rng, self.recorder, self.shelf, self.demand = shop, rng, recorder, shelf, demand
        self.discount: list[tuple[date, date, str, float]] = []
        self.prices = {p.id: p.price for line in shop.lines.values() for p in line.packs}
        self.out: dict[tuple[str, str], date] = {}
        self.sold = self.lost = self.late_sales = 0
        self.sales: list[str] = []
        self.shipped: list[tuple[date, str, str, int]] = []
        self._documents = 100

    def sell_day(self, day: date, late_allowed: bool) -> None:
        """One open day's sales of every pack, one entry for each pack and channel."""
        for channel in CHANNELS:
            late = 0
            if late_allowed and self.rng.random() < 0.035:
                late = self.rng.randint(1, 5)
            when = at(day, 18.1 if channel == "SHOP" else 16.4, self.recorder.zone)
            typed = at(day + timedelta(days=late), 18.4, self.recorder.zone) if late else None
            for line in self.shop.lines.values():
                if self.demand.expected(line, day):
                    self._sell_line(line, channel, day, when, typed)
            self.late_sales += bool(late)

    def _sell_line(self, line: Line, channel: str, day: date, when: object, typed: object) -> None:
        missing = False
        for pack in line.packs:
            wanted = self.demand.draw(line, pack, channel, day)
            got = self.shelf.take(pack.id, wanted)
            if wanted > got:
                self.lost += wanted - got
                missing = True
            if got:
                self.sold += got
                tag = f"sell/{day}/{pack.id}/{channel}" if self.rng.random() < 0.03 else ""
                amount = round(got * self.prices[pack.id] * self._off(line, channel, day))
                command = Sell(day=day.isoformat(), pack=pack.id, packs=got, channel=channel, amount=amount)
                self.recorder.tell(command, "SA" if channel == "SHOP" else "JO", when, typed, tag)  # type: ignore[arg-type]
                if tag and not typed:
                    self.sales.append(tag)
        self._watch(line, channel, day, missing and not any(self.shelf.free(p.id) for p in line.packs))

    def _off(self, line: Line, channel: str, day: date) -> float:
        for first, last, flavour, part in self.discount:
            if first <= day <= last and flavour == line.id:
                return part
        if line.flavour.feast:
            left = calendar.season(line.flavour, self.shop.book.get(e.Feast, line.flavour.feast), day)
            if left is not None and left < 0:
                return 0.5
        return 1.0

    def _watch(self, line: Line, channel: str, day: date, gone: bool) -> None:
        key = (line.id, channel)
        if gone:
            self.out.setdefault(key, day)
        elif key in self.out and any(self.shelf.free(p.id) for p in line.packs):
            self._note(key, day - timedelta(days=1), day)

    def _note(self, key: tuple[str, str], until: date, day: date) -> None:
        since = self.out.pop(key)
        command = NoteRunOut(
            day=since.isoformat(), flavour=key[0], channel=key[1], until_day=max(since, until).isoformat()
        )
        self.recorder.tell(command, "SA", at(day, 18.3, self.recorder.zone))

    def wholesale(self, day: date, week: int) -> None:
        """Thursday's van: a few lines of jars to each business whose turn it is."""
        for number, (customer, (every, size)) in enumerate(WHOLESALE.items()):
            weeks = every if customer != "MUSEUM" or 5 <= day.month <= 9 else 4
            if (week + number) % weeks:
                continue
            lines = [x for x in self.shop.lines.values() if self.demand.expected(x, day) > 1.0]
            self._documents += 1
            for line in self.rng.sample(lines, min(len(lines), self.rng.randint(2, 5))):
                packs = max(6, round(size * self.rng.uniform(0.6, 1.4) / 2) * 2)
                if self.shelf.free(line.packs[0].id) >= packs + 15:
                    self.ship(day, line, packs, customer, f"S-{self._documents}")

    def ship(
        self, day: date, line: Line, packs: int, customer: str, document: str, note: str = "", hour: float = 10.6
    ) -> int:
        """Jars of one line to a business on a document; how many really went."""
        pack = line.packs[0]
        got = self.shelf.take(pack.id, packs)
        if got:
            command = Ship(
                day=day.isoformat(), pack=pack.id, packs=got, customer=customer, amount=round(got * self.prices[pack.id] * 0.68),
                document=document, carrier="own van", note=note,
            )  # fmt: skip
            self.recorder.tell(command, "TB", at(day, hour, self.recorder.zone))
            self.shipped.append((day, customer, pack.id, got))
        return got

    def end_of_season(self, day: date) -> None:
        """The day after a season flavour's last day: close its run-outs, throw away what nobody bought."""
        yesterday = day - timedelta(days=1)
        for line in self.shop.lines.values():
            if not line.flavour.feast:
                continue
            feast = self.shop.book.get(e.Feast, line.flavour.feast)
            if (
                calendar.season(line.flavour, feast, yesterday) is None
                or calendar.season(line.flavour, feast, day) is not None
            ):
                continue
            for channel in CHANNELS:
                if (line.id, channel) in self.out:
                    self._note((line.id, channel), yesterday, day)
            for pack in line.packs:
                for lot in list(self.shelf.lots.get(pack.id, ())):
                    self.shelf.drop(lot.lot)
                    command = ScrapLot(day=day.isoformat(), lot=lot.lot, cause="season over", packs=lot.left)
                    self.recorder.tell(command, "MK", at(day, 18.8, self.recorder.zone))
