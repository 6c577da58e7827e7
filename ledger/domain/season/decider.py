"""Rules of forecasts, plans and recalls as kept papers."""

from __future__ import annotations

from typing import Any

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


def start_recall(cmd: c.StartRecall, state: State) -> list[Any]:
    """Begin a recall or drill and hold every affected lot in the same entry."""
    if state.has_paper("recall", cmd.recall):
        return []
    if not cmd.reason.strip():
        raise BadInput("A recall needs a reason.")
    need_lot(state, cmd.lot)
    held = tuple(code for code in cmd.lots if not need_lot(state, code).held)
    started = RecallStarted(
        day=cmd.day,
        recall=cmd.recall,
        lot=cmd.lot,
        reason=cmd.reason.strip(),
        drill=cmd.drill,
        lots=cmd.lots,
        started_at=cmd.started_at,
    )
    word = "recall drill" if cmd.drill else "recall"
    holds = [LotsHeld(day=cmd.day, lots=held, reason=f"{word} {cmd.recall}", recall=cmd.recall)] if held else []
    return [started, *holds]


def _need_recall(recall: str, state: State) -> None:
    if not state.has_paper("recall", recall):
        raise UnknownThing(
            f"There is no recall `{recall}`. Start one with `slabbook recall start LOT --reason ...`.",
            kind="recall",
            id=recall,
        )
    if state.has_paper("recall-closed", recall):
        raise Refused(f"Recall `{recall}` is closed.", id=recall)


def note_recall(cmd: c.NoteRecall, state: State) -> list[Any]:
    """Progress of a recall."""
    _need_recall(cmd.recall, state)
    return [
        RecallNoted(day=cmd.day, recall=cmd.recall, kind=cmd.kind, partner=cmd.partner, packs=cmd.packs, text=cmd.text)
    ]


def close_recall(cmd: c.CloseRecall, state: State) -> list[Any]:
    """End a recall; lots are released too when asked (a drill)."""
    _need_recall(cmd.recall, state)
    closed = RecallClosed(
        day=cmd.day, recall=cmd.recall, accounted_ppm=cmd.accounted_ppm, figures=cmd.figures, closed_at=cmd.closed_at
    )
    if not cmd.release:
        return [closed]
    lots = tuple(x for x in state.held_for(cmd.recall))
    return [
        closed,
        *(
            [LotsReleased(day=cmd.day, lots=lots, reason=f"recall {cmd.recall} closed", recall=cmd.recall)]
            if lots
            else []
        ),
    ]
