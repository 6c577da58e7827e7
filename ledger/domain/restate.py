"""An entry told again as the command it came from, so that a person can correct one figure and keep the rest."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import msgspec

from ledger.domain.batch import commands as bc
from ledger.domain.batch import events as be
from ledger.domain.lots import commands as lc
from ledger.domain.lots import events as le
from ledger.domain.movement import Movement
from ledger.domain.parts import DERIVED, NOMINAL, WEIGHED, Take
from ledger.domain.season import commands as sc
from ledger.domain.season.events import OverrideMade
from ledger.domain.shelf import commands as shc
from ledger.domain.shelf import events as she
from ledger.errors import Refused

_STEP = {
    be.Cooked: bc.Cook, be.Pulled: bc.Pull, be.Blended: bc.Blend, be.Built: bc.Build, be.Rolled: bc.Roll, be.Cut: bc.CutRods,
}  # fmt: skip
_PAPERS = {she.RanOut: shc.NoteRunOut, she.PromotionPlanned: shc.PlanPromotion, OverrideMade: sc.MakeOverride}
"""Entries that say word for word what their command said."""


def command_of(event: Any) -> Any:
    """The command that says what this entry says. Raises Refused for entries that are not corrected by restating."""
    step = _STEP.get(type(event))
    if step is not None:
        names = {f.name for f in fields(step)}
        return step(**{f.name: getattr(event, f.name) for f in fields(event) if f.name in names})
    if isinstance(event, be.Packed):
        packs = next(g for g in event.gives if g.kind == "packs")
        weighed = any(t.basis == WEIGHED for t in event.takes)
        return bc.PackUp(
            day=event.day, batch=event.batch, pack=event.pack, packs=packs.packs, takes=event.takes if weighed else (),
            losses=event.losses, work=event.work, station=event.station, started=event.started, ended=event.ended, note=event.note,
        )  # fmt: skip
    if isinstance(event, be.BatchOpened):
        return bc.OpenBatch(
            day=event.day,
            flavour=event.flavour,
            design=event.design,
            batch=event.batch,
            recipe=event.recipe,
            note=event.note,
        )
    if isinstance(event, be.Worked):
        return bc.RecordWork(
            day=event.day, work=event.work, task=event.task, batch=event.batch, station=event.station, note=event.note
        )
    if isinstance(event, be.BatchClosed):
        return bc.CloseBatch(day=event.day, batch=event.batch, note=event.note)
    return _other(event)


def _other(event: Any) -> Any:
    if isinstance(event, le.LotReceived):
        give = event.gives[0]
        return lc.ReceiveLot(
            day=event.day, material=give.item, mass_mg=give.mass_mg, supplier=event.partner, lot=give.lot,
            supplier_lot=event.supplier_lot, best_before=give.best_before, cost=give.cost, document=event.document,
            carrier=event.carrier, gtin=event.gtin, entered=give.entered, note=event.note,
        )  # fmt: skip
    if isinstance(event, le.LotCounted):
        found = {"mass": "mass_mg", "pieces": "pieces", "packs": "packs"}[event.counted]
        value = {"mass": event.found_mg, "pieces": event.found_pieces, "packs": event.found_packs}[event.counted]
        return lc.CountLot(day=event.day, lot=event.lot, note=event.note, **{found: value})  # type: ignore[arg-type]
    if isinstance(event, le.LotSampled):
        return lc.SampleLot(
            day=event.day, lot=event.takes[0].lot, purpose=event.partner, note=event.note, **_amount(event.takes[0])
        )
    if isinstance(event, le.LotScrapped):
        return lc.ScrapLot(
            day=event.day, lot=event.takes[0].lot, cause=event.partner, note=event.note, **_amount(event.takes[0])
        )
    paper = _PAPERS.get(type(event))
    if paper is not None:
        return paper(**{f.name: getattr(event, f.name) for f in fields(event)})
    packs = sum(t.packs for t in getattr(event, "takes", ()))
    lot = event.takes[0].lot if isinstance(event, Movement) and len(event.takes) == 1 else ""
    if isinstance(event, she.Sold):
        return shc.Sell(
            day=event.day,
            pack=event.pack,
            packs=packs,
            channel=event.channel,
            lot=lot,
            amount=event.money,
            note=event.note,
        )
    if isinstance(event, she.Shipped):
        return shc.Ship(
            day=event.day, pack=event.pack, packs=packs, customer=event.partner, channel=event.channel, lot=lot, amount=event.money,
            document=event.document, carrier=event.carrier, note=event.note,
        )  # fmt: skip
    if isinstance(event, she.Returned):
        give = event.gives[0]
        return shc.TakeBack(
            day=event.day, lot=give.lot, packs=give.packs, customer=event.partner, channel=event.channel, amount=-event.money,
            document=event.document, note=event.note,
        )  # fmt: skip
    raise Refused(f"A `{type(event).__name__}` entry is not amended; void it, or record what happened next.")


def _amount(take: Take) -> dict[str, Any]:
    if take.basis == WEIGHED:
        return {"mass_mg": take.mass_mg, "entered": take.entered}
    if take.basis == NOMINAL or take.packs:
        return {"packs": take.packs}
    return {"pieces": take.pieces} if take.pieces else {"mass_mg": take.mass_mg}


def restate(event: Any) -> dict[str, Any]:
    """The same as plain values under the canonical field names, with the command's `name`; figures that were derived are left out."""
    command = command_of(event)
    data: dict[str, Any] = {k: list(v) if isinstance(v, tuple) else v for k, v in msgspec.to_builtins(command).items()}
    for part in data.get("gives", []):
        if part["basis"] == DERIVED:
            part.pop("mass_mg", None)
        part.pop("cost", None)
    for part in data.get("takes", []):
        part.pop("cost", None)
        part.pop("solids_ppm", None)
        if part["basis"] == "all":
            for name in ("mass_mg", "pieces", "packs"):
                part.pop(name, None)
    for part in data.get("work", []):
        part.pop("rate", None)
    return {"name": command.name, **data}


def set_field(data: dict[str, Any], path: str, value: Any) -> None:
    """Put a figure into restated data: `end_temperature`, `gives.1.mass`, `work.0.time`. Raises Refused for a path that leads nowhere."""
    *way, last = path.split(".")
    place: Any = data
    try:
        for key in way:
            place = place[int(key)] if isinstance(place, list) else place[key]
        if isinstance(place, list):
            place[int(last)] = value
            return
    except (KeyError, IndexError, ValueError, TypeError) as error:
        raise _nowhere(path, data) from error
    if not isinstance(place, dict):
        raise _nowhere(path, data)
    for suffix in ("_mg", "_um", "_mc"):
        if place.pop(last + suffix, None) is not None and suffix == "_mg" and "basis" in place:
            place["basis"] = WEIGHED
    if last == "mass" and "basis" in place:
        place["basis"] = WEIGHED
        place.pop("entered", None)
    if last == "time":
        place.pop("seconds", None)
    place[last] = value


def _nowhere(path: str, data: dict[str, Any]) -> Refused:
    return Refused(f"`{path}` leads nowhere in this entry; its fields are {', '.join(data)}.", path=path)
