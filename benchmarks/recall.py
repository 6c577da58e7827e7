"""How long the ledger's own recall report takes: a lot of sugar that went into many batches, from the question to the paper.

    python -m benchmarks.recall [--batches 200] [--rounds 9] [--url sqlite:///...]

Everything is recorded through commands: a sack of sugar cooked into every batch, a drum of syrup for ten of them, re-boil that goes
back into a later kettle, jars sold over the counter and delivered to a hotel, then a recall of the sack. Measured is CPU time of the
process, since the machine may be busy with other things: the figures alone (`work`, as the page asks and as the report asks), the
whole report with its twelve answers, and the report as a page and as a PDF. The yard-stick is reading the lot's rows as one graph.
"""

from __future__ import annotations

import argparse
import gc
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from statistics import median, quantiles

from ledger.application import audit_recall
from ledger.application.audit import graph_of
from ledger.application.ledger import Ledger, Order
from ledger.application.reports_types import basis
from ledger.domain.batch import commands as b
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.lots.commands import ReceiveLot
from ledger.domain.parts import Give, Loss, Take, Work
from ledger.domain.shelf.commands import Sell, Ship
from ledger.trace.recall_report import to_html, to_pdf
from tests.analytics.workshop import FIRST, shop

SACK = "SACK"
A_DAY = 2
DRUM = 10


def batch(day: str, code: str, number: int) -> list[Order]:
    """One batch from opening to the last jar that leaves."""
    flavour, design, pack = ("LEMON", "STAR", "LJ") if number % 2 else ("ANISE", "PLAIN", "AJ")
    work = (Work(worker="AB", seconds=2400), Work(worker="CD", seconds=1800))
    poured = (
        Give(lot="", kind="mass", mass_mg=9_000_000, portion="clear"),
        Give(lot="", kind="mass", mass_mg=6_120_000, portion="white"),
    )
    takes = [Take(lot=SACK, mass_mg=10_000_000), Take(lot=f"DRUM{number // DRUM}", mass_mg=6_000_000)]
    if number >= 6 and number % 3 == 0:
        takes.append(Take(lot=f"N{number - 6}-B1", mass_mg=300_000))
    cut = (Give(lot="", kind="pieces", mass_mg=13_700_000), Give(lot="", kind="reboil", mass_mg=620_000))
    lost = (Loss(cause="ends", mass_mg=600_000), Loss(cause="crumbs", mass_mg=100_000))
    given = [
        b.OpenBatch(day=day, flavour=flavour, design=design, batch=code),
        b.Cook(day=day, batch=code, takes=tuple(takes), water_mg=3_000_000, gives=poured, work=work),
        b.Pull(day=day, batch=code, takes=(Take(lot=f"{code}-C2", basis="all"),), work=work[:1]),
        b.Build(day=day, batch=code, work=work), b.Roll(day=day, batch=code, work=work),
        b.CutRods(day=day, batch=code, gives=cut, losses=lost, work=work),
        b.PackUp(day=day, batch=code, pack=pack, packs=120, work=work[1:]), b.CloseBatch(day=day, batch=code),
        Sell(day=day, pack=pack, packs=40, channel="counter", lot=f"{code}-J1", amount=24_000),
        Ship(day=day, pack=pack, packs=30, customer="HOTEL", channel="post", lot=f"{code}-J1", amount=15_000, document=f"D{number}"),
    ]  # fmt: skip
    return [Order(command, "AB") for command in given]


def recorded(url: str, batches: int) -> Ledger:
    """The shop with all of it, and the recall begun."""
    ledger, clock = shop(url)
    start = clock.now.date().isoformat()
    ledger.do(Define(day=start, entry=e.Partner(id="HOTEL", role="customer")), "AB")
    ledger.do(
        ReceiveLot(day=start, material="SUGAR", mass_mg=batches * 10_000_000, supplier="X", lot=SACK, cost=10**6), "AB"
    )
    for number in range(0, batches, DRUM):
        ledger.do(
            ReceiveLot(
                day=start,
                material="SYRUP",
                mass_mg=DRUM * 6_000_000,
                supplier="X",
                lot=f"DRUM{number // DRUM}",
                cost=10**5,
            ),
            "AB",
        )
    for number in range(batches):
        day = clock.at(FIRST + timedelta(days=number // A_DAY))
        ledger.do_all(batch(day, f"N{number}", number))
    audit_recall.start(ledger, SACK, "a stone was found in it", by="AB")
    return ledger


def timed(what: Callable[[], object], rounds: int) -> tuple[float, float]:
    """Median and 95th percentile of CPU milliseconds, after one round to warm up."""
    what()
    found = []
    for _ in range(rounds):
        began = time.process_time()
        what()
        found.append(1e3 * (time.process_time() - began))
    return median(found), quantiles(found, n=20)[18]


def main() -> None:
    """Record, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--batches", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--url", default="")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        began = time.process_time()
        ledger = recorded(asked.url or f"sqlite:///{Path(folder) / 'recall.db'}", asked.batches)
        case = audit_recall.recalls(ledger)[-1]
        made = audit_recall.report(ledger, case.started.recall)
        graph = graph_of(basis(ledger), SACK, "recall")
        print(f"{ledger.queries.as_of().position:,} entries through commands in {time.process_time() - began:.1f} s CPU; "
              f"{asked.batches} batches, {len(graph.lots)} lots, {len(graph.edges)} edges, {len(graph.leaves)} sales and deliveries")  # fmt: skip
        print(made.answer)
        gc.collect()
        gc.freeze()  # as the service does when it starts
        code = case.started.recall
        yard, _ = timed(lambda: graph_of(basis(ledger), SACK, "recall"), asked.rounds)
        for name, what in (
            ("the lot's rows as one graph", lambda: graph_of(basis(ledger), SACK, "recall")),
            ("figures, as the page asks", lambda: audit_recall.work(ledger, code, behind=False)),
            ("figures, as the report asks", lambda: audit_recall.work(ledger, code)),
            ("the whole report", lambda: audit_recall.report(ledger, code)),
            ("the report as a page", lambda: to_html(made)),
            ("the report as a PDF", lambda: to_pdf(made)),
        ):
            middle, p95 = timed(what, asked.rounds)
            print(f"{name:30} median {middle:7.1f} ms CPU   p95 {p95:7.1f}   x graph {middle / yard:5.2f}")
        ledger.close()


if __name__ == "__main__":
    main()
