"""Amending and voiding: what an entry should have said, and everything that follows from it.

An entry is decided anew against the ledger *as it stood just before it*. Then every later entry that drew on a lot whose balance
changes is worked out again, in the order recorded; where a derived figure moves, that entry is amended too, in the same
transaction. Where a later entry can no longer be (it took what would not be there), the correction is refused with the list of
such steps. Weighed figures never move by themselves.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from ledger.domain.amended import as_then, new_codes, no_loose_lot
from ledger.domain.batch import commands as bc
from ledger.domain.batch.events import BatchOpened
from ledger.domain.derive import derive
from ledger.domain.lots.commands import ReceiveLot
from ledger.domain.lots.events import LotReceived
from ledger.domain.movement import Movement
from ledger.domain.parts import Flag
from ledger.domain.season.events import RecallStarted
from ledger.domain.state import Batch, Lot, Recorded, State
from ledger.domain.world import add_to
from ledger.errors import NotEnough, Refused, SlabbookError, StepsInTheWay, UnknownThing
from ledger.quantities import mass_text

SMALL_MG = 1_000
SMALL_COST = 2


@dataclass(frozen=True, slots=True)
class Changed:
    """One entry and what it says after the correction (None: it is voided)."""

    record: Recorded
    event: Any


class Before:
    """The ledger as it stood just before an entry, by what is believed today; the entry's own outputs are not there yet."""

    def __init__(self, state: State, record: Recorded) -> None:
        self._state, self._record = state, record
        self.book = state.book
        event = record.event
        self._own = (
            {g.lot for g in event.gives}
            if isinstance(event, Movement) and event.step not in ("count", "return")
            else set()
        )
        self._took = {t.lot: t for t in event.takes} if isinstance(event, Movement) else {}

    def _then(self, lot: Lot) -> Lot:
        before = self._state.balance_before(lot.lot, self._record.position)
        taken = self._took.get(lot.lot)
        packs = before.packs
        if lot.kind == "packs":
            packs = min(packs, lot.packs + (taken.packs if taken else 0))
        return replace(
            lot, mass_mg=before.mass_mg, pieces=before.pieces, packs=before.packs if taken else packs, cost=before.cost,
            held="" if taken else lot.held,
        )  # fmt: skip

    def lot(self, lot: str) -> Lot | None:
        """The lot as it stood, or None when this entry made it."""
        found = None if lot in self._own else self._state.lot(lot)
        return self._then(found) if found is not None else None

    def batch(self, batch: str) -> Batch | None:
        """The batch, open as it was then."""
        found = self._state.batch(batch)
        return replace(found, status="open") if found is not None and found.status == "closed" else found

    def batches_on(self, day: str) -> list[str]:
        """Codes of batches opened on a day."""
        return self._state.batches_on(day)

    def lots_of_batch(self, batch: str) -> list[Lot]:
        """Every lot of the batch but the entry's own."""
        return [self._then(x) for x in self._state.lots_of_batch(batch) if x.lot not in self._own]

    def lots_of_item(self, item: str) -> list[Lot]:
        """Lots of a pack as they stood, those the entry used first."""
        lots = {x.lot: x for x in self._state.lots_of_item(item)}
        for code in self._took:
            found = self._state.lot(code)
            if found is not None and found.item == item:
                lots[code] = found
        order = sorted(
            lots.values(), key=lambda x: (x.lot not in self._took, x.best_before or "9999", x.day, x.position, x.lot)
        )
        return [self._then(x) for x in order]

    def recorded(self, position: int) -> Recorded | None:
        """As in the ledger."""
        return self._state.recorded(position)

    def touching(self, lots: Iterable[str]) -> list[Recorded]:
        """As in the ledger."""
        return self._state.touching(lots)

    def balance_before(self, lot: str, position: int) -> Lot:
        """As in the ledger."""
        return self._state.balance_before(lot, position)

    def flagged(self, position: int, code: str) -> bool:
        """As in the ledger."""
        return self._state.flagged(position, code)

    def has_paper(self, kind: str, id: str) -> bool:
        """As in the ledger."""
        return self._state.has_paper(kind, id)

    def held_for(self, recall: str) -> list[str]:
        """As in the ledger."""
        return self._state.held_for(recall)

    def open_recalls(self) -> list[RecallStarted]:
        """As in the ledger."""
        return self._state.open_recalls()


