"""What follows from a correction: every later entry that drew on a changed lot, worked out again in the order recorded.

Where a derived figure moves, that entry is amended too. Where a later entry can no longer be (it took what would not be there), the
correction is refused with the list of such steps. Weighed figures never move by themselves.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, replace
from typing import Any

from ledger.domain.balance import add_to
from ledger.domain.derive import derive
from ledger.domain.movement import Movement
from ledger.domain.parts import Flag
from ledger.domain.state import Lot, Recorded, State
from ledger.errors import NotEnough, SlabbookError, StepsInTheWay
from ledger.quantities import mass_text

SMALL_MG = 1_000
SMALL_COST = 2
"""A derived figure that moves by no more than a gram, or two of the smallest coins, is left as it was recorded."""


@dataclass(frozen=True, slots=True)
class Changed:
    """One entry and what it says after the correction (None: it is voided)."""

    record: Recorded
    event: Any


def cascade(record: Recorded, new: Movement | None, state: State) -> list[Changed]:
    """The changed entry and every later entry whose derived figures follow it. Raises StepsInTheWay."""
    origin, old = record.position, record.event
    assert isinstance(old, Movement)
    now: dict[str, Lot] = {}
    queue: list[tuple[int, Recorded]] = []
    queued: set[int] = {origin}

    def affect(lot: str, position: int) -> None:
        if lot in now:
            return
        known = state.lot(lot)
        start = state.balance_before(lot, position)
        now[lot] = replace(known, mass_mg=start.mass_mg, pieces=start.pieces, packs=start.packs, cost=start.cost,
                           made_mg=start.made_mg, made_pieces=start.made_pieces, made_packs=start.made_packs) if known else start  # fmt: skip
        for later in state.touching([lot]):
            if later.position > position and later.position not in queued:
                queued.add(later.position)
                heapq.heappush(queue, (later.position, later))

    for lot in _lots(old) | (_lots(new) if new else set()):
        affect(lot, origin)
    changed = [Changed(record, new)]
    if new is not None:
        _play(new, now)
    in_the_way: list[str] = []
    while queue:
        position, later = heapq.heappop(queue)
        event = later.event
        if not isinstance(event, Movement):
            continue
        try:
            again = derive(event, _Lookup(event, now))
            _not_emptied(event, again)
        except SlabbookError as error:
            in_the_way.append(_tell(later, event, error))
            _play(event, now)
            continue
        if _material(event, again, now):
            changed.append(Changed(later, again))
            for lot in _lots(again):
                affect(lot, position)
            event = again
        _play(event, now)
        for lot in _lots(event):
            held = now.get(lot)
            if held is not None and (held.mass_mg < 0 or held.packs < 0 or held.pieces < 0):
                in_the_way.append(_tell(later, event, None))
                break
    below = [x for x in now.values() if x.mass_mg < 0 or x.packs < 0 or x.pieces < 0]
    if in_the_way or below:
        listed = "\n  ".join(in_the_way) or "\n  ".join(
            f"lot {x.lot} would hold {mass_text(x.mass_mg)}, {x.packs} packs" for x in below
        )
        raise StepsInTheWay(
            f"Entry {origin} cannot be corrected so: these later entries stand on what it would take away. Amend or void them first, "
            f"from the last to the first.\n  {listed}",
            origin=origin, steps=in_the_way,
        )  # fmt: skip
    return changed


class _Lookup:
    """Lots for re-reading one entry: changed lots as they would be, all others exactly as the entry used them."""

    def __init__(self, event: Movement, now: dict[str, Lot]) -> None:
        self._now = now
        self._used = {
            t.lot: Lot(t.lot, "", mass_mg=t.mass_mg, pieces=t.pieces, packs=t.packs, cost=t.cost)
            for t in event.takes if t.lot not in now
        }  # fmt: skip

    def lot(self, lot: str) -> Lot | None:
        """The lot to draw on."""
        return self._now.get(lot) or self._used.get(lot)


def _not_emptied(old: Movement, new: Movement) -> None:
    """A later step that used something cannot be left using nothing (closing a batch may: it only sweeps what is left)."""
    if old.step == "close":
        return
    for before, after in zip(old.takes, new.takes, strict=False):
        if before.mass_mg and not after.mass_mg:
            raise NotEnough(
                f"it used {mass_text(before.mass_mg)} of lot {before.lot}, which would be empty", lot=before.lot
            )


def _lots(event: Movement) -> set[str]:
    return {t.lot for t in event.takes} | {g.lot for g in event.gives}


def _play(event: Movement, now: dict[str, Lot]) -> None:
    for lot in _lots(event):
        if lot in now:
            add_to(now[lot], event)


def _material(old: Movement, new: Movement, now: dict[str, Lot]) -> bool:
    """Whether a re-read entry differs enough to be recorded: more than a gram or two coins, or a lot that must come out empty."""
    if old == new:
        return False
    before: list[Any] = [*old.takes, *old.gives]
    after: list[Any] = [*new.takes, *new.gives]
    if len(before) != len(after) or old.losses != new.losses:
        return True
    for a, b in zip(before, after, strict=True):
        if a.lot != b.lot or a.packs != b.packs or abs(a.pieces - b.pieces) > 1:
            return True
        if abs(a.mass_mg - b.mass_mg) > SMALL_MG or abs(a.cost - b.cost) > SMALL_COST:
            return True
    for take in old.takes:
        held = now.get(take.lot)
        if held is not None and (take.mass_mg > held.mass_mg or take.pieces > held.pieces or take.cost > held.cost):
            return True
        if held is not None and held.packs and take.packs == held.packs and take.mass_mg != held.mass_mg:
            return True
    return abs(old.unexplained_mg - new.unexplained_mg) > SMALL_MG or _codes(old.flags) != _codes(new.flags)


def _codes(flags: tuple[Flag, ...]) -> set[str]:
    return {f.code for f in flags}


def _tell(record: Recorded, event: Movement, error: SlabbookError | None) -> str:
    where = f" of batch {event.batch}" if event.batch else ""
    why = (
        error.message.split(". ")[0]
        if isinstance(error, NotEnough)
        else "it would take more than is there"
        if error is None
        else error.message
    )
    return f"entry {record.position}: {event.step}{where} on {event.day}: {why}"
