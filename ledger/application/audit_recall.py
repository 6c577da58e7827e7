"""Recalls and drills: started, followed and closed as entries of the ledger; the figures are worked out from the rows each time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from ledger.application.audit import explained, graph_of
from ledger.application.checkpoints import checkpoint
from ledger.application.ledger import Ledger, Outcome
from ledger.application.recall_cases import (
    Case,
    corrections,
    counted_at,
    customers,
    held_of,
    moment,
    recalls,
    the_recall,
    told_of,
)
from ledger.application.reports_types import Basis, basis
from ledger.domain.books import entries as e
from ledger.domain.season.commands import CloseRecall, NoteRecall, StartRecall
from ledger.domain.season.decider import MOVING, NOTE_KINDS
from ledger.errors import BadInput, Refused
from ledger.projections.queries import Queries
from ledger.store.times import utc_text
from ledger.trace.audit_report import AuditReport, audit_report
from ledger.trace.graph import LotGraph
from ledger.trace.marks import find
from ledger.trace.notice import NoticeGoods, recall_notice
from ledger.trace.path import trace_path
from ledger.trace.queries import reached
from ledger.trace.recall import Party, Recall, RecallCase, work_out
from ledger.trace.recall_progress import came_back


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
    order = StartRecall(
        day=ledger.today(), recall=code or _free_code(ledger, ledger.today(), drill), lot=lot, reason=reason, drill=drill,
        started_at=utc_text(ledger.clock()),
        lots=(lot, *lots_to_hold(on.queries, lot)),
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


def lots_to_hold(queries: Queries, lot: str) -> list[str]:
    """Lots made with a lot, in making order: the packed ones, and of the others (re-boil, portions, pieces) those that hold something."""
    made = queries.lots(holding=False, names=reached(queries, lot, "forward")).sort_values("position")
    kept = made[(made["kind"] == "packs") | (made["mass_mg"] > 0) | (made["packs"] > 0) | (made["pieces"] > 0)]
    return [str(x) for x in kept["lot"] if x != lot]


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


def work(
    ledger: Ledger, recall: str = "", known: int | str | None = None, *, behind: bool = True, case: Case | None = None
) -> Worked:
    """Work a recall out as the rows stand now, or as known at an entry or on a day. Raises UnknownThing for no such recall by then.

    case: the recall's entries, where they were read already. behind: with all that stands behind the affected lots. Left out, every figure of theirs is the same; shares and neighbours are not.
    """
    on = basis(ledger, known)
    case = case or the_recall(ledger, recall, None if known is None else on.known)
    s = case.started
    graph = graph_of(on, s.lot, "recall" if behind else "forward")
    parties = {
        str(r["id"]): Party(str(r["id"]), str(r["name"]), str(r["address"]), str(r["phone"]))
        for r in on.queries.contacts().to_dict("records")
        if r["kind"] != "worker"
    }
    changed = corrections(on)
    clock = [("affected lots found and held", case.at)]
    clock += [
        (told_of(n) + (" (corrected since)" if n.lot and n.kind in MOVING and p + 1 in changed else ""), at)
        for p, (at, _, n) in zip(case.note_positions, case.notes, strict=True)
    ]
    if case.closed_at is not None:
        clock.append(("closed", case.closed_at))
    held = held_of(on, graph, s, case)
    affected = [s.lot, *graph.reach(s.lot, "forward")]
    worked = work_out(
        graph, RecallCase(s.recall, s.lot, s.reason, case.at, case.by, s.drill), parties=parties, clock=clock,
        told=customers(case, came_back(graph, affected, case.position)), held=held, since=case.position,
        counted_at=counted_at(on, case, affected),
    )  # fmt: skip
    return Worked(case, worked, graph, on, parties)


def report(ledger: Ledger, recall: str = "", known: int | str | None = None) -> AuditReport:
    """The twelve audit questions answered for a recall, with the tree head that lets a stranger check it.

    known: as of an entry or the end of a day; the report then carries the root the ledger had at that entry.
    """
    worked = work(ledger, recall, known)
    on = worked.on
    head = checkpoint(ledger, on.known)
    asked = worked.case.closed_at or (ledger.clock() if known is None else moment(head.at))
    try:
        words = notice(ledger, worked=worked)
    except BadInput as error:
        words = f"No notice yet: {error.message}"
    return audit_report(
        worked.recall, worked.graph, now=asked, site=on.site.name, parties=worked.parties,
        record=_record(worked), head=head, notice=words, system=on.shop.units, explained_mg=explained(on, worked.graph),
        places={s.id: s.name for s in on.book.all(e.Station) if s.name},
    )  # fmt: skip


def _record(worked: Worked) -> list[tuple[str, ...]]:
    """The entries behind the answer: what, when it happened, when recorded, by whom, and what corrected it."""
    behind = [e.event for e in worked.recall.path.edges] + [
        x.event for x in worked.recall.path.leaves if x.kind != "counter"
    ]
    origins = sorted({int(event) for event in behind if event})
    corrected = {origin: position for origin, (position, _) in corrections(worked.on).items()}
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
