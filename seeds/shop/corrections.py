"""What the shop finds out later: wrong figures amended, entries voided, flags answered, stock-takes, goods that come back."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from ledger.analytics.records import records
from ledger.domain.batch.commands import Amend, AnswerFlag, Void
from ledger.domain.batch.commands import Cook as CookCommand
from ledger.domain.lots.commands import CountLot, ReceiveLot, ScrapLot
from ledger.domain.parts import Loss
from ledger.domain.postings import iso_week
from ledger.domain.shelf.commands import Sell, TakeBack
from seeds.shop.recorder import at
from seeds.shop.world import World

ANSWERS = {
    "unexplained": (
        "weighed again, scale was on the old tare",
        "a tray was not weighed",
        "not found; watched next time",
    ),
    "end-temperature": ("flame turned down late", "read against the light; was right on the second look"),
    "count": ("counted twice; right", "jars stood in the window display"),
    "past-date": ("colour still good by the maker's letter",),
}


def monday(world: World, day: date) -> None:
    """The week's paper is gone through: missed bins, misread figures, sales told twice."""
    since = day - timedelta(days=7)
    hour = 8.9
    for made in world.bench.made[-25:]:
        done = world.recorder.outcomes.get(f"cut/{made.batch}")
        if made.missed_mg and made.day >= since - timedelta(days=7) and done is not None:
            better = replace(made.cut, losses=(*made.cut.losses, Loss(cause="ends", mass_mg=made.missed_mg)))
            _amend(
                world, day, hour, done.first, better, "a bin of ends stood under the bench and was weighed on Monday"
            )
            made.missed_mg = 0
            hour += 0.05
    if world.rng.random() < 0.22:
        _water(world, day, hour)
    if world.rng.random() < 0.25:
        _amount(world, day, hour + 0.1)
    if world.rng.random() < 0.08:
        _receipt(world, day, hour + 0.2)
    _answer(world, day)


def _amend(world: World, day: date, hour: float, origin: int, command: object, reason: str) -> None:
    world.recorder.tell(
        Amend(day=day.isoformat(), origin=origin, command=command, reason=reason),
        "MK",
        at(day, hour, world.recorder.zone),
    )
    world.note("amendments")


def _water(world: World, day: date, hour: float) -> None:
    for made in reversed(world.bench.made[-6:]):
        tag = f"cook/{made.batch}"
        done, order = world.recorder.outcomes.get(tag), world.recorder.orders.get(tag)
        if done is not None and order is not None and isinstance(order.command, CookCommand):
            water = order.command.water_mg + world.rng.choice((-200_000, -100_000, 100_000, 250_000))
            _amend(world, day, hour, done.first, replace(order.command, water_mg=water), "water jug misread")
            world.recorder.orders[tag] = order._replace(command=replace(order.command, water_mg=water))
            return


def _amount(world: World, day: date, hour: float) -> None:
    if world.counter.sales:
        tag = world.counter.sales.pop()
        done, order = world.recorder.outcomes.get(tag), world.recorder.orders[tag]
        if done is not None and isinstance(order.command, Sell):
            better = replace(order.command, amount=order.command.amount + world.rng.choice((-90, 90, 200, -20)))
            _amend(world, day, hour, done.first, better, "amount typed wrong")


def _receipt(world: World, day: date, hour: float) -> None:
    tag = f"receive/{world.stores.receipts[-1]}"
    done, order = world.recorder.outcomes.get(tag), world.recorder.orders[tag]
    if done is not None and isinstance(order.command, ReceiveLot):
        better = replace(order.command, supplier_lot=order.command.supplier_lot + "B")
        _amend(world, day, hour, done.first, better, "the last letter of the supplier's lot was left out")
        world.recorder.orders[tag] = order._replace(command=better)


