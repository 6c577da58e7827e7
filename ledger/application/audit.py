"""The lot audit over the ledger: paths of any mark, the story of one lot, and where mass leaks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from ledger.application.ledger import Ledger
from ledger.application.reports_types import Basis, Report, Table, basis, columns
from ledger.errors import UnknownThing
from ledger.quantities import mass_text
from ledger.trace.balance import leaks, lot_balance
from ledger.trace.graph import Direction, Edge, Lot, LotGraph
from ledger.trace.layout import svg
from ledger.trace.marks import Found, find
from ledger.trace.path import Path, trace_path
from ledger.trace.queries import load

DRAWN_UP_TO = 150
"""Lots on a drawn path; a longer one is a table only, because nobody could read it."""
STEPS = columns(
    ("day", "day", "day"), ("step", "step"), ("batch", "batch"), ("person", "by"), ("parent", "from"), ("child", "into"),
    ("mass_in_mg", "taken", "small"), ("step_in_mg", "step in", "mass"), ("step_out_mg", "step out", "mass"), ("event", "entry"),
)  # fmt: skip
LOTS = columns(
    ("lot", "lot"), ("kind", "kind"), ("label", "what"), ("day", "day", "day"), ("made_mg", "made", "mass"), ("made_packs", "packs", "count"),
    ("supplier", "supplier"), ("supplier_lot", "their lot"), ("least_share", "least", "share"), ("expected_share", "expected", "share"),
    ("most_share", "most", "share"),
)  # fmt: skip
ENDS = columns(
    ("day", "day", "day"), ("lot", "lot"), ("kind", "what"), ("party", "to"), ("document", "document"), ("packs", "packs", "count"),
    ("pieces", "pieces", "count"), ("mass_mg", "mass", "mass"), ("person", "by"), ("event", "entry"),
)  # fmt: skip
BALANCE = columns(("what", "what"), ("amount", "amount", "row"))
LEAKS = columns(
    ("batch", "batch"), ("step", "step"), ("day", "day", "day"), ("in_mg", "in", "mass"), ("out_mg", "out", "mass"),
    ("explained_mg", "boiled off or binned", "mass"), ("usual_share", "usual", "share"), ("share", "here", "share"), ("leak_mg", "beyond usual", "small"),
)  # fmt: skip
SHARES_SAID = "Shares are of a lot's mass: least and most hold whatever mixed, expected is for even mixing. A lot is affected by any share."


@dataclass(frozen=True, slots=True)
class Traced:
    """A path with its report and, when it is short enough to be read, its drawing."""

    found: Found
    path: Path
    report: Report
    drawing: str


def words(on: Basis) -> dict[str, str]:
    """Names of materials and packs by id."""
    return dict(on.shop.names.get("item", {}))


def graph_of(on: Basis, lot: str, around: Direction | str) -> LotGraph:
    """The graph around a lot as the report's basis knows it."""
    names = words(on)
    return load(on.queries, lot, around, known=on.known, label=lambda kind, item: names.get(item, item or kind))  # type: ignore[arg-type]


def trace(ledger: Ledger, typed: str, direction: Direction, known: int | str | None = None) -> Traced:
    """Follow a lot, batch, jar code or document backward to its sources or forward to where it ended.

    Raises UnknownThing for a mark that is none of these, BadInput for a day or position that is none.
    """
    on = basis(ledger, known)
    found = find(on.queries, typed)
    if found.kind == "lot":
        path = trace_path(graph_of(on, found.lots[0], direction), found.lots[0], direction)
    else:
        path = _of_several(on, found, direction)
    return Traced(found, path, _report(on, found, path), svg(path) if len(path.lots) <= DRAWN_UP_TO else "")


