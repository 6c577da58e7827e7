"""The street and the kitchen behind ``shop_by_another_hand``: feasts, opening days, taste, orders and the shelf.

Arrays are (channel, flavour, day) unless said otherwise; sources stand in that file's first lines.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import holidays
import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
AHEAD = 13
CHANNELS = ("shop", "resale")
MONTHS = (1.0191, 0.9968, 0.9652, 0.9075, 0.8827, 0.8832, 0.8902, 0.9610, 1.0397, 1.1578, 1.1568, 1.1401)
STEEPER = 1.4
WEEKDAYS = np.array([0.6, 0.7, 0.8, 0.9, 1.2, 1.8, 1.2])
BATCH = 20
NEVER = 400
PUBLISHED = {  # name in the package: (name here, days of run-up, steepness, pull at its height, shop closed)
    "New Year's Day": ("new year", 0, 1.0, 0.0, True),
    "Valentine's Day": ("valentine", 16, 1.2, 0.9, False),
    "Easter Sunday": ("easter", 24, 1.1, 1.0, True),
    "Mother's Day": ("mothers day", 12, 1.3, 0.6, False),
    "Halloween": ("halloween", 20, 1.2, 0.8, False),
    "Thanksgiving Day": ("thanksgiving", 10, 1.0, 0.35, True),
    "Christmas Day": ("christmas", 38, 0.9, 1.5, True),
}
PULL = {name: (reach, steep, pull) for name, reach, steep, pull, _ in PUBLISHED.values()}
PULL |= {"fair": (2, 0.2, 1.4), "regatta": (5, 0.5, 0.9)}
UNKNOWN = "regatta"
ALL_YEAR = ("aniseed", "lemon", "clove", "violet", "raspberry", "ginger", "pear drop")
NEW = "pear drop"
FAILED = 0.35
"""What is left of a season that fails."""


@dataclass(frozen=True)
class Window:
    """On the shelf from ``first`` days before the feast to ``last`` days after it, both days included."""

    feast: str
    first: int
    last: int


WINDOWS: Mapping[str, tuple[Window, ...]] = {
    "holly mint": (Window("christmas", 60, 3),),
    "spiced orange": (Window("christmas", 40, 0),),
    "primrose": (Window("easter", 42, 2),),
    "bonfire": (Window("halloween", 35, 3),),
    "fair stripe": (Window("fair", 17, 0),),
    "rose": (Window("valentine", 30, 1), Window("mothers day", 24, 0)),
}
SHOP_ONLY = ("bonfire", "fair stripe")
FLAVOURS = (*ALL_YEAR, *WINDOWS)
SEASONAL = np.array([f in WINDOWS for f in FLAVOURS])
CARRIED = np.array([[True] * len(FLAVOURS), [f not in SHOP_ONLY for f in FLAVOURS]])


@dataclass(frozen=True, eq=False)
class Calendar:
    days: list[date]
    feasts: dict[str, list[date]]
    planned: Bools  # (channel, day)
    open: Bools
    on_sale: Bools  # (flavour, day)

    def to_feast(self, name: str, lead: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Days from (day + lead) to the next feast of that name, and which of them it is."""
        at = np.array([(d - self.days[0]).days for d in self.feasts[name]])
        day = np.arange(len(self.days)) + lead
        which = np.minimum(np.searchsorted(at, day), len(at) - 1)
        gap = at[which] - day
        return np.where(gap < 0, NEVER, gap), which

    def ramp(self, name: str, lead: int) -> tuple[Floats, NDArray[np.int64]]:
        """0 far from the feast, 1 on its day; for resellers ``lead`` days sooner."""
        reach, steep, _ = PULL[name]
        gap, which = self.to_feast(name, lead)
        return np.clip(1 - gap / (reach + 1), 0, 1) ** steep, which


