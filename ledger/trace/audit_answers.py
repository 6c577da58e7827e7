"""The twelve answers of an audit: one sentence each that can be read out over the telephone, and a table where there is more.

An inspector asks the same dozen questions whatever the law is called. Recipes, prices and personnel data stay out
(21 CFR 1.362). The page that carries the answers is made in ``audit_report.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import pandas as pd

from ledger.trace.audit_words import as_table, lasted, packs_or_mass, percent, shown
from ledger.trace.balance import leaks, lot_balance
from ledger.trace.graph import LotGraph
from ledger.trace.path import trace_path
from ledger.trace.proof import TreeHead
from ledger.trace.recall import GOAL, Party, Recall
from ledger.trace.shares import Carry, shares_in

PAIRS_UP_TO = 60
"""Rows of (finished lot, source lot) that are listed singly; beyond it one row a source lot."""
Said = tuple[str, pd.DataFrame | None]


@dataclass(frozen=True)
class Answer:
    """One question with its one-sentence answer and, where needed, a table of text (ready to print)."""

    number: int
    question: str
    sentence: str
    table: pd.DataFrame | None = None


@dataclass(frozen=True)
class Evidence:
    """What the answers stand on: a recall and the graph of its lots, as known at ``now``.

    parties: name, address and telephone by the code of a supplier or customer. record: the rows of question nine (event, what,
    happened, recorded, person, changed by), newest last. notice: the text for customers. system: `metric` or `us`.
    explained_mg: the losses on record (evaporation, scrap, samples at the step) by (batch, step): they are no leak. places: names of stations by
    their code.
    """

    recall: Recall
    graph: LotGraph
    now: datetime
    parties: Mapping[str, Party] = field(default_factory=dict)
    record: Sequence[tuple[str, ...]] = ()
    head: TreeHead | None = None
    notice: str = ""
    system: str = "metric"
    explained_mg: Mapping[tuple[str, str], int] | None = None
    places: Mapping[str, str] = field(default_factory=dict)

    def place(self, code: str) -> str:
        """A place as people call it; what has no name is told by its code."""
        return self.places.get(code, code)

    def packed(self) -> list[str]:
        """The affected lots that were packed."""
        return [lot for lot in self.recall.affected if self.graph.lot(lot).made_packs is not None]


def answers(on: Evidence) -> tuple[Answer, ...]:
    """All twelve, in the order in which they are asked."""
    return tuple(Answer(number, question, *say(on)) for number, (question, say) in enumerate(QUESTIONS, start=1))


def _source(on: Evidence) -> Said:
    lot = on.graph.lot(on.recall.case.lot)
    back = trace_path(on.graph, lot.lot, "backward")
    if lot.supplier:
        who = on.parties.get(lot.supplier, Party(lot.supplier))
        table = as_table(
            ["supplier", "name", "address", "telephone", "supplier's lot", "received", "amount", "what"],
            [(lot.supplier, who.name, who.address, who.phone, lot.supplier_lot, lot.day,
              shown(on.graph.made_mg(lot.lot), "mg", on.system), lot.label)],
        )  # fmt: skip
        return f"From {who.name or lot.supplier}, received {lot.day or 'on an unknown day'}.", table
    if not back.others:
        return "It has no supplier on record and nothing went into it; ask whoever booked it in.", None
    rows = [(s.lot, s.label, s.supplier or "none on record", s.supplier_lot, s.day) for s in back.sources]
    return (
        f"It was made here, from {len(back.sources)} lots without parents.",
        as_table(["lot", "what", "supplier", "supplier's lot", "received"], rows),
    )


def _ingredients(on: Evidence) -> Said:
    packed = on.packed()
    if not packed:
        return "Nothing made with it has been packed yet.", None
    behind = on.graph.reach_of(packed, "backward")
    order = on.graph.in_making_order(behind)
    sources = [lot for lot in order if not on.graph.into(lot)]
    found = shares_in(on.graph, packed, order, columns=sources)
    pairs = [(lot, found[lot][source]) for lot in packed for source in sources if found[lot][source].most_mg]
    text = (
        f"{len({c.lot for _, c in pairs})} source lots stand behind {len(packed)} packed lots; shares are of the packed mass, "
        "least to most if nothing mixed, and as expected if all mixed evenly."
    )
    shares = ["least", "expected", "most"]
    if len(pairs) <= PAIRS_UP_TO:
        rows = [
            (lot, c.lot, on.graph.lot(c.lot).label, on.graph.lot(c.lot).supplier, percent(c.least_share),
             percent(c.expected_share), percent(c.most_share))
            for lot, c in pairs
        ]  # fmt: skip
        return text, as_table(["finished lot", "source lot", "what", "supplier", *shares], rows)
    by_source: dict[str, list[Carry]] = {}
    for _, carry in pairs:
        by_source.setdefault(carry.lot, []).append(carry)
    rows = [
        (name, on.graph.lot(name).label, on.graph.lot(name).supplier, str(len(cs)),
         percent(min(c.least_share for c in cs)),
         f"{percent(min(c.expected_share for c in cs))} to {percent(max(c.expected_share for c in cs))}",
         percent(max(c.most_share for c in cs)))
        for name, cs in by_source.items()
    ]  # fmt: skip
    return text, as_table(["source lot", "what", "supplier", "in finished lots", *shares], rows)


def _recipients(on: Evidence) -> Said:
    frame = on.recall.recipients
    if frame.empty:
        return "Nothing was delivered to a business.", None
    rows = [
        (r["name"], r["address"], r["phone"], r["lot"], packs_or_mass(r, on.system), r["day"], r["document"])
        for r in frame.to_dict("records")
    ]
    return (
        f"{frame['party'].nunique()} businesses received {len(frame)} deliveries.",
        as_table(["name", "address", "telephone", "lot", "amount", "day", "document"], rows),
    )


def _everywhere(on: Evidence) -> Said:
    rows = [
        (r["lot"], r["label"] or r["kind"], *(shown(r[c], r["unit"], on.system) for c in (
            "made", "on_hand", "still_out", "sold", "used"
        )), on.place(on.graph.lot(r["lot"]).place))
        for r in on.recall.accounts.to_dict("records")
    ]  # fmt: skip
    counter = on.recall.counter
    sold = ""
    if not counter.empty:
        sold = f" Counter sales ran from {counter['first_day'].min()} to {counter['last_day'].max()}."
    return (
        f"{len(on.recall.affected)} lots are affected, re-boil included.{sold}",
        as_table(["lot", "what", "made", "on hand", "with customers", "counter", "used in others", "place"], rows),
    )


def _neighbours(on: Evidence) -> Said:
    frame = on.recall.neighbours
    if frame.empty:
        return "No other lot was made at the same place on the same days.", None
    return (
        f"{len(frame)} lots shared a place and a day with an affected lot but took nothing from it. The recall ends before "
        "them because no path leads there; widen it if a shared slab or kettle matters here.",
        as_table(
            ["lot", "kind", "what", "place", "day"],
            list(frame.assign(place=frame["place"].map(on.place)).itertuples(index=False, name=None)),
        ),
    )


def _rest(on: Evidence) -> Said:
    rows = [
        (r["lot"], *(shown(r[c], r["unit"], on.system) for c in (
            "made", "on_hand", "still_out", "sold", "sampled", "scrapped", "lost", "used", "unexplained"
        )), f"{r['score']:.1f} %")
        for r in on.recall.accounts.to_dict("records")
    ]  # fmt: skip
    over = " More than 100 % means wrong counts or a lot used twice: look for it." if on.recall.score > 100 else ""
    return (
        f"{on.recall.score:.1f} % is accounted for; "
        f"{shown(on.recall.unexplained, on.recall.score_unit, on.system)} is not.{over}",
        as_table(
            ["lot", "made", "on hand", "with customers", "counter", "sampled", "scrapped", "lost", "used", "unexplained",
             "score"],
            rows,
        ),
    )  # fmt: skip


def _plausible(on: Evidence) -> Said:
    own = lot_balance(on.graph, on.recall.case.lot)
    unit = str(own["unit"])
    worst = leaks(on.graph, on.recall.case.lot, explained_mg=on.explained_mg)
    rows = [
        (r["batch"], r["step"], r["day"], *(shown(r[c], "mg", on.system) for c in ("in_mg", "out_mg", "difference_mg")),
         percent(r["usual_share"]), shown(r["leak_mg"], "mg", on.system))
        for r in worst.to_dict("records")
    ]  # fmt: skip
    text = ", ".join(
        f"{shown(int(own[key]), unit, on.system)} {word}"
        for key, word in (
            ("used", "used"), ("on_hand", "on hand"), ("delivered", "delivered"), ("sold", "sold"),
            ("sampled", "sampled"), ("scrapped", "scrapped"), ("lost", "lost"), ("unexplained", "unexplained"),
        )
        if own[key] or key in ("used", "on_hand", "unexplained")
    )  # fmt: skip
    loud = (
        f" {len(rows)} steps lost or gained more than is usual for them."
        if rows
        else " No step leaks beyond its usual."
    )
    return (
        f"{shown(int(own['made']), unit, on.system)} came in: {text}.{loud}",
        as_table(["batch", "step", "day", "in", "out", "difference", "usual", "beyond usual"], rows) if rows else None,
    )


def _clock(on: Evidence) -> Said:
    case, took = on.recall.case, on.recall.took
    rows = [("started", f"{case.started_at:%Y-%m-%d %H:%M}", "0 min")]
    rows += [(what, f"{at:%Y-%m-%d %H:%M}", lasted(at - case.started_at)) for what, at in on.recall.clock]
    if took is None:
        return "The clock is running; nothing has been stopped yet.", as_table(["what", "when", "after"], rows)
    verdict = "inside" if took <= GOAL else "outside"
    return f"{lasted(took)}, {verdict} the goal of {lasted(GOAL)}.", as_table(["what", "when", "after"], rows)


def _changed(on: Evidence) -> Said:
    changed = sum(1 for row in on.record if row[-1])
    doubts = f" Open doubts: {'; '.join(on.recall.doubts)}." if on.recall.doubts else " No open doubts."
    head = f" Ledger of {on.head.size} rows, root {on.head.root}." if on.head else ""
    if not on.record:
        return f"The rows are in the ledger.{doubts}{head}", None
    return (
        f"{len(on.record)} events stand behind this answer, {changed} of them corrected later (both are kept)."
        f"{doubts}{head}",
        as_table(["event", "what", "happened", "recorded", "person", "corrected by"], [tuple(r) for r in on.record]),
    )


def _held(on: Evidence) -> Said:
    frame = on.recall.holdings
    open_rows = frame[frame["still_to_hold"] > 0]
    units = dict(zip(on.recall.accounts["lot"], on.recall.accounts["unit"], strict=True))
    rows = [
        (
            h.lot,
            shown(h.amount, str(units.get(h.lot, "packs")), on.system),
            on.place(h.place),
            f"{h.at:%Y-%m-%d %H:%M}",
            h.by,
        )
        for h in on.recall.held
    ]
    if frame.empty:
        return "Nothing of it is on hand, so there is nothing to hold.", as_table(
            ["lot", "held"], rows
        ) if rows else None
    rows += [
        (r["lot"], f"{shown(r['still_to_hold'], r['unit'], on.system)} STILL TO HOLD", on.place(r["place"]), "", "")
        for r in open_rows.to_dict("records")
    ]
    state = "All stock on hand is held." if open_rows.empty else f"{len(open_rows)} lots are not wholly held yet."
    return state, as_table(["lot", "amount", "place", "when", "by"], rows)


def _told(on: Evidence) -> Said:
    frame = on.recall.recipients
    if frame.empty:
        return "There is no business to tell.", None
    told = {t.party: t for t in on.recall.told}
    rows = []
    for party, name, phone in frame[["party", "name", "phone"]].drop_duplicates().itertuples(index=False, name=None):
        t = told.get(party)
        if t is None:
            rows.append((name, phone, "NOT YET", "", "", "", "", ""))
            continue
        answered = f"{t.answered_at:%Y-%m-%d %H:%M}" if t.answered_at else "no answer yet"
        there = "" if t.still_there is None else str(t.still_there)
        rows.append((name, phone, f"{t.at:%Y-%m-%d %H:%M}", t.way, answered, there, str(t.set_aside), str(t.came_back)))
    answered_n = sum(1 for t in told.values() if t.answered_at)
    return (
        f"{sum(1 for r in rows if r[2] != 'NOT YET')} of {len(rows)} customers were told, {answered_n} have answered.",
        as_table(["name", "telephone", "told", "way", "answered", "still there", "set aside", "came back"], rows),
    )


def _notice(on: Evidence) -> Said:
    return on.notice or "No notice has been written yet.", None


QUESTIONS: tuple[tuple[str, Callable[[Evidence], Said]], ...] = (
    ("From whom did this lot come?", _source),
    ("Which ingredient lots are in the finished lots?", _ingredients),
    ("To whom did the finished lots go?", _recipients),
    ("If this lot is bad: which lots are affected, and where are they?", _everywhere),
    ("Which other lots shared the place or the day?", _neighbours),
    ("Where is the rest?", _rest),
    ("Is the amount of the suspect lot plausible?", _plausible),
    ("How long did it take?", _clock),
    ("Who recorded it, when, and was it changed?", _changed),
    ("Was the stock held?", _held),
    ("Who has been told?", _told),
    ("What does the notice say?", _notice),
)
