"""The one shape of everything that moves sugar: takes from lots, gives to lots, and what went elsewhere.

Every floor event is a ``Movement`` with a name of its own. One function posts them all (``postings.py``), one function works
out what nobody weighed (``derive.py``), and one traces them (an edge from every lot taken to every lot given).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from ledger.domain.parts import Flag, Give, Loss, Take, Work


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """What every floor event says.

    day: the shop's own calendar day (ISO 8601). batch, flavour and design are empty where they have no meaning.
    water_mg: mains water that went in, which has no lot. evaporated_mg and unexplained_mg are worked out, never typed;
    unexplained may be negative (more came out than went in).
    partner: supplier, customer or channel on the other side. money: minor units paid to us (a sale) or by us (a receipt, negative).
    """

    day: str
    step: ClassVar[str] = ""
    batch: str = ""
    flavour: str = ""
    design: str = ""
    station: str = ""
    takes: tuple[Take, ...] = ()
    gives: tuple[Give, ...] = ()
    losses: tuple[Loss, ...] = ()
    work: tuple[Work, ...] = ()
    water_mg: int = 0
    evaporated_mg: int = 0
    unexplained_mg: int = 0
    partner: str = ""
    channel: str = ""
    money: int = 0
    started: str = ""
    ended: str = ""
    note: str = ""
    unexplained_ppm: int = 20_000
    flags: tuple[Flag, ...] = ()


def edges(event: Movement) -> list[tuple[str, str, int]]:
    """(parent lot, child lot, mg of the parent in the child) of one movement.

    A take that names a portion went into that portion only; any other went into every output, in proportion to its mass.
    """
    if not event.gives:
        return []
    found: dict[tuple[str, str], int] = {}
    for t in event.takes:
        into = [g for g in event.gives if not t.portion or g.portion == t.portion]
        whole = sum(g.mass_mg for g in into)
        for g in into:
            if t.lot == g.lot:
                continue
            part = t.mass_mg * g.mass_mg // whole if whole else 0
            found[t.lot, g.lot] = found.get((t.lot, g.lot), 0) + part
    return [(parent, child, mass) for (parent, child), mass in found.items()]
