"""The front of the rules: one command and the state it needs in, the entries to record out. Pure."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import msgspec

from ledger.domain import corrections
from ledger.domain.batch import commands as bc
from ledger.domain.batch import decider as batch
from ledger.domain.batch.events import Amended, FlagAnswered, Voided
from ledger.domain.books.commands import Define
from ledger.domain.books.decider import define
from ledger.domain.books.entries import KIND_OF
from ledger.domain.books.events import BOOK_EVENTS
from ledger.domain.lots import commands as lc
from ledger.domain.lots import decider as lots
from ledger.domain.lots.events import LotCounted, LotReceived, LotsHeld, LotsReleased
from ledger.domain.movement import Movement
from ledger.domain.papers import paper_of
from ledger.domain.season import commands as sc
from ledger.domain.season import decider as season
from ledger.domain.shelf import commands as shc
from ledger.domain.shelf import decider as shelf
from ledger.domain.state import State
from ledger.domain.stored_names import name_of, version_of
from ledger.errors import BadInput, Refused


class Decision(NamedTuple):
    """One entry to record: what happened, in which stream, and the id of the entry it corrects (empty: none)."""

    event: Any
    stream: str
    corrects: str = ""


Decider = Callable[[Any, Any], list[Any]]

DECIDERS: dict[type, Any] = {
    bc.OpenBatch: batch.open_batch, bc.CloseBatch: batch.close_batch, bc.RecordWork: batch.record_work,
    bc.CheckThermometer: batch.check_thermometer, bc.IssueSheet: batch.issue_sheet, bc.AnswerFlag: batch.answer_flag,
    lc.ReceiveLot: lots.receive, lc.CountLot: lots.count, lc.SampleLot: lots.sample, lc.ScrapLot: lots.scrap,
    lc.HoldLots: lots.hold, lc.ReleaseLots: lots.release,
    shc.Sell: shelf.sell, shc.Ship: shelf.ship, shc.TakeBack: shelf.take_back, shc.NoteRunOut: shelf.note_run_out,
    shc.PlanPromotion: shelf.plan_promotion, Define: define,
    sc.IssueForecast: season.issue_forecast, sc.MakeOverride: season.make_override, sc.AdoptPlan: season.adopt_plan,
    sc.StartRecall: season.start_recall, sc.NoteRecall: season.note_recall, sc.CloseRecall: season.close_recall,
} | dict.fromkeys(bc.STEP_COMMANDS, batch.step)  # fmt: skip

COMMANDS: dict[str, type] = {kind.name: kind for kind in (*DECIDERS, bc.Amend, bc.Void)}  # type: ignore[attr-defined]
"""Every command by the name it has on the command line and in the API."""


def decide(command: Any, state: State, today: str) -> list[Decision]:
    """The entries a command leads to. An empty list: nothing left to do.

    today: the shop's own day, so that a date in the future is refused. Raises the errors of `ledger.errors`.
    """
    day = command.day
    if day > today:
        raise Refused(f"The day {day} lies in the future (today is {today}). Correct the day.", day=day, today=today)
    if isinstance(command, bc.Amend):
        if command.command.day > today:
            raise Refused(
                f"The day {command.command.day} lies in the future (today is {today}).",
                day=command.command.day,
                today=today,
            )
        changed = corrections.amend(command, state, DECIDERS[type(command.command)])
        return _corrections(changed, command.day, command.reason)
    if isinstance(command, bc.Void):
        return _corrections(corrections.void(command, state), command.day, command.reason)
    decider = DECIDERS.get(type(command))
    if decider is None:
        raise BadInput(f"`{type(command).__name__}` is not a command of this ledger.")
    return [Decision(event, stream_of(event, state)) for event in decider(command, state)]


def _corrections(changed: list[corrections.Changed], day: str, reason: str) -> list[Decision]:
    decisions = []
    for number, change in enumerate(changed):
        cause = changed[0].record.event_id if number else ""
        record, event = change.record, change.event
        if event is None:
            what: Any = Voided(day=day, origin=record.position, corrects=record.event_id, reason=reason, cause=cause)
        else:
            cls = type(event)
            what = Amended(
                day=day, origin=record.position, corrects=record.event_id, name=name_of(cls), schema=version_of(cls),
                data=as_data(event), reason=reason, cause=cause,
            )  # fmt: skip
        decisions.append(Decision(what, record.stream, record.event_id))
    return decisions


def as_data(event: Any) -> dict[str, Any]:
    """An event as plain JSON values."""
    data: dict[str, Any] = msgspec.to_builtins(event)
    return data


def stream_of(event: Any, state: State) -> str:
    """The stream an entry belongs to: its batch, its lot, its pack, its book entry or its paper."""
    if isinstance(event, Movement):
        if event.batch and event.step not in ("sample", "scrap"):
            return f"batch/{event.batch}"
        if isinstance(event, LotReceived):
            return f"lot/{event.gives[0].lot}"
        if isinstance(event, LotCounted):
            return f"lot/{event.lot}"
        pack = getattr(event, "pack", "")
        if pack:
            return f"shelf/{pack}"
        if event.takes:
            return f"lot/{event.takes[0].lot}"
        return f"day/{event.day}"
    if isinstance(event, BOOK_EVENTS):
        entry: Any = event.entry  # type: ignore[attr-defined]
        return f"book/{KIND_OF[type(entry)]}/{entry.id}"
    if isinstance(event, (LotsHeld, LotsReleased)):
        return f"lot/{event.lots[0]}"
    if isinstance(event, FlagAnswered):
        record = state.recorded(event.origin)
        return record.stream if record else f"day/{event.day}"
    batch_code = getattr(event, "batch", "")
    if batch_code:
        return f"batch/{batch_code}"
    paper = paper_of(event)
    return f"paper/{paper[0]}/{paper[1]}" if paper else f"day/{event.day}"
