"""The audit's questions to the ledger: the rows of a path as one graph, and every entry that moved a lot.

A graph is loaded around a question, never the whole ledger. Amended entries count as amended and voided ones not at all, because
only rows believed at the asked position are read; a lot's amounts are sums of its postings, so they are exact as of any position.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from sqlalchemy import bindparam, column, select, text
from sqlalchemy.sql.elements import ClauseElement

from ledger.errors import UnknownThing
from ledger.projections.queries import Queries
from ledger.projections.tables import lots, on_a_lot, postings
from ledger.store.reader import Reader
from ledger.store.statements import POSTGRESQL, SQLITE, Statement, among
from ledger.store.tables import events
from ledger.trace import edge_statements
from ledger.trace.edge_statements import NOW, Around
from ledger.trace.graph import Edge, Leaf, Lot, LotGraph

MAKING = ("receive", "cook", "pull", "blend", "build", "roll", "cut", "pack")
"""Steps by which a lot comes into being; every other line on a lot's account is something that happened to it later."""
LEAF_OF_STEP = {
    "sell": "counter", "ship": "delivery", "return": "return", "sample": "sample", "scrap": "scrap", "count": "unexplained",
}  # fmt: skip
_CHUNK = 5_000

_BELIEVED = "{0}.known_from + 0 <= :known AND {0}.known_to > :known"  # + 0: keeps SQLite off the index on known_from
_MAKING = ", ".join(f"'{step}'" for step in MAKING)
_SUM_COLUMNS = (
    "account", "made_mg", "made_pieces", "made_packs", "on_hand_mg", "on_hand_pieces", "on_hand_packs", "place", "made_lines",
)  # fmt: skip
_LINE_COLUMNS = ("account", "known_from", "origin", "day", "step", "station", "channel", "mass_mg", "pieces", "packs")


def _statement(sql: str, columns: Sequence[str], params: Sequence[str]) -> Statement:
    return Statement(text(sql).columns(*[column(name) for name in columns]), params)


def _made(measure: str) -> str:
    return f"SUM(CASE WHEN p.{measure} > 0 AND p.step IN ({_MAKING}) THEN p.{measure} ELSE 0 END)"


def _of_lots(columns: Sequence[str], select: str, group: str = "") -> Statement:
    """Lines on the accounts of the lots given as one JSON list, each found by the index of lines on a lot."""

    def build(dialect: str) -> ClauseElement:
        listed = {
            SQLITE: "IN (SELECT value FROM json_each(:lots))",
            POSTGRESQL: "= ANY (ARRAY(SELECT jsonb_array_elements_text(CAST(:lots AS JSONB))))",
        }[dialect]
        return text(
            f"SELECT {select} FROM postings p WHERE p.site = :site AND p.account {listed} AND p.kind LIKE 'lot.%' "
            f"AND {_BELIEVED.format('p')} {group}"
        ).columns(*[column(name) for name in columns])

    return Statement(build, ["lots", "site", "known"])


EDGES = {
    around: _statement(sql, edge_statements.COLUMNS, edge_statements.PARAMS)
    for around, sql in edge_statements.EDGES.items()
}
REACHED = {around: _statement(sql, ["lot"], edge_statements.PARAMS) for around, sql in edge_statements.LOTS.items()}
SUMS = _of_lots(
    _SUM_COLUMNS,
    f"p.account, {_made('mass_mg')}, {_made('pieces')}, {_made('packs')}, SUM(p.mass_mg), SUM(p.pieces), SUM(p.packs), "
    f"MAX(CASE WHEN p.mass_mg > 0 AND p.step IN ({_MAKING}) THEN p.station ELSE '' END), "
    f"SUM(CASE WHEN p.mass_mg > 0 AND p.step IN ({_MAKING}) THEN 1 ELSE 0 END)",
    "GROUP BY p.account",
)
LINES = _of_lots(_LINE_COLUMNS, ", ".join(f"p.{name}" for name in _LINE_COLUMNS))
"""The single lines on the accounts of the lots that are looked at closely: all ahead, or (backward) the lot itself."""
ABOUT = Statement(
    select(lots.c.lot, lots.c.kind, lots.c.item, lots.c.flavour, lots.c.design, lots.c.portion, lots.c.day, lots.c.supplier, lots.c.supplier_lot)
    .where(lots.c.site == bindparam("site"), among(lots.c.lot, "lots")),
    ["site", "lots"],
)  # fmt: skip


