"""First simulator: demand built from days-to-feast shapes on the log scale.

Every day has a log rate: level + slow drift + two yearly waves + a ramp before each feast (its length, height and lead
differ by flavour and channel). Weeks are sums of open days; counts are gamma-Poisson with a shock the shop shares.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from ledger.forecast.calendar import easter, monday_of, week_number
from ledger.forecast.settings import ForecastSettings, Window
from tests.forecast.simulators.shop import SimulatedShop, tables

FLAVOURS = ["aniseed", "blackberry", "clove", "gooseberry", "lime", "pear drop", "spruce", "violet"]
SEASON_ONLY = {"spruce": ("christmas", 56, 4), "violet": ("easter", 42, 0), "clove": ("halloween", 35, 0)}
CHANNELS = ["counter", "post", "trade"]
LEAD = {"counter": 2.0, "post": 9.0, "trade": 21.0}


def simulate(seed: int, years: int = 4, start: str = "2021-W01") -> SimulatedShop:
    rng = np.random.default_rng(seed)
    first, weeks = week_number(start), years * 52
    monday = monday_of(first)
    days = weeks * 7
    dates = [monday + timedelta(days=i) for i in range(days)]
    year_angle = np.array([2 * np.pi * (d.timetuple().tm_yday / 365.25) for d in dates])
    in_years = np.arange(days) / 365.25
    weekday = np.array([d.isoweekday() for d in dates])
    usual = np.array([0.0, 0.8, 0.85, 1.0, 1.1, 1.35, 1.6, 0.0])[weekday]  # shut on Sundays
    closed = np.array([_closed(d) for d in dates])
    usual = np.where(closed, 0.0, usual)
    feasts = {
        "christmas": _away(dates, lambda y: date(y, 12, 25)),
        "easter": _away(dates, easter),
        "valentine": _away(dates, lambda y: date(y, 2, 14)),
        "halloween": _away(dates, lambda y: date(y, 10, 31)),
    }
    height = {"christmas": 1.1, "easter": 0.6, "valentine": 0.35, "halloween": 0.4}
    common_wave = rng.normal(0, [0.15, 0.2, 0.08, 0.08])
    common_trend = rng.normal(0.05, 0.05)
    season_shock = {
        (name, year): rng.normal(0, 0.10) for name in feasts for year in range(dates[0].year, dates[-1].year + 2)
    }
    size = {"counter": 1.0, "post": 0.45, "trade": 0.7}

    log_rate, luck = (
        np.full((len(FLAVOURS), len(CHANNELS), days), -np.inf),
        np.zeros((len(FLAVOURS), len(CHANNELS), days)),
    )
    for i, flavour in enumerate(FLAVOURS):
        level = rng.normal(np.log(38 / 6.5), 0.6)
        own_wave = common_wave + rng.normal(0, 0.08, 4)
        trend = common_trend + rng.normal(0, 0.08)
        lift = {name: height[name] * rng.lognormal(0, 0.35) for name in feasts}
        for j, channel in enumerate(CHANNELS):
            here = level + np.log(size[channel]) + rng.normal(0, 0.25)
            wave = own_wave + rng.normal(0, 0.05, 4)
            value = here + trend * in_years
            value = value + wave[0] * np.sin(year_angle) + wave[1] * np.cos(year_angle)
            value = value + wave[2] * np.sin(2 * year_angle) + wave[3] * np.cos(2 * year_angle)
            value = value + _drift(rng, days)
            for name, away in feasts.items():
                ramp = rng.uniform(16, 40)
                top = LEAD[channel] * rng.uniform(0.7, 1.3)
                shape = np.clip(1 - (-away - top) / ramp, 0, 1) * (away <= 0)
                shape = np.where(-away < top, np.clip(-away / max(top, 1), 0.25, 1) * (away <= 0), shape)
                height_here = lift[name]
                if flavour in SEASON_ONLY:
                    height_here = 1.3 if SEASON_ONLY[flavour][0] == name else 0.0
                shock = np.array([season_shock[name, d.year] for d in dates])
                value = value + (height_here + shock) * shape
                luck[i, j] += shock * shape
            if flavour in SEASON_ONLY:
                name, before, after = SEASON_ONLY[flavour]
                away = feasts[name]
                since = _since(dates, name)
                sold = (away >= -before) | (since <= after)
                value = np.where(sold, value + 0.5, -np.inf)
            log_rate[i, j] = value

    promotion = np.zeros((len(FLAVOURS), len(CHANNELS), weeks))
    for _ in range(years * 10):
        promotion[rng.integers(len(FLAVOURS)), :, rng.integers(weeks)] = 1.0
    effect = np.exp(rng.normal(0.35, 0.08, (len(FLAVOURS), 1, 1)) * promotion)
    rate, calm = (
        ((np.exp(log) * usual).reshape(len(FLAVOURS), len(CHANNELS), weeks, 7).sum(axis=3) * effect).reshape(-1, weeks)
        for log in (log_rate, log_rate - luck)
    )
    shop_shock = rng.gamma(1 / 0.07**2, 0.07**2, weeks)
    noise = rng.gamma(1 / 0.13**2, 0.13**2, rate.shape)
    demand = rng.poisson(rate * shop_shock * noise)

    share = np.ones(rate.shape)
    short = rng.random(rate.shape) < 0.025
    share[short] = rng.uniform(0.05, 0.9, int(short.sum()))
    sold = rng.binomial(demand, share)
    bulk = np.where((rng.random(rate.shape) < 0.004) & (rate > 0), rng.integers(60, 240, rate.shape), 0)
    open_days = ((usual > 0).reshape(weeks, 7)).sum(axis=1)
    settings = ForecastSettings(
        windows=tuple(Window(f, name, before, after) for f, (name, before, after) in SEASON_ONLY.items())
    )
    flat = promotion.reshape(rate.shape)
    history = tables(FLAVOURS, CHANNELS, first, demand, sold + bulk, share, bulk, flat, open_days)
    return SimulatedShop(history, settings, tuple(FLAVOURS), tuple(CHANNELS), first, rate, calm, weeks)


def _closed(day: date) -> bool:
    return (day.month, day.day) in {(1, 1), (12, 25), (12, 26)} or (day.month == 1 and 6 <= day.day <= 15)


def _drift(rng: np.random.Generator, days: int) -> np.ndarray:
    """A slow wander of the level: first-order, weekly steps of 3 %, standing spread about 10 %."""
    weekly = np.zeros(days // 7)
    for t in range(1, weekly.size):
        weekly[t] = 0.95 * weekly[t - 1] + rng.normal(0, 0.03)
    return np.repeat(weekly, 7)


def _away(dates: list[date], feast: object) -> np.ndarray:
    """Days to the coming feast, 0 on its day, negative before."""
    out = []
    for day in dates:
        mark = feast(day.year)  # type: ignore[operator]
        if mark < day:
            mark = feast(day.year + 1)  # type: ignore[operator]
        out.append((day - mark).days)
    return np.array(out, dtype=float)


def _since(dates: list[date], name: str) -> np.ndarray:
    """Days since Christmas just gone, large otherwise (only Christmas wares linger on the shelf)."""
    if name != "christmas":
        return np.full(len(dates), 999.0)
    return np.array([(d - date(d.year if d >= date(d.year, 12, 26) else d.year - 1, 12, 25)).days for d in dates])