def _of_several(on: Basis, found: Found, direction: Direction) -> Path:
    """A batch or a delivery as one point: all its lots flow into it (backward) or out of it (forward)."""
    name = f"{found.kind} {found.mark}"
    graphs = []
    for lot in found.lots:
        try:
            graphs.append(graph_of(on, lot, direction))
        except UnknownThing:  # voided since, or not made yet as known then
            continue
    if not graphs:
        raise UnknownThing(f"The {name} holds no lot as known then.", kind=found.kind, id=found.mark)
    merged = _merged(graphs)
    inside = [lot for lot in found.lots if lot in merged.lots]
    own = set(inside)
    masses = dict(zip(found.lots, found.masses, strict=False))
    if direction == "backward":
        ends = inside if found.masses else [x for x in inside if not any(e.child in own for e in merged.out_of(x))]
        joins = [Edge(x, name, masses.get(x) or merged.made_mg(x), found.kind, event="") for x in ends]
        edges = [*merged.edges, *joins]
    else:
        starts = inside if found.masses else [x for x in inside if not any(e.parent in own for e in merged.into(x))]
        joins = [Edge(name, x, merged.made_mg(x), found.kind, event="") for x in starts]
        edges = [*[e for e in merged.edges if e.child not in set(starts)], *joins]
    node = Lot(name, found.kind, made_mg=sum(e.mass_mg for e in joins))
    graph = LotGraph.build([*merged.lots.values(), node], edges, merged.leaves)
    return trace_path(graph, name, direction)


def _merged(graphs: Sequence[LotGraph]) -> LotGraph:
    lots: dict[str, Lot] = {}
    for graph in graphs:
        for name, lot in graph.lots.items():
            if name not in lots or lots[name].made_mg is None:
                lots[name] = lot
    edges = list(dict.fromkeys(e for g in graphs for e in g.edges))
    by_key: dict[tuple[str, str, str], Edge] = {}
    for edge in edges:  # an edge that one graph saw whole and another rounded is taken once, at its larger mass
        key = (edge.parent, edge.child, edge.event)
        if key not in by_key or by_key[key].mass_mg < edge.mass_mg:
            by_key[key] = edge
    leaves = list(dict.fromkeys(x for g in graphs for x in g.leaves))
    return LotGraph.build(lots.values(), by_key.values(), leaves)


def _report(on: Basis, found: Found, path: Path) -> Report:
    forward = path.direction == "forward"
    packed = [lot for lot in path.lots if lot.made_packs is not None]
    sources = [lot for lot in path.sources if lot.lot != path.start]
    units = on.shop.units
    if forward:
        packs = sum(lot.made_packs or 0 for lot in packed)
        hand = sum(lot.on_hand_packs for lot in packed)
        out = sum(x.packs for x in path.leaves if x.kind == "delivery")
        sold = sum(x.packs for x in path.leaves if x.kind == "counter")
        said = (
            f"{path.start} went into {len(path.others)} other lots; {packs} packs in {len(packed)} lots carry some of it: {hand} on hand, "
            f"{out} delivered, {sold} sold."
        )
    else:
        houses = {lot.supplier for lot in sources if lot.supplier}
        said = (
            f"{path.start} stands on {len(path.others)} other lots, {len(sources)} of them received from {len(houses)} suppliers; "
            f"{mass_text(path.graph.made_mg(path.start), units)} in all."
        )
    tables = {
        "lots": Table("Lots on the way", path.lots_table(), LOTS, note=SHARES_SAID),
        "steps": Table("Steps", path.table(), STEPS, note="Step in and out are the whole step's; the difference boiled off or was lost."),
    }  # fmt: skip
    if forward:
        ends = pd.DataFrame(
            [{c.name: getattr(x, c.name) for c in ENDS} for x in path.leaves], columns=[c.name for c in ENDS]
        )
        tables["ends"] = Table("Where it left", ends.sort_values(["day", "lot"], ignore_index=True), ENDS)
    way = "Forward from" if forward else "Back from"
    return Report("trace", f"{way} {found.kind} {found.mark}", on.as_of, said, tables, (), on.shop)


