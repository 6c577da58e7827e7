"""Fills an empty ledger with the invented shop's history, from a seed: the same seed gives the same entries with the same hashes."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from ledger.application.contacts import set_contacts
from ledger.domain.batch.commands import RecordWork
from ledger.domain.books.commands import Define
from ledger.domain.codes import next_batch_code
from ledger.domain.parts import Work
from ledger.errors import BadInput, Refused
from seeds.shop import calendar, corrections, mishaps, recalls, season, sheets, under_way
from seeds.shop.recorder import Recorder, at
from seeds.shop.settings import shop as read_shop
from seeds.shop.world import World, build

PREPARING = 35  # days of making before the first sale, so that the shelves are full when the history begins
PREPARING_SHORT = 14


def fill(
    ledger_url: str,
    seed: int = 7,
    years: int = 3,
    end: str = "2026-11-24",
    progress: Callable[[int, int], None] | None = None,
    weeks: int = 0,
    ids: Callable[[], str] | None = None,
    plans: season.Maker = season.kept,
) -> dict[str, Any]:
    """Record the invented shop's history in the ledger at `ledger_url`, which must be empty.

    seed: another seed is another history of the same shop. years, end: how long, and its last day (ISO). weeks: a short history of so
    many weeks instead, for tests and pages. progress: called with (days done, days in all). ids: for event ids of your own.
    plans: where the season plans of the standard history come from (`season.kept`: their files).
    Returns a summary: first and last day, counts of events, batches, packs sold and of every kind of mishap. Raises Refused for a ledger
    with entries in it, BadInput for a length below two weeks.
    """
    last = date.fromisoformat(end)
    length, preparing = (weeks * 7, PREPARING_SHORT) if weeks else (round(years * 365.25) + PREPARING, PREPARING)
    if length < 21:
        raise BadInput(f"{weeks} weeks are too few for a history; give at least 3.", value=weeks)
    first = calendar.monday(last - timedelta(days=length))
    while calendar.closed(first):
        first += timedelta(days=1)
    opening = first + timedelta(days=preparing)
    shop, rng = read_shop(), random.Random(seed)
    site = shop.book.site()
    zone = ZoneInfo(site.zone)
    recorder = Recorder(ledger_url, random.Random(seed + 1), zone, at(first, 6, zone), ids)
    try:
        held = recorder.ledger.queries.as_of().position
        if held:
            raise Refused(
                f"This ledger holds {held} entries already; the invented shop goes into an empty one. Give another address.",
                held=held,
            )
        world = build(shop, rng, recorder, first, opening, last)
        diary = mishaps.Diary.ending(last)
        mishaps.prepare(world, diary)
        for number, entry in enumerate(shop.entries):
            recorder.tell(Define(day=first.isoformat(), entry=entry), "MK", at(first, 6.2 + number * 0.002, zone))
        recorder.flush()
        set_contacts(recorder.ledger, [(c.kind, c.id, c.name, c.address, c.phone) for c in shop.contacts])
        world.stores.order(first, opening=True)
        whole = (last - first).days + 1
        standard = {"seed": seed, "years": years, "weeks": weeks, "end": end} == season.HISTORY
        for number, day in enumerate(calendar.days(first, last)):
            if standard:
                world.plan = season.adopt(world, day, plans) or world.plan
            _day(world, diary, day, opening)
            if day.weekday() == 6:
                recorder.flush(at(day, 22, zone))
                if progress is not None:
                    progress(number + 1, whole)
        recorder.flush()
        world.note("under way", under_way.leave_some(world, last))
        recorder.flush(at(last, 22, zone))
        if progress is not None:
            progress(whole, whole)
        return _summary(world, seed, first)
    finally:
        recorder.ledger.close()


def _day(world: World, diary: mishaps.Diary, day: date, opening: date) -> None:
    world.shelf.morning(day)
    world.counter.end_of_season(day)
    if calendar.closed(day):
        return
    settling = _settling(world, diary)
    mishaps.price_day(world, day)
    mishaps.morning(world, diary, day)
    if day.weekday() == 0 and day > opening:
        corrections.monday(world, day)
    if world.stores.delivery_day(day):
        world.stores.order(day)
    near = any(0 <= (when - day).days <= 6 for when in settling) or day > world.last - timedelta(days=6)
    if calendar.making(day):
        _make(world, diary, day, day < opening, late_allowed=not near)
    if day >= opening:
        world.counter.sell_day(day, late_allowed=not near)
        if day.weekday() == 3:
            world.counter.wholesale(day, day.isocalendar().week)
        corrections.twice(world, day)
    if day.weekday() == 4:
        _clean(world, day)
    if day in settling:
        _settled(world, diary, day)
    else:
        mishaps.hold(world, diary, day)


def _settling(world: World, diary: mishaps.Diary) -> set[date]:
    """Days that end with a look at the real shelf: stock-takes (the last Saturday of each quarter but December) and recalls."""
    if not world.settling:
        found = {x for x in (diary.recall, diary.drill) if world.first + timedelta(days=90) <= x <= world.last}
        for year in range(world.first.year, world.last.year + 1):
            for month in (3, 6, 9):
                when = date(year, month + 1, 1) - timedelta(days=1)
                found.add(when - timedelta(days=(when.weekday() - 5) % 7))
            found.add(mishaps.workday(date(year, 1, 20)))
            for month in (2, 5, 8, 11):
                found.add(mishaps.workday(date(year, month, 17)))
        world.settling = {x for x in found if world.first + timedelta(days=20) < x <= world.last}
    return world.settling


def _settled(world: World, diary: mishaps.Diary, day: date) -> None:
    world.settle()
    corrections.bring_back(world, day)
    if day == diary.recall:
        recalls.real(world, day)
    elif day == diary.drill:
        recalls.drill(world, day)
    elif day.weekday() == 5 or day.month == 1:
        corrections.stock_take(world, day)


def _make(world: World, diary: mishaps.Diary, day: date, preparing: bool, late_allowed: bool) -> None:
    taken: set[str] = set()
    for number, line in enumerate(world.planner.today(day, opening=preparing)):
        batch = next_batch_code(day.isoformat(), taken)
        taken.add(batch)
        slow = world.demand.ahead(line, day, 30) < 55
        kettle = "K2" if slow or number == 1 else "K1"
        world.stores.ensure(world.bench.needs(line), day)
        late = world.rng.randint(1, 4) if late_allowed and world.rng.random() < 0.06 else 0
        planned = world.plan.next(line, day) if world.plan is not None else ""
        world.bench.make(line, batch, kettle, day, 8.6 + 2.4 * number, late, planned)
        if not late:
            share = 1.0 if kettle == "K1" else 0.74
            world.note("sheets", sheets.print_one(world, line, batch, day, 8.6 + 2.4 * number, share))
        world.note("batches")
        world.note("late batches", bool(late))


def _clean(world: World, day: date) -> None:
    work = tuple(Work(worker=w, seconds=round(world.rng.uniform(40, 75)) * 60) for w in ("TB", "JO", "SA"))
    command = RecordWork(day=day.isoformat(), work=work, task="cleaning", station="SLAB")
    world.recorder.tell(command, "TB", at(day, 17.3, world.recorder.zone))


def _summary(world: World, seed: int, first: date) -> dict[str, Any]:
    return {
        "seed": seed, "first_day": first.isoformat(), "last_day": world.last.isoformat(), "events": world.recorder.events,
        "flavours": len(world.shop.lines), "packs_sold": world.counter.sold, "packs_wanted_but_gone": world.counter.lost,
        "late_sales": world.counter.late_sales, **dict(sorted(world.count.items())),
    }  # fmt: skip
