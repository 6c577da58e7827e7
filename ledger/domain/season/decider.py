"""Rules of forecasts, plans and recalls as kept papers."""

from __future__ import annotations

from typing import Any

from ledger.domain.books import entries as e
from ledger.domain.lots import commands as lc
from ledger.domain.lots import decider as lots
from ledger.domain.lots.events import LotsHeld, LotsReleased
from ledger.domain.season import commands as c
from ledger.domain.season.events import (
    ForecastIssued,
    OverrideMade,
    PlanAdopted,
    RecallClosed,
    RecallNoted,
    RecallStarted,
)
from ledger.domain.shelf import commands as shc
from ledger.domain.shelf import decider as shelf
from ledger.domain.state import State, need_lot
from ledger.errors import BadInput, Refused, UnknownThing


def issue_forecast(cmd: c.IssueForecast, state: State) -> list[Any]:
    """Keep a forecast; refused when the id is taken."""
    if state.has_paper("forecast", cmd.forecast):
        raise Refused(f"Forecast `{cmd.forecast}` was issued already; a new one needs a new id.", id=cmd.forecast)
    return [
        ForecastIssued(
            day=cmd.day,
            forecast=cmd.forecast,
            origin_week=cmd.origin_week,
            as_of=cmd.as_of,
            method=cmd.method,
            lines=cmd.lines,
        )
    ]


def make_override(cmd: c.MakeOverride, state: State) -> list[Any]:
    """The owner's figure, with a reason."""
    if not state.has_paper("forecast", cmd.forecast):
        raise UnknownThing(f"There is no forecast `{cmd.forecast}`.", kind="forecast", id=cmd.forecast)
    if not cmd.reason.strip():
        raise BadInput("An override needs a reason: it is compared with the model later.")
    return [
        OverrideMade(
            day=cmd.day, forecast=cmd.forecast, level=cmd.level, key=cmd.key, week=cmd.week, units=cmd.units,
            model_units=cmd.model_units, reason=cmd.reason.strip(),
        )
    ]  # fmt: skip


def adopt_plan(cmd: c.AdoptPlan, state: State) -> list[Any]:
    """Make a plan the plan; the same again does nothing."""
    if state.has_paper("plan", cmd.plan):
        return []
    if cmd.bound > cmd.cost:
        raise BadInput(
            f"The plan's bound {cmd.bound} is above its cost {cmd.cost}; one of them is wrong.", value=cmd.bound
        )
    return [
        PlanAdopted(
            day=cmd.day, plan=cmd.plan, as_of=cmd.as_of, frozen_until=cmd.frozen_until, cost=cmd.cost, bound=cmd.bound,
            method=cmd.method, lines=cmd.lines, settings=cmd.settings, supersedes=cmd.supersedes,
        )
    ]  # fmt: skip


NOTE_KINDS = ("called", "answered", "pulled", "returned", "counted", "destroyed", "notice", "authority", "note")
"""What may be noted while a recall runs: a customer called, their answer, stock pulled off their shelf, packs brought back, ..."""
MOVING = ("returned", "counted", "destroyed")
"""Notes that move stock: each names its lot, and the movement is recorded in the same command."""


def _word(started: c.StartRecall | RecallStarted) -> str:
    return f"recall drill {started.recall}" if started.drill else f"recall {started.recall}"


def start_recall(cmd: c.StartRecall, state: State) -> list[Any]:
    """Begin a recall or drill and hold every affected lot in the same entry.

    A second one at the same lot is refused while the first is open, but for a recall in earnest during a drill: it takes the drill's holds over.
    """
    running = state.open_recalls()
    if state.has_paper("recall", cmd.recall):
        if any(x.recall == cmd.recall and (x.lot, x.drill) == (cmd.lot, cmd.drill) for x in running):
            return []
        raise Refused(f"The code {cmd.recall} belongs to another recall or drill; give a new one.", taken=cmd.recall)
    if not cmd.reason.strip():
        raise BadInput("A recall needs a reason.")
    need_lot(state, cmd.lot)
    for other in running:
        if other.lot == cmd.lot and (cmd.drill or not other.drill):
            kind = "Drill" if other.drill else "Recall"
            raise Refused(
                f"{kind} {other.recall} is open at lot {cmd.lot} since {other.day} ({other.reason}). Go on with it: write what happened as a note, "
                f"or close it first (`slabbook recall close {other.recall}`).",
                recall=other.recall, lot=cmd.lot, drill=other.drill,
            )  # fmt: skip
    drilled = {_word(other) for other in running if other.drill and not cmd.drill}
    held = tuple(code for code in cmd.lots if need_lot(state, code).held in ("", *drilled))
    started = RecallStarted(
        day=cmd.day,
        recall=cmd.recall,
        lot=cmd.lot,
        reason=cmd.reason.strip(),
        drill=cmd.drill,
        lots=cmd.lots,
        started_at=cmd.started_at,
    )
    holds = [LotsHeld(day=cmd.day, lots=held, reason=_word(cmd), recall=cmd.recall)] if held else []
    return [started, *holds]


