"""Every event as balanced postings: the one place that says which account each milligram, piece, pack, second and coin moves to.

A posting row carries five measures side by side (mass_mg, pieces, packs, seconds, money); over one event **each sums to zero**.
Two memo measures ride along and are not double entry: solids_mg (dry solids charged) and theory_mg (what should have evaporated).

Kinds of account: ``lot.material lot.mass lot.log lot.rods lot.pieces lot.packs lot.reboil`` (account = lot),
``supplier customer water air scrap unexplained sample worker work wages cost paid till income tally``.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial
from typing import Any, NamedTuple, cast

from ledger.domain.batch.events import Cooked
from ledger.domain.movement import Movement
from ledger.domain.state import LotLookup
from ledger.errors import LedgerDamaged


class Posting(NamedTuple):
    """One line of one entry: which account, and how much of each measure moves into it (negative: out of it)."""

    kind: str
    account: str
    item: str
    mass_mg: int
    pieces: int
    packs: int
    seconds: int
    money: int
    solids_mg: int
    theory_mg: int


_line = cast("Callable[[tuple[Any, ...]], Posting]", partial(tuple.__new__, Posting))
"""A posting from its ten fields in order: a third of the time the named constructor takes, and every entry makes several."""


@lru_cache(maxsize=8192)
def iso_week(day: str) -> str:
    """ISO 8601 week of a day: `2026-W44`."""
    from datetime import date

    year, week, _ = date.fromisoformat(day).isocalendar()
    return f"{year:04d}-W{week:02d}"


def postings(event: Movement, lots: LotLookup) -> list[Posting]:
    """The balanced lines of one movement.

    `lots` says what kind each lot taken from is. Raises LedgerDamaged if the lines do not sum to zero, which no entry may do.
    """
    lines: list[Posting] = []
    add = lines.append
    mass = pieces = packs = money = 0
    for t in event.takes:
        lot = lots.lot(t.lot)
        if lot is None:
            raise LedgerDamaged(f"An entry takes from lot {t.lot}, which was never made.", lot=t.lot)
        if not (t.mass_mg or t.pieces or t.packs or t.cost):
            continue
        solids = t.mass_mg * t.solids_ppm // 1_000_000
        add(_line(("lot." + lot.kind, t.lot, lot.item, -t.mass_mg, -t.pieces, -t.packs, 0, -t.cost, solids, 0)))
        mass -= t.mass_mg
        pieces -= t.pieces
        packs -= t.packs
        money -= t.cost
    if event.water_mg:
        add(_line(("water", "mains", "", -event.water_mg, 0, 0, 0, 0, 0, 0)))
        mass -= event.water_mg
    for g in event.gives:
        if not (g.mass_mg or g.pieces or g.packs or g.cost):
            continue
        add(_line(("lot." + g.kind, g.lot, g.item, g.mass_mg, g.pieces, g.packs, 0, g.cost, 0, 0)))
        mass += g.mass_mg
        pieces += g.pieces
        packs += g.packs
        money += g.cost
    for x in event.losses:
        add(_line(("scrap", x.cause, "", x.mass_mg, x.pieces, x.packs, 0, 0, 0, 0)))
        mass += x.mass_mg
        pieces += x.pieces
        packs += x.packs
    if event.evaporated_mg or isinstance(event, Cooked):
        theory = event.theory_mg if isinstance(event, Cooked) else 0
        add(_line(("air", "evaporated", "", event.evaporated_mg, 0, 0, 0, 0, 0, theory)))
        mass += event.evaporated_mg
    if event.unexplained_mg:
        add(_line(("unexplained", event.step, "", event.unexplained_mg, 0, 0, 0, 0, 0, 0)))
        mass += event.unexplained_mg
    other = _OTHER_SIDE.get(event.step)
    if other and (mass or packs):
        account = event.partner or event.channel or event.step
        add(_line((other, account, "", -mass, -pieces, -packs, 0, 0, 0, 0)))
        mass = pieces = packs = 0
    if pieces or packs:
        add(_line(("tally", event.step, "", 0, -pieces, -packs, 0, 0, 0, 0)))
    for w in event.work:
        wage = w.wage()
        add(_line(("worker", w.worker, "", 0, 0, 0, -w.seconds, 0, 0, 0)))
        add(_line(("work", event.step, "", 0, 0, 0, w.seconds, 0, 0, 0)))
        if wage:
            add(_line(("wages", w.worker, "", 0, 0, 0, 0, -wage, 0, 0)))
            money -= wage
    if money:
        add(_line(("paid" if other == "supplier" else "cost", event.step, "", 0, 0, 0, 0, -money, 0, 0)))
    if event.money:
        account = event.channel or event.partner or "till"
        add(_line(("till", account, "", 0, 0, 0, 0, event.money, 0, 0)))
        add(_line(("income", account, "", 0, 0, 0, 0, -event.money, 0, 0)))
    if mass:
        raise LedgerDamaged(
            f"An entry of {event.day} ({event.step}) does not balance: {mass} mg over.", step=event.step, mass_mg=mass
        )
    return lines


_OTHER_SIDE = {
    "receive": "supplier", "sell": "customer", "ship": "customer", "return": "customer", "sample": "sample", "scrap": "scrap", "count": "unexplained",
}  # fmt: skip
