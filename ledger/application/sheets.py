"""The batch sheet of a shop: planned from its book and its ledger, kept as an entry, found again.

plan(ledger, Ask(design="LEMON-SLICE", packs=40))      -> Planned      nothing is recorded
issue(ledger, Ask(...), actor="MK")                    -> Issued       opens the batch and keeps the sheet, in one transaction
kept(ledger, "26329A")                                 -> BatchSheet   the newest sheet of a batch
"""

from __future__ import annotations

from dataclasses import dataclass

from ledger import quantities
from ledger.application.ledger import Ledger, Order
from ledger.application.sheets_plan import Ask, Planned, air, how_printed, plan, surroundings
from ledger.craft.sheet import BatchSheet, sheet_from_plain, sheet_to_plain
from ledger.craft.water import water_boils_here
from ledger.domain.batch.commands import CheckThermometer, IssueSheet, OpenBatch
from ledger.domain.batch.events import BatchSheetIssued
from ledger.errors import Refused, UnknownThing
from ledger.store.ids import uuid7

TRIES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Issued:
    """A sheet that was kept: its batch, and the entries it stands in. repeated: it had been kept before under the same command id."""

    planned: Planned
    batch: str
    first: int
    last: int
    repeated: bool = False


def issue(ledger: Ledger, ask: Ask, actor: str = "", command_id: str = "") -> Issued:
    """Plan, open the batch and keep the sheet: all in one transaction, or nothing.

    A command id that comes again gets the sheet that was kept the first time. A sheet for a later day opens its batch today, under
    today's code: nothing in the ledger is dated in the future. A boiling-water reading that was given is kept as a thermometer check.

    Raises:
        what `plan` raises; Refused: the batch named is closed or of another flavour.
    """
    before = _already(ledger, command_id) if command_id else None
    if before is not None:
        return before
    command = command_id or uuid7()
    for attempt in range(TRIES):
        planned = plan(ledger, ask)
        batch = planned.sheet.batch
        if ask.batch:
            _check_open(ledger, planned, ask.batch)
        opened = min(planned.sheet.planned_for, ledger.today())
        sheet = IssueSheet(day=opened, batch=batch, sheet=sheet_to_plain(planned.sheet))
        orders = [Order(sheet, actor, f"{command}-sheet")]
        if not ask.batch:
            start = OpenBatch(day=opened, flavour=planned.flavour, design=planned.design, batch=batch)
            orders.insert(0, Order(start, actor, command))
        orders += _checked(ledger, ask, planned, Order(None, actor, f"{command}-check"), opened)
        try:
            outcomes = ledger.do_all(orders)
        except Refused:
            taken = not ask.batch and not ledger.queries.batches(names=[batch]).empty
            if not taken or attempt == TRIES - 1:
                raise
            continue
        return Issued(planned=planned, batch=batch, first=outcomes[0].first, last=outcomes[-1].last)
    raise AssertionError("unreachable")


def _checked(ledger: Ledger, ask: Ask, planned: Planned, order: Order, day: str) -> list[Order]:
    """A reading that the sheet was planned with is a thermometer check, and is kept as one. Not where nothing says what to expect."""
    book = ledger.book()
    around = surroundings(book, ask)
    if ask.water_reads_mc is None or (around.altitude_m is None and around.barometer_pa is None):
        return []
    said = ask.water_said or quantities.temperature_text(ask.water_reads_mc, planned.units)
    check = CheckThermometer(
        day=day, station=planned.kettle, reading_mc=ask.water_reads_mc, expected_mc=water_boils_here(around).mc, reading=said,
        by=order.actor, note=f"for the sheet of batch {planned.sheet.batch}",
    )  # fmt: skip
    return [order._replace(command=check)]


def _check_open(ledger: Ledger, planned: Planned, batch: str) -> None:
    found = ledger.queries.batches(names=[batch])
    if found.empty:
        raise UnknownThing(
            f"There is no batch `{batch}`; leave it out and the next code is given.", kind="batch", id=batch
        )
    row = found.iloc[0]
    if row["status"] != "open":
        raise Refused(f"Batch {batch} is {row['status']}: no sheet can be issued for it.", batch=batch)
    if row["flavour"] != planned.flavour or row["design"] != planned.design:
        raise Refused(
            f"Batch {batch} was opened for {row['flavour']} {row['design']}, not {planned.flavour} {planned.design}. "
            "Void its opening, or plan what it was opened for.",
            batch=batch,
        )


def _already(ledger: Ledger, command_id: str) -> Issued | None:
    entries = ledger.queries.answered(f"{command_id}-sheet")
    if entries is None:
        return None
    position = entries[0]
    event = ledger.queries.event(position)
    if not isinstance(event, BatchSheetIssued):
        return None
    units, paper = how_printed(ledger.book())
    sheet = sheet_from_plain(event.sheet)
    planned = Planned(
        sheet=sheet, notes=(), units=units, paper=paper, flavour=event.flavour, design=event.design, kettle="", pack=""
    )
    return Issued(planned=planned, batch=event.batch, first=position, last=position, repeated=True)


def kept(ledger: Ledger, batch: str, known: int | None = None) -> BatchSheet:
    """The newest sheet of a batch (as known at a position).

    Raises:
        UnknownThing: no such batch, or no sheet was issued for it.
    """
    papers = [event for at, event in ledger.queries.papers("sheet", batch) if known is None or at <= known]
    if not papers:
        if ledger.queries.batches(names=[batch]).empty:
            raise UnknownThing(f"There is no batch `{batch}` in this ledger.", kind="batch", id=batch)
        raise UnknownThing(
            f"No sheet was issued for batch {batch}. Issue one with `slabbook sheet DESIGN --batch {batch} --packs 40`.",
            kind="sheet", id=batch,
        )  # fmt: skip
    return sheet_from_plain(papers[-1].sheet)


__all__ = ["Ask", "Issued", "Planned", "air", "how_printed", "issue", "kept", "plan"]
