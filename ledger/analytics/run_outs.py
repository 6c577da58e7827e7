"""Days on which the ledger's own stock of a flavour was nothing while it should have been on sale: run-outs that nobody has told."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from datetime import date, timedelta

import pandas as pd

LONGEST = 60
"""Days: what stays away longer was dropped, not sold out."""
STILL_SOLD = 28
"""Days before a spell in which the flavour must have sold, for it to have been missed."""


def untold_run_outs(
    moves: pd.DataFrame,
    last_day: str,
    told: Mapping[str, Collection[str]],
    on_sale: Callable[[str, date], bool],
    since: str,
) -> list[tuple[str, str, str]]:
    """(flavour, first day, last day) of every spell without a pack in the house and without a word about it, the latest first.

    Args:
        moves: ``day``, ``flavour``, ``packs`` (what came into the packed lots that day, below 0 what left them).
        last_day: the last whole day that is known. told: flavour -> days some channel was told to be without it.
        on_sale: whether a flavour should have been there on a day (open, inside its window). since: spells that end before are not told.

    A day counts when the stock was nothing the evening before and that evening. Unbroken over days the flavour was not on sale.
    """
    found = []
    for flavour, part in moves.groupby("flavour"):
        change = part.groupby("day")["packs"].sum().sort_index()
        known = {str(day): int(packs) for day, packs in change.cumsum().items()}
        out = change[change < 0].index
        spell: list[str] = []
        stock, began, told_of = 0, False, set(told.get(str(flavour), ()))
        day, end = date.fromisoformat(str(change.index[0])), date.fromisoformat(last_day)
        while day <= end + timedelta(days=1):
            name, before = day.isoformat(), stock
            stock = known.get(name, stock)
            began = began or before > 0
            gone = day <= end and began and before <= 0 and stock <= 0
            if gone and on_sale(str(flavour), day) and name not in told_of:
                spell.append(name)
            if spell and (not gone or day > end):
                first = date.fromisoformat(spell[0])
                near = any((first - timedelta(days=STILL_SOLD)).isoformat() <= d <= spell[0] for d in out)
                if near and (date.fromisoformat(spell[-1]) - first).days < LONGEST and spell[-1] >= since:
                    found.append((str(flavour), spell[0], spell[-1]))
                spell = []
            day += timedelta(days=1)
    return sorted(found, key=lambda s: (s[1], s[0]), reverse=True)


__all__ = ["untold_run_outs"]
