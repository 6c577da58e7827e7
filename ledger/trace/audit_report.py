"""The twelve questions of an audit, answered on one report: a neutral structure that HTML, PDF and CSV are written
from.

An inspector asks the same dozen questions whatever the law is called. Each answer has one sentence that can be read
out over the telephone and, where there is more to show, a table. The first page holds the question, the lot, the
clock, the one-sentence answer and the reconciliation; recipes, prices and personnel data stay out (21 CFR 1.362).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import pandas as pd

from ledger.trace.audit_words import as_table, lasted, packs_or_mass, percent, shown
from ledger.trace.balance import leaks, lot_balance
from ledger.trace.graph import LotGraph
from ledger.trace.path import Path, trace_path
from ledger.trace.proof import TreeHead
from ledger.trace.recall import GOAL, LIMIT, Party, Recall
from ledger.trace.recall_progress import sum_in_words
from ledger.trace.shares import Carry, shares_in

DRAWN_UP_TO = 60
"""Lots on a drawn path; a longer path is a table only."""
PAIRS_UP_TO = 60
"""Rows of (finished lot, source lot) that are listed singly; beyond it one row a source lot."""
CAUTION = (
    "This report answers from the workshop's own records. It is no legal advice: agree with the local food authority "
    "whom to "
    "tell, how fast, and what to do with the goods."
)


@dataclass(frozen=True)
class Answer:
    """One question with its one-sentence answer and, where needed, a table of text (ready to print)."""

    number: int
    question: str
    sentence: str
    table: pd.DataFrame | None = None


@dataclass(frozen=True)
class AuditReport:
    """Everything a renderer needs. ``facts`` are the lines of the first page; ``path`` is the path to draw, if it
    is short enough to be read."""

    title: str
    drill: bool
    answer: str
    facts: tuple[tuple[str, str], ...]
    answers: tuple[Answer, ...]
    head: TreeHead | None = None
    site: str = ""
    path: Path | None = None
    caution: str = CAUTION
    steps: pd.DataFrame = field(default_factory=pd.DataFrame)


def audit_report(
    recall: Recall,
    graph: LotGraph,
    *,
    now: datetime,
    site: str = "",
    parties: Mapping[str, Party] | None = None,
    record: Sequence[tuple[str, ...]] = (),
    head: TreeHead | None = None,
    notice: str = "",
    system: str = "metric",
    explained_mg: Mapping[tuple[str, str], int] | None = None,
) -> AuditReport:
    """The twelve answers for a recall, real or drill, as known at ``now``.

    ``record`` holds the rows of question nine: (event, what, happened, recorded, person, changed by), newest last.
    ``notice`` is the text for customers (see ``recall_notice``).
    """
    return _Writer(recall, graph, now, site, dict(parties or {}), record, head, notice, system, explained_mg).report()


@dataclass
class _Writer:
    recall: Recall
    graph: LotGraph
    now: datetime
    site: str
    parties: dict[str, Party]
    record: Sequence[tuple[str, ...]]
    head: TreeHead | None
    notice: str
    system: str
    explained_mg: Mapping[tuple[str, str], int] | None

    def report(self) -> AuditReport:
        r = self.recall
        case = r.case
        finished = [lot for lot in r.affected if self.graph.lot(lot).made_packs is not None]
        rows = r.accounts[r.accounts["unit"] == r.score_unit] if r.score_unit != "mg" else r.accounts
        sums = {
            c: int(rows[c].sum())
            for c in ("made", "on_hand", "still_out", "sold", "sampled", "scrapped", "used", "lost")
        }

        def say(key: str) -> str:
            return shown(sums[key], r.score_unit, self.system)

        others = len(r.affected) - 1
        reach = f"Lot {case.lot} went into {others} other lots, {len(finished)} of them packed"
        reach = reach if others else f"Lot {case.lot} went into no other lot"
        answer = (
            f"{reach}; of {say('made')} made, "
            f"{say('on_hand')} are on hand, {say('still_out')} are with {r.recipients['party'].nunique()} customers "
            f"and "
            f"{say('sold')} were sold over the counter; {shown(r.unexplained, r.score_unit, self.system)} cannot be "
            f"placed."
        )
        took = r.took
        facts = (
            ("Question", f"Where is everything made with lot {case.lot}?"),
            ("Reason", case.reason),
            ("Started", f"{case.started_at:%Y-%m-%d %H:%M %z}" + (f" by {case.started_by}" if case.started_by else "")),
            ("Answered", f"{self.now:%Y-%m-%d %H:%M %z}"),
            (
                "Time taken",
                f"{lasted(took)} (goal {lasted(GOAL)}; legal limit for records {lasted(LIMIT)})" if took else "open",
            ),
            ("Accounted for", f"{r.score:.1f} % of {say('made')}"),
            ("Reconciliation", self._reconciled(sums)),
            *((("Stock since the start", stock),) if (stock := sum_in_words(r.progress, r.score_unit)) else ()),
        )
        return AuditReport(
            title=f"{'Recall drill' if case.drill else 'Recall'} {case.code}: lot {case.lot}",
            drill=case.drill,
            answer=answer,
            facts=facts,
            answers=tuple(self._answers()),
            head=self.head,
            site=self.site,
            path=r.path if 1 < len(r.path.lots) <= DRAWN_UP_TO else None,
            steps=self._steps(),
        )

    def _reconciled(self, sums: Mapping[str, int]) -> str:
        words = (
            ("on_hand", "on hand"), ("still_out", "with customers"), ("sold", "counter"), ("sampled", "sampled"),
            ("scrapped", "scrapped"), ("lost", "lost on record"), ("used", "used in later lots"),
        )  # fmt: skip
        unit = self.recall.score_unit
        parts = " + ".join(f"{shown(sums[k], unit, self.system)} {w}" for k, w in words if sums[k])
        gap = self.recall.unexplained
        made = shown(sums["made"], unit, self.system)
        return f"{made} made = {parts or 'nothing'} + {shown(gap, unit, self.system)} unexplained"

    def _answers(self) -> Iterable[Answer]:
        steps = (
            self._source, self._ingredients, self._recipients, self._everywhere, self._neighbours, self._rest,
            self._plausible, self._clock, self._changed, self._held, self._told, self._notice,
        )  # fmt: skip
        questions = (
            "From whom did this lot come?",
            "Which ingredient lots are in the finished lots?",
            "To whom did the finished lots go?",
            "If this lot is bad: which lots are affected, and where are they?",
            "Which other lots shared the place or the day?",
            "Where is the rest?",
            "Is the amount of the suspect lot plausible?",
            "How long did it take?",
            "Who recorded it, when, and was it changed?",
            "Was the stock held?",
            "Who has been told?",
            "What does the notice say?",
        )
        for number, (question, step) in enumerate(zip(questions, steps, strict=True), start=1):
            sentence, table = step()
            yield Answer(number, question, sentence, table)

    def _source(self) -> tuple[str, pd.DataFrame | None]:
        lot = self.graph.lot(self.recall.case.lot)
        back = trace_path(self.graph, lot.lot, "backward")
        if lot.supplier:
            who = self.parties.get(lot.supplier, Party(lot.supplier))
            table = as_table(
                ["supplier", "name", "address", "telephone", "supplier's lot", "received", "amount", "what"],
                [(lot.supplier, who.name, who.address, who.phone, lot.supplier_lot, lot.day,
                  shown(self.graph.made_mg(lot.lot), "mg", self.system), lot.label)],
            )  # fmt: skip
            return f"From {who.name or lot.supplier}, received {lot.day or 'on an unknown day'}.", table
        if not back.others:
            return "It has no supplier on record and nothing went into it; ask whoever booked it in.", None
        rows = [(s.lot, s.label, s.supplier or "none on record", s.supplier_lot, s.day) for s in back.sources]
        return (
            f"It was made here, from {len(back.sources)} lots without parents.",
            as_table(["lot", "what", "supplier", "supplier's lot", "received"], rows),
        )

    def _ingredients(self) -> tuple[str, pd.DataFrame | None]:
        packed = [lot for lot in self.recall.affected if self.graph.lot(lot).made_packs is not None]
        if not packed:
            return "Nothing made with it has been packed yet.", None
        behind = self.graph.reach_of(packed, "backward")
        order = self.graph.in_making_order(behind)
        sources = [lot for lot in order if not self.graph.into(lot)]
        found = shares_in(self.graph, packed, order, columns=sources)
        pairs = [(lot, found[lot][source]) for lot in packed for source in sources if found[lot][source].most_mg]
        text = (
            f"{len({c.lot for _, c in pairs})} source lots stand behind {len(packed)} packed lots; shares are of the "
            f"packed mass, "
            "least to most if nothing mixed, and as expected if all mixed evenly."
        )
        shares = ["least", "expected", "most"]
        if len(pairs) <= PAIRS_UP_TO:
            rows = [
                (lot, c.lot, self.graph.lot(c.lot).label, self.graph.lot(c.lot).supplier, percent(c.least_share),
                 percent(c.expected_share), percent(c.most_share))
                for lot, c in pairs
            ]  # fmt: skip
            return text, as_table(["finished lot", "source lot", "what", "supplier", *shares], rows)
        by_source: dict[str, list[Carry]] = {}
        for _, carry in pairs:
            by_source.setdefault(carry.lot, []).append(carry)
        rows = [
            (name, self.graph.lot(name).label, self.graph.lot(name).supplier, str(len(cs)),
             percent(min(c.least_share for c in cs)),
             f"{percent(min(c.expected_share for c in cs))} to {percent(max(c.expected_share for c in cs))}",
             percent(max(c.most_share for c in cs)))
            for name, cs in by_source.items()
        ]  # fmt: skip
        return text, as_table(["source lot", "what", "supplier", "in finished lots", *shares], rows)

    def _recipients(self) -> tuple[str, pd.DataFrame | None]:
        frame = self.recall.recipients
        if frame.empty:
            return "Nothing was delivered to a business.", None
        rows = [
            (r["name"], r["address"], r["phone"], r["lot"], packs_or_mass(r, self.system), r["day"], r["document"])
            for r in frame.to_dict("records")
        ]
        return (
            f"{frame['party'].nunique()} businesses received {len(frame)} deliveries.",
            as_table(["name", "address", "telephone", "lot", "amount", "day", "document"], rows),
        )

    def _everywhere(self) -> tuple[str, pd.DataFrame | None]:
        rows = [
            (r["lot"], r["label"] or r["kind"], *(shown(r[c], r["unit"], self.system) for c in (
                "made", "on_hand", "still_out", "sold", "used"
            )), self.graph.lot(r["lot"]).place)
            for r in self.recall.accounts.to_dict("records")
        ]  # fmt: skip
        counter = self.recall.counter
        sold = ""
        if not counter.empty:
            sold = f" Counter sales ran from {counter['first_day'].min()} to {counter['last_day'].max()}."
        return (
            f"{len(self.recall.affected)} lots are affected, re-boil included.{sold}",
            as_table(["lot", "what", "made", "on hand", "with customers", "counter", "used in others", "place"], rows),
        )

    def _neighbours(self) -> tuple[str, pd.DataFrame | None]:
        frame = self.recall.neighbours
        if frame.empty:
            return "No other lot was made at the same place on the same days.", None
        return (
            f"{len(frame)} lots shared a place and a day with an affected lot but took nothing from it. The recall "
            f"ends before "
            "them because no path leads there; widen it if a shared slab or kettle matters here.",
            as_table(["lot", "kind", "what", "place", "day"], list(frame.itertuples(index=False, name=None))),
        )

    def _rest(self) -> tuple[str, pd.DataFrame | None]:
        rows = [
            (r["lot"], *(shown(r[c], r["unit"], self.system) for c in (
                "made", "on_hand", "still_out", "sold", "sampled", "scrapped", "lost", "used", "unexplained"
            )), f"{r['score']:.1f} %")
            for r in self.recall.accounts.to_dict("records")
        ]  # fmt: skip
        over = (
            " More than 100 % means wrong counts or a lot used twice: look for it." if self.recall.score > 100 else ""
        )
        return (
            f"{self.recall.score:.1f} % is accounted for; "
            f"{shown(self.recall.unexplained, self.recall.score_unit, self.system)} "
            f"is not.{over}",
            as_table(
                ["lot", "made", "on hand", "with customers", "counter", "sampled", "scrapped", "lost", "used", "unexplained",
                 "score"],
                rows,
            ),
        )  # fmt: skip

    def _plausible(self) -> tuple[str, pd.DataFrame | None]:
        own = lot_balance(self.graph, self.recall.case.lot)
        unit = str(own["unit"])
        worst = leaks(self.graph, self.recall.case.lot, explained_mg=self.explained_mg)
        rows = [
            (r["batch"], r["step"], r["day"], *(shown(r[c], "mg", self.system) for c in ("in_mg", "out_mg", "difference_mg")),
             percent(r["usual_share"]), shown(r["leak_mg"], "mg", self.system))
            for r in worst.to_dict("records")
        ]  # fmt: skip
        text = ", ".join(
            f"{shown(int(own[key]), unit, self.system)} {word}"
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
            f"{shown(int(own['made']), unit, self.system)} came in: {text}.{loud}",
            as_table(["batch", "step", "day", "in", "out", "difference", "usual", "beyond usual"], rows)
            if rows
            else None,
        )

    def _clock(self) -> tuple[str, pd.DataFrame | None]:
        case, took = self.recall.case, self.recall.took
        rows = [("started", f"{case.started_at:%Y-%m-%d %H:%M}", "0 min")]
        rows += [(what, f"{at:%Y-%m-%d %H:%M}", lasted(at - case.started_at)) for what, at in self.recall.clock]
        if took is None:
            return "The clock is running; nothing has been stopped yet.", as_table(["what", "when", "after"], rows)
        verdict = "inside" if took <= GOAL else "outside"
        return f"{lasted(took)}, {verdict} the goal of {lasted(GOAL)}.", as_table(["what", "when", "after"], rows)

    def _changed(self) -> tuple[str, pd.DataFrame | None]:
        changed = sum(1 for row in self.record if row[-1])
        doubts = f" Open doubts: {'; '.join(self.recall.doubts)}." if self.recall.doubts else " No open doubts."
        head = f" Ledger of {self.head.size} rows, root {self.head.root}." if self.head else ""
        if not self.record:
            return f"The rows are in the ledger.{doubts}{head}", None
        return (
            f"{len(self.record)} events stand behind this answer, {changed} of them corrected later (both are "
            f"kept).{doubts}{head}",
            as_table(
                ["event", "what", "happened", "recorded", "person", "corrected by"], [tuple(r) for r in self.record]
            ),
        )

    def _held(self) -> tuple[str, pd.DataFrame | None]:
        frame = self.recall.holdings
        open_rows = frame[frame["still_to_hold"] > 0]
        units = dict(zip(self.recall.accounts["lot"], self.recall.accounts["unit"], strict=True))
        rows = [
            (
                h.lot,
                shown(h.amount, str(units.get(h.lot, "packs")), self.system),
                h.place,
                f"{h.at:%Y-%m-%d %H:%M}",
                h.by,
            )
            for h in self.recall.held
        ]
        if frame.empty:
            return "Nothing of it is on hand, so there is nothing to hold.", as_table(
                ["lot", "held"], rows
            ) if rows else None
        rows += [
            (r["lot"], f"{shown(r['still_to_hold'], r['unit'], self.system)} STILL TO HOLD", r["place"], "", "")
            for r in open_rows.to_dict("records")
        ]
        state = "All stock on hand is held." if open_rows.empty else f"{len(open_rows)} lots are not wholly held yet."
        return state, as_table(["lot", "amount", "place", "when", "by"], rows)

    def _told(self) -> tuple[str, pd.DataFrame | None]:
        frame = self.recall.recipients
        if frame.empty:
            return "There is no business to tell.", None
        told = {t.party: t for t in self.recall.told}
        rows = []
        for party, name, phone in (
            frame[["party", "name", "phone"]].drop_duplicates().itertuples(index=False, name=None)
        ):
            t = told.get(party)
            if t is None:
                rows.append((name, phone, "NOT YET", "", "", "", "", ""))
                continue
            answered = f"{t.answered_at:%Y-%m-%d %H:%M}" if t.answered_at else "no answer yet"
            there = "" if t.still_there is None else str(t.still_there)
            rows.append(
                (name, phone, f"{t.at:%Y-%m-%d %H:%M}", t.way, answered, there, str(t.set_aside), str(t.came_back))
            )
        answered_n = sum(1 for t in told.values() if t.answered_at)
        return (
            f"{sum(1 for r in rows if r[2] != 'NOT YET')} of {len(rows)} customers were told, {answered_n} have "
            f"answered.",
            as_table(["name", "telephone", "told", "way", "answered", "still there", "set aside", "came back"], rows),
        )

    def _notice(self) -> tuple[str, pd.DataFrame | None]:
        return self.notice or "No notice has been written yet.", None

    def _steps(self) -> pd.DataFrame:
        rows = [
            (r["day"], r["step"], r["batch"], r["person"], r["parent"], r["child"],
             *(shown(r[c], "mg", self.system) for c in ("mass_in_mg", "step_in_mg", "step_out_mg")), r["event"])
            for r in self.recall.path.table().to_dict("records")
        ]  # fmt: skip
        return as_table(
            ["day", "step", "batch", "person", "from", "into", "taken", "step in", "step out", "event"], rows
        )
