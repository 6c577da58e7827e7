"""Random histories of a small shop: commands that may be right or wrong, told to any ledger."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from random import Random
from typing import Any

from ledger.domain.batch import commands as bc
from ledger.domain.books.commands import Define
from ledger.domain.lots import commands as lc
from ledger.domain.parts import Give, Loss, Take, Work
from ledger.domain.shelf import commands as sc
from ledger.errors import SlabbookError
from tests.support.given_when_then import BOOK, DAY, KG, cook

DAYS = [f"2026-{month:02d}-{day:02d}" for month in (2, 3, 4) for day in (14, 17, 21, 25)]


def opening() -> list[Any]:
    """The book and some sugar."""
    return [Define(day=DAY, entry=entry) for entry in BOOK] + [
        lc.ReceiveLot(day=DAY, material="SUGAR", mass_mg=200 * KG, supplier="MILL", lot="SUG-1", cost=18_000),
        lc.ReceiveLot(day=DAY, material="SYRUP", mass_mg=120 * KG, supplier="MILL", lot="SYR-1", cost=14_400),
    ]


def step(random: Random, batches: list[str], lots: dict[str, str], last: int) -> Any:
    """One more thing that somebody tries to record."""
    day = random.choice(DAYS)
    batch = random.choice(batches) if batches else "26045A"
    jars = [x for x, kind in lots.items() if kind == "packs"]
    reboil = [x for x, kind in lots.items() if kind == "reboil"]
    some = random.choice([x for x in lots] or ["SUG-1"])
    extra = (Take(lot=random.choice(reboil), basis="all"),) if reboil and random.random() < 0.3 else ()
    made: list[Callable[[], Any]] = [
        lambda: bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR"),
        lambda: cook(batch=batch, day=day, takes=(*cook().takes, *extra),
                     gives=tuple(Give(lot="", kind="mass", mass_mg=random.randint(4, 9) * KG, portion=p) for p in ("clear", "white")) if random.random() < 0.7 else ()),
        lambda: bc.Pull(day=day, batch=batch, takes=(Take(lot=f"{batch}-C{random.randint(1, 2)}", basis="all"),)),
        lambda: bc.Build(day=day, batch=batch),
        lambda: bc.Roll(day=day, batch=batch, work=(Work(worker="AB", seconds=random.randint(60, 4_000)),)),
        lambda: bc.CutRods(day=day, batch=batch, losses=(Loss(cause=random.choice(["ends", "crumbs"]), mass_mg=random.randint(1, 900_000)),),
                           gives=(Give(lot="", kind="pieces", mass_mg=random.randint(5, 15) * KG, pieces=random.randint(1, 7_000)),
                                  Give(lot="", kind="reboil", mass_mg=random.randint(1, 800_000))) if random.random() < 0.8 else ()),
        lambda: bc.PackUp(day=day, batch=batch, pack="LEMON-JAR", packs=random.randint(1, 60)),
        lambda: bc.CloseBatch(day=day, batch=batch),
        lambda: sc.Sell(day=day, pack="LEMON-JAR", packs=random.randint(1, 25), channel="SHOP", amount=random.randint(0, 20_000)),
        lambda: sc.TakeBack(day=day, lot=random.choice(jars or ["NONE"]), packs=random.randint(1, 5)),
        lambda: lc.CountLot(day=day, lot=some, mass_mg=random.randint(0, 100) * KG) if lots.get(some) != "packs"
        else lc.CountLot(day=day, lot=some, packs=random.randint(0, 60)),
        lambda: lc.SampleLot(day=day, lot=some, mass_mg=random.randint(1, 100_000)),
        lambda: lc.ScrapLot(day=day, lot=some, cause="damp"),
        lambda: lc.HoldLots(day=day, lots=(some,), reason="look"),
        lambda: lc.ReleaseLots(day=day, lots=(some,), reason="fine"),
        lambda: bc.Void(day=day, origin=random.randint(1, last + 1), reason="never was"),
        lambda: amendment(random, day, last, batch),
        lambda: amendment(random, day, last, batch),
    ]  # fmt: skip
    weights = [3, 6, 4, 5, 5, 5, 6, 1, 6, 1, 1, 1, 0.3, 0.3, 0.6, 2, 3, 3]
    return random.choices(made, weights)[0]()


def amendment(random: Random, day: str, last: int, batch: str) -> bc.Amend:
    """An attempt to correct some entry with some other figure."""
    command = step(random, [batch], {"SUG-1": "material"}, 0)
    while isinstance(command, (bc.Amend, bc.Void)):
        command = step(random, [batch], {"SUG-1": "material"}, 0)
    return bc.Amend(day=day, origin=random.randint(1, last + 1), command=command, reason="misread")


def correction_of(random: Random, events: dict[int, Any], day: str) -> Any:
    """A correction that has a fair chance: some entry restated with one mass or count changed by a little."""
    from dataclasses import replace

    from ledger.domain.restate import command_of

    position = random.choice(list(events))
    if random.random() < 0.25:
        return bc.Void(day=day, origin=position, reason="never was")
    try:
        command = command_of(events[position])
    except SlabbookError:
        return bc.Void(day=day, origin=position, reason="never was")
    change = random.uniform(0.9, 1.1)
    for name in ("packs", "mass_mg", "water_mg"):
        value = getattr(command, name, None)
        if isinstance(value, int) and value:
            command = replace(command, **{name: max(1, round(value * change))})
            break
    if getattr(command, "gives", ()):
        gives = tuple(replace(g, mass_mg=round(g.mass_mg * change), cost=0) for g in command.gives)
        command = replace(command, gives=gives)
    return bc.Amend(day=day, origin=position, command=command, reason="misread")


def history(
    random: Random, length: int, state: Callable[[], tuple[list[str], dict[str, str], int, dict[int, Any]]]
) -> Iterator[Any]:
    """Commands one after another; `state` tells (batch codes, lot -> kind, last position, movements by position) so far."""
    yield from opening()
    for _ in range(length):
        batches, lots, last, events = state()
        if events and random.random() < 0.2:
            yield correction_of(random, events, random.choice(DAYS))
        else:
            yield step(random, batches, lots, last)
