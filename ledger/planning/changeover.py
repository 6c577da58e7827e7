"""One kettle, one batch a period, and changing from one colour to another costs: the cheapest order of batches with due periods.

Discrete lot sizing with changeovers that depend on the order (as in CSPLib problem 058). Exact, by dynamic programming from the
last period back over what is still to be made and what comes next; batches of one item are made in the order they are due.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.errors import BadInput


@dataclass(frozen=True, slots=True)
class Sequenced:
    """The item made in each period (None: nothing) and what changing and keeping cost together."""

    items: tuple[int | None, ...]
    cost: int


def best_sequence(
    due: Sequence[Sequence[int]],
    periods: int,
    hold: int,
    change: Sequence[Sequence[int]],
    before: int | None = None,
) -> Sequenced:
    """The cheapest order of batches over ``periods``; an idle period keeps what was made last set up.

    ``due``: by item, the period (from 0) each of its batches is wanted at the latest. ``hold``: cost of a batch made a period
    early. ``change``: cost of going from item to item. ``before``: the item set up at the start (None: setting up is free).
    BadInput when the batches cannot all be made in time, with the period by which too many are due.
    """
    wanted = [sorted(rows) for rows in due]
    for period in range(periods):
        early = sum(1 for rows in wanted for at in rows if at <= period)
        if early > period + 1:
            raise BadInput(f"{early} batches are due by period {period + 1}, one can be made in each", period=period)
    late = [at for rows in wanted for at in rows if not 0 <= at < periods]
    if late:
        raise BadInput(f"a batch is due in period {late[0] + 1} of {periods}", due=late[0])
    all_made = tuple(len(rows) for rows in wanted)
    states: dict[tuple[tuple[int, ...], int], int] = {(all_made, -1): 0}
    steps: list[dict[tuple[tuple[int, ...], int], tuple[tuple[tuple[int, ...], int], int]]] = []
    for period in range(periods - 1, -1, -1):
        after: dict[tuple[tuple[int, ...], int], int] = {}
        step: dict[tuple[tuple[int, ...], int], tuple[tuple[tuple[int, ...], int], int]] = {}
        for (left, following), cost in states.items():
            open_batches = sum(left)
            moves = [(left, following, cost, -1)] if open_batches <= period else []
            for item, count in enumerate(left):
                if count and wanted[item][count - 1] >= period and open_batches <= period + 1:
                    fewer = (*left[:item], count - 1, *left[item + 1 :])
                    price = hold * (wanted[item][count - 1] - period)
                    price += change[item][following] if following >= 0 else 0
                    moves.append((fewer, item, cost + price, item))
            for rest, first, price, made in moves:
                key = (rest, first)
                if key not in after or price < after[key]:
                    after[key] = price
                    step[key] = ((left, following), made)
        states = after
        steps.append(step)
    ends = {key: cost + (0 if before is None or key[1] < 0 else change[before][key[1]]) for key, cost in states.items()}
    key = min(ends, key=lambda k: (ends[k], k[1]))
    cost, items = ends[key], []
    for step in reversed(steps):
        key, made = step[key]
        items.append(made if made >= 0 else None)
    return Sequenced(tuple(items), cost)
