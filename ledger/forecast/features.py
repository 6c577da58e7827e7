"""What a week looks like to the model: how near the feasts are, where in the year it lies, promotion, and time.

Every feature is averaged over the seven days of the week, so that a feast on a Monday and one on a Sunday differ.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ledger.forecast.calendar import days_to_next
from ledger.forecast.history import Floats, Panel
from ledger.forecast.settings import Beliefs, ForecastSettings

DAYS_IN_YEAR = 365.2425
LEVELS = ("common", "flavour", "channel", "own")


@dataclass(frozen=True, eq=False)
class Features:
    """Feature values and the prior spread of each coefficient.

    Attributes:
        values: shape (series, weeks, features); the first is the constant, the second time in years.
        names: of each feature.
        common, flavour, channel, own: prior standard deviations (log scale), shape (features,).
    """

    values: Floats
    names: tuple[str, ...]
    common: Floats
    flavour: Floats
    channel: Floats
    own: Floats


def hats(away: Floats, knots: tuple[int, ...], flat_ends: bool = False) -> Floats:
    """Piecewise-linear bumps over days to a feast, averaged over each week.

    Args:
        away: days to the feast, shape (weeks, 7), negative before it.
        knots: where a bump peaks; it falls to 0 at the neighbouring knots. The last falls off within three days past.
        flat_ends: the first bump stays at its peak before its knot, the last after it.

    Returns:
        Shape (weeks, knots).
    """
    centre = np.asarray(knots, dtype=float)
    left = np.concatenate([[2 * centre[0] - centre[1] if centre.size > 1 else centre[0] - 7.0], centre[:-1]])
    right = np.concatenate([centre[1:], [centre[-1] + 3.0]])
    at = np.where(np.isnan(away), -9999.0, away)[:, :, None]
    rise = (at - left) / (centre - left)
    fall = (right - at) / (right - centre)
    if flat_ends:
        rise[:, :, 0], fall[:, :, -1] = 1.0, 1.0
    out: Floats = np.clip(np.minimum(rise, fall), 0.0, 1.0).mean(axis=1)
    return out


def waves(numbers: NDArray[np.int64], harmonics: int) -> Floats:
    """Sine and cosine of the time of year of each week's middle, shape (weeks, 2 x harmonics)."""
    middle = numbers * 7 + 4
    angle = 2 * np.pi * middle[:, None] / DAYS_IN_YEAR * np.arange(1, harmonics + 1)[None, :]
    return np.concatenate([np.sin(angle), np.cos(angle)], axis=1)


def shared_features(panel: Panel, settings: ForecastSettings) -> Features:
    """Features of flavours sold all year. Time is counted from the panel's first week; the model moves its zero to the origin."""
    beliefs = settings.beliefs
    numbers = np.arange(panel.first, panel.first + panel.weeks, dtype=np.int64)
    shared: list[Floats] = [np.ones((panel.weeks, 1)), np.arange(panel.weeks, dtype=float)[:, None] / 52.1775]
    names = ["constant", "time"]
    for feast in settings.feasts:
        shared.append(hats(days_to_next(feast, numbers, after=3), settings.knots))
        names += [f"{feast.name}{knot:+d}" for knot in settings.knots]
    shared.append(waves(numbers, settings.harmonics))
    names += [f"wave{i}" for i in range(2 * settings.harmonics)]
    plain = np.concatenate(shared, axis=1)
    values = np.broadcast_to(plain, (panel.number_of_series, *plain.shape))
    values = np.concatenate([values, panel.promotion[:, :, None]], axis=2)
    names.append("promotion")
    return Features(np.ascontiguousarray(values), tuple(names), *_spreads(names, beliefs, "", "harmonic"))


def season_features(panel: Panel, settings: ForecastSettings, feasts: NDArray[np.int64]) -> Features:
    """Features of lines sold only around a feast: days to that feast, one yearly wave, promotion and time.

    ``feasts`` names each line's own feast by its place in the settings. Whichever it is, the days are counted to it, so
    that all such flavours share one build-up.
    """
    numbers = np.arange(panel.first, panel.first + panel.weeks, dtype=np.int64)
    time = np.arange(panel.weeks, dtype=float)[:, None] / 52.1775
    plain = np.concatenate([np.ones((panel.weeks, 1)), time, waves(numbers, 1)], axis=1)
    climbs = {int(place): _own_feast(int(place), numbers, settings) for place in np.unique(feasts)}
    rows = [
        np.concatenate([plain, climbs[int(feasts[row])], panel.promotion[row][:, None]], axis=1)
        for row in range(panel.number_of_series)
    ]
    names = ["constant", "time", "wave0", "wave1", *(f"feast{k:+d}" for k in settings.season_knots), "promotion"]
    values = np.stack(rows) if rows else np.zeros((0, panel.weeks, len(names)))
    return Features(values, tuple(names), *_spreads(names, settings.beliefs, "season_", "wave"))


def _own_feast(place: int, numbers: NDArray[np.int64], settings: ForecastSettings) -> Floats:
    feast = settings.feasts[place]
    after = max((w.days_after for w in settings.windows if w.feast == feast.name), default=0)
    return hats(days_to_next(feast, numbers, after=after), settings.season_knots, flat_ends=True)


def _spreads(names: list[str], beliefs: Beliefs, prefix: str, wave: str) -> list[Floats]:
    def spread(name: str, level: str) -> float:
        if name == "constant":
            return beliefs.intercept
        kinds = {"time": "trend", "promotion": "promotion"}
        kind = kinds.get(name, wave if name.startswith("wave") else "hat")
        return float(getattr(beliefs, f"{prefix}{kind}_{level}"))

    return [np.array([spread(name, level) for name in names]) for level in LEVELS]
