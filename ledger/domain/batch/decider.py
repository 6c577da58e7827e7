"""Rules of the floor: which step may follow, what may go into it, and what an entry says once everything is worked out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from ledger.craft.water import pressure_at_altitude, water_boils_at
from ledger.domain.batch import commands as c
from ledger.domain.batch.events import (
    BatchClosed,
    BatchOpened,
    BatchSheetIssued,
    Blended,
    Built,
    Cooked,
    Cut,
    FlagAnswered,
    Packed,
    Pulled,
    Rolled,
    ThermometerChecked,
    Worked,
)  # fmt: skip
from ledger.domain.batch.watch import watch
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.domain.codes import LOT_LETTER, REBOIL_LETTER, check_code, next_batch_code, next_lot_code
from ledger.domain.derive import derive
from ledger.domain.movement import Movement
from ledger.domain.parts import ALL, DERIVED, NOMINAL, Flag, Give, Loss, Take, Work
from ledger.domain.state import Batch, Lot, State, need_batch, need_lot
from ledger.errors import BadInput, Refused
from ledger.quantities import mass_text, temperature_text

EVENT_OF: dict[type, Any] = {
    c.Cook: Cooked, c.Pull: Pulled, c.Blend: Blended, c.Build: Built, c.Roll: Rolled, c.CutRods: Cut, c.PackUp: Packed,
}  # fmt: skip
MAY_TAKE = {
    "cook": ("material", "reboil"), "pull": ("mass",), "blend": ("mass",), "build": ("mass", "log"), "roll": ("log", "mass"),
    "cut": ("rods",), "pack": ("pieces",),
}  # fmt: skip
MAKES = {
    "cook": "mass",
    "pull": "mass",
    "blend": "mass",
    "build": "log",
    "roll": "rods",
    "cut": "pieces",
    "pack": "packs",
}
TREATMENT = {"cook": "clear", "pull": "pulled", "blend": "blended"}
EARLIER = {"pull": "cook", "blend": "cook", "build": "cook", "roll": "build", "cut": "roll", "pack": "cut"}
_PREVIOUS_LOT = {"roll": "log", "cut": "rods", "pack": "pieces"}
PPM = 1_000_000


def open_batch(cmd: c.OpenBatch, state: State) -> list[Any]:
    """Open a batch. Refused when the code is taken; UnknownThing for a flavour, design or recipe not in the book."""
    flavour = state.book.get(e.Flavour, cmd.flavour)
    design = state.book.get(e.Design, cmd.design) if cmd.design else None
    recipe = state.book.get(e.Recipe, cmd.recipe) if cmd.recipe else state.book.recipe_of(cmd.flavour)
    if recipe is None:
        raise Refused(
            f"Flavour `{cmd.flavour}` has no recipe in the book. Enter one with `slabbook book load FILE` or on the Book page.",
            flavour=cmd.flavour,
        )
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
    return [
        BatchOpened(
            day=cmd.day, batch=code, flavour=flavour.id, design=cmd.design, recipe=recipe.id,
            recipe_version=state.book.version(e.Recipe, recipe.id), end_temperature_mc=recipe.end_temperature_mc,
            temperature_tolerance_mc=recipe.temperature_tolerance_mc, moisture_ppm=recipe.moisture_ppm,
            moisture_low_ppm=recipe.moisture_low_ppm, moisture_high_ppm=recipe.moisture_high_ppm,
            process_yield_ppm=recipe.process_yield_ppm, unexplained_ppm=recipe.unexplained_ppm,
            piece_mg=design.piece_mg if design else 0, plan_line=cmd.plan_line, note=cmd.note,
        )
    ]  # fmt: skip


def step(cmd: c.StepCommand, state: State) -> list[Any]:
    """Record one step of a batch: refuse what cannot be, work out the rest, flag what is strange."""
    event = derive(state_step(cmd, state), state)
    strange = watch(event, need_batch(state, cmd.batch), state)
    return [replace(event, flags=(*event.flags, *strange)) if strange else event]


def state_step(cmd: c.StepCommand, state: State) -> Movement:
    """The entry as stated, with codes, defaults and flags filled in but nothing worked out yet."""
    kind = EVENT_OF[type(cmd)]
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
    before = EARLIER.get(name)
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
        date = add_days(cmd.day, pack.best_before_days)
        lot = stated[0].lot if stated else ""
        own = stated[0].best_before if stated else ""
        stated = (Give(lot=lot, kind="packs", packs=cmd.packs, item=pack.id, best_before=own or date, basis=DERIVED),)
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
                portion=give.portion, colour=give.colour, treatment=give.treatment or TREATMENT.get(name, ""),
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


def boiling_drop_mc(altitude_m: int) -> int:
    """How far below 100 °C water boils at a height, in thousandths: an end temperature given for sea level comes down by as much."""
    return round((water_boils_at(pressure_at_altitude(0)) - water_boils_at(pressure_at_altitude(altitude_m))) * 1000)


def add_days(day: str, days: int) -> str:
    """The ISO day so many days later."""
    from datetime import date, timedelta

    return (date.fromisoformat(day) + timedelta(days=days)).isoformat()


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
    if over > 100_000:
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
