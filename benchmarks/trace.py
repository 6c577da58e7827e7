"""How fast are a path and a recall report?  ``python -m benchmarks.trace [--rounds 15]``

A ledger of 100,000 lots and 300,000 edges in SQLite, in the shape of the shop's own ``edges`` table: every batch draws
on shared supplier lots, becomes cooked masses, a log, rods, pieces and packs, and some ends come back as re-boil in a
later batch.

Yard-stick of a path, in the same run and on the same rows: the bare recursive query (``UNION``) that returns the lot
marks and nothing else. Against it: the query that also hands over the edges, and the whole answer (query, graph,
order, least, most and expected shares). The recall report of a sugar lot that went into 200 batches is timed from rows
in memory to HTML and to PDF. Only ratios carry over to another machine.
"""

from __future__ import annotations

import argparse
import random
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from benchmarks.support import Contender, table, take_turns
from ledger.trace.audit_report import audit_report
from ledger.trace.edge_statements import (
    BACKWARD_EDGES,
    BACKWARD_LOTS,
    FORWARD_EDGES,
    FORWARD_LOTS,
)  # fmt: skip
from ledger.trace.graph import Direction, Edge, Leaf, Lot, LotGraph
from ledger.trace.path import trace_path
from ledger.trace.recall import Held, Party, RecallCase, work_out
from ledger.trace.recall_report import to_csv, to_html, to_pdf

SITE = "SHOP"
ALWAYS = 2**53 - 1
ASKED = 2**53 - 2
PER_BATCH = 10
KG = 1_000_000
SCHEMA = """
CREATE TABLE edges (site TEXT NOT NULL, parent TEXT NOT NULL, child TEXT NOT NULL, known_from BIGINT NOT NULL,
 known_to BIGINT NOT NULL, origin BIGINT NOT NULL, day TEXT NOT NULL, step TEXT NOT NULL, batch TEXT NOT NULL,
 mass_mg BIGINT NOT NULL, PRIMARY KEY (site, parent, child, known_from));
CREATE INDEX ix_child ON edges (site, child, parent);
CREATE TABLE lots (site TEXT NOT NULL, lot TEXT NOT NULL, kind TEXT NOT NULL, made_mg BIGINT NOT NULL,
 PRIMARY KEY (site, lot));
"""


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


def database(lots: list[Lot], edges: list[Edge]) -> sqlite3.Connection:
    """The same rows in SQLite, in memory, with the shop's own keys and indexes."""
    db = sqlite3.connect(":memory:")
    db.executescript(SCHEMA)
    db.executemany(
        "INSERT INTO edges VALUES (?,?,?,?,?,?,?,?,?,?)",
        (
            (SITE, e.parent, e.child, e.known_from, ALWAYS, e.known_from, e.day, e.step, e.batch, e.mass_mg)
            for e in edges
        ),
    )
    db.executemany("INSERT INTO lots VALUES (?,?,?,?)", ((SITE, x.lot, x.kind, x.made_mg or 0) for x in lots))
    return db


def whole_path(db: sqlite3.Connection, made: dict[str, Lot], lot: str, direction: Direction) -> int:
    """Query, graph, order and shares of one path; the number of lots on it."""
    statement = FORWARD_EDGES if direction == "forward" else BACKWARD_EDGES
    rows = db.execute(statement, {"site": SITE, "lot": lot, "known": ASKED})
    edges = [Edge(p, c, mass, step, batch, day, known_from=known) for p, c, mass, step, batch, day, known, _ in rows]
    names = {e.parent for e in edges} | {e.child for e in edges} | {lot}
    return len(trace_path(LotGraph.build([made[n] for n in names], edges), lot, direction).lots)


def time_paths(rounds: int) -> None:
    """Paths of random lots, forward from a colour lot and backward from a jar."""
    lots, edges = history(9_700, 200)
    db = database(lots, edges)
    made = {x.lot: x for x in lots}
    print(f"{len(lots)} lots, {len(edges)} edges")
    dice = random.Random(3)
    starts: dict[Direction, list[str]] = {
        "forward": [x.lot for x in dice.sample([x for x in lots if x.lot.startswith("CO")], 60)],
        "backward": [x.lot for x in dice.sample([x for x in lots if x.kind == "packs"], 60)],
    }
    for direction, from_lots in starts.items():
        names = FORWARD_LOTS if direction == "forward" else BACKWARD_LOTS
        rows = FORWARD_EDGES if direction == "forward" else BACKWARD_EDGES

        def ask(statement: str, chosen: list[str] = from_lots) -> Callable[[int], object]:
            def once(n: int) -> object:
                lot = chosen[n % len(chosen)]
                return db.execute(statement, {"site": SITE, "lot": lot, "known": ASKED}).fetchall()

            return once

        def answer(n: int, chosen: list[str] = from_lots, way: Direction = direction) -> object:
            return whole_path(db, made, chosen[n % len(chosen)], way)

        bare = Contender("bare recursive query, lot marks only", ask(names))
        with_rows = Contender("recursive query with its edges", ask(rows))
        ours = Contender("ours: query, graph, order and shares", answer)
        take_turns([bare, with_rows, ours], rounds=rounds, times=20, warm_up=20)
        size = sum(whole_path(db, made, lot, direction) for lot in from_lots) // len(from_lots)
        print(table(f"{direction}, {size} lots on a path (mean)", [bare, with_rows, ours], bare))


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
