"""Recalls and drills: started, followed and closed as entries of the ledger; the figures are worked out from the rows each time."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from ledger.application.audit import explained, graph_of
from ledger.application.ledger import Ledger, Outcome
from ledger.application.reports_types import Basis, basis
from ledger.domain.books import entries as e
from ledger.domain.season.commands import CloseRecall, NoteRecall, StartRecall
from ledger.domain.season.decider import MOVING, NOTE_KINDS
from ledger.domain.season.events import RecallClosed, RecallNoted, RecallStarted
from ledger.errors import BadInput, Refused, UnknownThing
from ledger.quantities import mass_text
from ledger.store.times import utc_text
from ledger.trace.audit_report import AuditReport, audit_report
from ledger.trace.graph import LotGraph
from ledger.trace.notice import NoticeGoods, recall_notice
from ledger.trace.path import trace_path
from ledger.trace.proof import TreeHead
from ledger.trace.queries import find
from ledger.trace.recall import Held, Party, Recall, RecallCase, Told, work_out
from ledger.trace.recall_progress import came_back


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


@dataclass(frozen=True, slots=True)
class Started:
    """What came of asking for a recall: its code, what was recorded, and whether it was open at this lot already (then nothing was)."""

    recall: str
    outcome: Outcome
    was_open: bool = False


@dataclass(frozen=True, slots=True)
class Worked:
    """A recall worked out: its entries, its figures, the graph behind them, and who they are about."""

    case: Case
    recall: Recall
    graph: LotGraph
    on: Basis
    parties: dict[str, Party]


def start(ledger: Ledger, typed: str, reason: str, *, drill: bool = False, by: str = "", code: str = "") -> Started:
    """Begin a recall or drill at a lot: every affected lot that is still there is held in the same command.

    The lots are found forward through blends and re-boil. Packed lots are held sold out or not, so that packs that come back are held too;
    of the others those that hold something. Where the same is open at this lot already, nothing is recorded and the open one is the answer:
    a second person, or a second tap, goes on with it. Raises UnknownThing for no such lot, BadInput without a reason, Refused for a drill
    while a recall in earnest is open there.
    """
    on = basis(ledger)
    found = find(on.queries, typed)
    if found.kind != "lot":
        raise BadInput(
            f"A recall starts at one lot; {found.mark} is a {found.kind} of {', '.join(found.lots)}. Name one of them.",
            value=typed,
        )
    lot = found.lots[0]
    graph = graph_of(on, lot, "forward")
    affected = [lot, *graph.in_making_order(graph.reach(lot, "forward"))]
    order = StartRecall(
        day=ledger.today(), recall=code or _free_code(ledger, ledger.today(), drill), lot=lot, reason=reason, drill=drill,
        started_at=utc_text(ledger.clock()),
        lots=tuple(x for x in affected if x == lot or graph.lot(x).kind == "packs" or _on_hand(graph, x)),
    )  # fmt: skip
    while True:
        try:
            outcome = ledger.do(order, by)
            return Started(order.recall, outcome, not outcome.first)
        except Refused as error:
            if "taken" in error.facts and not code:  # somebody else took the code just now
                order = replace(order, recall=_free_code(ledger, ledger.today(), drill))
                continue
            running = str(error.facts.get("recall", ""))
            if not running or bool(error.facts.get("drill")) != drill:
                raise
            return Started(running, Outcome(), True)


def _on_hand(graph: LotGraph, lot: str) -> bool:
    row = graph.lot(lot)
    return bool(row.on_hand_mg or row.on_hand_packs or row.on_hand_pieces)


def _free_code(ledger: Ledger, day: str, drill: bool) -> str:
    taken = {paper.recall for _, paper in ledger.queries.papers("recall")}
    stem = f"{'D' if drill else 'R'}-{day[:4]}"
    return next(code for n in range(1, 10_000) if (code := f"{stem}-{n}") not in taken)


def note(
    ledger: Ledger,
    recall: str,
    kind: str,
    *,
    partner: str = "",
    lot: str = "",
    packs: int | None = None,
    mass_mg: int | None = None,
    channel: str = "",
    amount: int = 0,
    text: str = "",
    by: str = "",
    command_id: str = "",
) -> Outcome:
    """Write down progress; what was counted, came back or was destroyed moves its lot's stock in the same command.

    A return from a customer who had one affected lot only needs no lot. Raises BadInput for an unknown kind, a call without saying whom,
    or a movement without its lot.
    """
    case = the_recall(ledger, recall)
    code = case.started.recall
    if kind in MOVING and lot:
        found = find(ledger.queries, lot)
        if found.kind != "lot":
            raise BadInput(f"{found.mark} is a {found.kind}; name one of its lots: {', '.join(found.lots)}.", value=lot)
        lot = found.lots[0]
    elif kind == "returned" and partner:
        lot = _lot_of_customer(ledger, case, partner)
    order = NoteRecall(
        day=ledger.today(), recall=code, kind=kind, partner=partner, lot=lot, packs=packs, mass_mg=mass_mg, channel=channel,
        amount=amount, text=text,
    )  # fmt: skip
    return ledger.do(order, by, command_id)


def _lot_of_customer(ledger: Ledger, case: Case, partner: str) -> str:
    on = basis(ledger)
    leaves = trace_path(graph_of(on, case.started.lot, "forward"), case.started.lot, "forward").leaves
    had = sorted({x.lot for x in leaves if x.kind == "delivery" and x.party == partner})
    if len(had) != 1:
        told = f"{partner} had {', '.join(had)}" if had else f"no affected lot was delivered to {partner}"
        raise BadInput(f"Say which lot came back: {told}.", value=partner, lots=had)
    return had[0]


def close(ledger: Ledger, recall: str, *, release: bool = False, by: str = "", command_id: str = "") -> Outcome:
    """End a recall with the figures as they stand; a drill's lots are usually released with it."""
    worked = work(ledger, recall)
    rows = worked.recall.accounts[worked.recall.accounts["unit"] == worked.recall.score_unit]
    names = ("made", "on_hand", "still_out", "sold", "sampled", "scrapped", "lost", "used", "unexplained")
    figures: dict[str, Any] = {"unit": worked.recall.score_unit, "lots": len(worked.recall.affected)} | {
        n: int(rows[n].sum()) for n in names
    }
    made = figures["made"]
    ppm = (made - figures["unexplained"]) * 1_000_000 // made if made else 1_000_000
    order = CloseRecall(day=ledger.today(), recall=worked.case.started.recall, accounted_ppm=ppm, figures=figures,
                        closed_at=utc_text(ledger.clock()), release=release)  # fmt: skip
    return ledger.do(order, by, command_id)


