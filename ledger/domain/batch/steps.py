"""What a person says of one step of a batch, as the entry it becomes: which lots may go in, what comes out, what is usual.

Refuses what cannot be, gives codes and defaults, and flags a lot past its date or an end temperature off the recipe. Nothing is
worked out here from what lots hold: that is ``derive.py``.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from ledger.craft.water import boiling_drop_mc
from ledger.domain.batch import commands as c
from ledger.domain.batch.events import Blended, Built, Cooked, Cut, Packed, Pulled, Rolled
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.domain.codes import LOT_LETTER, REBOIL_LETTER, check_code, next_lot_code
from ledger.domain.movement import Movement
from ledger.domain.parts import ALL, DERIVED, NOMINAL, Flag, Give, Loss, Take, Work
from ledger.domain.state import Batch, Lot, State, need_batch, need_lot
from ledger.errors import BadInput, Refused
from ledger.quantities import mass_text, temperature_text

_EVENT_OF: dict[type, Any] = {
    c.Cook: Cooked, c.Pull: Pulled, c.Blend: Blended, c.Build: Built, c.Roll: Rolled, c.CutRods: Cut, c.PackUp: Packed,
}  # fmt: skip
MAY_TAKE = {
    "cook": ("material", "reboil"), "pull": ("mass",), "blend": ("mass",), "build": ("mass", "log"), "roll": ("log", "mass"),
    "cut": ("rods",), "pack": ("pieces",),
}  # fmt: skip
"""Kinds of lot that each step may use."""
MAKES = {
    "cook": "mass",
    "pull": "mass",
    "blend": "mass",
    "build": "log",
    "roll": "rods",
    "cut": "pieces",
    "pack": "packs",
}
"""The kind of lot that each step makes, beside re-boil."""
_TREATMENT = {"cook": "clear", "pull": "pulled", "blend": "blended"}
_EARLIER = {"pull": "cook", "blend": "cook", "build": "cook", "roll": "build", "cut": "roll", "pack": "cut"}
PPM = 1_000_000


def as_stated(cmd: c.StepCommand, state: State) -> Movement:
    """The entry as stated, with codes, defaults and flags filled in but nothing worked out yet.

    Raises:
        Refused: the batch is not open, the day lies before its opening, a lot is of the wrong kind, of another batch or held, or a
            code is in use.
        BadInput: a portion that was not poured, scrap without a cause, hands longer than a day, inputs that nobody named.
        UnknownThing: a lot, batch, pack, worker or station that the ledger does not know.
    """
    kind = _EVENT_OF[type(cmd)]
    name = kind.step
    batch = need_batch(state, cmd.batch)
    if batch.status != "open":
        raise Refused(
            f"Batch {batch.batch} is {batch.status}; no {name} can be recorded on it. Void its closing first if it was closed too soon.",
            batch=batch.batch, status=batch.status,
        )  # fmt: skip
    if cmd.day < batch.day:
        raise Refused(
            f"This {name} is dated {cmd.day}, before batch {batch.batch} was opened on {batch.day}. Correct the day.",
            day=cmd.day,
        )
    takes, flags = _takes(cmd, name, batch, state)
    fields: dict[str, Any] = {
        "day": cmd.day, "batch": batch.batch, "flavour": batch.flavour, "design": batch.design, "station": _station(cmd, state),
        "takes": takes, "losses": _losses(cmd.losses), "work": staff(cmd.work, state.book), "started": cmd.started,
        "ended": cmd.ended, "note": cmd.note, "unexplained_ppm": batch.unexplained_ppm,
    }  # fmt: skip
    fields["gives"] = _gives(cmd, name, batch, state)
    if isinstance(cmd, c.Cook):
        if not any(t.solids_ppm for t in takes):
            raise Refused(
                "A cook needs sugar or syrup with dry solids among its inputs; none was given.", batch=batch.batch
            )
        _into_named(takes, fields["gives"], batch)
        fields |= {
            "water_mg": cmd.water_mg, "end_temperature_mc": cmd.end_temperature_mc, "end_temperature": cmd.end_temperature,
            "moisture_ppm": batch.moisture_ppm, "moisture_low_ppm": batch.moisture_low_ppm, "moisture_high_ppm": batch.moisture_high_ppm,
        }  # fmt: skip
        flags += _temperature_flag(cmd, batch, state.book)
    elif isinstance(cmd, (c.Build, c.Roll)):
        fields["diameter_um"] = cmd.diameter_um
        if isinstance(cmd, c.Build):
            fields["length_um"] = cmd.length_um
    elif isinstance(cmd, c.CutRods):
        fields["piece_um"] = cmd.piece_um
    elif isinstance(cmd, c.PackUp):
        fields |= {"pack": cmd.pack, "net_mg": state.book.get(e.Pack, cmd.pack).net_mg}
    fields["flags"] = tuple(flags)
    movement: Movement = kind(**fields)
    return movement


def _into_named(takes: tuple[Take, ...], gives: tuple[Give, ...], batch: Batch) -> None:
    named = {g.portion for g in gives}
    for take in takes:
        if take.portion and take.portion not in named:
            poured = ", ".join(f"`{x}`" for x in sorted(named) if x) or "none with a name"
            raise BadInput(
                f"Lot {take.lot} is said to go into portion `{take.portion}`, but no such portion was poured (poured: {poured}). "
                "Correct the name, or leave it out: then it went into all of them.",
                value=take.portion, batch=batch.batch,
            )  # fmt: skip


def _takes(cmd: c.StepCommand, name: str, batch: Batch, state: State) -> tuple[tuple[Take, ...], list[Flag]]:
    allowed = MAY_TAKE[name]
    stated = cmd.takes or _usual_takes(cmd, name, batch, state)
    takes, flags = [], []
    for take in stated:
        lot = need_lot(state, take.lot)
        if lot.kind not in allowed:
            raise Refused(
                f"A {name} cannot use lot {lot.lot}: it holds {lot.kind}, and a {name} takes {' or '.join(allowed)}. "
                f"{_way_out(name, batch)}",
                lot=lot.lot, kind=lot.kind, allowed=allowed,
            )  # fmt: skip
        if lot.batch and lot.batch != batch.batch and lot.kind != "reboil":
            raise Refused(
                f"Lot {lot.lot} belongs to batch {lot.batch}, not to {batch.batch}. Only re-boil may cross from batch to batch.",
                lot=lot.lot, batch=lot.batch,
            )  # fmt: skip
        if lot.held:
            raise Refused(
                f"Lot {lot.lot} is held ({lot.held}); nothing may leave it. Take another lot, or release it first "
                f"(`slabbook release {lot.lot}`).",
                lot=lot.lot, held=lot.held,
            )  # fmt: skip
        if lot.best_before and lot.best_before < cmd.day:
            flags.append(
                Flag(
                    code="past-date", text=f"Lot {lot.lot} ({lot.item}) was past its date {lot.best_before} when used."
                )
            )
        if name == "cook":
            take = replace(take, solids_ppm=_solids(lot, batch, state.book))
        takes.append(take)
    return tuple(takes), flags


def _usual_takes(cmd: c.StepCommand, name: str, batch: Batch, state: State) -> tuple[Take, ...]:
    if name == "cook":
        raise BadInput("A cook needs its inputs: name each lot with what was weighed from it.", batch=batch.batch)
    lots = [x for x in state.lots_of_batch(batch.batch) if x.kind in MAY_TAKE[name] and (x.mass_mg or x.pieces)]
    if name == "build":
        lots = [x for x in lots if x.kind == "mass"]
    if name == "roll" and any(x.kind == "log" for x in lots):
        lots = [x for x in lots if x.kind == "log"]
    if not lots:
        wanted = " or ".join(MAY_TAKE[name])
        raise Refused(
            f"There is nothing to {name} in batch {batch.batch}: it has no {wanted}. {_way_out(name, batch)}",
            batch=batch.batch,
        )
    if isinstance(cmd, c.PackUp):
        return _pieces_for(cmd, lots, state.book.get(e.Pack, cmd.pack))
    if name in ("pull", "blend") and len(lots) > 1:
        listed = ", ".join(f"{x.lot} ({x.portion or x.treatment}, {mass_text(x.mass_mg)})" for x in lots)
        raise BadInput(
            f"Batch {batch.batch} has several portions to {name}: {listed}. Name the one you mean.", batch=batch.batch
        )
    return tuple(Take(lot=x.lot, basis=ALL) for x in lots)


def _pieces_for(cmd: c.PackUp, lots: list[Lot], pack: e.Pack) -> tuple[Take, ...]:
    need, takes = cmd.packs * pack.net_mg, []
    for lot in lots:
        part = min(need, lot.mass_mg)
        if part:
            takes.append(Take(lot=lot.lot, mass_mg=part, basis=NOMINAL))
            need -= part
    if need:
        held = sum(x.mass_mg for x in lots)
        raise Refused(
            f"{cmd.packs} packs of {mass_text(pack.net_mg)} need {mass_text(cmd.packs * pack.net_mg)}; batch {cmd.batch} has "
            f"{mass_text(held)} of pieces. Pack at most {held // pack.net_mg}, or weigh the pieces again and amend the cut.",
            asked=cmd.packs, held_mg=held,
        )  # fmt: skip
    return tuple(takes)


def _way_out(name: str, batch: Batch) -> str:
    done = ", ".join(batch.steps.split()) or "none"
    before = _EARLIER.get(name)
    return f"Steps recorded so far: {done}." + (
        f" Record the {before} first." if before and before not in batch.steps.split() else ""
    )


def _solids(lot: Lot, batch: Batch, book: Book) -> int:
    if lot.kind == "reboil":
        return PPM - batch.moisture_ppm
    return book.get(e.Material, lot.item).solids_ppm


def _gives(cmd: c.StepCommand, name: str, batch: Batch, state: State) -> tuple[Give, ...]:
    stated = cmd.gives
    if isinstance(cmd, c.PackUp):
        pack = state.book.get(e.Pack, cmd.pack)
        if cmd.packs <= 0:
            raise BadInput(f"{cmd.packs} packs cannot be packed; give how many were filled.", value=cmd.packs)
        if pack.flavour != batch.flavour or (pack.design and batch.design and pack.design != batch.design):
            raise Refused(
                f"Pack `{pack.id}` is for {pack.flavour} {pack.design}, but batch {batch.batch} is {batch.flavour} {batch.design}. "
                "Choose the pack of this batch.",
                pack=pack.id, flavour=batch.flavour,
            )  # fmt: skip
        date_of_pack = (date.fromisoformat(cmd.day) + timedelta(days=pack.best_before_days)).isoformat()
        lot = stated[0].lot if stated else ""
        own = stated[0].best_before if stated else ""
        stated = (
            Give(lot=lot, kind="packs", packs=cmd.packs, item=pack.id, best_before=own or date_of_pack, basis=DERIVED),
        )
        stated += tuple(g for g in cmd.gives[1:])
    elif not any(g.kind != "reboil" for g in stated):
        stated = (Give(lot="", kind=MAKES[name], basis=DERIVED), *stated)
    taken = {x.lot for x in state.lots_of_batch(batch.batch)}
    gives = []
    for give in stated:
        if give.kind not in (MAKES[name], "reboil") or (name == "pack" and give.kind == "reboil"):
            raise Refused(f"A {name} makes {MAKES[name]} or re-boil, not {give.kind}.", kind=give.kind)
        code = give.lot or next_lot_code(
            batch.batch + "-", REBOIL_LETTER if give.kind == "reboil" else LOT_LETTER[name], taken
        )
        check_code(code, "lot")
        if code in taken or (give.lot and state.lot(code) is not None):
            raise Refused(
                f"Lot {code} exists already; a step makes new lots. Leave the code out and the next is given.", lot=code
            )
        taken.add(code)
        pieces, basis, mass = give.pieces, give.basis, give.mass_mg
        if give.kind == "pieces" and not pieces and batch.piece_mg and mass:
            pieces = mass // batch.piece_mg
        gives.append(
            Give(
                lot=code, kind=give.kind, mass_mg=mass, pieces=pieces, packs=give.packs, basis=basis, item=give.item,
                portion=give.portion, colour=give.colour, treatment=give.treatment or _TREATMENT.get(name, ""),
                best_before=give.best_before, entered=give.entered,
            )
        )  # fmt: skip
    return tuple(gives)


def _losses(losses: tuple[Loss, ...]) -> tuple[Loss, ...]:
    for loss in losses:
        if not loss.cause:
            raise BadInput("Scrap needs a cause (ends, crumbs, picture, kettle film, floor, ...).")
    return losses


def staff(work: tuple[Work, ...], book: Book) -> tuple[Work, ...]:
    """Hands on a step with their rate of the day. Refused for more than 24 h; UnknownThing for initials not in the book."""
    done = []
    for w in work:
        if not 0 < w.seconds <= 86_400:
            raise BadInput(
                f"{w.worker} cannot have worked {w.seconds} s on one step; give between 1 s and 24 h.", value=w.seconds
            )
        done.append(Work(worker=w.worker, seconds=w.seconds, rate=book.get(e.Worker, w.worker).rate))
    return tuple(done)


def _station(cmd: c.StepCommand, state: State) -> str:
    return state.book.get(e.Station, cmd.station).id if cmd.station else ""


def _temperature_flag(cmd: c.Cook, batch: Batch, book: Book) -> list[Flag]:
    if not cmd.end_temperature_mc:
        return []
    site = book.site()
    wanted = batch.end_temperature_mc - boiling_drop_mc(site.altitude_m)
    if abs(cmd.end_temperature_mc - wanted) <= batch.temperature_tolerance_mc:
        return []
    here = f" ({site.altitude_m} m above sea level)" if wanted != batch.end_temperature_mc else ""
    return [
        Flag(
            code="end-temperature",
            text=f"Cook ended at {temperature_text(cmd.end_temperature_mc, site.units)}; the recipe wants "
            f"{temperature_text(wanted, site.units)} here{here}, give or take {batch.temperature_tolerance_mc / 1000:.1f} °C.",
        )
    ]
