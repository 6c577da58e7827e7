"""How fast are a path and a recall report?  ``python -m benchmarks.trace [--rounds 15]``

A ledger of 100,000 lots and 300,000 edges in the product's own SQLite file: every batch draws on shared supplier lots, becomes cooked masses, a log, rods, pieces and packs, and some ends come back as re-boil in a
later batch.

Yard-stick of a path, in the same run and on the same rows, over a connection of its own: the bare recursive query that returns the lot marks, and
the one that hands over the edges too. Against them: what the product does through its store (snapshot, head, statement), and the whole answer (graph,
order, least, most and expected shares). The recall report of a sugar lot that went into 200 batches is timed from rows
in memory to HTML and to PDF. Only ratios carry over to another machine.
"""

from __future__ import annotations

import argparse
import random
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from benchmarks.support import Contender, table, take_turns
from ledger.application.ledger import Ledger, open_ledger
from ledger.store import open_store
from ledger.trace.audit_report import audit_report
from ledger.trace.edge_statements import NOW
from ledger.trace.graph import Direction, Edge, Leaf, Lot, LotGraph
from ledger.trace.path import trace_path
from ledger.trace.queries import EDGES, reached
from ledger.trace.recall import Held, Party, RecallCase, work_out
from ledger.trace.recall_report import to_csv, to_html, to_pdf

SITE = "SHOP"
ALWAYS = 2**53 - 1
_STEP = ("WITH RECURSIVE reach(lot) AS (SELECT :lot UNION SELECT e.{to} FROM reach r CROSS JOIN edges e WHERE e.{at} = r.lot AND e.site = :site "
         "AND e.known_from + 0 <= :known AND e.known_to > :known) ")  # fmt: skip
_WAYS = {"forward": _STEP.format(to="child", at="parent"), "backward": _STEP.format(to="parent", at="child")}
BARE = {way: step + "SELECT lot FROM reach" for way, step in _WAYS.items()}
BARE_EDGES = {
    way: step
    + "SELECT e.parent, e.child, e.mass_mg, e.step, e.batch, e.day, e.known_from, e.origin FROM reach r CROSS JOIN edges e "
    "WHERE e.child = r.lot AND e.site = :site AND e.known_from + 0 <= :known AND e.known_to > :known"
    for way, step in _WAYS.items()
}
"""The yard-sticks, written here once more so that a slower statement of the product shows."""
PER_BATCH = 10
KG = 1_000_000


def history(batches: int, batches_a_sugar_lot: int, seed: int = 7) -> tuple[list[Lot], list[Edge]]:
    """Rows of an invented ledger: about ten lots and thirty edges a batch; re-boil of one batch in ten goes on."""
    dice = random.Random(seed)
    lots: list[Lot] = []
    edges: list[Edge] = []
    start = datetime(2020, 1, 6, tzinfo=UTC)
    reboils: list[str] = []

    def lot(name: str, kind: str, mass: int, day: str, packs: int | None = None) -> str:
        on_hand = packs // 4 if packs else 0
        lots.append(
            Lot(name, kind, kind, mass if packs is None else None, None, packs, 0, 0, on_hand, day, place="table")
        )
        return name

    for n in range(batches):
        day = f"{start + timedelta(days=n // 4):%Y-%m-%d}"
        batch = f"B{n}"
        if n % batches_a_sugar_lot == 0:
            stores = [lot(f"{kind}{n}", "material", 900 * KG, day) for kind in ("SU", "SY", "FL")]
        if n % 20 == 0:
            colours = [lot(f"CO{n}.{i}", "material", KG, day) for i in range(6)]

        def into(child: str, step: str, parents: list[tuple[str, int]], batch: str = batch, day: str = day) -> None:
            edges.extend(Edge(p, child, mass, step, batch, day, "W1", known_from=len(edges)) for p, mass in parents)

        masses = []
        for i in range(3):
            mass = lot(f"{batch}.M{i}", "mass", 4 * KG, day)
            masses.append(mass)
            drawn = [(stores[0], 3 * KG), (stores[1], KG), (stores[2], 20_000)]
            drawn += [(c, 4_000) for c in dice.sample(colours, 4)]
            if reboils and dice.random() < 0.1:
                drawn.append((reboils.pop(), 300_000))
            into(mass, "cook", drawn)
        log = lot(f"{batch}.LOG", "log", 11_500_000, day)
        into(log, "build", [(m, 3_900_000) for m in masses])
        rods = lot(f"{batch}.ROD", "rods", 11_400_000, day)
        into(rods, "roll", [(log, 11_500_000)])
        pieces = lot(f"{batch}.CUT", "pieces", 10_500_000, day)
        into(pieces, "cut", [(rods, 10_600_000)])
        ends = lot(f"{batch}.X", "reboil", 700_000, day)
        into(ends, "cut", [(rods, 700_000)])
        if dice.random() < 0.1:
            reboils.append(ends)
        for i in range(3):
            into(lot(f"{batch}.J{i}", "packs", 0, day, packs=28), "pack", [(pieces, 3_400_000)])
    return lots, edges


def database(folder: Path, edges: list[Edge]) -> str:
    """The same rows in a SQLite file of the product's own making, with the shop's keys and indexes; its address."""
    url = f"sqlite:///{folder / 'paths.sqlite'}"
    store = open_store(url, SITE)
    store.create()
    store.close()
    db = sqlite3.connect(folder / "paths.sqlite")
    rows = (
        (SITE, e.parent, e.child, n + 1, ALWAYS, n + 1, e.day, e.step, e.batch, e.mass_mg) for n, e in enumerate(edges)
    )
    columns = "site, parent, child, known_from, known_to, origin, day, step, batch, mass_mg"
    db.executemany(f"INSERT INTO edges ({columns}) VALUES (?,?,?,?,?,?,?,?,?,?)", rows)
    db.commit()
    db.close()
    return url


