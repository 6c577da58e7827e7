"""What customers of the invented shop would buy, day by day: season, weekday, growth, feasts, promotions and chance."""

from __future__ import annotations

import math
import random
from datetime import date, timedelta
from functools import lru_cache

from ledger.domain.books import entries as e
from ledger.forecast.calendar import easter
from seeds.shop import calendar
from seeds.shop.settings import Line, Shop

CHANNELS = ("SHOP", "ONLINE")
JAR = 113_000


class Demand:
    """The sales model. `expected` is what an experienced owner would foresee; `draw` is what comes true."""

    def __init__(self, shop: Shop, rng: random.Random, opening: date, last: date) -> None:
        self.shop, self.rng, self.opening, self.last = shop, rng, opening, last
        self.sales = shop.work["sales"]
        self.whole = sum(shop.work["popularity"].values())
        self.lifts: list[tuple[date, date, str, str, float]] = []
        self._weeks: dict[tuple[str, date], float] = {}
        self._expected: dict[tuple[str, date], float] = {}
        self._shapes: dict[tuple[str, date], float] = {}
        self.before = opening - timedelta(days=366)
        self._runs: dict[str, list[float]] = {}

    def lift(self, first: date, last: date, flavour: str, channel: str, times: float) -> None:
        """Customers want so many times as much of a flavour (empty channel: everywhere) on these days; nobody foresees it."""
        self.lifts.append((first, last, flavour, channel, times))

    def years(self, day: date) -> float:
        """Years since the first sale."""
        return (day - self.opening).days / 365.25

    def expected(self, line: Line, day: date) -> float:
        """Packs of 113 g a shop of this season would sell on a day over all channels, mean, before weekday and chance."""
        key = (line.id, day)
        found = self._expected.get(key)
        if found is None:
            growth = (1 + self.sales["growth"]) ** self.years(day)
            if line.flavour.feast:
                found = self.shop.work["season_packs"][line.id] * growth * self._season_share(line, day)
            else:
                share = self.shop.work["popularity"][line.id] / self.whole
                found = self.sales["weekly_packs"] / 6 * share * growth * self._month(day) * feast_rush(day)
            self._expected[key] = found = 0.0 if calendar.closed(day) else found
        return found

    def _month(self, day: date) -> float:
        months = self.sales["months"]
        at = day.month - 1 + (day.day - 15) / 30.5
        low = math.floor(at)
        part = at - low
        return float(months[low % 12] * (1 - part) + months[(low + 1) % 12] * part)

    def _season_share(self, line: Line, day: date) -> float:
        feast = self.shop.book.get(e.Feast, line.flavour.feast)
        left = calendar.season(line.flavour, feast, day)
        if left is None:
            return 0.0
        when = day + timedelta(days=left)
        key = (line.id, when)
        if key not in self._shapes:
            span = calendar.days(
                when - timedelta(days=line.flavour.days_before), when + timedelta(days=line.flavour.days_after)
            )
            self._shapes[key] = sum(season_shape(line.flavour, (when - d).days) for d in span if not calendar.closed(d))
        return season_shape(line.flavour, left) / self._shapes[key]

    def ahead(self, line: Line, day: date, days: int) -> float:
        """Expected packs of 113 g from `day` on, for so many days."""
        run, first = self._runs.setdefault(line.id, []), (day - self.before).days
        while len(run) < first + days:
            run.append(self.expected(line, self.before + timedelta(days=len(run))))
        return sum(run[first : first + days])

    def draw(self, line: Line, pack: e.Pack, channel: str, day: date) -> int:
        """Packs wanted of one pack over one channel on one day."""
        jars = self.expected(line, day)
        if not jars:
            return 0
        monday = calendar.monday(day)
        week = self._weeks.get((line.id, monday))
        if week is None:
            week = self._weeks[line.id, monday] = max(0.4, self.rng.gauss(1.0, 0.13))
        online = self.online_share(day)
        part = online if channel == "ONLINE" else 1 - online
        part *= self.sales["online_days" if channel == "ONLINE" else "shop_days"][day.weekday()]
        for first, last, flavour, where, times in self.lifts:
            if first <= day <= last and flavour == line.id and where in ("", channel):
                part *= times
        mass = jars * JAR * self._pack_share(line, pack)
        mean = mass / pack.net_mg * part * week * self.rng.lognormvariate(0, 0.22)
        return poisson(self.rng, mean)

    def online_share(self, day: date) -> float:
        """Share of sales that goes online; it grows."""
        span = max(1, (self.last - self.opening).days)
        first, last = self.sales["online_share_first"], self.sales["online_share_last"]
        return float(first + (last - first) * min(1.0, max(0.0, (day - self.opening).days / span)))

    def _pack_share(self, line: Line, pack: e.Pack) -> float:
        if len(line.packs) == 1:
            return 1.0
        return float(self.sales["bag_share"] if pack.container == "bag" else 1 - self.sales["bag_share"])


def season_shape(flavour: e.Flavour, left: int) -> float:
    """Demand rises towards the feast nearly as a triangle, and what is left goes at half price after it (common practice, no source)."""
    if left >= 0:
        return float((1 - left / (flavour.days_before + 1)) ** 1.25)
    return 0.22 * (1 + left / (flavour.days_after + 1))


@lru_cache(maxsize=4096)
def feast_rush(day: date) -> float:
    """All-year flavours sell better in the days before a feast too."""
    rush = 1.0
    for when, before, height in (
        (date(day.year, 12, 25), 24, 0.75), (date(day.year, 2, 14), 10, 0.22), (easter(day.year), 14, 0.25),
        (date(day.year, 10, 31), 10, 0.15),
    ):  # fmt: skip
        left = (when - day).days
        if 0 <= left <= before:
            rush += height * (1 - left / (before + 1))
    return rush


def poisson(rng: random.Random, mean: float) -> int:
    """A count with this mean (Knuth 1969, section 3.4.1, for small means; the normal limit above 30)."""
    if mean > 30:
        return max(0, round(rng.gauss(mean, math.sqrt(mean))))
    limit, count, product = math.exp(-mean), 0, rng.random()
    while product > limit:
        count += 1
        product *= rng.random()
    return count