def calendar(rng: np.random.Generator, first: date, weeks: int) -> Calendar:
    days = [first + timedelta(days=i) for i in range((weeks + AHEAD) * 7)]
    years = range(first.year, days[-1].year + 2)
    feasts: dict[str, list[date]] = {}
    published = holidays.country_holidays("US", years=years, categories=("public", "unofficial"))
    for day, names in sorted(published.items()):
        for name in names.split("; "):
            if name in PUBLISHED:
                feasts.setdefault(PUBLISHED[name][0], []).append(day)
    off: set[date] = {d for n, *_, shut in PUBLISHED.values() if shut for d in feasts[n]}
    for year in years:
        july, september = date(year, 7, 8), date(year, 9, 4)
        sunday = july + timedelta(days=6 - july.weekday() + 7 * int(rng.integers(3)))
        saturday = september + timedelta(days=(5 - september.weekday()) % 7 + 7 * int(rng.integers(2)))
        feasts.setdefault("fair", []).append(sunday)
        feasts.setdefault(UNKNOWN, []).append(saturday)
        away = date(year, 1, 8) + timedelta(days=int(rng.integers(18)))
        off |= {away + timedelta(days=i) for i in range(int(rng.integers(9, 14)))}
    fair_week = {d - timedelta(days=i) for d in feasts["fair"] for i in range(7)}
    shop = [d not in off and (d.weekday() > 0 or d.month == 12 or d in fair_week) for d in days]
    planned = np.array([shop, [d not in off and d.weekday() < 5 for d in days]])
    opened = planned.copy()
    for at in rng.integers(0, weeks * 7, rng.poisson(1.2 * weeks / 52)):  # the burst pipe, the influenza
        opened[0, at : at + int(rng.integers(2, 6))] = False
    on_sale = np.ones((len(FLAVOURS), len(days)), dtype=bool)
    for i, flavour in enumerate(FLAVOURS):
        for n, window in enumerate(WINDOWS.get(flavour, ())):
            on_sale[i] &= n > 0
            for feast in feasts[window.feast]:
                at = (feast - first).days
                on_sale[i, max(at - window.first, 0) : max(at + window.last + 1, 0)] = True
    return Calendar(days, feasts, planned, opened, on_sale)


def promotions(rng: np.random.Generator, cal: Calendar, weeks: int) -> tuple[pd.DataFrame, Floats]:
    rows: list[tuple[int, str, str, float, int]] = []
    strength = np.zeros((2, len(FLAVOURS), weeks))
    for flavour in (*ALL_YEAR, "*"):
        for _ in range(rng.poisson((1 if flavour == "*" else 3) * weeks / 52)):
            at, power = int(rng.integers(5, weeks - 1)), float(rng.choice([0.5, 1.0, 1.5]))
            channel = "shop" if flavour == "*" or rng.random() < 0.8 else "*"
            who = slice(None) if flavour == "*" else FLAVOURS.index(flavour)
            ahead = int(rng.choice([0, 2, 4]))
            for week in range(at, at + int(rng.integers(1, 3))):
                cell = strength[: 1 if channel == "shop" else 2, who, week]
                if not cell.any():
                    cell[...] = power
                    rows.append((week, flavour, channel, power, max(at - ahead, 0)))
    return pd.DataFrame(rows, columns=["week", "flavour", "channel", "strength", "announced"]), strength