def recalls(ledger: Ledger) -> list[Case]:
    """Every recall and drill, oldest first."""
    started = ledger.queries.papers("recall")
    noted = ledger.queries.papers("recall-note")
    closed = {paper.recall: (position, paper) for position, paper in ledger.queries.papers("recall-closed")}
    positions = [p for p, _ in started] + [p for p, _ in noted]
    log = ledger.queries.log(positions=positions, most=len(positions) + 1)
    who = {int(r["position"]): (_moment(r["recorded_at"]), str(r["recorded_by"])) for r in log.to_dict("records")}
    return [
        Case(
            paper, _moment(paper.started_at), who[position][1],
            tuple((max(who[p][0], _moment(paper.started_at)), who[p][1], n) for p, n in noted if n.recall == paper.recall),
            closed[paper.recall][1] if paper.recall in closed else None,
            _moment(closed[paper.recall][1].closed_at) if paper.recall in closed else None,
            position, tuple(p for p, n in noted if n.recall == paper.recall),
        )
        for position, paper in started
    ]  # fmt: skip


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text.replace("Z", "+00:00")).astimezone(UTC)


def the_recall(ledger: Ledger, recall: str = "") -> Case:
    """One recall by its code, or the newest that is open. Raises UnknownThing."""
    every = recalls(ledger)
    for case in reversed(every):
        if case.started.recall == recall or (not recall and case.closed is None):
            return case
    known = ", ".join(c.started.recall for c in every) or "none yet"
    wanted = f"There is no recall `{recall}`" if recall else "No recall is open"
    raise UnknownThing(
        f"{wanted}; known are {known}. Start one with `slabbook recall start LOT --reason ...`.",
        kind="recall",
        id=recall,
    )


def work(ledger: Ledger, recall: str = "") -> Worked:
    """Work a recall out as the rows stand now. Raises UnknownThing for no such recall."""
    on = basis(ledger)
    case = the_recall(ledger, recall)
    s = case.started
    graph = graph_of(on, s.lot, "recall")
    parties = {
        str(r["id"]): Party(str(r["id"]), str(r["name"]), str(r["address"]), str(r["phone"]))
        for r in on.queries.contacts().to_dict("records")
        if r["kind"] != "worker"
    }
    corrected = on.queries.corrections()
    changed = {int(o) for o in corrected["origin"]}
    clock = [("affected lots found and held", case.at)]
    clock += [
        (_told(n) + (" (corrected since)" if n.lot and n.kind in MOVING and p + 1 in changed else ""), at)
        for p, (at, _, n) in zip(case.note_positions, case.notes, strict=True)
    ]
    if case.closed_at is not None:
        clock.append(("closed", case.closed_at))
    held = _held(on, graph, s, case)
    affected = [s.lot, *graph.reach(s.lot, "forward")]
    worked = work_out(
        graph, RecallCase(s.recall, s.lot, s.reason, case.at, case.by, s.drill), parties=parties, clock=clock,
        told=_customers(case, came_back(graph, affected, case.position)), held=held, since=case.position,
        counted_at=_counted(on, case, affected),
    )  # fmt: skip
    return Worked(case, worked, graph, on, parties)


def _told(n: RecallNoted) -> str:
    mass = mass_text(n.mass_mg, "metric") if n.mass_mg else ""
    return " ".join(x for x in (n.kind, n.partner, n.lot, f"{n.packs} packs" if n.packs else "", mass, n.text) if x)


