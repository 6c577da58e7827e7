"""How much of a week each day of it usually sells, channel by channel: a Saturday shut or sold out is more than a Tuesday."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Days = NDArray[np.datetime64]
Weights = Mapping[int, float]
"""ISO weekday (1 = Monday) -> what it sells, in ordinary days; the open days of an ordinary week add up to their number."""

WEEKS_OF_DOUBT = 8
"""How many weeks of equal days a weekday's sales must overcome (a shrunk mean; common practice, no source for the number)."""
LEAST_WEEKS = 8
SOLD_DAYS = 0.8
"""Where fewer of the open days have a sale, sales are entered by the week or come by the order: the day they stand under says little."""


def even(open_weekdays: Collection[int]) -> Weights:
    """Every open day alike."""
    return dict.fromkeys(open_weekdays, 1.0)


def weekday_weights(
    daily: pd.DataFrame,
    open_weekdays: Sequence[int],
    closed: Iterable[str] = (),
    closed_of: Mapping[str, Iterable[str]] | None = None,
) -> dict[str, Weights]:
    """What each open weekday sells of a usual week in the channels that sell day by day; the others are not named, their days count alike.

    Args:
        daily: ``day``, ``channel``, ``units``: packs sold, all flavours together.
        open_weekdays: 1 = Monday. closed: single days the shop is shut. closed_of: single days only a channel is.
    """
    days = daily["day"].to_numpy(dtype="datetime64[D]")
    names, units = daily["channel"].to_numpy(dtype=object), np.maximum(daily["units"].to_numpy(dtype=float), 0.0)
    found: dict[str, Weights] = {}
    for channel in sorted(set(names)):
        mine = names == channel
        first, last = days[mine].min(), days[mine].max()
        sold = np.bincount((days[mine] - first).astype(int), units[mine])
        span = np.arange(first, last + 1)
        there = is_open(span, open_weekdays, {*closed, *(closed_of or {}).get(channel, ())})
        busy = int((sold[there] > 0).sum())
        if span.size < 7 * LEAST_WEEKS or not busy or busy < SOLD_DAYS * there.sum():
            continue
        usual = sold[there].mean()
        seen = np.bincount(iso_weekday(span)[there], minlength=8)[list(open_weekdays)]
        sums = np.bincount(iso_weekday(span)[there], sold[there], minlength=8)[list(open_weekdays)]
        raw = (sums + WEEKS_OF_DOUBT * usual) / (seen + WEEKS_OF_DOUBT)
        weights = raw * len(open_weekdays) / raw.sum()
        found[channel] = dict(zip(open_weekdays, weights.tolist(), strict=True))
    return found


def iso_weekday(days: Days) -> NDArray[np.int64]:
    """1 = Monday; day 0 of the machine's count, 1970-01-01, was a Thursday."""
    return (days.astype(np.int64) + 3) % 7 + 1


def is_open(days: Days, open_weekdays: Collection[int], closed: Collection[str] = ()) -> NDArray[np.bool_]:
    """Which of these days are open ones that nothing closes."""
    shut = np.array(sorted(closed), dtype="datetime64[D]")
    return np.isin(iso_weekday(days), list(open_weekdays)) & ~np.isin(days, shut)


__all__ = ["Weights", "even", "is_open", "iso_weekday", "weekday_weights"]