def lot_report(ledger: Ledger, typed: str, known: int | str | None = None) -> Report:
    """The story of one lot: where it came from, what happened to it, what is left, and whether its mass adds up.

    Raises UnknownThing for no such lot.
    """
    on = basis(ledger, known)
    found = find(on.queries, typed)
    if found.kind != "lot":
        raise UnknownThing(f"{found.mark} is a {found.kind}, not a lot; its lots are {', '.join(found.lots) or 'none'}.",
                           kind="lot", id=found.mark)  # fmt: skip
    lot = found.lots[0]
    graph = graph_of(on, lot, "recall")
    row, balance = graph.lot(lot), lot_balance(graph, lot)
    kind = "mass" if balance["unit"] == "mg" else "count"
    parts = ("made", "returned", "used", "delivered", "sold", "sampled", "scrapped", "lost", "on_hand", "unexplained")
    titles = {
        "made": "received" if row.supplier else "made",
        "used": "used in other lots",
        "on_hand": "on hand",
        "lost": "lost on record",
    }
    amounts = pd.DataFrame(
        [{"what": titles.get(p, p), "amount": balance[p], "kind": kind} for p in parts if balance[p] or p in ("made", "used", "on_hand", "unexplained")]
    )  # fmt: skip
    story = [
        {"day": e.day, "lot": e.parent, "kind": f"into {e.child}" if e.parent == lot else "came in", "party": e.batch, "document": e.step,
         "packs": e.packs, "pieces": 0, "mass_mg": e.mass_mg, "person": e.person, "event": e.event}
        for e in [*graph.into(lot), *graph.out_of(lot)]
    ]  # fmt: skip
    story += [{c.name: getattr(x, c.name) for c in ENDS} for x in graph.leaves_of(lot)]
    frame = pd.DataFrame(story, columns=[c.name for c in ENDS]).sort_values(
        ["day", "event"], kind="stable", ignore_index=True
    )
    held = on.queries.lot(lot) or {}
    state = f" It is held: {held['held']}." if held.get("held") else ""
    until = f", best before {held['best_before']}" if held.get("best_before") else ""
    origin = (
        f" from {row.supplier}, their lot {row.supplier_lot or 'not said'}"
        if row.supplier
        else f" in batch {held.get('batch', '')}"
    )
    left = (
        mass_text(row.on_hand_mg, on.shop.units)
        if balance["unit"] == "mg"
        else f"{balance['on_hand']} {balance['unit']}"
    )
    said = f"{row.label or row.kind}, {titles['made']} {row.day}{origin}{until}; {left} on hand.{state}"
    tables = {
        "balance": Table("Does it add up?" if kind == "mass" else f"Does it add up? ({balance['unit']})", amounts, BALANCE,
                         note=f"{titles['made']} + returned = used + delivered + sold + sampled + scrapped + lost + on hand + unexplained, exactly."),
        "story": Table("What happened to it", frame, ENDS),
        "leaks": Table("Steps with this lot that lost more than usual", _leaks(on, graph, lot), LEAKS),
    }  # fmt: skip
    return Report("lot", f"Lot {lot}", on.as_of, said, tables, (), on.shop)


def explained(on: Basis, graph: LotGraph) -> dict[tuple[str, str], int]:
    """Losses on record by (batch, step) of the graph: boiled off and binned by cause, mg, less the mains water that went in."""
    batches = sorted({edge.batch for edge in graph.edges} - {""})
    frame = on.queries.balances(["batch", "step"], batches=batches, kinds=["air", "scrap", "water"], known=on.known)
    return {(str(b), str(s)): int(m) for b, s, m in zip(frame["batch"], frame["step"], frame["mass_mg"], strict=True)}


def _leaks(on: Basis, graph: LotGraph, lot: str) -> pd.DataFrame:
    return leaks(graph, lot, explained_mg=explained(on, graph))


def leaks_report(ledger: Ledger, typed: str, known: int | str | None = None, tolerance: float = 0.005) -> Report:
    """The batches and steps where a lot's mass leaks beyond what is usual for the step, worst first."""
    on = basis(ledger, known)
    lot = find(on.queries, typed).lots[0]
    graph = graph_of(on, lot, "recall")
    frame = leaks(graph, lot, tolerance_share=tolerance, explained_mg=explained(on, graph))
    said = (
        f"{len(frame)} steps that used {lot} differ from their usual by more than {tolerance:.1%} of what went in; the worst is "
        f"{frame['step'][0]} of batch {frame['batch'][0]}." if len(frame) else f"No step that used {lot} leaks beyond its usual."
    )  # fmt: skip
    return Report(
        "leaks", f"Leaks of {lot}", on.as_of, said, {"leaks": Table("Worst first", frame, LEAKS)}, (), on.shop
    )


__all__ = ["Traced", "explained", "graph_of", "leaks_report", "lot_report", "trace"]
