"""A little shop of our own with some weeks of history, recorded through commands on a clock that stands still."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from ledger.application.ledger import Ledger, open_ledger
from ledger.domain.batch import commands as b
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.lots.commands import HoldLots, ReceiveLot
from ledger.domain.parts import Give, Loss, Take, Work
from ledger.domain.shelf.commands import NoteRunOut, Sell, TakeBack

FIRST = date(2026, 10, 5)  # Monday of 2026-W41


class Clock:
    """A clock that says what it is told."""

    def __init__(self) -> None:
        self.now = datetime(2026, 10, 4, 18, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def at(self, day: date) -> str:
        """Move to the evening of a day; gives the day as text."""
        self.now = datetime(day.year, day.month, day.day, 18, tzinfo=UTC)
        return day.isoformat()


BOOK = (
    e.Site(id="HILL", name="Hill Street Sweets", zone="UTC"),
    e.Material(id="SUGAR", name="sugar", role="sugar", lead_days=9),
    e.Material(id="SYRUP", name="syrup", role="syrup", solids_ppm=803_000, lead_days=9),
    e.Flavour(id="LEMON", name="Lemon"), e.Flavour(id="ANISE", name="Anise"),
    e.Design(id="STAR", name="Star"), e.Design(id="PLAIN", name="Plain", kind="plain"),
    e.Recipe(id="LEMON", flavour="LEMON", process_yield_ppm=919_300), e.Recipe(id="ANISE", flavour="ANISE"),
    e.Pack(id="LJ", name="lemon jar", flavour="LEMON", net_mg=113_000), e.Pack(id="AJ", name="anise jar", flavour="ANISE", net_mg=113_000),
    e.Worker(id="AB", rate=1500), e.Worker(id="CD", rate=1400),
    e.Channel(id="counter", name="Counter"), e.Channel(id="post", name="By post"),
)  # fmt: skip


def shop(url: str) -> tuple[Ledger, Clock]:
    """The shop with its book and a year's sugar, before the first batch."""
    clock = Clock()
    ledger = open_ledger(url, clock=clock)
    day = clock.at(FIRST - timedelta(days=1))
    for entry in BOOK:
        ledger.do(Define(day=day, entry=entry), "AB")
    ledger.do(ReceiveLot(day=day, material="SUGAR", mass_mg=900_000_000, supplier="X", lot="S1", cost=90_000), "AB")
    ledger.do(ReceiveLot(day=day, material="SYRUP", mass_mg=600_000_000, supplier="X", lot="G1", cost=60_000), "AB")
    return ledger, clock


def make(
    ledger: Ledger,
    clock: Clock,
    day: date,
    flavour: str = "LEMON",
    *,
    good_mg: int = 13_900_000,
    packs: int = 100,
    minutes: int = 60,
) -> str:
    """One batch from kettle to jar: 19 kg charged, 15.120 kg poured, ends 0.360 kg or what is missing, re-boil 0.620 kg."""
    when = clock.at(day)
    batch = ledger.do(
        b.OpenBatch(day=when, flavour=flavour, design="STAR" if flavour == "LEMON" else "PLAIN"), "AB"
    ).batch
    work = (Work(worker="AB", seconds=minutes * 60), Work(worker="CD", seconds=minutes * 30))
    takes = (Take(lot="S1", mass_mg=10_000_000), Take(lot="G1", mass_mg=6_000_000))
    cooked = (
        Give(lot="", kind="mass", mass_mg=9_000_000, portion="clear"),
        Give(lot="", kind="mass", mass_mg=6_120_000, portion="white"),
    )
    ledger.do(b.Cook(day=when, batch=batch, takes=takes, water_mg=3_000_000, gives=cooked, work=work), "AB")
    ledger.do(b.Pull(day=when, batch=batch, takes=(Take(lot=f"{batch}-C2", basis="all"),), work=work[:1]), "AB")
    ledger.do(b.Build(day=when, batch=batch, work=work), "AB")
    ledger.do(b.Roll(day=when, batch=batch), "AB")
    pieces = Give(lot="", kind="pieces", mass_mg=good_mg, pieces=good_mg // 2252)
    ends = Loss(cause="ends", mass_mg=15_120_000 - 620_000 - 240_000 - good_mg)
    ledger.do(
        b.CutRods(
            day=when,
            batch=batch,
            gives=(pieces, Give(lot="", kind="reboil", mass_mg=620_000)),
            losses=(ends,),
            work=work,
        ),
        "AB",
    )
    if packs:
        ledger.do(
            b.PackUp(day=when, batch=batch, pack="LJ" if flavour == "LEMON" else "AJ", packs=packs, work=work[1:]), "AB"
        )
    return batch


def weeks_of_work(url: str) -> tuple[Ledger, Clock]:
    """Five weeks, two batches of each flavour a week; in the last, anise goes wrong and lemon runs out at the counter."""
    ledger, clock = shop(url)
    for number in range(5):
        monday = FIRST + timedelta(weeks=number)
        for offset in (0, 2):
            day = monday + timedelta(days=offset)
            make(ledger, clock, day)
            make(ledger, clock, day, "ANISE", good_mg=11_000_000 if number == 4 else 13_900_000, packs=90)
            ledger.do(Sell(day=day.isoformat(), pack="LJ", packs=95, channel="counter", amount=57_000), "AB")
            ledger.do(Sell(day=day.isoformat(), pack="AJ", packs=20, channel="post", amount=12_000), "AB")
    ledger.do(NoteRunOut(day="2026-11-04", flavour="LEMON", channel="counter", until_day="2026-11-05"), "AB")
    ledger.do(TakeBack(day="2026-11-04", lot="26278B-J1", packs=2, channel="post", amount=1200), "AB")
    ledger.do(HoldLots(day="2026-11-04", lots=("26306B-J1",), reason="damp"), "AB")
    clock.at(date(2026, 11, 8))
    return ledger, clock
