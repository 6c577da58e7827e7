"""How long the week report takes over a ledger of many events, and as known on a day of the past against now.

    python benchmarks/week.py [--events 1000000] [--per-week 250] [--url sqlite:///big.db]

Twenty weeks are recorded through commands. Older weeks are copies of them in the kept tables (postings, lots, batches, flags), moved back
in time and to positions before the first: all the week report reads is there at full size, while the log itself stays small. A shop of
two to five people writes about 250 entries a week; `--per-week 1000` is a denser one. All ratios are of one run.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

from sqlalchemy import create_engine, text

from ledger.analytics.compare import week_of
from ledger.application.ledger import Ledger, Order
from ledger.application.reports import week_report
from ledger.domain.batch import commands as b
from ledger.domain.lots.commands import ReceiveLot
from ledger.domain.parts import Give, Loss, Take, Work
from ledger.domain.shelf.commands import Sell
from tests.analytics.workshop import FIRST, shop

WEEKS = 20
STEPS_A_BATCH = 8


def orders(day: str, code: str, flavour: str) -> list[Order]:
    """One batch from opening to packing."""
    design, pack = ("STAR", "LJ") if flavour == "LEMON" else ("PLAIN", "AJ")
    work = (Work(worker="AB", seconds=2400), Work(worker="CD", seconds=1800))
    poured = (
        Give(lot="", kind="mass", mass_mg=9_000_000, portion="clear"),
        Give(lot="", kind="mass", mass_mg=6_120_000, portion="white"),
    )
    cut = (Give(lot="", kind="pieces", mass_mg=13_700_000), Give(lot="", kind="reboil", mass_mg=620_000))
    given = [
        b.OpenBatch(day=day, flavour=flavour, design=design, batch=code),
        b.Cook(day=day, batch=code, takes=(Take(lot="BIGS", mass_mg=10_000_000), Take(lot="BIGG", mass_mg=6_000_000)), water_mg=3_000_000,
               gives=poured, work=work),
        b.Pull(day=day, batch=code, takes=(Take(lot=f"{code}-C2", basis="all"),), work=work[:1]),
        b.Build(day=day, batch=code, work=work), b.Roll(day=day, batch=code, work=work),
        b.CutRods(day=day, batch=code, gives=cut, losses=(Loss(cause="ends", mass_mg=600_000), Loss(cause="crumbs", mass_mg=100_000)), work=work),
        b.PackUp(day=day, batch=code, pack=pack, packs=120, work=work[1:]), b.CloseBatch(day=day, batch=code),
    ]  # fmt: skip
    return [Order(c, "AB") for c in given]


def record(url: str, per_week: int) -> tuple[Ledger, str]:
    """Twenty weeks through commands; gives the ledger and its last week."""
    ledger, clock = shop(url)
    start = clock.now.date().isoformat()
    for lot, material in (("BIGS", "SUGAR"), ("BIGG", "SYRUP")):
        ledger.do(ReceiveLot(day=start, material=material, mass_mg=10**12, supplier="X", lot=lot, cost=10**6), "AB")
    batches = max(2, per_week // 30)
    sales = per_week - batches * STEPS_A_BATCH
    for week in range(WEEKS):
        given: list[Order] = []
        for number in range(batches):
            day = clock.at(FIRST + timedelta(weeks=week, days=number % 5))
            given += orders(day, f"W{week}B{number}", "LEMON" if number % 2 else "ANISE")
        for number in range(sales):
            day = clock.at(FIRST + timedelta(weeks=week, days=5 if number % 2 else 4))
            pack, channel = ("LJ", "counter") if number % 2 else ("AJ", "post")
            given.append(
                Order(
                    Sell(
                        day=day,
                        pack=pack,
                        packs=1 + number % max(1, 100 * batches // max(1, sales)),
                        channel=channel,
                        amount=600,
                    ),
                    "AB",
                )
            )
        clock.at(FIRST + timedelta(weeks=week, days=6))
        ledger.do_all(given)
    return ledger, week_of(FIRST + timedelta(weeks=WEEKS - 1))


def copy_back(url: str, ledger: Ledger, times: int) -> None:
    """Copies of the twenty weeks before the first, `times` over."""
    head = ledger.queries.as_of().position
    engine = create_engine(url)
    days = [FIRST - timedelta(days=1) + timedelta(days=n) for n in range(7 * WEEKS + 1)]
    with engine.begin() as connection:
        connection.execute(text("CREATE TEMPORARY TABLE moved (day TEXT PRIMARY KEY, to_day TEXT, to_week TEXT)"))
        for number in range(1, times + 1):
            connection.execute(text("DELETE FROM moved"))
            back = [d - timedelta(weeks=WEEKS * number) for d in days]
            rows = [
                {"day": d.isoformat(), "to": t.isoformat(), "week": week_of(t)}
                for d, t in zip(days, back, strict=True)
                if t > date(1, 1, 1)
            ]
            connection.execute(text("INSERT INTO moved VALUES (:day, :to, :week)"), rows)
            shift, mark = head * number, f"{number}."
            connection.execute(
                text(
                    "INSERT INTO postings SELECT p.site, p.known_from - :s, p.line, p.known_to, p.origin - :s, m.to_day, m.to_week, p.step,"
                    " CASE WHEN p.batch = '' THEN '' ELSE :k || p.batch END, p.flavour, p.design, p.station, p.channel, p.kind,"
                    " CASE WHEN p.kind LIKE 'lot.%' THEN :k || p.account ELSE p.account END, p.item, p.mass_mg, p.pieces, p.packs, p.seconds,"
                    " p.money, p.solids_mg, p.theory_mg FROM postings p JOIN moved m ON m.day = p.day WHERE p.known_from > 0"
                ),
                {"s": shift, "k": mark},
            )
            connection.execute(
                text(
                    "INSERT INTO lots SELECT site, :k || lot, kind, item, :k || batch, flavour, design, portion, colour, treatment, day, best_before,"
                    " supplier, supplier_lot, held, 0, 0, 0, 0, made_mg, made_pieces, made_packs, position - :s, 0 FROM lots WHERE position > 0"
                ),
                {"s": shift, "k": mark},
            )
            connection.execute(
                text(
                    "INSERT INTO batches SELECT site, :k || batch, flavour, design, recipe, recipe_version, day, last_day, step, steps, status,"
                    " end_temperature_mc, temperature_tolerance_mc, moisture_ppm, moisture_low_ppm, moisture_high_ppm, process_yield_ppm,"
                    " unexplained_ppm, piece_mg, plan_line, position - :s, last_position - :s, last_at FROM batches WHERE position > 0"
                ),
                {"s": shift, "k": mark},
            )
    with engine.begin() as connection:
        connection.execute(text("ANALYZE"))
    engine.dispose()


def timed(what: Callable[[], object], rounds: int) -> list[float]:
    """Milliseconds of each round, after one to warm up."""
    what()
    found = []
    for _ in range(rounds):
        start = time.perf_counter()
        what()
        found.append(1000 * (time.perf_counter() - start))
    return sorted(found)


def main() -> None:
    """Fill, measure, print."""
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--events", type=int, default=1_000_000)
    args.add_argument("--per-week", type=int, default=250)
    args.add_argument("--rounds", type=int, default=15)
    args.add_argument("--url", default="")
    asked = args.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        url = asked.url or f"sqlite:///{Path(folder) / 'week.db'}"
        start = time.perf_counter()
        ledger, last = record(url, asked.per_week)
        head = ledger.queries.as_of().position
        recorded = time.perf_counter()
        copy_back(url, ledger, max(0, asked.events // head - 1))
        filled = time.perf_counter()
        rows = int(ledger.queries.balances([])["lines"].iloc[0])
        print(f"{head} entries through commands in {recorded - start:.1f} s, copied to {head * (asked.events // head)} "
              f"({rows} posting lines) in {filled - recorded:.1f} s")  # fmt: skip
        live = timed(lambda: week_report(ledger, last), asked.rounds)
        then = timed(lambda: week_report(ledger, last, head - asked.per_week // 4), asked.rounds)
        rows_only = timed(lambda: ledger.queries.postings(last), asked.rounds)
        print(
            f"week report now       median {statistics.median(live):6.1f} ms   best {live[0]:6.1f}   worst {live[-1]:6.1f}"
        )
        print(
            f"week report as known  median {statistics.median(then):6.1f} ms   best {then[0]:6.1f}   worst {then[-1]:6.1f}"
        )
        print(f"the week's lines only median {statistics.median(rows_only):6.1f} ms")
        print(f"ratio as known / now: {statistics.median(then) / statistics.median(live):.2f}   report / its lines: "
              f"{statistics.median(live) / statistics.median(rows_only):.1f}")  # fmt: skip
        ledger.close()


if __name__ == "__main__":
    main()
