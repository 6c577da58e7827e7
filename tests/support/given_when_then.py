"""Given these commands, when that command, then these events or that refusal. All in memory."""

from __future__ import annotations

import re
from typing import Any

import msgspec
import pytest

from ledger.domain import stored_names
from ledger.domain.batch import commands as bc
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.decide import decide
from ledger.domain.lots.commands import ReceiveLot
from ledger.domain.parts import Give, Loss, Take, Work
from ledger.domain.postings import postings
from ledger.domain.state import Lot
from ledger.domain.world import Entry, World
from ledger.errors import SlabbookError

DAY = "2026-02-14"
TODAY = "2026-12-01"
KG = 1_000_000
BATCH = "26045A"

BOOK = (
    e.Site(id="BENCH", name="Test bench"),
    e.Material(id="SUGAR", name="Sugar", role="sugar"),
    e.Material(id="SYRUP", name="Glucose syrup", role="syrup", solids_ppm=803_000),
    e.Material(id="RED", name="Red colour", role="colour"),
    e.Flavour(id="LEMON", name="Lemon"),
    e.Flavour(id="MINT", name="Mint"),
    e.Design(id="STAR", name="Star", piece_mg=2_252),
    e.Recipe(id="LEMON", flavour="LEMON"),
    e.Pack(id="LEMON-JAR", name="Lemon jar", flavour="LEMON", net_mg=113_000, best_before_days=365),
    e.Pack(id="MINT-JAR", name="Mint jar", flavour="MINT", net_mg=113_000),
    e.Worker(id="AB", rate=1_500),
    e.Station(id="K1", kind="kettle"),
    e.Channel(id="SHOP", name="Shop"),
    e.Partner(id="MILL", role="supplier"),
    e.Partner(id="CAFE", role="customer", channel="WHOLESALE"),
)


class Bench:
    """A ledger in memory with a small book, two ingredient lots and a way to say what should happen."""

    def __init__(self, stocked: bool = True) -> None:
        self.world = World(decode=lambda name, _schema, data: msgspec.convert(data, stored_names.class_of(name)))
        self.position = 0
        for entry in BOOK:
            self.do(Define(day=DAY, entry=entry))
        if stocked:
            self.do(ReceiveLot(day=DAY, material="SUGAR", mass_mg=100 * KG, supplier="MILL", lot="SUG-1", cost=9_000))
            self.do(ReceiveLot(day=DAY, material="SYRUP", mass_mg=60 * KG, supplier="MILL", lot="SYR-1", cost=7_200))
            self.do(ReceiveLot(day=DAY, material="RED", mass_mg=1 * KG, supplier="MILL", lot="RED-1", cost=5_000))

    def do(self, command: Any) -> list[Any]:
        """Decide a command and record what it leads to; returns the events."""
        found = []
        for decision in decide(command, self.world, TODAY):
            self.position += 1
            self.world.apply(
                Entry(
                    self.position, f"id-{self.position}", decision.stream, "2026-02-14T12:00:00.000000Z", decision.event
                )
            )
            found.append(decision.event)
        return found

    def refuses(self, command: Any, kind: type[SlabbookError], *words: str) -> SlabbookError:
        """The command is refused with this error, its message holds these words, and nothing was recorded."""
        before = self.position
        with pytest.raises(kind) as caught:
            self.do(command)
        for word in words:
            assert re.search(word, caught.value.message), f"{word!r} is not in: {caught.value.message}"
        assert self.position == before
        return caught.value

    def lot(self, lot: str) -> Lot:
        """A lot that must be there."""
        found = self.world.lot(lot)
        assert found is not None, lot
        return found

    def position_of(self, kind: type, nth: int = 0) -> int:
        """Where the nth entry of a kind stands."""
        return [p for p, entry in self.world.log.items() if isinstance(entry.event, kind)][nth]

    def holds(self) -> int:
        """Everything in lots, in mg."""
        return sum(x.mass_mg for x in self.world.lots.values())

    def balances(self, event: Any) -> None:
        """Every measure of an event's postings sums to zero."""
        lines = postings(event, self.world)
        for measure in ("mass_mg", "pieces", "packs", "seconds", "money"):
            assert sum(getattr(line, measure) for line in lines) == 0, (measure, lines)


def cook(**changes: Any) -> bc.Cook:
    """Worked cook A of the tests: 10 kg sugar, 6 kg syrup at 80.3 %, 3 kg water; two portions."""
    fields: dict[str, Any] = {
        "day": DAY, "batch": BATCH, "takes": (Take(lot="SUG-1", mass_mg=10 * KG), Take(lot="SYR-1", mass_mg=6 * KG)),
        "water_mg": 3 * KG, "work": (Work(worker="AB", seconds=3_600),),
        "gives": (Give(lot="", kind="mass", mass_mg=9 * KG, portion="clear"), Give(lot="", kind="mass", mass_mg=6_100_000, portion="white")),
    }  # fmt: skip
    return bc.Cook(**{**fields, **changes})


def whole_batch(bench: Bench, packs: int = 100) -> None:
    """A batch from opening to jars."""
    bench.do(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR"))
    bench.do(cook())
    bench.do(bc.Pull(day=DAY, batch=BATCH, takes=(Take(lot=f"{BATCH}-C2", basis="all"),)))
    bench.do(bc.Build(day=DAY, batch=BATCH))
    bench.do(bc.Roll(day=DAY, batch=BATCH))
    bench.do(
        bc.CutRods(
            day=DAY,
            batch=BATCH,
            losses=(Loss(cause="ends", mass_mg=360_000),),
            gives=(
                Give(lot="", kind="pieces", mass_mg=13_900_000, pieces=6_170),
                Give(lot="", kind="reboil", mass_mg=620_000),
            ),
        )
    )
    bench.do(bc.PackUp(day=DAY, batch=BATCH, pack="LEMON-JAR", packs=packs))
