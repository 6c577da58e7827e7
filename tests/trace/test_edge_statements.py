"""The SQL of a path against networkx on random rows, amended ones among them."""

from __future__ import annotations

import sqlite3

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.domain.world import ALWAYS
from ledger.trace.edge_statements import BACKWARD_EDGES, BACKWARD_LOTS, FORWARD_EDGES, FORWARD_LOTS, NOW

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
        (FORWARD_LOTS, FORWARD_EDGES, nx.descendants(graph, f"L{start}")),
        (BACKWARD_LOTS, BACKWARD_EDGES, nx.ancestors(graph, f"L{start}")),
    ):
        reached = {row[0] for row in db.execute(lots, asked)}
        assert reached == far | {f"L{start}"}
        found = sorted((row[0], row[1]) for row in db.execute(edges, asked))
        assert found == sorted((a, b) for a, b, _ in graph.edges(keys=True) if b in reached)
    db.close()
