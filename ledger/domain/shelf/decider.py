"""Rules of the shelf: what may be sold, from which lot, and what may come back."""

from __future__ import annotations

from typing import Any

from ledger.domain.books import entries as e
from ledger.domain.derive import derive
from ledger.domain.parts import SHARE, Flag, Give, Take
from ledger.domain.shelf import commands as c
from ledger.domain.shelf.events import PromotionPlanned, RanOut, Returned, Shipped, Sold
from ledger.domain.state import State, need_lot
from ledger.errors import BadInput, NotEnough, Refused
from ledger.quantities import time_span, time_span_text

KNOWN_AHEAD = ("promotion", "closure", "bulk", "show")
"""What can be known ahead of a day."""


def first_expired_first(
    pack: str, packs: int, state: State, day: str, lot: str = ""
) -> tuple[tuple[Take, ...], tuple[Flag, ...]]:
    """The lots that packs come from: the named one, or first expired first out. Raises NotEnough, Refused (held)."""
    if packs <= 0:
        raise BadInput(f"{packs} packs cannot leave the shelf; give a number above zero.", value=packs)
    if lot:
        found = need_lot(state, lot)
        if found.kind != "packs" or found.item != pack:
            raise Refused(f"Lot {lot} does not hold pack `{pack}` but {found.item or found.kind}.", lot=lot, pack=pack)
        if found.held:
            raise Refused(
                f"Lot {lot} is held ({found.held}) and may not be sold. Release it first, or sell another lot.", lot=lot
            )
        chosen = [found]
    else:
        chosen = [x for x in state.lots_of_item(pack) if x.packs and not x.held]
    takes, need = [], packs
    flags: list[Flag] = []
    for candidate in chosen:
        part = min(need, candidate.packs)
        if part:
            takes.append(Take(lot=candidate.lot, packs=part, basis=SHARE))
            need -= part
            if candidate.best_before and candidate.best_before < day:
                flags.append(
                    Flag(
                        code="past-date",
                        text=f"Lot {candidate.lot} left the shelf past its date {candidate.best_before}.",
                    )
                )
        if not need:
            break
    if need:
        there = sum(x.packs for x in chosen)
        where = f"lot {lot}" if lot else f"all free lots of `{pack}`"
        raise NotEnough(
            f"{packs} packs were asked for, but {where} hold {there}. Count the shelf (`slabbook count LOT --packs N`) or record the packing first.",
            asked=packs, held=there, pack=pack,
        )  # fmt: skip
    return tuple(takes), tuple(flags)


def sell(cmd: c.Sell, state: State) -> list[Any]:
    """Packs are sold over a channel."""
    pack = state.book.get(e.Pack, cmd.pack)
    state.book.get(e.Channel, cmd.channel)
    takes, flags = first_expired_first(cmd.pack, cmd.packs, state, cmd.day, cmd.lot)
    event = Sold(
        day=cmd.day, flavour=pack.flavour, design=pack.design, takes=takes, channel=cmd.channel, pack=pack.id, money=cmd.amount,
        note=cmd.note, flags=flags,
    )  # fmt: skip
    return [derive(event, state)]


def ship(cmd: c.Ship, state: State) -> list[Any]:
    """Packs go to a business customer."""
    pack = state.book.get(e.Pack, cmd.pack)
    customer = state.book.get(e.Partner, cmd.customer)
    takes, flags = first_expired_first(cmd.pack, cmd.packs, state, cmd.day, cmd.lot)
    event = Shipped(
        day=cmd.day, flavour=pack.flavour, design=pack.design, takes=takes, partner=customer.id, channel=cmd.channel or customer.channel,
        pack=pack.id, money=cmd.amount, document=cmd.document, carrier=cmd.carrier, note=cmd.note, flags=flags,
    )  # fmt: skip
    return [derive(event, state)]


def take_back(cmd: c.TakeBack, state: State) -> list[Any]:
    """Packs come back into their lot, at the mass and cost they left with. Refused for more than ever left."""
    lot = need_lot(state, cmd.lot)
    if lot.kind != "packs" or not lot.made_packs:
        raise Refused(f"Lot {lot.lot} holds {lot.kind}; only packs come back.", lot=lot.lot)
    if cmd.packs <= 0 or lot.packs + cmd.packs > lot.made_packs:
        raise NotEnough(
            f"{cmd.packs} packs cannot come back to lot {lot.lot}: {lot.made_packs} were made and {lot.packs} are still here.",
            asked=cmd.packs, held=lot.made_packs - lot.packs,
        )  # fmt: skip
    give = Give(
        lot=lot.lot, kind="packs", item=lot.item, packs=cmd.packs, mass_mg=lot.made_mg * cmd.packs // lot.made_packs,
        pieces=lot.made_pieces * cmd.packs // lot.made_packs, basis="nominal",
    )  # fmt: skip
    return [
        Returned(
            day=cmd.day, batch="", flavour=lot.flavour, design=lot.design, gives=(give,), partner=cmd.customer, channel=cmd.channel,
            pack=lot.item, money=-cmd.amount, document=cmd.document, note=cmd.note,
        )
    ]  # fmt: skip


def note_run_out(cmd: c.NoteRunOut, state: State) -> list[Any]:
    """A flavour was gone from a channel."""
    state.book.get(e.Flavour, cmd.flavour)
    return [
        RanOut(day=cmd.day, flavour=cmd.flavour, channel=cmd.channel, until_day=cmd.until_day or cmd.day, note=cmd.note)
    ]


def plan_promotion(cmd: c.PlanPromotion, state: State) -> list[Any]:
    """A promotion, closure, bulk order or show is known. Refused where its kind needs a field that is not there."""
    if cmd.to_day < cmd.from_day:
        raise BadInput(
            f"The last day {cmd.to_day} lies before the first, {cmd.from_day}. Turn them round.",
            value=cmd.to_day,
            limit=cmd.from_day,
        )
    kind = {"bulk order": "bulk"}.get(cmd.kind, cmd.kind)
    if kind not in KNOWN_AHEAD:
        raise BadInput(f"`{cmd.kind}` is not known ahead; give one of {', '.join(KNOWN_AHEAD)}.", value=cmd.kind)
    if cmd.flavour:
        state.book.get(e.Flavour, cmd.flavour)
    if cmd.channel:
        state.book.get(e.Channel, cmd.channel)
    if kind == "bulk" and not (cmd.units > 0 and cmd.flavour and cmd.channel):
        raise BadInput(
            "A bulk order needs how many packs (`units`, from 1 on), its flavour and its channel.", value=cmd.units
        )
    if kind == "show" and not cmd.at:
        raise BadInput("A show needs from when to when (`at`), such as `14:00-15:30`.")
    if kind == "closure" and cmd.flavour:
        raise BadInput(
            "A closure shuts the shop, or one channel of it, for every flavour. A flavour that is gone is a run-out (`run-out`); leave `flavour` out.",
            value=cmd.flavour,
        )
    if cmd.units and kind != "bulk":
        raise BadInput(f"Only a bulk order has packs; a {kind} has none. Leave `units` out.", value=cmd.units)
    if cmd.at and kind != "show":
        raise BadInput(f"Only a show has a time of day; a {kind} lasts whole days. Leave `at` out.", value=cmd.at)
    return [
        PromotionPlanned(
            day=cmd.day,
            from_day=cmd.from_day,
            to_day=cmd.to_day,
            flavour=cmd.flavour,
            channel=cmd.channel,
            kind=kind,
            units=cmd.units,
            at=time_span_text(*time_span(cmd.at)) if cmd.at else "",
            note=cmd.note,
        )
    ]