def find(origin: int, state: State) -> Recorded:
    """The entry to correct. UnknownThing when it is not there, Refused when it was voided or is itself a correction."""
    record = state.recorded(origin)
    if record is None:
        raise UnknownThing(
            f"There is no entry {origin} in the log. `slabbook log` lists them.", kind="entry", id=origin
        )
    if record.voided:
        raise Refused(f"Entry {origin} was voided already; record it anew instead.", origin=origin)
    if not isinstance(record.event, (Movement, BatchOpened)):
        raise Refused(
            f"Entry {origin} ({type(record.event).__name__}) is not corrected but followed: enter the book entry anew, release the hold, "
            "or amend the entry it speaks of.",
            origin=origin,
        )  # fmt: skip
    return record


def amend(cmd: bc.Amend, state: State, decide: Callable[[Any, Any], list[Any]]) -> list[Changed]:
    """What an entry should have said, with all that follows. `decide` is the decider of its command."""
    record = find(cmd.origin, state)
    if not cmd.reason.strip():
        raise Refused("An amendment needs a reason.", origin=cmd.origin)
    command = cmd.command
    if isinstance(command, ReceiveLot) and isinstance(record.event, LotReceived) and not command.lot:
        command = replace(command, lot=record.event.gives[0].lot)
    if isinstance(command, bc.OpenBatch) and isinstance(record.event, BatchOpened):
        return _amend_opening(command, record, state)
    before = Before(state, record)
    if isinstance(command, bc.StepCommand) and isinstance(record.event, Movement):
        command = new_codes(command, record.event, state)
    stated = decide(command, before)
    if not stated:
        return []
    new = stated[0]
    if type(new) is not type(record.event):
        raise Refused(
            f"Entry {cmd.origin} is a {_word(record.event)}; it cannot become a {_word(new)}. Void it and record the other.",
            origin=cmd.origin,
        )
    if new.batch != record.event.batch:
        raise Refused(
            f"Entry {cmd.origin} belongs to batch {record.event.batch}; void it and record it on {new.batch}.",
            origin=cmd.origin,
        )
    if isinstance(new, Movement):
        kept = as_then(new, record.event)
        new = derive(kept, before) if kept != new else new
        no_loose_lot(record, new, state)
    if new == record.event:
        return []
    return cascade(record, new, state)


def _word(event: Any) -> str:
    return str(getattr(event, "step", "")) or type(event).__name__


def _amend_opening(command: bc.OpenBatch, record: Recorded, state: State) -> list[Changed]:
    old = record.event
    assert isinstance(old, BatchOpened)
    batch = state.batch(old.batch)
    if command.flavour != old.flavour and batch is not None and batch.steps:
        raise StepsInTheWay(
            f"Batch {old.batch} has steps already ({batch.steps}); its flavour stands. Void them first, or open another batch.",
            batch=old.batch, steps=batch.steps.split(),
        )  # fmt: skip
    from ledger.domain.books import entries as e

    design = state.book.get(e.Design, command.design) if command.design else None
    new = replace(
        old,
        design=command.design,
        flavour=command.flavour,
        note=command.note,
        piece_mg=design.piece_mg if design else 0,
    )
    return [Changed(record, new)] if new != old else []


def void(cmd: bc.Void, state: State) -> list[Changed]:
    """An entry never happened, with all that follows."""
    record = find(cmd.origin, state)
    if not cmd.reason.strip():
        raise Refused("A voided entry needs a reason.", origin=cmd.origin)
    if isinstance(record.event, BatchOpened):
        batch = state.batch(record.event.batch)
        if batch is not None and batch.steps:
            raise StepsInTheWay(
                f"Batch {batch.batch} has steps recorded ({batch.steps}). Void them first, from the last to the first.",
                batch=batch.batch, steps=batch.steps.split(),
            )  # fmt: skip
        return [Changed(record, None)]
    return cascade(record, None, state)


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


__all__ = ["Before", "Changed", "amend", "cascade", "find", "void"]