def whole_path(rows: list[tuple[Any, ...]], made: dict[str, Lot], lot: str, direction: Direction) -> int:
    """Graph, order and shares of one path; the number of lots on it."""
    edges = [Edge(p, c, mass, step, batch, day, known_from=known) for p, c, mass, step, batch, day, known, _ in rows]
    names = {e.parent for e in edges} | {e.child for e in edges} | {lot}
    return len(trace_path(LotGraph.build([made[n] for n in names], edges), lot, direction).lots)


def time_paths(rounds: int) -> None:
    """Paths of random lots: forward from a colour lot (wide), backward from a jar, forward from a lot of rods (a few lots only)."""
    lots, edges = history(9_700, 200)
    made = {x.lot: x for x in lots}
    print(f"{len(lots)} lots, {len(edges)} edges")
    dice = random.Random(3)
    starts: list[tuple[Direction, list[str]]] = [
        ("forward", [x.lot for x in dice.sample([x for x in lots if x.lot.startswith("CO")], 60)]),
        ("backward", [x.lot for x in dice.sample([x for x in lots if x.kind == "packs"], 60)]),
        ("forward", [x.lot for x in dice.sample([x for x in lots if x.kind == "rods"], 60)]),
    ]
    with TemporaryDirectory() as folder:
        url = database(Path(folder), edges)
        for words in ("never analysed, as the product leaves it", "after somebody ran ANALYZE"):
            ledger = open_ledger(url, SITE)
            db = sqlite3.connect(Path(folder) / "paths.sqlite", isolation_level=None)
            db.execute("PRAGMA cache_size = -24000")
            print(f"\n{words}")
            for direction, from_lots in starts:
                _one_way(ledger, db, made, direction, from_lots, rounds)
            db.execute("ANALYZE")
            db.close()
            ledger.close()


def _one_way(
    ledger: Ledger, db: sqlite3.Connection, made: dict[str, Lot], direction: Direction, lots: list[str], rounds: int
) -> None:
    site = ledger.store.site

    def plain(sql: str) -> Callable[[int], object]:
        return lambda n: db.execute(sql, {"site": site, "lot": lots[n % len(lots)], "known": NOW}).fetchall()

    def rows(n: int) -> list[tuple[Any, ...]]:
        with ledger.store.read() as reader:
            return reader.rows(EDGES[direction], (lots[n % len(lots)], site, NOW))

    bare = Contender("bare recursive query, lot marks only", plain(BARE[direction]))
    contenders = [
        bare, Contender("ours: the lots of the path", lambda n: reached(ledger.queries, lots[n % len(lots)], direction)),
        Contender("bare recursive query with its edges", plain(BARE_EDGES[direction])), Contender("ours: the path with its edges", rows),
        Contender("ours: edges, graph, order and shares", lambda n: whole_path(rows(n), made, lots[n % len(lots)], direction)),
    ]  # fmt: skip
    take_turns(contenders, rounds=rounds, times=20, warm_up=20)
    size = sum(len(reached(ledger.queries, lot, direction)) for lot in lots) // len(lots)
    print(table(f"{direction}, {size} lots on a path (mean)", contenders, bare))
    edges = contenders[2].p50
    print(f"  against the bare query with its edges, ours takes {contenders[3].p50 / edges:.2f} times as long")


def time_report(rounds: int) -> None:
    """The whole recall report of a sugar lot used in 200 batches."""
    lots, edges = history(400, 200)
    dice = random.Random(5)
    leaves = [
        Leaf(x.lot, "delivery", x.day, packs=12, party=f"CUS{dice.randrange(40)}", document="INV")
        for x in lots
        if x.made_packs
    ]
    leaves += [Leaf(x.lot, "counter", x.day, packs=9) for x in lots if x.made_packs]
    now = datetime(2026, 5, 2, 9, 0, tzinfo=UTC)
    case = RecallCase("RC-1", "SU0", "supplier's notice", now)
    parties = {f"CUS{n}": Party(f"CUS{n}", f"Shop {n}", "1 High Street", "555 0100") for n in range(40)}
    held = [Held(x.lot, x.on_hand_packs, "shelf", now) for x in lots if x.made_packs]
    graph = LotGraph.build(lots, edges, leaves)

    def figures(_: int) -> object:
        recall = work_out(LotGraph.build(lots, edges, leaves), case, parties=parties, held=held)
        return audit_report(recall, graph, now=now, parties=parties)

    recall = work_out(graph, case, parties=parties, held=held)
    report = audit_report(recall, graph, now=now, parties=parties)
    steps = len({e.batch for e in recall.path.edges})
    print(f"\nrecall of a sugar lot: {steps} batches, {len(recall.affected)} lots, {len(recall.path.edges)} steps")
    contenders = [
        Contender("figures and the twelve answers", figures),
        Contender("the report as HTML", lambda n: to_html(report)),
        Contender("the report as CSV", lambda n: to_csv(report)),
        Contender("the report as PDF", lambda n: to_pdf(report)),
    ]
    take_turns(contenders, rounds=2, times=max(1, rounds // 8), warm_up=1)
    for one in contenders:
        print(f"  {one.name:44} {one.p50 * 1000:9.0f} ms")


def main() -> None:
    """Run both measurements."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=15)
    rounds = parser.parse_args().rounds
    time_paths(rounds)
    time_report(rounds)


if __name__ == "__main__":
    main()
