"""The audit report: a neutral structure that HTML, PDF and CSV are written from.

The first page holds the question, the lot, the clock, the one-sentence answer and the reconciliation; behind it stand the twelve
answers of ``audit_answers.py`` and every step of the path. Recipes, prices and personnel data stay out (21 CFR 1.362).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import pandas as pd

from ledger.trace.audit_answers import Answer, Evidence, answers
from ledger.trace.audit_words import as_table, lasted, shown
from ledger.trace.graph import LotGraph
from ledger.trace.path import Path
from ledger.trace.proof import TreeHead
from ledger.trace.recall import GOAL, LIMIT, Party, Recall
from ledger.trace.recall_progress import sum_in_words

DRAWN_UP_TO = 60
"""Lots on a drawn path; a longer path is a table only."""
CAUTION = (
    "This report answers from the workshop's own records. It is no legal advice: agree with the local food authority "
    "whom to tell, how fast, and what to do with the goods."
)
_COLUMNS = ("made", "on_hand", "still_out", "sold", "sampled", "scrapped", "used", "lost")


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
    places: Mapping[str, str] | None = None,
) -> AuditReport:
    """The twelve answers for a recall, real or drill, as known at ``now``.

    ``record`` holds the rows of question nine: (event, what, happened, recorded, person, changed by), newest last.
    ``notice`` is the text for customers (see ``recall_notice``). ``places``: what the stations are called, by code.
    """
    on = Evidence(
        recall, graph, now, dict(parties or {}), record, head, notice, system, explained_mg, dict(places or {})
    )
    case = recall.case
    sums = _sums(recall)
    return AuditReport(
        title=f"{'Recall drill' if case.drill else 'Recall'} {case.code}: lot {case.lot}",
        drill=case.drill,
        answer=_in_one_sentence(on, sums),
        facts=_first_page(on, sums),
        answers=answers(on),
        head=head,
        site=site,
        path=recall.path if 1 < len(recall.path.lots) <= DRAWN_UP_TO else None,
        steps=_steps(on),
    )


def _sums(recall: Recall) -> dict[str, int]:
    """What was made and where it went, summed over the lots that are counted in the unit of the score."""
    rows = recall.accounts
    if recall.score_unit != "mg":
        rows = rows[rows["unit"] == recall.score_unit]
    return {name: int(rows[name].sum()) for name in _COLUMNS}


def _in_one_sentence(on: Evidence, sums: Mapping[str, int]) -> str:
    recall = on.recall
    unit, lot, others = recall.score_unit, recall.case.lot, len(recall.affected) - 1
    made, on_hand, still_out, sold = (shown(sums[x], unit, on.system) for x in ("made", "on_hand", "still_out", "sold"))
    reach = f"Lot {lot} went into {others} other lots, {len(on.packed())} of them packed"
    return (
        f"{reach if others else f'Lot {lot} went into no other lot'}; of {made} made, {on_hand} are on hand, "
        f"{still_out} are with {recall.recipients['party'].nunique()} customers and {sold} were sold over the counter; "
        f"{shown(recall.unexplained, unit, on.system)} cannot be placed."
    )


def _first_page(on: Evidence, sums: Mapping[str, int]) -> tuple[tuple[str, str], ...]:
    recall, case, took = on.recall, on.recall.case, on.recall.took
    limits = f"goal {lasted(GOAL)}; legal limit for records {lasted(LIMIT)}"
    facts = [
        ("Question", f"Where is everything made with lot {case.lot}?"),
        ("Reason", case.reason),
        ("Started", f"{case.started_at:%Y-%m-%d %H:%M %z}" + (f" by {case.started_by}" if case.started_by else "")),
        ("Answered", f"{on.now:%Y-%m-%d %H:%M %z}"),
        ("Time taken", f"{lasted(took)} ({limits})" if took else "open"),
        ("Accounted for", f"{recall.score:.1f} % of {shown(sums['made'], recall.score_unit, on.system)}"),
        ("Reconciliation", _reconciled(on, sums)),
    ]
    stock = sum_in_words(recall.progress, recall.score_unit)
    return (*facts, ("Stock since the start", stock)) if stock else tuple(facts)


def _reconciled(on: Evidence, sums: Mapping[str, int]) -> str:
    words = (
        ("on_hand", "on hand"), ("still_out", "with customers"), ("sold", "counter"), ("sampled", "sampled"),
        ("scrapped", "scrapped"), ("lost", "lost on record"), ("used", "used in later lots"),
    )  # fmt: skip
    unit = on.recall.score_unit
    parts = " + ".join(f"{shown(sums[k], unit, on.system)} {w}" for k, w in words if sums[k])
    made, gap = shown(sums["made"], unit, on.system), shown(on.recall.unexplained, unit, on.system)
    return f"{made} made = {parts or 'nothing'} + {gap} unexplained"


def _steps(on: Evidence) -> pd.DataFrame:
    rows = [
        (r["day"], r["step"], r["batch"], r["person"], r["parent"], r["child"],
         *(shown(r[c], "mg", on.system) for c in ("mass_in_mg", "step_in_mg", "step_out_mg")), r["event"])
        for r in on.recall.path.table().to_dict("records")
    ]  # fmt: skip
    return as_table(["day", "step", "batch", "person", "from", "into", "taken", "step in", "step out", "event"], rows)
