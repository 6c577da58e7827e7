"""Whole packs whose totals are the sums of their parts: rounding a forecast of flavours in channels by weeks so that every table adds up.

Rounding each figure by itself loses or invents packs in the totals. Here each cell is rounded up or down and what that leaves is carried on,
in its week to the other cells and over the weeks to the same series (controlled rounding: Cox 1987, J. Am. Stat. Assoc. 82, 520-524, as a
greedy search over all the totals at once instead of his exact one in two dimensions).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

PASSES = 4


def whole_packs(cells: Floats, groups: Sequence[Sequence[str]], exact: Sequence[Bools] = ()) -> Ints:
    """Whole numbers for cells of shape (series, weeks), 0 or more; a cell of 0 stays 0.

    Args:
        cells: packs expected.
        groups: for each way of adding up (by flavour, by channel) the name of every series.
        exact: masks of cells whose sum must be its rounded sum to the pack (what a person has set), the newest last.

    Returns:
        whole packs; sums over any week, series, group or all of it lie near the true ones because what rounding leaves is carried along.
    """
    series, weeks = cells.shape
    out = np.floor(cells + 1e-9).astype(np.int64)
    if not series or not weeks:
        return out
    members = [np.unique(np.array(names), return_inverse=True)[1] for names in groups]
    left = np.zeros(series)  # of each series since the first week
    of_groups = [np.zeros(int(which.max()) + 1) for which in members]
    whole = 0.0
    for week in range(weeks):
        rest = np.clip(cells[:, week] - out[:, week], 0.0, None)
        left += rest
        for which, sums in zip(members, of_groups, strict=True):
            np.add.at(sums, which, rest)
        whole += float(rest.sum())
        here = [np.bincount(which, weights=rest) for which in members]
        free = (rest > 0) & (cells[:, week] > 0)
        for _ in range(min(round(whole), int(free.sum()))):
            want = rest + left
            for which, sums, now in zip(members, of_groups, here, strict=True):
                want = want + sums[which] + now[which]
            chosen = int(np.argmax(np.where(free, want, -np.inf)))
            free[chosen] = False
            out[chosen, week] += 1
            left[chosen] -= 1
            whole -= 1
            for which, sums, now in zip(members, of_groups, here, strict=True):
                sums[which[chosen]] -= 1
                now[which[chosen]] -= 1
    return _made_exact(cells, out, exact)


def _made_exact(cells: Floats, out: Ints, exact: Sequence[Bools]) -> Ints:
    """The rounded cells with single packs moved until every mask's sum is its rounded sum; the newest mask has the last word.

    A pack that one mask needs comes from outside of it where that can be, so that the whole keeps its sum.
    """
    total = round(float(cells.sum()))
    for _ in range(PASSES if len(exact) else 0):
        moved = False
        for mask in exact:
            moved = _moved_into(cells, out, mask, round(float(cells[mask].sum()))) or moved
        rest = np.ones(cells.shape, dtype=bool)
        for mask in exact:
            rest &= ~mask
        _moved_into(cells, out, rest, total - int(out[~rest].sum()))
        if not moved:
            break
    return out


def _moved_into(cells: Floats, out: Ints, mask: Bools, wanted: int) -> bool:
    gap = wanted - int(out[mask].sum())
    step = 1 if gap > 0 else -1
    for _ in range(abs(gap)):
        open_to = mask & (cells > 0) & (out + step >= 0)
        if not open_to.any():
            break
        place = np.unravel_index(int(np.argmax(np.where(open_to, step * (cells - out), -np.inf))), cells.shape)
        out[place] += step
    return gap != 0


__all__ = ["whole_packs"]
