"""What goes wrong or out of the ordinary on known days: a thermometer, two recalls, a run on one flavour, a promotion, a bulk order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from ledger.domain.batch.commands import CheckThermometer
from ledger.domain.books import entries as e
from ledger.domain.lots.commands import HoldLots, ReleaseLots
from ledger.domain.shelf.commands import PlanPromotion
from seeds.shop import calendar
from seeds.shop.recorder import at
from seeds.shop.world import World

BAD_KETTLE, BAD_BY = "K1", 8.0


@dataclass(frozen=True, slots=True)
class Diary:
    """The days on which something is going to happen, placed by the last day of the history."""

    thermometer: tuple[date, date]
    rush: tuple[date, date]
    recall: date
    drill: date
    bulk: date
    promotions: tuple[tuple[date, date, str, str], ...]
    joins: date
    holds: tuple[date, ...]

    @classmethod
    def ending(cls, last: date) -> Diary:
        """The diary of a history whose last day this is."""
        year = last.year
        return cls(
            thermometer=(date(year - 1, 3, 3), date(year - 1, 4, 4)),
            rush=(date(year - 1, 12, 8), date(year - 1, 12, 17)),
            recall=workday(date(year - 1, 9, 16)),
            drill=workday(date(year, 5, 12)),
            bulk=workday(date(year, 9, 8)),
            promotions=(
                (date(year - 2, 6, 10), date(year - 2, 6, 15), "PEPPERMINT", ""),
                (date(year - 1, 5, 12), date(year - 1, 5, 24), "GINGER", "ONLINE"),
                (date(year, 3, 2), date(year, 3, 14), "APPLE", ""),
            ),
            joins=date(year - 2, 7, 1),
            holds=tuple(workday(last - timedelta(days=n)) for n in (20, 143, 260, 395, 617, 830)),
        )


def workday(day: date) -> date:
    """That day, or the next on which the shop makes."""
    while not calendar.making(day):
        day += timedelta(days=1)
    return day


def prepare(world: World, diary: Diary) -> None:
    """What customers will do on those days, before anyone knows it."""
    first, last = diary.rush
    world.demand.lift(first, last, "CLOVE", "", 5.5)
    for begin, end, flavour, channel in diary.promotions:
        world.demand.lift(begin, end, flavour, channel, 1.9)
        world.counter.discount.append((begin, end, flavour, 0.85))


def morning(world: World, diary: Diary, day: date) -> None:
    """Before the burner is lit."""
    first, last = diary.thermometer
    world.bench.thermometer[BAD_KETTLE] = BAD_BY if first <= day <= last else 0.0
    _check_thermometers(world, diary, day)
    _announce(world, diary, day)
    if day == diary.bulk:
        line = world.shop.lines["ROCK"]
        world.counter.ship(day, line, 120, "HOTEL", "S-WEDDING", note="wedding at the hotel", hour=9.2)


def _check_thermometers(world: World, diary: Diary, day: date) -> None:
    """Water is boiled on the first Monday of a month; in the month of the bad thermometer nobody did."""
    first, last = diary.thermometer
    if day.weekday() or day.day > 7 or calendar.closed(day) or first <= day <= last:
        return
    told = date(day.year, day.month, 1)
    late_find = first < told <= last + timedelta(days=10)
    for kettle in ("K1", "K2"):
        off = BAD_BY if late_find and kettle == BAD_KETTLE else world.rng.gauss(0, 0.25)
        expected = 99.9 + world.rng.gauss(0, 0.25)
        reading = round((expected + off) * 2) / 2
        command = CheckThermometer(
            day=day.isoformat(), station=kettle, reading_mc=round(reading * 1000), expected_mc=round(expected * 10) * 100,
            reading=f"{reading:g} C", by="MK", note="reads high; replaced today" if off > 3 else "",
        )  # fmt: skip
        world.recorder.tell(command, "MK", at(day, 7.6, world.recorder.zone))


def _announce(world: World, diary: Diary, day: date) -> None:
    """Promotions, the bulk order and the winter closure are written down some days ahead."""
    plans: list[tuple[date, PlanPromotion]] = []
    for begin, end, flavour, channel in diary.promotions:
        plans.append((begin - timedelta(days=9), _plan(begin, end, flavour, channel, "promotion", "15 % off")))
    order = _plan(diary.bulk, diary.bulk, "ROCK", "WHOLESALE", "bulk", "jars for a wedding at the hotel", units=120)
    plans.append((diary.bulk - timedelta(days=29), order))
    begin, end = calendar.winter_closure(day.year + 1)
    plans.append((date(day.year, 11, 18), _plan(begin, end, "", "", "closure", "winter closure")))
    for number in (9, 16):
        shown = workday(date(day.year, 12, number))
        told = "a picture is built while customers watch"
        plans.append((date(day.year, 11, 19), _plan(shown, shown, "", "", "show", told, at="11:00-12:15")))
    for when, plan in plans:
        if when == day and plan.from_day >= world.first.isoformat():
            known = PlanPromotion(
                day=day.isoformat(), from_day=plan.from_day, to_day=plan.to_day, flavour=plan.flavour, channel=plan.channel,
                kind=plan.kind, units=plan.units, at=plan.at, note=plan.note,
            )  # fmt: skip
            world.recorder.tell(known, "MK", at(day, 7.8, world.recorder.zone))
            if plan.kind == "bulk":
                world.planner.known.append((diary.bulk, "ROCK", plan.units))


def _plan(
    begin: date, end: date, flavour: str, channel: str, kind: str, note: str, units: int = 0, at: str = ""
) -> PlanPromotion:
    return PlanPromotion(
        day="",
        from_day=begin.isoformat(),
        to_day=end.isoformat(),
        flavour=flavour,
        channel=channel,
        kind=kind,
        units=units,
        at=at,
        note=note,
    )


def hold(world: World, diary: Diary, day: date) -> None:
    """A lot is put aside for a look at its labels, and let go three days later."""
    zone = world.recorder.zone
    if day in diary.holds:
        full = [lot for pack in world.all_year() for lot in world.shelf.lots[pack] if lot.left > 20]
        if full:
            lot = max(full, key=lambda x: (x.left, x.lot))
            world.shelf.drop(lot.lot)
            world.aside.append((day + timedelta(days=3), lot))
            command = HoldLots(day=day.isoformat(), lots=(lot.lot,), reason="labels to be checked")
            world.recorder.tell(command, "MK", at(day, 18.9, zone))
    for due, lot in list(world.aside):
        if due <= day:
            world.aside.remove((due, lot))
            command2 = ReleaseLots(day=day.isoformat(), lots=(lot.lot,), reason="labels are right")
            world.recorder.tell(command2, "MK", at(day, 18.9, zone))
            lot.from_day = day + timedelta(days=1)
            world.shelf.put(lot)


def price_day(world: World, day: date) -> None:
    """New prices and wages on the first Monday of February, entered in the book as new versions."""
    from dataclasses import replace

    from ledger.domain.books.commands import Define

    if day.month != 2 or day.weekday() or day.day > 7 or world.demand.years(day) < 0.5:
        return
    moment = at(day, 7.5, world.recorder.zone)
    for line in world.shop.lines.values():
        for pack in line.packs:
            price = round(world.counter.prices[pack.id] * 1.035 / 10) * 10
            world.counter.prices[pack.id] = price
            world.recorder.tell(Define(day=day.isoformat(), entry=replace(pack, price=price)), "MK", moment)
    for worker in world.shop.book.all(e.Worker):
        world.rates[worker.id] = round(world.rates.get(worker.id, worker.rate) * 1.04 / 5) * 5
        entry = replace(worker, rate=world.rates[worker.id])
        world.recorder.tell(Define(day=day.isoformat(), entry=entry), "MK", moment)
