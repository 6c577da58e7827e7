"""The SQL of a path against networkx on random rows, amended ones among them."""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.domain.world import ALWAYS
from ledger.store import open_store
from ledger.trace.edge_statements import EDGES, LOTS, NOW

ROW = st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(1, 9), st.integers(0, 9)).filter(
    lambda t: t[0] < t[1]
)


@settings(deadline=None)
@given(st.lists(ROW, max_size=30), st.integers(0, 9), st.sampled_from([*range(1, 12), NOW]))
def test_the_statements_reach_what_networkx_reaches_as_known_at_any_position(
    rows: list[tuple[int, int, int, int]], start: int, known: int
) -> None:
    db = sqlite3.connect(":memory:")
    db.execute(
        "CREATE TABLE edges (site, parent, child, mass_mg, step, batch, day, known_from BIGINT, known_to BIGINT, "
        "origin)"
    )
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(f"L{n}" for n in range(10))
    for a, b, since, more in rows:
        until = since + more if more else ALWAYS
        values = ("S", f"L{a}", f"L{b}", 5, "cook", "B", "2026-01-01", since, until, since)
        db.execute("INSERT INTO edges VALUES (?,?,?,?,?,?,?,?,?,?)", values)
        db.execute("INSERT INTO edges VALUES (?,?,?,?,?,?,?,?,?,?)", ("OTHER", f"L{b}", f"L{a}", *values[3:]))
        if since <= known < until:
            graph.add_edge(f"L{a}", f"L{b}")
    asked = {"site": "S", "lot": f"L{start}", "known": known}
    for lots, edges, far in (
        (LOTS["forward"], EDGES["forward"], nx.descendants(graph, f"L{start}")),
        (LOTS["backward"], EDGES["backward"], nx.ancestors(graph, f"L{start}")),
    ):
        reached = {row[0] for row in db.execute(lots, asked)}
        assert reached == far | {f"L{start}"}
        found = sorted((row[0], row[1]) for row in db.execute(edges, asked))
        assert found == sorted((a, b) for a, b, _ in graph.edges(keys=True) if b in reached)
    db.close()


@pytest.mark.parametrize("around", ["forward", "backward", "recall"])
@pytest.mark.parametrize("statements", [LOTS, EDGES], ids=["lots", "edges"])
def test_statistics_do_not_turn_the_planner_from_the_index_on_the_lot(
    statements: dict[str, str], around: str, tmp_path: Path
) -> None:
    """After ANALYZE, SQLite 3.38 and later would fill a Bloom filter from the whole table at each question."""
    store = open_store(f"sqlite:///{tmp_path / 'a.db'}")
    store.create()
    store.close()
    db = sqlite3.connect(tmp_path / "a.db")
    rows = [
        ("S", f"L{n}", f"L{n + 1 + n % 3}", n + 1, ALWAYS, n + 1, "2026-01-01", "cook", "B", 5) for n in range(4_000)
    ]
    columns = "site, parent, child, known_from, known_to, origin, day, step, batch, mass_mg"
    db.executemany(f"INSERT INTO edges ({columns}) VALUES (?,?,?,?,?,?,?,?,?,?)", rows)

    def plan() -> list[str]:
        return [
            row[3]
            for row in db.execute("EXPLAIN QUERY PLAN " + statements[around], {"site": "S", "lot": "L9", "known": NOW})
        ]

    before = plan()
    db.execute("ANALYZE")
    db.commit()
    db.close()
    db = sqlite3.connect(tmp_path / "a.db")
    after = plan()
    db.close()
    assert before == after
    searches = [step for step in after if " e " in f"{step} "]
    assert searches and all(
        re.search(r"SEARCH e USING .*INDEX .*\(site=\? AND (parent|child)=\?\)", s) for s in searches
    ), after
