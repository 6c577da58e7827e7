"""Rules of receiving, counting, sampling, scrapping, holding and releasing lots."""

from __future__ import annotations

from typing import Any

from ledger.domain.books import entries as e
from ledger.domain.codes import RECEIPT_LETTER, check_code, day_code, next_lot_code
from ledger.domain.derive import derive
from ledger.domain.lots import commands as c
from ledger.domain.lots.events import LotCounted, LotReceived, LotSampled, LotScrapped, LotsHeld, LotsReleased
from ledger.domain.parts import ALL, SHARE, WEIGHED, Flag, Give, Take
from ledger.domain.state import Lot, State, need_lot
from ledger.errors import BadInput, Refused
from ledger.quantities import mass_text


def receive(cmd: c.ReceiveLot, state: State) -> list[Any]:
    """Goods come in. BadInput for no mass, a cost below zero or a code that fits no label; Refused for a lot code in use; UnknownThing for a
    material that is not in the book."""
    material = state.book.get(e.Material, cmd.material)
    if cmd.mass_mg <= 0:
        raise BadInput("Received goods need a mass above zero, such as `25 kg`.", value=cmd.mass_mg)
    if cmd.cost < 0:
        raise BadInput("The cost of a receipt cannot be below zero.", value=cmd.cost)
    lot = cmd.lot
    if not lot:
        stem = f"{RECEIPT_LETTER}{day_code(cmd.day)}-"
        number, lot = 1, next_lot_code(stem, "", set())
        while state.lot(lot) is not None:
            number += 1
            lot = f"{stem}{number}"
    check_code(lot, "lot")
    if state.lot(lot) is not None:
        raise Refused(f"Lot {lot} exists already. Leave the code out and the next is given.", lot=lot)
    flags: tuple[Flag, ...] = ()
    if cmd.best_before and cmd.best_before < cmd.day:
        flags = (Flag(code="past-date", text=f"Lot {lot} ({material.name}) came in past its date {cmd.best_before}."),)
    give = Give(
        lot=lot,
        kind="material",
        mass_mg=cmd.mass_mg,
        item=material.id,
        best_before=cmd.best_before,
        cost=cmd.cost,
        entered=cmd.entered,
    )
    return [
        LotReceived(
            day=cmd.day, gives=(give,), partner=cmd.supplier, supplier_lot=cmd.supplier_lot, document=cmd.document,
            carrier=cmd.carrier, gtin=cmd.gtin, note=cmd.note, flags=flags,
        )
    ]  # fmt: skip


def count(cmd: c.CountLot, state: State) -> list[Any]:
    """A stock-take. The difference to the books is posted to `unexplained` and flagged when it is more than 1 %."""
    given = [x for x in (cmd.mass_mg, cmd.pieces, cmd.packs) if x is not None]
    if len(given) != 1:
        raise BadInput("A count says one thing: the mass, or the pieces, or the packs found.", given=len(given))
    lot = need_lot(state, cmd.lot)
    counted = "mass" if cmd.mass_mg is not None else "packs" if cmd.packs is not None else "pieces"
    if counted == "packs" and lot.kind != "packs":
        raise BadInput(f"Lot {lot.lot} holds {lot.kind}, which are not packs; count its mass.", lot=lot.lot)
    found, held = given[0], getattr(lot, "mass_mg" if counted == "mass" else counted)
    shown = mass_text if counted == "mass" else lambda n: f"{n} {counted}"
    flags: tuple[Flag, ...] = ()
    if abs(found - held) * 100 > held:
        flags = (Flag(code="count", text=f"Lot {lot.lot}: {shown(found)} found, the books said {shown(held)}."),)
    event = LotCounted(
        day=cmd.day, lot=lot.lot, found_mg=cmd.mass_mg or 0, found_pieces=cmd.pieces or 0, found_packs=cmd.packs or 0, counted=counted,
        note=cmd.note, flags=flags,
    )  # fmt: skip
    return [derive(event, state)]


def _some_of(lot: Lot, mass_mg: int, pieces: int, packs: int, entered: str) -> Take:
    if mass_mg and (pieces or packs):
        raise BadInput("Give a mass or a count, not both.", mass_mg=mass_mg)
    if packs:
        return Take(lot=lot.lot, packs=packs, basis=SHARE, entered=entered)
    if pieces:
        return Take(lot=lot.lot, pieces=pieces, basis=SHARE, entered=entered)
    if mass_mg:
        if lot.kind == "packs":
            raise BadInput(f"Lot {lot.lot} holds packs; say how many packs.", lot=lot.lot)
        return Take(lot=lot.lot, mass_mg=mass_mg, basis=WEIGHED, entered=entered)
    return Take(lot=lot.lot, basis=ALL)


def sample(cmd: c.SampleLot, state: State) -> list[Any]:
    """Some leaves for tasting or the record."""
    lot = need_lot(state, cmd.lot)
    if not (cmd.mass_mg or cmd.pieces or cmd.packs):
        raise BadInput("Say how much was sampled, such as `40 g` or `6 pieces`.")
    take = _some_of(lot, cmd.mass_mg, cmd.pieces, cmd.packs, cmd.entered)
    event = LotSampled(
        day=cmd.day,
        batch=lot.batch,
        flavour=lot.flavour,
        design=lot.design,
        takes=(take,),
        partner=cmd.purpose,
        note=cmd.note,
    )
    return [derive(event, state)]


def scrap(cmd: c.ScrapLot, state: State) -> list[Any]:
    """Some is thrown away; held lots may be scrapped too."""
    lot = need_lot(state, cmd.lot)
    if not cmd.cause:
        raise BadInput("Scrap needs a cause (damp, past date, broken, recall, ...).")
    take = _some_of(lot, cmd.mass_mg, cmd.pieces, cmd.packs, cmd.entered)
    event = LotScrapped(
        day=cmd.day,
        batch=lot.batch,
        flavour=lot.flavour,
        design=lot.design,
        takes=(take,),
        partner=cmd.cause,
        note=cmd.note,
    )
    return [derive(event, state)]


def hold(cmd: c.HoldLots, state: State) -> list[Any]:
    """Put lots aside; lots held already are left as they are."""
    if not cmd.reason.strip():
        raise BadInput("A hold needs a reason.")
    lots = tuple(code for code in cmd.lots if not need_lot(state, code).held)
    return [LotsHeld(day=cmd.day, lots=lots, reason=cmd.reason.strip(), recall=cmd.recall)] if lots else []


def release(cmd: c.ReleaseLots, state: State) -> list[Any]:
    """Let held lots go; lots not held are left as they are."""
    lots = tuple(code for code in cmd.lots if need_lot(state, code).held)
    return [LotsReleased(day=cmd.day, lots=lots, reason=cmd.reason, recall=cmd.recall)] if lots else []


__all__ = ["count", "hold", "receive", "release", "sample", "scrap"]
