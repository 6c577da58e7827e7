"""Paths through lots against networkx on random histories, and the shares of mass against real parcels kept apart."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.errors import LedgerDamaged, UnknownThing
from ledger.trace.graph import Edge, Leaf, Lot, LotGraph
from ledger.trace.layout import layout, lines, svg
from ledger.trace.path import trace_path
from tests.trace.workshops import Workshop, workshops


def peer(edges: list[Edge]) -> nx.MultiDiGraph:
    """The same believed edges in networkx, built apart from our own index."""
    graph = nx.MultiDiGraph()
    graph.add_edges_from((e.parent, e.child) for e in edges if e.kept and e.known_to is None)
    return graph


@given(
    st.lists(
        st.tuples(st.integers(0, 14), st.integers(0, 14), st.booleans(), st.booleans()).filter(lambda t: t[0] < t[1]),
        max_size=60,
    )
)
def test_both_directions_reach_what_networkx_reaches_and_voids_are_left_out(
    rows: list[tuple[int, int, bool, bool]],
) -> None:
    edges = [Edge(f"L{a}", f"L{b}", 5, kept=kept, known_to=9 if amended else None) for a, b, kept, amended in rows]
    lots = [Lot(f"L{i}", "mass") for i in range(15)]
    ours, theirs = LotGraph.build(lots, edges), peer(edges)
    theirs.add_nodes_from(lot.lot for lot in lots)
    for lot in lots:
        assert ours.reach(lot.lot, "forward") == nx.descendants(theirs, lot.lot)
        assert ours.reach(lot.lot, "backward") == nx.ancestors(theirs, lot.lot)


@settings(deadline=None)
@given(workshops())
def test_path_steps_are_the_edges_networkx_keeps_in_the_same_subgraph(shop: Workshop) -> None:
    graph, theirs = shop.graph, peer(shop.edges)
    theirs.add_nodes_from(lot.lot for lot in shop.lots)
    for lot in shop.truth:
        for direction, others in (("forward", nx.descendants(theirs, lot)), ("backward", nx.ancestors(theirs, lot))):
            path = trace_path(graph, lot, direction)  # type: ignore[arg-type]
            inside = theirs.subgraph(others | {lot})
            assert sorted((e.parent, e.child) for e in path.edges) == sorted(
                (a, b) for a, b, _ in inside.edges(keys=True)
            )
            place = {row.lot: n for n, row in enumerate(path.lots)}
            assert all(place[e.parent] < place[e.child] for e in path.edges)


@settings(deadline=None, max_examples=150)
@given(workshops())
def test_the_truth_always_lies_between_least_and_most(shop: Workshop) -> None:
    graph = shop.graph
    for lot, contents in shop.truth.items():
        back = trace_path(graph, lot, "backward").carries
        for other, carry in back.items():
            really = sum(1 for origin in contents if other in origin)
            assert carry.least_mg <= really <= carry.most_mg, (other, lot)
            assert carry.least_mg - 1e-9 <= carry.expected_mg <= carry.most_mg + 1e-9
        for other, carry in trace_path(graph, lot, "forward").carries.items():
            really = sum(1 for origin in shop.truth[other] if lot in origin)
            assert carry.least_mg <= really <= carry.most_mg, (lot, other)


@settings(deadline=None)
@given(workshops())
def test_both_directions_agree_on_every_pair_of_lots(shop: Workshop) -> None:
    graph = shop.graph
    for lot in shop.truth:
        for other, carry in trace_path(graph, lot, "backward").carries.items():
            mirror = trace_path(graph, other, "forward").carries[lot]
            assert (mirror.least_mg, mirror.most_mg, mirror.of_mg) == (carry.least_mg, carry.most_mg, carry.of_mg)
            assert mirror.expected_share == pytest.approx(carry.expected_share, abs=1e-12)


@settings(deadline=None)
@given(workshops())
def test_expected_shares_of_the_sources_add_up_to_the_whole_lot(shop: Workshop) -> None:
    graph = shop.graph
    for lot in shop.truth:
        path = trace_path(graph, lot, "backward")
        if path.carries:
            total = sum(path.carries[s.lot].expected_share for s in path.sources)
            assert total == pytest.approx(1.0, abs=1e-9)


@settings(deadline=None)
@given(workshops())
def test_expected_shares_are_those_of_a_random_walk_in_networkx(shop: Workshop) -> None:
    """Perfect mixing: the share of A in C is the sum over all routes of the product of the portions' fractions."""
    graph = shop.graph
    taken_in = {lot: sum(e.mass_mg for e in graph.into(lot)) for lot in shop.truth}
    blend = nx.DiGraph()
    for e in shop.edges:
        weight = blend.get_edge_data(e.parent, e.child, {"w": 0.0})["w"] + e.mass_mg / taken_in[e.child]
        blend.add_edge(e.parent, e.child, w=weight)
    last = shop.lots[-1].lot
    for source, carry in trace_path(graph, last, "backward").carries.items():
        routes = nx.all_simple_paths(blend, source, last)
        want = 0.0
        for route in routes:
            product = 1.0
            for a, b in pairwise(route):
                product *= blend[a][b]["w"]
            want += product
        assert carry.expected_share == pytest.approx(want, abs=1e-9)


