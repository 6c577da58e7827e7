"""Rules of a batch: opening and closing it, its steps, work beside them, the thermometer, its sheet, and answers to its flags."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from ledger.domain.batch import commands as c
from ledger.domain.batch.events import (
    BatchClosed,
    BatchOpened,
    BatchSheetIssued,
    FlagAnswered,
    ThermometerChecked,
    Worked,
)
from ledger.domain.batch.steps import as_stated, staff
from ledger.domain.batch.watch import watch
from ledger.domain.books import entries as e
from ledger.domain.codes import check_code, next_batch_code
from ledger.domain.derive import derive
from ledger.domain.parts import ALL, Flag, Take
from ledger.domain.state import State, need_batch
from ledger.errors import BadInput, Refused
from ledger.quantities import mass_text, temperature_text

LEFT_MG = 100_000
"""More than this left unfinished in a batch that is closed is flagged: 100 g (common practice, no source)."""


def open_batch(cmd: c.OpenBatch, state: State) -> list[Any]:
    """Open a batch. Refused when the code is taken; UnknownThing for a flavour, design or recipe not in the book."""
    opened = opening(cmd, state)
    code = cmd.batch or next_batch_code(cmd.day, set(state.batches_on(cmd.day)))
    check_code(code, "batch")
    if len(code) > 15:
        raise BadInput(
            f"Batch code `{code}` is too long: its lots add up to 5 characters and a lot holds 20.",
            value=code,
            limit=15,
        )
    if state.batch(code) is not None:
        raise Refused(f"Batch `{code}` exists already. Leave the code out and the next free one is given.", batch=code)
    return [replace(opened, batch=code)]


def opening(cmd: c.OpenBatch, state: State) -> BatchOpened:
    """A batch as the book has it now: its recipe, with the figures it will be judged by. Its code is as said, perhaps empty still.

    Raises UnknownThing for a flavour, design or recipe not in the book, Refused for a flavour without a recipe.
    """
    flavour = state.book.get(e.Flavour, cmd.flavour)
    design = state.book.get(e.Design, cmd.design) if cmd.design else None
    recipe = state.book.get(e.Recipe, cmd.recipe) if cmd.recipe else state.book.recipe_of(cmd.flavour)
    if recipe is None:
        raise Refused(
            f"Flavour `{cmd.flavour}` has no recipe in the book. Enter one with `slabbook book load FILE` or on the Book page.",
            flavour=cmd.flavour,
        )
    return BatchOpened(
        day=cmd.day, batch=cmd.batch, flavour=flavour.id, design=cmd.design, recipe=recipe.id,
        recipe_version=state.book.version(e.Recipe, recipe.id), end_temperature_mc=recipe.end_temperature_mc,
        temperature_tolerance_mc=recipe.temperature_tolerance_mc, moisture_ppm=recipe.moisture_ppm,
        moisture_low_ppm=recipe.moisture_low_ppm, moisture_high_ppm=recipe.moisture_high_ppm,
        process_yield_ppm=recipe.process_yield_ppm, unexplained_ppm=recipe.unexplained_ppm,
        piece_mg=design.piece_mg if design else 0, plan_line=cmd.plan_line, note=cmd.note,
    )  # fmt: skip


def step(cmd: c.StepCommand, state: State) -> list[Any]:
    """Record one step of a batch: refuse what cannot be, work out the rest, flag what is strange."""
    event = derive(as_stated(cmd, state), state)
    strange = watch(event, need_batch(state, cmd.batch), state)
    return [replace(event, flags=(*event.flags, *strange)) if strange else event]


def close_batch(cmd: c.CloseBatch, state: State) -> list[Any]:
    """Close a batch; nothing to do when it is closed already."""
    batch = need_batch(state, cmd.batch)
    if batch.status == "closed":
        return []
    if batch.status != "open":
        raise Refused(f"Batch {batch.batch} is {batch.status} and cannot be closed.", batch=batch.batch)
    left = [x for x in state.lots_of_batch(batch.batch) if x.kind in ("mass", "log", "rods")]
    takes = tuple(Take(lot=x.lot, basis=ALL) for x in left)
    flags: tuple[Flag, ...] = ()
    over = sum(x.mass_mg for x in left)
    if over > LEFT_MG:
        names = ", ".join(x.lot for x in left if x.mass_mg)
        flags = (
            Flag(
                code="left-in-batch",
                text=f"Batch {batch.batch} was closed with {mass_text(over)} unfinished in {names}.",
            ),
        )
    closed = BatchClosed(
        day=cmd.day,
        batch=batch.batch,
        flavour=batch.flavour,
        design=batch.design,
        takes=takes,
        note=cmd.note,
        flags=flags,
    )
    return [derive(closed, state)]


def record_work(cmd: c.RecordWork, state: State) -> list[Any]:
    """Time that no step holds."""
    if not cmd.work:
        raise BadInput("Nobody was named; give initials and a time, such as `AB 20 min`.")
    batch = need_batch(state, cmd.batch) if cmd.batch else None
    return [
        Worked(
            day=cmd.day, batch=cmd.batch, flavour=batch.flavour if batch else "", design=batch.design if batch else "",
            work=staff(cmd.work, state.book), task=cmd.task, station=cmd.station, note=cmd.note,
        )
    ]  # fmt: skip


def check_thermometer(cmd: c.CheckThermometer, state: State) -> list[Any]:
    """Keep a boiling-water check; refused when the reading cannot be boiling water."""
    state.book.get(e.Station, cmd.station)
    if not 60_000 <= cmd.reading_mc <= 120_000:
        raise Refused(
            f"{temperature_text(cmd.reading_mc)} cannot be boiling water (60 to 120 °C anywhere people live). Read it again at a full boil.",
            value=cmd.reading_mc,
        )
    return [
        ThermometerChecked(
            day=cmd.day, station=cmd.station, reading_mc=cmd.reading_mc, expected_mc=cmd.expected_mc, reading=cmd.reading,
            by=cmd.by, note=cmd.note,
        )
    ]  # fmt: skip


def issue_sheet(cmd: c.IssueSheet, state: State) -> list[Any]:
    """Keep a sheet as printed."""
    batch = need_batch(state, cmd.batch)
    return [
        BatchSheetIssued(day=cmd.day, batch=batch.batch, flavour=batch.flavour, design=batch.design, sheet=cmd.sheet)
    ]


def answer_flag(cmd: c.AnswerFlag, state: State) -> list[Any]:
    """Answer an open flag; nothing to do when it was answered."""
    if not cmd.answer.strip():
        raise BadInput("A flag is answered in words; none were given.")
    if state.recorded(cmd.origin) is None:
        raise Refused(f"There is no entry {cmd.origin} in the log.", origin=cmd.origin)
    if not state.flagged(cmd.origin, cmd.code):
        return []
    return [FlagAnswered(day=cmd.day, origin=cmd.origin, code=cmd.code, answer=cmd.answer.strip())]


__all__ = [
    "answer_flag", "check_thermometer", "close_batch", "issue_sheet", "open_batch", "record_work", "step",
]  # fmt: skip
