"""The levels a demand is looked at: flavour in a channel, flavour, channel, the whole shop. Totals are plain sums."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ledger.forecast.history import Bools, Floats, Panel

LEVELS = ("series", "flavour", "channel", "shop")
ALL = "*"


@dataclass(frozen=True, eq=False)
class Levels:
    """Rows of a coherent hierarchy.

    Attributes:
        level: index into ``LEVELS`` of each row, shape (rows,).
        flavour, channel: names, ``*`` where summed over.
        season_only: rows that hold only flavours sold for a season; shop and channel rows never are.
        sums: 0/1 matrix, rows x series.
    """

    level: NDArray[np.int64]
    flavour: tuple[str, ...]
    channel: tuple[str, ...]
    season_only: Bools
    sums: Floats

    def rows(self, level: str) -> NDArray[np.int64]:
        """Indices of the rows of a level."""
        return np.flatnonzero(self.level == LEVELS.index(level))


def levels_of(panel: Panel) -> Levels:
    """The hierarchy of a panel: its series first and in its order, then flavours, channels and the shop."""
    flavours, channels = np.array(panel.flavours), np.array(panel.channels)
    rows: list[tuple[int, str, str, Bools]] = [
        (0, f, c, np.arange(len(flavours)) == i)
        for i, (f, c) in enumerate(zip(panel.flavours, panel.channels, strict=True))
    ]
    rows += [(1, str(f), ALL, flavours == f) for f in np.unique(flavours)]
    rows += [(2, ALL, str(c), channels == c) for c in np.unique(channels)]
    rows.append((3, ALL, ALL, np.ones(len(flavours), dtype=bool)))
    sums = np.array([member for *_, member in rows], dtype=float)
    level = np.array([r[0] for r in rows], dtype=np.int64)
    only = np.array([bool(panel.seasonal[member].all()) and number < 2 for number, _, _, member in rows])
    return Levels(level, tuple(r[1] for r in rows), tuple(r[2] for r in rows), only, sums)


def season_lengths(panel: Panel, levels: Levels, feast_weeks: NDArray[np.int64], column: int, horizon: int) -> Floats:
    """Weeks from the origin to the end of the season, per row; 0 where the season ends beyond the horizon.

    For a season-only row it is the last week of the window that is running or comes next; for every other row the
    week of the next ticked feast.
    """
    place = np.searchsorted(feast_weeks, panel.first + column)
    to_feast = int(feast_weeks[place]) - panel.first - column + 1 if place < feast_weeks.size else 0
    out = np.full(len(levels.level), to_feast if to_feast <= horizon else 0, dtype=float)
    told: dict[str, int] = {}  # the series of a flavour have one window
    for row in np.flatnonzero(levels.season_only).tolist():
        flavour = levels.flavour[row]
        if flavour not in told:
            season = panel.season[int(np.flatnonzero(levels.sums[row])[0])]
            told[flavour] = _to_the_end(season, column, horizon)
        out[row] = told[flavour]
    return out


def _to_the_end(season: NDArray[np.int64], column: int, horizon: int) -> int:
    """Weeks to the last of the season that is running or comes next; 0 where it ends later or is cut off."""
    coming = np.flatnonzero(season[column:] >= 0)
    if coming.size == 0:
        return 0
    last = int(np.flatnonzero(season == season[column + coming[0]]).max())
    ended = last - column + 1
    return ended if ended <= horizon and last < season.size - 1 else 0
