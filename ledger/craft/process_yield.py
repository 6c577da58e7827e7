"""How much of the cooked mass becomes good pieces: the flavour's own recent yield, with its spread."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from ledger.craft.errors import OutOfRange
from ledger.craft.numbers import PPM, whole

ENOUGH_BATCHES = 5
RECENT_BATCHES = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchYield:
    """A finished batch: milligrams cooked, and milligrams of good pieces that came of it."""

    cooked_mg: int
    sound_mg: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcessYield:
    """Good pieces per million of cooked mass: expected, and the band that eight batches in ten fall into.

    ``batches`` is how many were used; 0 means the recipe's own figure.
    """

    likely_ppm: int
    low_ppm: int
    high_ppm: int
    batches: int


def recent_yield(history: Sequence[BatchYield], default_ppm: int, default_spread_ppm: int) -> ProcessYield:
    """Yield to plan with, from the latest batches of the flavour (oldest first), or the recipe's default.

    Under five batches the recipe's figure stays. From five on, the last twelve count: their mean, and the band of the
    next single batch (Student's t prediction interval, 80 %).

    Raises:
        OutOfRange: a batch with more good pieces than cooked mass: pieces cannot outweigh the cook.
    """
    for batch in history:
        if batch.cooked_mg <= 0 or not 0 <= batch.sound_mg <= batch.cooked_mg:
            raise OutOfRange(
                f"A batch of {batch.cooked_mg} mg cooked cannot give {batch.sound_mg} mg of good pieces. "
                "Correct its weighings in the ledger."
            )
    if len(history) < ENOUGH_BATCHES:
        if not 0 < default_ppm <= PPM:
            raise OutOfRange(
                f"The recipe's process yield is {default_ppm / 1e4:g} %: give more than 0 and up to 100 %."
            )
        return ProcessYield(
            likely_ppm=default_ppm,
            low_ppm=max(default_ppm - default_spread_ppm, 1),
            high_ppm=min(default_ppm + default_spread_ppm, PPM),
            batches=0,
        )
    shares = [batch.sound_mg / batch.cooked_mg for batch in history[-RECENT_BATCHES:]]
    n = len(shares)
    mean = statistics.fmean(shares)
    reach = float(stdtrit(n - 1, 0.9)) * statistics.stdev(shares) * math.sqrt(1 + 1 / n)
    return ProcessYield(
        likely_ppm=max(whole(mean * PPM), 1),
        low_ppm=max(whole((mean - reach) * PPM), 1),
        high_ppm=min(whole((mean + reach) * PPM), PPM),
        batches=n,
    )
