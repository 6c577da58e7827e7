"""What the log holds of a recall: its start, its notes, its end, who was told, what was counted and held; now, or as known at an entry."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from ledger.application.ledger import Ledger
from ledger.application.reports_types import Basis
from ledger.domain.season.events import RecallClosed, RecallNoted, RecallStarted
from ledger.errors import UnknownThing
from ledger.quantities import mass_text
from ledger.trace.graph import LotGraph
from ledger.trace.recall import Held, Told


@dataclass(frozen=True, slots=True)
class Case:
    """One recall with all its entries: where each stands, when it was recorded (UTC) and by whom."""

    started: RecallStarted
    at: datetime
    by: str
    notes: tuple[tuple[datetime, str, RecallNoted], ...] = ()
    closed: RecallClosed | None = None
    closed_at: datetime | None = None
    position: int = 0
    note_positions: tuple[int, ...] = ()


def recalls(ledger: Ledger, known: int | None = None) -> list[Case]:
    """Every recall and drill, oldest first, by the entries up to ``known`` (None: all)."""
    last = 2**53 if known is None else known
    started, noted, ended = (
        [(p, x) for p, x in ledger.queries.papers(kind) if p <= last]
        for kind in ("recall", "recall-note", "recall-closed")
    )
    closed = {paper.recall: (position, paper) for position, paper in ended}
    positions = [p for p, _ in started] + [p for p, _ in noted]
    log = ledger.queries.log(positions=positions, most=len(positions) + 1)
    who = {int(r["position"]): (moment(r["recorded_at"]), str(r["recorded_by"])) for r in log.to_dict("records")}
    return [
        Case(
            paper, moment(paper.started_at), who[position][1],
            tuple((max(who[p][0], moment(paper.started_at)), who[p][1], n) for p, n in noted if n.recall == paper.recall),
            closed[paper.recall][1] if paper.recall in closed else None,
            moment(closed[paper.recall][1].closed_at) if paper.recall in closed else None,
            position, tuple(p for p, n in noted if n.recall == paper.recall),
        )
        for position, paper in started
    ]  # fmt: skip


def moment(text: str) -> datetime:
    """A moment that an entry of a recall names (ISO 8601 with its zone), in UTC."""
    return datetime.fromisoformat(text).astimezone(UTC)


def the_recall(ledger: Ledger, recall: str = "", known: int | None = None) -> Case:
    """One recall by its code, or the newest that is open. Raises UnknownThing."""
    every = recalls(ledger, known)
    for case in reversed(every):
        if case.started.recall == recall or (not recall and case.closed is None):
            return case
    codes = ", ".join(c.started.recall for c in every) or "none yet"
    wanted = f"There is no recall `{recall}`" if recall else "No recall is open"
    wanted += f" as known at entry {known}" if known is not None else ""
    raise UnknownThing(
        f"{wanted}; known are {codes}. Start one with `slabbook recall start LOT --reason ...`.",
        kind="recall",
        id=recall,
    )


def told_of(n: RecallNoted) -> str:
    mass = mass_text(n.mass_mg, "metric") if n.mass_mg else ""
    return " ".join(x for x in (n.kind, n.partner, n.lot, f"{n.packs} packs" if n.packs else "", mass, n.text) if x)


def counted_at(on: Basis, case: Case, affected: Sequence[str]) -> dict[str, datetime]:
    """When each lot was last counted since the start, by any count that was not voided."""
    log = on.queries.log(
        name="lot.counted", streams=[f"lot/{lot}" for lot in affected], after=case.position, most=100_000
    )
    voided = {origin for origin, (_, void) in corrections(on).items() if void}
    return {
        str(json.loads(r["payload"])["lot"]): moment(str(r["recorded_at"]))
        for r in log.to_dict("records")
        if int(r["position"]) not in voided and int(r["position"]) <= on.known
    }


def customers(case: Case, back: dict[str, int]) -> list[Told]:
    """Who was told, and what they said; what came back is the ledger's, not the notes'."""
    calls: dict[str, Told] = {}
    for at, by, n in case.notes:
        if n.kind == "called" and n.partner and n.partner not in calls:
            calls[n.partner] = Told(n.partner, at, n.text or "telephone", by)
        elif n.kind in ("answered", "returned", "pulled") and n.partner:
            old = calls.get(n.partner, Told(n.partner, at, "answered without a call on record", by))
            there = n.packs if n.kind == "answered" else old.still_there
            aside = old.set_aside + (n.packs if n.kind == "pulled" else 0)
            calls[n.partner] = Told(old.party, old.at, old.way, old.by, old.answered_at or at, there, aside)
    return [replace(t, came_back=back.get(t.party, 0)) for t in calls.values()]


def held_of(on: Basis, graph: LotGraph, started: RecallStarted, case: Case) -> list[Held]:
    """Lots of the recall with all they hold, each with when and by whom it was set aside: held now, or held until the recall closed."""
    affected = [started.lot, *graph.reach(started.lot, "forward")]
    orders: dict[str, tuple[datetime, str]] = {}
    there = sorted({*affected, *started.lots})
    for row in on.queries.log(name="lot.held", streams=[f"lot/{lot}" for lot in there], most=100_000).to_dict(
        "records"
    ):
        order = json.loads(row["payload"])
        if int(row["position"]) > on.known:
            continue
        for lot in order["lots"] if order.get("recall") == started.recall else ():
            orders[str(lot)] = (moment(str(row["recorded_at"])), str(row["recorded_by"]))
    rows = []
    if on.known < on.queries.as_of().position:
        return _held_then(on, graph, case, affected, orders)
    for r in on.queries.lots(holding=True, names=affected).to_dict("records"):
        lot = graph.lot(str(r["lot"]))
        if not r["held"] and (case.closed is None or lot.lot not in orders):
            continue
        at, by = orders.get(lot.lot, (case.at, case.by))
        amount = lot.on_hand_packs if lot.made_packs is not None else lot.on_hand_mg
        rows.append(Held(lot.lot, amount, lot.place, max(at, case.at), by))
    return rows


def _held_then(
    on: Basis, graph: LotGraph, case: Case, affected: Sequence[str], orders: dict[str, tuple[datetime, str]]
) -> list[Held]:
    """What was held at an earlier entry, by the holds and releases up to it."""
    moves = [(int(r["position"]), name == "lot.held", json.loads(r["payload"])["lots"])
             for name in ("lot.held", "lot.released") for r in on.queries.log(name=name, before=on.known + 1, most=10**6).to_dict("records")]  # fmt: skip
    held: set[str] = set()
    for _, aside, lots in sorted(moves, key=lambda m: m[0]):
        held = held | set(lots) if aside else held - set(lots)
    rows = []
    for name in affected:
        lot = graph.lot(name)
        amount = lot.on_hand_packs if lot.made_packs is not None else lot.on_hand_mg
        if amount and (name in held or (case.closed is not None and name in orders)):
            at, by = orders.get(name, (case.at, case.by))
            rows.append(Held(name, amount, lot.place, max(at, case.at), by))
    return rows


def corrections(on: Basis) -> dict[int, tuple[int, bool]]:
    """Corrected entries as known then: origin -> (position of the newest correction, whether it voids)."""
    fixes = on.queries.corrections()
    newest = {
        int(o): (int(p), bool(v)) for o, p, v in zip(fixes["origin"], fixes["position"], fixes["voided"], strict=True)
    }
    late = {origin for origin, (position, _) in newest.items() if position > on.known}
    if not late:
        return newest
    then = {origin: found for origin, found in newest.items() if origin not in late}
    for name in ("ledger.amended", "ledger.voided"):  # of those corrected again since, the correction believed then
        for r in on.queries.log(name=name, before=on.known + 1, most=10**6).to_dict("records"):
            origin, position = int(json.loads(r["payload"])["origin"]), int(r["position"])
            if origin in late and position > then.get(origin, (0, False))[0]:
                then[origin] = (position, name == "ledger.voided")
    return then


__all__ = ["Case", "corrections", "counted_at", "customers", "held_of", "moment", "recalls", "the_recall", "told_of"]