def _of_entries(*columns: str) -> Statement:
    return Statement(
        select(events.c.position, *(events.c[name] for name in columns)).where(
            events.c.site == bindparam("site"), among(events.c.position, "positions")
        ),
        ["site", "positions"],
    )


PEOPLE = _of_entries("recorded_by")
PAYLOADS = _of_entries("payload")


def reached(queries: Queries, lot: str, around: Around, known: int | None = None) -> list[str]:
    """Marks of the lots of a path and nothing else, the one asked about first: one question to the database."""
    with queries.store.read() as reader:
        return [
            row[0] for row in reader.rows(REACHED[around], (lot, queries.store.site, NOW if known is None else known))
        ]


def load(
    queries: Queries,
    lot: str,
    around: Around,
    *,
    known: int | None = None,
    label: Callable[[str, str], str] = lambda kind, item: item or kind,
) -> LotGraph:
    """The graph around one lot as known at a position: `recall` holds the way forward and all that stands behind it.

    `label` turns (kind of lot, item) into words. Raises UnknownThing if there was no such lot by then.
    """
    at, site = NOW if known is None else known, queries.store.site
    with queries.store.read() as reader:
        edge_rows = reader.rows(EDGES[around], (lot, site, at))
        ahead = _ahead(edge_rows, lot)
        names = {row[0] for row in edge_rows} | {row[1] for row in edge_rows} | {lot}
        asked = ahead if around == "forward" else names
        sums = {row[0]: row[1:] for row in reader.rows(SUMS, (_listed(asked), site, at))}
        line_rows = reader.rows(LINES, (_listed([lot] if around == "backward" else ahead), site, at))
        if lot not in sums:
            raise UnknownThing(f"There is no lot {lot} in the ledger" + (" as it was known then." if known is not None else "."),
                               kind="lot", id=lot)  # fmt: skip
        about = {row[0]: row for row in reader.rows(ABOUT, (site, _listed(names)))}
        away = {row[1] for row in line_rows if row[4] in ("ship", "return", "receive")}
        papers = _papers(reader, site, away)
        people: dict[int, str] = dict(
            reader.rows(PEOPLE, (site, _listed({row[7] for row in edge_rows} | {row[2] for row in line_rows})))
        )
    nodes = [
        _lot(name, about.get(name), sums.get(name), label, papers, line_rows if name == lot else ())
        for name in sorted(names)
    ]
    taken: dict[tuple[str, int], list[int]] = {}
    leaves: list[Leaf] = []
    for account, position, origin, day, step, _station, channel, mass, pieces, packs in line_rows:
        if step in LEAF_OF_STEP:
            leaves.append(_leaf(account, position, origin, day, step, channel, (mass, pieces, packs), papers, people))
        elif mass < 0 or packs < 0:
            held = taken.setdefault((account, position), [0, 0, 0])
            held[0] -= mass
            held[1] -= packs
            held[2] = origin
    edges, lost = _settled(edge_rows, taken, people)
    return LotGraph.build(nodes, edges, [*leaves, *lost])


def _ahead(rows: Iterable[tuple[Any, ...]], lot: str) -> set[str]:
    """The lot and all that was made with it, from the edges around it."""
    children: dict[str, list[str]] = {}
    for row in rows:
        children.setdefault(row[0], []).append(row[1])
    found, waiting = {lot}, [lot]
    while waiting:
        new = [child for child in children.get(waiting.pop(), ()) if child not in found]
        found.update(new)
        waiting += new
    return found


def _listed(items: Iterable[Any]) -> str:
    """A list as one value for the database."""
    return json.dumps(sorted(items))


