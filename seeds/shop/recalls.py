"""Two recalls: one in earnest (a flavour with an allergen its label does not name) and one drill on a sugar lot."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pandas as pd

from ledger.analytics.records import records
from ledger.application.audit_recall import lots_to_hold
from ledger.domain.season.commands import CloseRecall, NoteRecall, StartRecall
from ledger.store.times import utc_text
from ledger.trace.queries import load
from seeds.shop.recorder import at
from seeds.shop.world import World


def lot_of(world: World, material: str) -> str:
    """The material lot used most recently in at least three batches."""
    used = world.room.used_in
    lots = [
        x
        for x in used
        if world.recorder.outcomes.get(f"receive/{x}")
        and world.recorder.orders[f"receive/{x}"].command.material == material
    ]
    return next((x for x in reversed(lots) if len(used[x]) >= 3), lots[-1])


def affected(world: World, lot: str) -> pd.DataFrame:
    """Every lot to hold that has some of a lot in it, as it stands: packs, and re-boil not yet cooked again."""
    queries = world.recorder.ledger.queries
    names = lots_to_hold(queries, lot)
    return queries.lots(holding=False, names=names).set_index("lot").loc[names]


def brought_by(world: World, lot: str, *, wholesale: bool) -> dict[str, Any]:
    """Who brings packs of a lot back: a business that had some of it, else consumers at the counter."""
    leaves = load(world.recorder.ledger.queries, lot, "forward").leaves_of(lot)
    had = sorted({x.party for x in leaves if x.kind == "delivery"})
    return {"partner": had[0]} if wholesale and had else {"channel": "SHOP"}


def real(world: World, day: date) -> None:
    """In earnest: held, customers called, packs brought back, all of it thrown away. Call after `settle`."""
    lot = lot_of(world, "RASPBERRYF")
    zone, recorder = world.recorder.zone, world.recorder
    held = affected(world, lot)
    frame = held[held.kind == "packs"]
    packs, rest = list(frame.index), list(held.index[held.kind != "packs"])
    made, here = int(frame.made_packs.sum()), int(frame.packs.sum())
    name = f"R-{day.year}-1"
    start = at(day, 19.0, zone)
    reason = "the maker of the raspberry flavour found almond in it; our label does not name almond"
    recorder.tell(
        StartRecall(
            day=day.isoformat(),
            recall=name,
            lot=lot,
            reason=reason,
            drill=False,
            lots=(lot, *held.index),
            started_at=utc_text(start),
        ),
        "MK",
        start,
    )
    back = 0
    shipped = sorted(
        {(c, p) for when, c, p, _ in world.counter.shipped if p.startswith("RASPBERRY") and (day - when).days < 150}
    )
    for number, (customer, pack) in enumerate(shipped):
        recorder.tell(
            NoteRecall(day=day.isoformat(), recall=name, kind="called", partner=customer, text=f"told to put {pack} aside"), "MK",
            start + timedelta(minutes=10 + 6 * number),
        )  # fmt: skip
    next_day = day + timedelta(days=1)
    for number, code in enumerate(packs):
        gone = int(frame.loc[code, "made_packs"] - frame.loc[code, "packs"])
        some = min(gone, world.rng.randint(2, 9))
        if some:
            note = NoteRecall(
                day=next_day.isoformat(), recall=name, kind="returned", lot=code, packs=some, amount=some * 570,
                **brought_by(world, code, wholesale=bool(number % 2)),
            )  # fmt: skip
            recorder.tell(note, "SA", at(next_day, 17 + number * 0.03, zone))
            back += some
    for number, code in enumerate(packs):
        if int(frame.loc[code, "packs"]) or int(frame.loc[code, "made_packs"]):
            bin_it = NoteRecall(day=next_day.isoformat(), recall=name, kind="destroyed", lot=code)
            recorder.tell(bin_it, "MK", at(next_day, 18.6 + number * 0.01, zone))
        world.shelf.drop(code)
    for number, code in enumerate(rest):
        bin_it = NoteRecall(day=next_day.isoformat(), recall=name, kind="destroyed", lot=code)
        recorder.tell(bin_it, "MK", at(next_day, 18.9 + number * 0.01, zone))
    world.bench.forget_reboil(rest)
    done = at(day + timedelta(days=9), 17.2, zone)
    figures = {"made": made, "on_hand": here, "returned": back, "sold_not_returned": made - here - back}
    close = CloseRecall(
        day=done.date().isoformat(), recall=name, accounted_ppm=(here + back) * 1_000_000 // made if made else 1_000_000, figures=figures,
        closed_at=utc_text(done),
    )  # fmt: skip
    recorder.tell(close, "MK", done)
    left = world.room.lots.get("RASPBERRYF", [])
    for store in [x for x in left if x.lot == lot]:
        left.remove(store)
        bin_it = NoteRecall(day=day.isoformat(), recall=name, kind="destroyed", lot=lot)
        recorder.tell(bin_it, "MK", start + timedelta(minutes=4))
    world.note("recalls")


def drill(world: World, day: date) -> None:
    """A drill: the same first steps against the clock, then everything is let go. Call after `settle`."""
    lot = lot_of(world, "SUGAR")
    recorder, zone = world.recorder, world.recorder.zone
    held = affected(world, lot)
    frame = held[held.kind == "packs"]
    made, here = int(frame.made_packs.sum()), int(frame.packs.sum())
    name = f"R-{day.year}-D"
    start, done = at(day, 19.0, zone), at(day, 20.4, zone)
    reason = "yearly drill on one sugar lot"
    recorder.tell(
        StartRecall(
            day=day.isoformat(),
            recall=name,
            lot=lot,
            reason=reason,
            drill=True,
            lots=(lot, *held.index),
            started_at=utc_text(start),
        ),
        "MK",
        start,
    )
    here_now = recorder.ledger.queries.lots(names=[lot, *held.index])
    for number, row in enumerate(records(here_now)):
        much: dict[str, Any] = (
            {"packs": int(row["packs"])} if row["kind"] == "packs" else {"mass_mg": int(row["mass_mg"])}
        )
        count = NoteRecall(day=day.isoformat(), recall=name, kind="counted", lot=str(row["lot"]), **much)
        recorder.tell(count, "TB", at(day, 19.3 + number * 0.01, zone))
    close = CloseRecall(
        day=day.isoformat(), recall=name, accounted_ppm=1_000_000, figures={"made": made, "on_hand": here, "sold": made - here},
        closed_at=utc_text(done), release=True,
    )  # fmt: skip
    recorder.tell(close, "MK", done)
    world.note("drills")
