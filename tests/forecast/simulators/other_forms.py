"""Second simulator, of another design on purpose: additive peaks, a feast nobody told the model, breaks and failures.

A week's rate is base x smooth random season + peaks, drawn from forms the model does not hold: gamma-shaped Christmas
build-up, logistic Easter run, a local fair on the third Saturday of July that the settings do not name, one flavour
whose level breaks, one channel that steps, one whole Christmas that fails, a slow auto-regressive mood of the town, and
negative binomial counts.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from ledger.forecast.calendar import Feast, easter, monday_of, week_number
from ledger.forecast.settings import ForecastSettings, Window
from tests.forecast.simulators.shop import SimulatedShop, tables

FLAVOURS = ["barley", "cherry", "fir", "ginger", "mallow", "quince", "rose", "tansy"]
SEASON_ONLY = {"fir": ("christmas", 63, 7), "rose": ("easter", 49, 2)}
CHANNELS = ["high street", "market", "resale"]


def simulate(seed: int, years: int = 4, start: str = "2022-W02") -> SimulatedShop:
    rng = np.random.default_rng(seed + 77_000)
    first, weeks = week_number(start), years * 52
    mondays = [monday_of(first + t) for t in range(weeks)]
    to_christmas = np.array([_weeks_to(m, lambda y: date(y, 12, 25)) for m in mondays])
    to_easter = np.array([_weeks_to(m, easter) for m in mondays])
    to_mothers = np.array([_weeks_to(m, lambda y: easter(y) - timedelta(days=21)) for m in mondays])
    to_fair = np.array([_weeks_to(m, _fair) for m in mondays])
    of_year = np.array([m.timetuple().tm_yday / 365.25 for m in mondays])
    season_year = np.array([(m + timedelta(days=10)).year for m in mondays])

    open_days = np.full(weeks, 5.0)
    for t, monday in enumerate(mondays):
        if monday.month == 2 and monday.day <= 14:
            open_days[t] = 0.0 if monday.day <= 7 else 3.0
        if to_christmas[t] <= 5:
            open_days[t] = 6.0
    last_year = season_year[-1]
    last_christmas = mondays[-1].year  # every shop has four Christmases; one of the last three fails
    failed_year = int(rng.choice([last_christmas - 2, last_christmas - 1, last_christmas]))
    christmas_luck = {y: rng.lognormal(0, 0.10) for y in range(season_year[0], last_year + 1)}
    christmas_luck[failed_year] *= 0.6
    easter_luck = {y: rng.lognormal(0, 0.12) for y in range(season_year[0], last_year + 1)}

    bumps = [(rng.uniform(0, 1), rng.uniform(0.05, 0.12), rng.normal(0.15, 0.2)) for _ in range(5)]
    broken = str(rng.choice([f for f in FLAVOURS if f not in SEASON_ONLY]))
    break_at = int(rng.integers(weeks // 2, weeks - 20))
    step_channel, step_at = int(rng.integers(3)), int(rng.integers(60, weeks - 30))
    mood = np.zeros(weeks)
    for t in range(1, weeks):
        mood[t] = 0.9 * mood[t - 1] + rng.normal(0, 0.035)

    rate, calm = np.zeros((2, len(FLAVOURS), len(CHANNELS), weeks))
    lucky = [np.array([luck[y] for y in season_year]) for luck in (christmas_luck, easter_luck)]
    unmoved = [np.ones(weeks), np.ones(weeks)]
    for i, flavour in enumerate(FLAVOURS):
        base = rng.gamma(4, 6)
        growth = 1 + rng.normal(0.04, 0.07) * np.arange(weeks) / 52
        for j in range(len(CHANNELS)):
            size = [1.0, 0.5, 0.8][j] * rng.lognormal(0, 0.3)
            season = np.ones(weeks)
            for centre, width, high in bumps:
                gap = np.abs(of_year - centre)
                gap = np.minimum(gap, 1 - gap)
                season = season + (high + rng.normal(0, 0.05)) * np.exp(-0.5 * (gap / width) ** 2)
            season = np.maximum(season, 0.3)
            lag = np.maximum(to_christmas - [0.0, 0.5, 2.0][j], 0)
            build_up = (lag + 0.6) ** 1.5 * np.exp(-(lag + 0.6) / 1.6)
            run = 1 / (1 + np.exp(2.2 * (to_easter - 2.5 - [0, 0, 1.0][j]))) * (to_easter < 30)
            mothers = np.exp(-0.5 * ((to_mothers - 0.4) / 0.5) ** 2)
            fair = np.exp(-0.5 * ((to_fair - 0.3) / 0.6) ** 2)
            lift = np.zeros(4)
            if flavour not in SEASON_ONLY:
                lift = rng.lognormal(0, 0.3, 4) * [1.8, 0.8, 0.5, 0.9 if j < 2 else 0.0]
            for grid, (of_christmas, of_easter) in ((rate, lucky), (calm, unmoved)):
                christmas, spring = build_up * of_christmas, run * of_easter
                if flavour in SEASON_ONLY:
                    name, before, _ = SEASON_ONLY[flavour]
                    peak, away = (christmas, to_christmas) if name == "christmas" else (spring, to_easter)
                    value = base * growth * size * (0.25 + 2.5 * peak) * (away <= before / 7)
                else:
                    value = base * growth * size * (season + lift @ np.stack([christmas, spring, mothers, fair]))
                if flavour == broken:
                    value = np.where(np.arange(weeks) >= break_at, value * 0.55, value)
                if j == step_channel:
                    value = np.where(np.arange(weeks) >= step_at, value * 1.3, value)
                grid[i, j] = value
    rate, calm = ((grid * np.exp(mood) * open_days / 5.0).reshape(-1, weeks) for grid in (rate, calm))
    dispersion = 22.0
    demand = rng.poisson(rng.gamma(dispersion, np.maximum(rate, 1e-12) / dispersion) * (rate > 0))

    share = np.ones(rate.shape)
    start_short = np.argwhere(rng.random(rate.shape) < 0.012)
    for s, t in start_short:
        share[s, t] = rng.uniform(0.2, 0.8)
        if t + 1 < weeks:
            share[s, t + 1] = rng.uniform(0.0, 0.5)
    sold = rng.binomial(demand, share)
    bulk = np.where((rng.random(rate.shape) < 0.003) & (rate > 0), rng.integers(50, 300, rate.shape), 0)
    settings = ForecastSettings(
        feasts=(
            Feast("christmas", "12-25"),
            Feast("easter", "easter"),
            Feast("mothering sunday", "easter-21"),
        ),
        windows=tuple(Window(f, name, before, after) for f, (name, before, after) in SEASON_ONLY.items()),
    )
    history = tables(FLAVOURS, CHANNELS, first, demand, sold + bulk, share, bulk, np.zeros(rate.shape), open_days)
    at_christmas = tuple(f for f, (name, *_) in SEASON_ONLY.items() if name == "christmas")
    failed = at_christmas if failed_year == last_christmas else ()
    return SimulatedShop(history, settings, tuple(FLAVOURS), tuple(CHANNELS), first, rate, calm, weeks, failed)


def _weeks_to(monday: date, feast: object) -> float:
    """Weeks from the middle of a week to the coming feast, not below 0 in the feast's own week."""
    mark = feast(monday.year)  # type: ignore[operator]
    if mark < monday:
        mark = feast(monday.year + 1)  # type: ignore[operator]
    return max(((mark - monday).days - 3) / 7, 0.0)


def _fair(year: int) -> date:
    first = date(year, 7, 1)
    return first + timedelta(days=(6 - first.isoweekday()) % 7 + 14)