def _answer(world: World, day: date) -> None:
    week = iso_week((day - timedelta(days=7)).isoformat())
    flags = world.recorder.ledger.queries.flags(week, open_only=True)
    for number, row in enumerate(records(flags)):
        if world.rng.random() < 0.75 and row["code"] in ANSWERS:
            answer = AnswerFlag(
                day=day.isoformat(),
                origin=int(row["origin"]),
                code=row["code"],
                answer=world.rng.choice(ANSWERS[row["code"]]),
            )
            world.recorder.tell(answer, "MK", at(day, 12.2 + number * 0.02, world.recorder.zone))
            world.note("answers")


def twice(world: World, day: date) -> None:
    """A sale is entered twice in the rush, and one of the two voided the next morning."""
    for tag in [t for t in world.doubled if t in world.recorder.outcomes]:
        world.doubled.remove(tag)
        origin = world.recorder.outcomes[tag].first
        void = Void(day=day.isoformat(), origin=origin, reason="entered twice")
        world.recorder.tell(void, "MK", at(day, 9.6, world.recorder.zone))
        world.note("voids")
    if world.rng.random() < 0.06:
        packs_here = world.all_year()
        pack = world.rng.choice(packs_here) if packs_here else ""
        if pack and world.shelf.free(pack) > 30:
            packs = world.rng.randint(1, 4)
            tag = f"twice/{day}"
            command = Sell(
                day=day.isoformat(), pack=pack, packs=packs, channel="SHOP", amount=packs * world.counter.prices[pack]
            )
            world.recorder.tell(command, "SA", at(day, 18.2, world.recorder.zone), tag=tag)
            world.shelf.take(
                pack, packs
            )  # the ledger has them gone until the second entry is voided and the shelf is looked at
            world.doubled.append(tag)


def stock_take(world: World, day: date) -> None:
    """The shelf and the store room are counted; some jars are short, now and then one is over. Call after `settle`."""
    zone, rng = world.recorder.zone, world.rng
    hour = 19.2
    for pack in sorted(world.shelf.lots):
        for lot in world.shelf.lots[pack]:
            off = rng.choices((0, -1, -2, -3, 1), (80, 11, 4, 2, 3))[0]
            found = max(0, min(lot.made, lot.left + off))
            world.recorder.tell(CountLot(day=day.isoformat(), lot=lot.lot, packs=found), "TB", at(day, hour, zone))
            world.note("count differences", found != lot.left)
            lot.left = found
            hour += 0.004
        world.shelf.lots[pack] = [x for x in world.shelf.lots[pack] if x.left]
    for material in ("SUGAR", "SYRUP", "CITRIC", "MALIC"):
        for store in world.room.lots.get(material, []):
            found = round(store.left * (1 - max(-0.001, rng.gauss(0.004, 0.003))) / 5_000) * 5_000
            found = min(max(found, 0), store.left + 20_000)
            world.recorder.tell(CountLot(day=day.isoformat(), lot=store.lot, mass_mg=found), "JO", at(day, hour, zone))
            store.left = found
            hour += 0.004
    world.note("stock-takes")


def bring_back(world: World, day: date) -> None:
    """A parcel comes back or a jar is handed over the counter: into its lot again, or straight to the bin. Call after `settle`."""
    open_lots = [lot for here in world.shelf.lots.values() for lot in here if lot.left + 2 <= lot.made]
    if not open_lots:
        return
    lot = world.rng.choice(sorted(open_lots, key=lambda x: x.lot))
    price = world.counter.prices[lot.pack]
    back = TakeBack(day=day.isoformat(), lot=lot.lot, packs=1, channel="ONLINE", amount=price, note="parcel came back")
    world.recorder.tell(back, "JO", at(day, 19.05, world.recorder.zone))
    if world.rng.random() < 0.5:
        bin_it = ScrapLot(day=day.isoformat(), lot=lot.lot, cause="broken", packs=1, note="jar cracked in the post")
        world.recorder.tell(bin_it, "JO", at(day, 19.1, world.recorder.zone))
    else:
        lot.left += 1
    world.note("returns")