def rates(
    rng: np.random.Generator, cal: Calendar, strength: Floats, held: int, weeks: int
) -> tuple[Floats, Floats, dict[str, Any]]:
    """Mean demand a day without luck, and with the luck all flavours share; both (channel, flavour, day)."""
    many, days = len(FLAVOURS), weeks * 7
    week = np.arange(days) // 7
    base = 75 / np.arange(1, many + 1) ** 0.9 * rng.lognormal(0, 0.15, many)
    base[SEASONAL] = rng.uniform(18, 45, SEASONAL.sum())
    base[FLAVOURS.index(NEW)] = rng.uniform(12, 30)
    level = np.stack([base, base * rng.uniform(0.15, 0.45, many)]) * CARRIED
    middle = np.arange(-0.5, 13) / 12
    months = np.array([MONTHS[-1], *MONTHS, MONTHS[0]])
    place = np.array([(d.timetuple().tm_yday - 0.5) / 365.25 for d in cal.days[:days]])
    yearly = np.interp(place, middle, months) ** STEEPER
    drift = rng.normal(0.03, 0.04) * week / 52 + np.cumsum(rng.normal(0, 0.01, weeks))[week]
    taste = np.cumsum(rng.normal(0, 0.018, (many, weeks)), axis=1)[:, week]
    mean = level[:, :, None] * np.exp(drift + taste) * np.where(SEASONAL[:, None], 1.0, yearly) * cal.on_sale[:, :days]

    weekday = np.array([d.weekday() for d in cal.days[:days]])
    dow = WEEKDAYS / WEEKDAYS[1:].sum()
    mean[0] *= dow[weekday] * cal.open[0, :days]
    mean[1] /= 7  # a reseller sells on while we are shut, and orders later
    uplift = rng.lognormal(np.log(1.6), 0.15, many)[None, :, None] ** strength
    after = np.zeros(strength.shape)
    after[:, :, 1:] = (strength[:, :, :-1] > 0) & (strength[:, :, 1:] == 0)
    crowd = (uplift * level[:, :, None]).sum(1, keepdims=True) / level.sum(1)[:, None, None]
    mean *= (uplift * (1 - 0.1 * after) / np.sqrt(crowd))[:, :, week]

    rise, risen = rng.uniform(0.06, 0.12), int(rng.integers(60, held - 20))
    mean[0][:, risen * 7 :] *= ((1 + rise) ** -np.maximum(rng.normal(1.2, 0.3, many), 0))[:, None]
    broken, step = held + int(rng.integers(4, 31)), float(rng.choice([0.65, 1.4]))
    mean[1][:, broken * 7 :] *= step
    listed, new = held + int(rng.integers(-26, 13)), FLAVOURS.index(NEW)
    mean[:, new] *= np.where(week < listed, 0.0, 1 + 0.5 * np.exp(-(week - listed) / 5))
    failed = str(rng.choice(["holly mint", "spiced orange", "primrose", "bonfire"]))
    mean[:, FLAVOURS.index(failed), held * 7 :] *= FAILED

    calm, lucky = np.ones((2, many, days)), np.ones((2, many, days))
    for name, (_, _, pull) in PULL.items():
        liked = rng.gamma(4, 0.25, many)
        for flavour, windows in WINDOWS.items():
            liked[FLAVOURS.index(flavour)] = 2.5 / pull if pull and name in {w.feast for w in windows} else 0.3
        many_feasts = len(cal.feasts[name])
        fortune = rng.lognormal(0, 0.1, (1, many_feasts)) * rng.lognormal(0, 0.12, (many, many_feasts))
        for c, lead in enumerate((0, 10)):
            if c == 0 or name not in ("fair", UNKNOWN):
                ramp, which = (a[:days] for a in cal.ramp(name, lead))
                calm[c] += pull * liked[:, None] * ramp
                lucky[c] += pull * liked[:, None] * ramp * fortune[:, which]
    lucky[:, SEASONAL] *= np.repeat(rng.lognormal(0, 0.12, (SEASONAL.sum(), weeks // 52 + 1)), 364, axis=1)[:, :days]
    calm[:, SEASONAL] *= 0.5
    lucky[:, SEASONAL] *= 0.5
    weather, mood = _wave(rng, days, 0.75, 0.15), _wave(rng, weeks, 0.5, 0.08)[week]
    chance = np.exp(np.stack([weather + mood, mood]))[:, None, :]
    secrets = {"new flavour listed": listed, "price risen": risen, "level break": broken, "level step": step}
    secrets |= {"failed season": failed}
    return mean * calm, mean * lucky * chance, secrets


def _wave(rng: np.random.Generator, n: int, memory: float, sd: float) -> Floats:
    """A first-order autoregression of that standard deviation, lowered so that its exponential has mean 1."""
    kicks, out = rng.normal(0, sd * np.sqrt(1 - memory**2), n), np.zeros(n)
    for i in range(1, n):
        out[i] = memory * out[i - 1] + kicks[i]
    return out - sd**2 / 2


def asked_for(rng: np.random.Generator, expected: Floats, rate: Floats, cal: Calendar, weeks: int) -> NDArray[np.int64]:
    """Packs asked for: Poisson about a gamma drawn each week, wider (as a share of the mean) for the smaller sellers."""
    size = expected.reshape(2, len(FLAVOURS), weeks, 7).sum(3)
    busy = size > 0.01
    typical = np.maximum((size * busy).sum(2) / np.maximum(busy.sum(2), 1), 0.1)
    spread = (0.02 + 0.25 / np.sqrt(typical))[..., None]
    luck = rng.gamma(1 / spread, spread, size.shape)
    asked = np.zeros(rate.shape, dtype=np.int64)
    asked[0] = rng.poisson(rate[0] * np.repeat(luck[0], 7, axis=1))
    asked[1] = _orders(rng, rate[1], luck[1], typical[1], cal, weeks)
    return asked


def _orders(
    rng: np.random.Generator, rate: Floats, luck: Floats, typical: Floats, cal: Calendar, weeks: int
) -> NDArray[np.int64]:
    """Resellers run their own shelf down and then order what is missing, the small flavours seldomer."""
    out, waiting = np.zeros(rate.shape, dtype=np.int64), np.zeros(len(FLAVOURS))
    often = np.where(SEASONAL, 0.8, np.clip(typical / 8, 0.35, 0.9))
    for w in range(weeks):
        day = slice(w * 7, w * 7 + 7)
        waiting = (waiting + rate[:, day].sum(1) * luck[:, w]) * cal.on_sale[:, day].any(1)
        can = cal.open[1, day] & cal.on_sale[:, day]
        for f in np.flatnonzero(can.any(1) & (rng.random(len(FLAVOURS)) < often)):
            out[f, w * 7 + int(rng.choice(np.flatnonzero(can[f])))] = rng.poisson(waiting[f])
            waiting[f] = 0.0
    return out


def sell(
    rng: np.random.Generator, asked: NDArray[np.int64], expected: Floats, cal: Calendar, weeks: int
) -> tuple[NDArray[np.int64], Floats]:
    """What could be sold from one shelf a flavour, and how far each day it was bare (half on the day it went)."""
    sold, gone = np.zeros(asked.shape, dtype=np.int64), np.zeros(asked.shape)
    stock, idle = np.zeros(len(FLAVOURS)), np.zeros(len(FLAVOURS))
    for day in range(weeks * 7):
        if day % 7 == 0:
            idle = np.maximum(idle - 1, 0)
            idle[rng.random(len(FLAVOURS)) < 0.015] = 2  # no flavouring, a cracked kettle
            soon = expected[:, :, day : day + 10].sum((0, 2))
            wanted = soon * rng.lognormal(0.2, 0.35, len(FLAVOURS))
            stock[soon == 0] = 0  # what a season leaves over is given away
            made = np.where(idle > 0, 0, np.ceil(np.maximum(wanted - stock, 0) / BATCH) * BATCH)
            stock += made
        for c in (1, 0):  # parcels are packed before the shop opens
            bare = stock == 0
            sold[c, :, day] = np.minimum(asked[c, :, day], stock)
            stock -= sold[c, :, day]
            gone[c, :, day] = np.where(bare, 1.0, 0.5 * (asked[c, :, day] > sold[c, :, day]))
    return sold, gone


def share_in_stock(gone: Floats, cal: Calendar, weeks: int) -> Floats:
    days = weeks * 7
    weight = np.stack([np.tile(WEEKDAYS, weeks), np.ones(days)])[:, None, :] * cal.open[:, None, :days]
    weight = (weight * cal.on_sale[:, :days]).reshape(2, -1, weeks, 7)
    usual = weight.sum(3)
    return 1 - (weight * gone.reshape(weight.shape)).sum(3) / np.where(usual > 0, usual, 1)