def reboil_story() -> LotGraph:
    """Syrup S1 used in cooks 1-3; part of cook 2 re-boiled into cook 5 at 8 %."""
    lots = [Lot("S1", "material", made_mg=1_500_000), Lot("S2", "material", made_mg=9_000_000)]
    lots += [Lot(f"COOK{i}", "mass", made_mg=1_000_000) for i in range(1, 6)]
    edges = [Edge("S1", f"COOK{i}", 500_000, "cook") for i in (1, 2, 3)]
    edges += [Edge("S2", f"COOK{i}", 500_000, "cook") for i in (1, 2, 3)]
    edges += [
        Edge("S2", "COOK4", 1_000_000, "cook"),
        Edge("COOK2", "COOK5", 80_000, "cook"),
        Edge("S2", "COOK5", 920_000, "cook"),
    ]
    return LotGraph.build(lots, edges)


def test_a_syrup_lot_is_followed_through_re_boil_into_a_later_cook() -> None:
    # Rework carries the union of its parents' lots: Codex CXG 60-2006 (one step back, one step forward); figures
    # worked by hand.
    graph = reboil_story()
    assert graph.reach("S1", "forward") == {"COOK1", "COOK2", "COOK3", "COOK5"}
    assert "S1" in graph.reach("COOK5", "backward")
    carry = trace_path(graph, "COOK5", "backward").carries["S1"]
    assert carry.expected_share == pytest.approx(0.04)  # half of 8 %
    assert (carry.least_mg, carry.most_mg) == (0, 80_000)  # none of it, or all of the re-boil


def test_a_correction_is_seen_only_from_the_position_it_was_made_at() -> None:
    lots = [Lot("S", "material", made_mg=30), Lot("C", "mass", made_mg=10)]
    wrong = Edge("S", "C", 20, known_from=3, known_to=8)
    right = Edge("S", "C", 10, known_from=8)
    gone = Leaf("C", "counter", packs=2, known_from=4, known_to=9)
    for position, mass, leaves in ((2, [], 0), (3, [20], 0), (7, [20], 1), (8, [10], 1), (9, [10], 0), (None, [10], 0)):
        graph = LotGraph.build(lots, [wrong, right], [gone], as_known=position)
        assert [e.mass_mg for e in graph.into("C")] == mass
        assert len(graph.leaves_of("C")) == leaves


def test_a_ring_of_lots_is_named_and_refused() -> None:
    lots = [Lot("A", "mass"), Lot("B", "mass"), Lot("C", "mass")]
    graph = LotGraph.build(lots, [Edge("A", "B", 1), Edge("B", "C", 1), Edge("C", "B", 1)])
    with pytest.raises(LedgerDamaged, match=r"B, C are made out of each other") as caught:
        trace_path(graph, "A", "forward")
    assert caught.value.lots == ["B", "C"]


@pytest.mark.parametrize("edge", [Edge("A", "A", 1, "pull", "B7"), Edge("A", "B", -1, "pull", "B7")])
def test_a_lot_put_into_itself_or_a_negative_mass_is_refused(edge: Edge) -> None:
    with pytest.raises(LedgerDamaged, match="pull of batch B7"):
        LotGraph.build([Lot("A", "mass")], [edge])


def test_an_unknown_lot_is_named() -> None:
    with pytest.raises(UnknownThing, match="no lot 'Z9'"):
        trace_path(reboil_story(), "Z9", "forward")


def test_more_out_than_in_counts_as_mass_of_unknown_origin() -> None:
    graph = LotGraph.build([Lot("A", "material", made_mg=10), Lot("B", "mass", made_mg=12)], [Edge("A", "B", 10)])
    carry = trace_path(graph, "B", "backward").carries["A"]
    assert (carry.least_mg, carry.most_mg, carry.expected_mg) == (10, 12, 12.0)


def test_the_table_shows_date_person_and_mass_in_and_out_of_each_step() -> None:
    lots = [Lot("S", "material", made_mg=50), Lot("C", "mass", made_mg=40)]
    edges = [Edge("S", "C", 30, "cook", "B1", "2026-02-03", "W2"), Edge("T", "C", 20, "cook", "B1", "2026-02-03", "W2")]
    table = trace_path(LotGraph.build(lots, edges), "C", "backward").table()
    first = table.iloc[0]
    assert (first["day"], first["person"], first["step"]) == ("2026-02-03", "W2", "cook")
    assert list(table["mass_in_mg"]) == [30, 20]
    assert (first["step_in_mg"], first["step_out_mg"], first["difference_mg"]) == (50, 40, 10)


@settings(deadline=None, max_examples=40)
@given(workshops())
def test_a_drawing_puts_every_parent_left_of_its_child_and_no_two_lots_on_one_spot(shop: Workshop) -> None:
    last = shop.lots[-1].lot
    path = trace_path(shop.graph, last, "backward")
    spots = layout(path)
    at = spots.set_index("lot")
    joins = lines(path)
    assert joins["mass_mg"].sum() == sum(e.mass_mg for e in path.edges)
    for row in joins.itertuples(index=False):
        assert at.loc[row.parent, "layer"] < at.loc[row.child, "layer"]
    assert not spots.duplicated(["x", "y"]).any()
    drawing = svg(path)
    assert drawing.count("<rect") == len(path.lots)
    assert drawing.count("<path") == len(joins)


def test_a_lot_known_only_from_an_edge_is_shown_and_not_hidden() -> None:
    graph = LotGraph.build([Lot("C", "mass")], [Edge("GHOST", "C", 5)])
    assert graph.lot("GHOST").kind == "unknown"
    assert replace(graph.lot("GHOST"), kind="mass").kind == "mass"
