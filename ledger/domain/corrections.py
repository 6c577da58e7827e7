"""Amending and voiding: what an entry should have said.

An amended entry is decided anew against the ledger *as it stood just before it* (``before.py``); all that follows from the change is
recorded with it, in the same transaction, or the correction is refused (``cascade.py``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from ledger.domain.amended import as_then, new_codes, no_loose_lot
from ledger.domain.batch import commands as bc
from ledger.domain.batch.decider import opening
from ledger.domain.batch.events import BatchOpened
from ledger.domain.before import Before
from ledger.domain.books import entries as e
from ledger.domain.cascade import Changed, cascade
from ledger.domain.derive import derive
from ledger.domain.lots.commands import ReceiveLot
from ledger.domain.lots.events import LotReceived
from ledger.domain.movement import Movement
from ledger.domain.season.events import OverrideMade
from ledger.domain.shelf.events import PromotionPlanned, RanOut
from ledger.domain.state import Recorded, State
from ledger.errors import Refused, StepsInTheWay, UnknownThing

FACTS = {RanOut: "run-out", PromotionPlanned: "fact known ahead", OverrideMade: "figure of your own"}
"""Papers that a person may have got wrong: facts beside the sales and the owner's own figures. They move nothing, so nothing follows."""


def find(origin: int, state: State) -> Recorded:
    """The entry to correct. UnknownThing when it is not there, Refused when it was voided or is itself a correction."""
    record = state.recorded(origin)
    if record is None:
        raise UnknownThing(
            f"There is no entry {origin} in the log. `slabbook log` lists them.", kind="entry", id=origin
        )
    if record.voided:
        raise Refused(f"Entry {origin} was voided already; record it anew instead.", origin=origin)
    if not isinstance(record.event, (Movement, BatchOpened, *FACTS)):
        raise Refused(
            f"Entry {origin} ({type(record.event).__name__}) is not corrected but followed: enter the book entry anew, release the hold, "
            "or amend the entry it speaks of.",
            origin=origin,
        )  # fmt: skip
    return record


def amend(cmd: bc.Amend, state: State, decide: Callable[[Any, Any], list[Any]]) -> list[Changed]:
    """What an entry should have said, with all that follows; empty where it says so already. `decide` is the decider of its command.

    Raises:
        UnknownThing: there is no such entry.
        Refused: it was voided, is no entry that is amended, would become another step or belong to another batch; or no reason was given.
        StepsInTheWay: later entries stand on what it would take away.
    """
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
    if type(new) in FACTS:
        return [Changed(record, new)] if new != record.event else []
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
    return str(getattr(event, "step", "")) or FACTS.get(type(event)) or type(event).__name__


def _amend_opening(command: bc.OpenBatch, record: Recorded, state: State) -> list[Changed]:
    old = record.event
    assert isinstance(old, BatchOpened)
    for word, said, stood in (
        ("recipe", command.recipe, old.recipe),
        ("day", command.day, old.day),
        ("code", command.batch, old.batch),
    ):
        if said and said != stood:
            raise Refused(
                f"Batch {old.batch} was opened with {word} {stood}; that is not amended to {said}. Void the opening (entry {record.position}) "
                "and open the batch anew.",
                batch=old.batch, field=word, asked=said, stands=stood,
            )  # fmt: skip
    batch = state.batch(old.batch)
    if command.flavour != old.flavour and batch is not None and batch.steps:
        raise StepsInTheWay(
            f"Batch {old.batch} has steps already ({batch.steps}); its flavour stands. Void them first, or open another batch.",
            batch=old.batch, steps=batch.steps.split(),
        )  # fmt: skip
    if command.flavour != old.flavour:  # another flavour is judged by its own recipe
        new = opening(replace(command, recipe="", day=old.day, batch=old.batch), state)
        return [Changed(record, new)]
    design = state.book.get(e.Design, command.design) if command.design else None
    new = replace(
        old,
        design=command.design,
        note=command.note,
        piece_mg=design.piece_mg if design else 0,
    )
    return [Changed(record, new)] if new != old else []


def void(cmd: bc.Void, state: State) -> list[Changed]:
    """An entry never happened, with all that follows. Raises what `amend` raises."""
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
    if type(record.event) in FACTS:
        return [Changed(record, None)]
    return cascade(record, None, state)


__all__ = ["Changed", "amend", "find", "void"]