def _counted(on: Basis, case: Case, affected: Sequence[str]) -> dict[str, datetime]:
    """When each lot was last counted since the start, by any count that was not voided."""
    log = on.queries.log(
        name="lot.counted", streams=[f"lot/{lot}" for lot in affected], after=case.position, most=100_000
    )
    fixes = on.queries.corrections()
    voided = {int(o) for o, v in zip(fixes["origin"], fixes["voided"], strict=True) if v}
    return {
        str(json.loads(r["payload"])["lot"]): _moment(str(r["recorded_at"]))
        for r in log.to_dict("records")
        if int(r["position"]) not in voided
    }


def _customers(case: Case, back: dict[str, int]) -> list[Told]:
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


def _held(on: Basis, graph: LotGraph, started: RecallStarted, case: Case) -> list[Held]:
    """Lots of the recall with all they hold, each with when and by whom it was set aside: held now, or held until the recall closed."""
    affected = [started.lot, *graph.reach(started.lot, "forward")]
    orders: dict[str, tuple[datetime, str]] = {}
    there = sorted({*affected, *started.lots})
    for row in on.queries.log(name="lot.held", streams=[f"lot/{lot}" for lot in there], most=100_000).to_dict(
        "records"
    ):
        order = json.loads(row["payload"])
        for lot in order["lots"] if order.get("recall") == started.recall else ():
            orders[str(lot)] = (_moment(str(row["recorded_at"])), str(row["recorded_by"]))
    rows = []
    for r in on.queries.lots(holding=True, names=affected).to_dict("records"):
        lot = graph.lot(str(r["lot"]))
        if not r["held"] and (case.closed is None or lot.lot not in orders):
            continue
        at, by = orders.get(lot.lot, (case.at, case.by))
        amount = lot.on_hand_packs if lot.made_packs is not None else lot.on_hand_mg
        rows.append(Held(lot.lot, amount, lot.place, max(at, case.at), by))
    return rows


def report(ledger: Ledger, recall: str = "") -> AuditReport:
    """The twelve audit questions answered for a recall, with the tree head that lets a stranger check it."""
    worked = work(ledger, recall)
    on = worked.on
    try:
        words = notice(ledger, worked=worked)
    except BadInput as error:
        words = f"No notice yet: {error.message}"
    return audit_report(
        worked.recall, worked.graph, now=worked.case.closed_at or ledger.clock(), site=on.site.name, parties=worked.parties,
        record=_record(worked), head=checkpoint(ledger), notice=words, system=on.shop.units, explained_mg=explained(on),
    )  # fmt: skip


def checkpoint(ledger: Ledger) -> TreeHead:
    """Size, root and time of the ledger's tree as it stands: what leaves the house on every report."""
    with ledger.store.read() as reader:
        return TreeHead(reader.head.position, reader.root().hex(), reader.head.recorded_at)


def _record(worked: Worked) -> list[tuple[str, ...]]:
    """The entries behind the answer: what, when it happened, when recorded, by whom, and what corrected it."""
    behind = [e.event for e in worked.recall.path.edges] + [
        x.event for x in worked.recall.path.leaves if x.kind != "counter"
    ]
    origins = sorted({int(event) for event in behind if event})
    fixes = worked.on.queries.corrections()
    corrected = {int(o): int(p) for o, p in zip(fixes["origin"], fixes["position"], strict=True)}
    shown = [o for o in origins if o in corrected] if len(origins) > 150 else origins
    log = worked.on.queries.log(positions=shown, most=len(shown) + 1)
    return [
        (str(r["position"]), str(r["name"]), str(r["occurred_at"])[:16], str(r["recorded_at"])[:16], str(r["recorded_by"]),
         f"entry {corrected[int(r['position'])]}" if int(r["position"]) in corrected else "")
        for r in log.to_dict("records")
    ]  # fmt: skip


def notice(ledger: Ledger, recall: str = "", *, worked: Worked | None = None) -> str:
    """The text for customers. Raises BadInput if nothing was packed or the shop has no telephone number on record."""
    worked = worked or work(ledger, recall)
    book = worked.on.book
    rows = worked.on.queries.lots(holding=False, kinds=["packs"], names=list(worked.recall.affected))
    goods = []
    for r in rows.to_dict("records"):
        pack = book.find(e.Pack, str(r["item"]))
        size = f"{pack.net_mg // 1000} g" if pack else ""
        goods.append(NoticeGoods(pack.name if pack else str(r["item"]), size, str(r["lot"]), str(r["best_before"])))
    own = worked.parties.get(worked.on.site.id) or worked.parties.get("self")
    phone = own.phone if own and own.phone else "the number on your delivery note"
    return recall_notice(
        goods,
        reason=worked.case.started.reason.rstrip("."),
        shop=worked.on.site.name,
        phone=phone,
        drill=worked.case.started.drill,
    )


__all__ = [
    "MOVING",
    "NOTE_KINDS",
    "Case",
    "Started",
    "Worked",
    "checkpoint",
    "close",
    "note",
    "notice",
    "recalls",
    "report",
    "start",
    "the_recall",
    "work",
]