def _need_recall(recall: str, state: State) -> RecallStarted:
    if not state.has_paper("recall", recall):
        raise UnknownThing(
            f"There is no recall `{recall}`. Start one with `slabbook recall start LOT --reason ...`.",
            kind="recall",
            id=recall,
        )
    found = next((x for x in state.open_recalls() if x.recall == recall), None)
    if found is None:
        raise Refused(f"Recall `{recall}` is closed.", id=recall)
    return found


def note_recall(cmd: c.NoteRecall, state: State) -> list[Any]:
    """Progress of a recall; what was counted, came back or was destroyed is posted with it."""
    started = _need_recall(cmd.recall, state)
    if cmd.kind not in NOTE_KINDS:
        raise BadInput(f"`{cmd.kind}` is nothing that can be noted; use {', '.join(NOTE_KINDS)}.", value=cmd.kind)
    if cmd.kind in ("called", "answered") and not cmd.partner:
        raise BadInput(f"Say which customer was {cmd.kind}: give the customer's code.", value=cmd.kind)
    if (cmd.packs or 0) < 0:
        raise BadInput(f"{cmd.packs} packs cannot be; give a count from 0.", value=cmd.packs)
    moved = _moved(cmd, started, state) if cmd.kind in MOVING else []
    noted = RecallNoted(
        day=cmd.day, recall=cmd.recall, kind=cmd.kind, partner=cmd.partner, packs=cmd.packs or 0, text=cmd.text, lot=cmd.lot,
        mass_mg=cmd.mass_mg or 0,
    )  # fmt: skip
    return [noted, *moved]


def _moved(cmd: c.NoteRecall, started: RecallStarted, state: State) -> list[Any]:
    """What a note moves: a stock-take, packs coming back into their lot (held again), or scrap. Decided by the rules of those commands."""
    if not cmd.lot:
        raise BadInput(f"Say which lot was {cmd.kind}: its stock moves in the ledger with this note.", value=cmd.kind)
    lot = need_lot(state, cmd.lot)
    if lot.lot not in (started.lot, *started.lots):
        raise Refused(
            f"Lot {lot.lot} is not among the lots of {_word(started)}. Look at the lot code; another lot is counted, taken back or scrapped by itself.",
            lot=lot.lot, recall=started.recall,
        )  # fmt: skip
    if started.drill and cmd.kind != "counted":
        raise Refused(
            f"{started.recall} is a drill: nothing comes back or is destroyed for it. Note it as `pulled` or `note`; what truly came back or was thrown away "
            "is recorded by itself (`slabbook return`, `slabbook scrap`).",
            recall=started.recall, kind=cmd.kind,
        )  # fmt: skip
    note = " ".join(x for x in (_word(started), cmd.text) if x)
    if cmd.kind == "counted":
        given = cmd.packs if lot.kind == "packs" else cmd.mass_mg
        if given is None:
            unit = "packs" if lot.kind == "packs" else "mass, such as `2.4 kg`"
            raise BadInput(f"Say what was found of lot {lot.lot}: its {unit}. Nothing found is 0.", lot=lot.lot)
        figure = {"packs": given} if lot.kind == "packs" else {"mass_mg": given}
        return lots.count(lc.CountLot(day=cmd.day, lot=lot.lot, note=note, **figure), state)
    if cmd.kind == "destroyed":
        scrap = lc.ScrapLot(
            day=cmd.day, lot=lot.lot, cause="recall", packs=cmd.packs or 0, mass_mg=cmd.mass_mg or 0, note=note
        )
        if not (lot.mass_mg or lot.packs):
            raise Refused(
                f"Lot {lot.lot} holds nothing that could be destroyed; note first what came back.", lot=lot.lot
            )
        return lots.scrap(scrap, state)
    customer = state.book.get(e.Partner, cmd.partner) if cmd.partner else None
    if cmd.channel:
        state.book.get(e.Channel, cmd.channel)
    back = shc.TakeBack(
        day=cmd.day, lot=lot.lot, packs=cmd.packs or 0, customer=cmd.partner, amount=cmd.amount, note=note,
        channel=cmd.channel or (customer.channel if customer else ""),
    )  # fmt: skip
    holds = [] if lot.held else [LotsHeld(day=cmd.day, lots=(lot.lot,), reason=_word(started), recall=started.recall)]
    return [*shelf.take_back(back, state), *holds]


def close_recall(cmd: c.CloseRecall, state: State) -> list[Any]:
    """End a recall; lots are released too when asked (a drill), but for those that another open recall needs: they pass on to it."""
    _need_recall(cmd.recall, state)
    closed = RecallClosed(
        day=cmd.day, recall=cmd.recall, accounted_ppm=cmd.accounted_ppm, figures=cmd.figures, closed_at=cmd.closed_at
    )
    if not cmd.release:
        return [closed]
    free = state.held_for(cmd.recall)
    after: list[Any] = []
    for other in sorted((x for x in state.open_recalls() if x.recall != cmd.recall), key=lambda x: x.drill):
        needed = {other.lot, *other.lots}
        passed = tuple(x for x in free if x in needed)
        free = [x for x in free if x not in needed]
        if passed:
            after.append(LotsHeld(day=cmd.day, lots=passed, reason=_word(other), recall=other.recall))
    if free:
        after.append(
            LotsReleased(day=cmd.day, lots=tuple(free), reason=f"recall {cmd.recall} closed", recall=cmd.recall)
        )
    return [closed, *after]