def _settled(
    rows: Iterable[tuple[Any, ...]], taken: dict[tuple[str, int], list[int]], people: dict[int, str]
) -> tuple[list[Edge], list[Leaf]]:
    """Edges whose masses sum to exactly what left the parent. What left a lot at a step that made nothing is a loss on record."""
    edges: list[Edge] = []
    of_take: dict[tuple[str, int], list[int]] = {}
    for parent, child, mass, step, batch, day, position, origin in rows:
        of_take.setdefault((parent, position), []).append(len(edges))
        edges.append(Edge(parent, child, mass, step, batch, day, people.get(origin, ""), event=str(origin)))
    lost = []
    for (lot, position), (mass, packs, origin) in taken.items():
        places = of_take.get((lot, position))
        if not places:
            lost.append(Leaf(lot, "loss", mass_mg=mass, packs=packs, person=people.get(origin, ""), event=str(origin)))
            continue
        rest = mass - sum(edges[p].mass_mg for p in places)
        biggest = max(places, key=lambda p: edges[p].mass_mg)
        edges[biggest] = edges[biggest]._replace(mass_mg=edges[biggest].mass_mg + rest, packs=packs)
    return edges, lost


def _leaf(
    lot: str, position: int, origin: int, day: str, step: str, channel: str, amounts: tuple[int, int, int],
    papers: dict[int, dict[str, Any]], people: dict[int, str],
) -> Leaf:  # fmt: skip
    sign = 1 if step == "return" else -1
    mass, pieces, packs = (sign * a for a in amounts)
    paper = papers.get(position, {})
    return Leaf(
        lot, LEAF_OF_STEP[step], day, mass, pieces, packs, party=str(paper.get("partner") or channel), document=str(paper.get("document", "")),
        person=people.get(origin, ""), event=str(origin),
    )  # fmt: skip


def _lot(
    name: str, about: tuple[Any, ...] | None, sums: tuple[Any, ...] | None, label: Callable[[str, str], str],
    papers: dict[int, dict[str, Any]], own: Sequence[tuple[Any, ...]],
) -> Lot:  # fmt: skip
    if about is None:
        return Lot(name, "unknown")
    _, kind, item, flavour, design, portion, day, supplier, supplier_lot = about
    made = sums or (None, 0, 0, 0, 0, 0, "", 0)  # a neighbour whose account was not asked for
    received = [papers[row[1]] for row in own if row[4] == "receive" and row[1] in papers]
    words = label(kind, item) if item else " ".join(x for x in (kind, portion, flavour, design) if x)
    return Lot(
        name, kind, words, None if made[0] is None else int(made[0]), int(made[1]) if kind == "pieces" else None, int(made[2]) if kind == "packs" else None,
        int(made[3]), int(made[4]), int(made[5]), day, supplier, supplier_lot, str(made[6]),
        document=str(received[0].get("document", "")) if received else "", carrier=str(received[0].get("carrier", "")) if received else "",
    )  # fmt: skip


def _chunks(items: Sequence[Any]) -> Iterable[Sequence[Any]]:
    for start in range(0, len(items), _CHUNK):
        yield items[start : start + _CHUNK]


def _papers(reader: Reader, site: str, positions: Iterable[int]) -> dict[int, dict[str, Any]]:
    """What entries of deliveries, returns and receipts say: partner, document, carrier. An amended one is read as amended."""
    found: dict[int, dict[str, Any]] = {}
    for position, payload in reader.rows(PAYLOADS, (site, _listed(positions))):
        data = json.loads(payload)
        found[int(position)] = data["data"] if "data" in data and "origin" in data else data
    return found


def entries_of_lot(queries: Queries, names: Sequence[str]) -> list[int]:
    """Positions of every entry that ever moved these lots, with the corrections of them, voided ones too; oldest first."""
    site = queries.store.site
    found: set[int] = set()
    with queries.store.read() as reader:
        for part in _chunks(list(names)):
            frame = reader.frame(
                select(postings.c.origin, postings.c.known_from)
                .where(postings.c.site == site, postings.c.account.in_(list(part)), on_a_lot())
                .distinct()
            )
            found |= {int(x) for x in frame["origin"]} | {int(x) for x in frame["known_from"]}
    fixes = queries.corrections()
    found |= {int(p) for o, p in zip(fixes["origin"], fixes["position"], strict=True) if int(o) in found}
    return sorted(found)


__all__ = ["EDGES", "LEAF_OF_STEP", "LINES", "MAKING", "SUMS", "Around", "entries_of_lot", "load", "reached"]
