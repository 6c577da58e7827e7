"""The arithmetic of a recall, real or drill: which lots, where is every gram and jar of them, who must be called, how
long it took.

Pure: rows in, answers out. Starting, holding and closing a recall are events of the ledger; this module turns the rows
they leave into figures. It decides nothing and calls nobody.

Score of a lot = (on hand + still out with customers + sold + sampled + scrapped + lost on record + used in later lots)
/ made. 100 % means everything is accounted for; more than 100 % is a finding too (wrong counts, a lot used twice, an
error not voided).

Sources: 21 CFR 117.139 (recall plan), 21 CFR 7.49 and 7.53 (notice, status report), 21 CFR 1.337, 1.345, 1.361
(records within 24 hours), Regulation (EC) 178/2002 articles 18 and 19, NC State Extension recall checklist (100 %
within two hours). This is no legal advice: who must be told, and how fast, is decided with the local food authority.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import pandas as pd

from ledger.errors import BadInput
from ledger.trace.balance import lot_balances
from ledger.trace.graph import Leaf, LotGraph
from ledger.trace.path import Path, trace_path
from ledger.trace.recall_progress import COLUMNS as PROGRESS_COLUMNS
from ledger.trace.recall_progress import progress

NO_PROGRESS = pd.DataFrame(columns=list(PROGRESS_COLUMNS))
GOAL = timedelta(hours=2)
"""State extension guidance: all of a lot accounted for within two hours."""
LIMIT = timedelta(hours=24)
"""21 CFR 1.361: records as soon as possible, not later than 24 hours after an official request."""


@dataclass(frozen=True, slots=True)
class RecallCase:
    """What is asked: the suspect lot, why, and whether it is a drill. Times are aware datetimes."""

    code: str
    lot: str
    reason: str
    started_at: datetime
    started_by: str = ""
    drill: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Party:
    """A business to call: name, address and telephone live in one table, not in the events."""

    code: str
    name: str = ""
    address: str = ""
    phone: str = ""
    email: str = ""


@dataclass(frozen=True, slots=True)
class Held:
    """Stock set aside: so much of a lot found and held at a place, by whom, when. Amount in the lot's own unit."""

    lot: str
    amount: int
    place: str
    at: datetime
    by: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """A customer was told: when and how; when they answered; what they still had, what was set aside there for us, and
    what came back (by the ledger's returns), in the lot's own unit."""

    party: str
    at: datetime
    way: str = "telephone"
    by: str = ""
    answered_at: datetime | None = None
    still_there: int | None = None
    set_aside: int = 0
    came_back: int = 0


@dataclass(frozen=True)
class Recall:
    """The whole answer, ready for a report. Frames are documented at ``work_out``."""

    case: RecallCase
    path: Path
    affected: tuple[str, ...]
    accounts: pd.DataFrame
    recipients: pd.DataFrame
    counter: pd.DataFrame
    holdings: pd.DataFrame
    neighbours: pd.DataFrame
    score: float
    score_unit: str
    clock: tuple[tuple[str, datetime], ...] = ()
    told: tuple[Told, ...] = ()
    held: tuple[Held, ...] = ()
    doubts: tuple[str, ...] = field(default=())
    progress: pd.DataFrame = field(default_factory=NO_PROGRESS.copy)

    @property
    def unexplained(self) -> int:
        """What of the finished goods nobody can place, in ``score_unit``."""
        rows = self.accounts[self.accounts["unit"] == self.score_unit]
        return int(rows["unexplained"].sum())

    def place(self, lot: str) -> str:
        """Where a lot lies (empty: not on record)."""
        return self.path.graph.lot(lot).place

    @property
    def to_call(self) -> pd.DataFrame:
        """Customers not told yet, most packs first."""
        done = {t.party for t in self.told}
        open_rows = self.recipients[~self.recipients["party"].isin(done)]
        keys = ["party", "name", "phone", "address"]
        grouped = open_rows.groupby(keys, sort=False)[["packs", "mass_mg"]].sum().reset_index()
        return grouped.sort_values(["packs", "mass_mg"], ascending=False, kind="stable").reset_index(drop=True)

    @property
    def took(self) -> timedelta | None:
        """From the start to the last stop of the clock."""
        return max(at for _, at in self.clock) - self.case.started_at if self.clock else None


def work_out(
    graph: LotGraph,
    case: RecallCase,
    *,
    parties: Mapping[str, Party] | None = None,
    counted: Mapping[str, int] | None = None,
    held: Sequence[Held] = (),
    told: Sequence[Told] = (),
    clock: Sequence[tuple[str, datetime]] = (),
    doubts: Sequence[str] = (),
    since: int | None = None,
    counted_at: Mapping[str, datetime] | None = None,
) -> Recall:
    """Work out a recall from the rows.

    ``counted`` is what people found on the shelves during the recall, by lot in its own unit, where it is not in the
    rows yet; it replaces the book's figure, and the gap shows as unexplained. ``since`` is the ledger position of the
    start and ``counted_at`` when lots were counted after it: the two make the progress. Frames of the answer:

    * ``accounts``: the balance of each affected lot (see ``ledger.trace.balance``) with ``still_out`` (delivered less
      returned by those businesses; what consumers brought back is taken off ``sold``), ``accounted`` and ``score`` (percent);
    * ``recipients``: one row for each delivery (party, name, address, phone, lot, packs, mass_mg, day, document);
    * ``counter``: counter sales by lot with first and last day; ``holdings``: what is on hand where, and how much is
      held;
    * ``neighbours``: lots made at the same place on the same day that the recall does not reach, the edge of the
      recall;
    * ``progress``: see ``ledger.trace.recall_progress``.

    Raises:
        UnknownThing: no such lot.
        BadInput: a time on the clock before the recall was started.
    """
    for what, at in clock:
        if at < case.started_at:
            raise BadInput(
                f"{what} at {at:%Y-%m-%d %H:%M} lies before the recall was started ({case.started_at:%Y-%m-%d %H:%M}).",
                at=at,
            )
    path = trace_path(graph, case.lot, "forward")
    affected = (case.lot, *path.others)
    accounts = _accounts(graph, affected, counted or {})
    unit, rows = _headline(accounts)
    made = int(rows["made"].sum())
    score = 100.0 * int(rows["accounted"].sum()) / made if made else 100.0
    return Recall(
        case=case,
        path=path,
        affected=affected,
        accounts=accounts,
        recipients=_recipients(path.leaves, parties or {}),
        counter=_counter(path.leaves),
        holdings=_holdings(graph, accounts, held),
        neighbours=_neighbours(graph, set(affected)),
        score=score,
        score_unit=unit,
        clock=tuple(sorted(clock, key=lambda c: c[1])),
        told=tuple(told),
        held=tuple(held),
        doubts=tuple(doubts),
        progress=progress(graph, affected, since, counted_at) if since is not None else NO_PROGRESS,
    )


def _accounts(graph: LotGraph, lots: Sequence[str], counted: Mapping[str, int]) -> pd.DataFrame:
    frame = lot_balances(graph, lots)
    for lot, found in counted.items():
        at = frame["lot"] == lot
        frame.loc[at, "unexplained"] += frame.loc[at, "on_hand"] - found
        frame.loc[at, "on_hand"] = found
    by_hand = [_returned_by_consumers(graph, lot, unit) for lot, unit in zip(frame["lot"], frame["unit"], strict=True)]
    frame["still_out"] = frame["delivered"] - frame["returned"] + by_hand
    frame["sold"] = frame["sold"] - by_hand
    parts = ["on_hand", "still_out", "sold", "sampled", "scrapped", "lost", "used"]
    frame["accounted"] = frame[parts].sum(axis=1) if len(frame) else 0
    made = frame["made"].where(frame["made"] > 0)
    frame["score"] = (100.0 * frame["accounted"] / made).fillna(100.0) if len(frame) else 0.0
    return frame


def _returned_by_consumers(graph: LotGraph, lot: str, unit: str) -> int:
    """What came back from nobody who had a delivery of this lot: consumers brought it, so it counts against counter sales."""
    parties = {leaf.party for leaf in graph.leaves_of(lot) if leaf.kind == "delivery"}
    loose = [leaf for leaf in graph.leaves_of(lot) if leaf.kind == "return" and leaf.party not in parties]
    return sum({"packs": x.packs, "pieces": x.pieces, "mg": x.mass_mg}[unit] for x in loose)


def _headline(accounts: pd.DataFrame) -> tuple[str, pd.DataFrame]:
    """The rows the headline score is about: finished packs if there are any, else pieces, else mass."""
    for unit in ("packs", "pieces"):
        rows = accounts[accounts["unit"] == unit]
        if len(rows):
            return unit, rows
    return "mg", accounts


def _recipients(leaves: Sequence[Leaf], parties: Mapping[str, Party]) -> pd.DataFrame:
    rows = []
    for leaf in leaves:
        if leaf.kind != "delivery":
            continue
        known = parties.get(leaf.party, Party(leaf.party))
        rows.append(
            (leaf.party, known.name or leaf.party, known.address or leaf.address, known.phone or leaf.phone, leaf.lot,
             leaf.packs, leaf.mass_mg, leaf.day, leaf.document)
        )  # fmt: skip
    return pd.DataFrame(
        rows, columns=["party", "name", "address", "phone", "lot", "packs", "mass_mg", "day", "document"]
    )


def _counter(leaves: Sequence[Leaf]) -> pd.DataFrame:
    rows: dict[str, list[Leaf]] = {}
    for leaf in leaves:
        if leaf.kind == "counter":
            rows.setdefault(leaf.lot, []).append(leaf)
    out = [
        (
            lot,
            sum(x.packs for x in sold),
            sum(x.mass_mg for x in sold),
            min(x.day for x in sold),
            max(x.day for x in sold),
        )
        for lot, sold in rows.items()
    ]
    return pd.DataFrame(out, columns=["lot", "packs", "mass_mg", "first_day", "last_day"])


def _holdings(graph: LotGraph, accounts: pd.DataFrame, held: Sequence[Held]) -> pd.DataFrame:
    set_aside: dict[str, int] = {}
    for row in held:
        set_aside[row.lot] = set_aside.get(row.lot, 0) + row.amount
    rows = []
    for lot, unit, on_hand in zip(accounts["lot"], accounts["unit"], accounts["on_hand"], strict=True):
        if on_hand or set_aside.get(lot):
            rows.append(
                (
                    lot,
                    graph.lot(lot).place,
                    unit,
                    int(on_hand),
                    set_aside.get(lot, 0),
                    int(on_hand) - set_aside.get(lot, 0),
                )
            )
    return pd.DataFrame(rows, columns=["lot", "place", "unit", "on_hand", "held", "still_to_hold"])


def _neighbours(graph: LotGraph, affected: set[str]) -> pd.DataFrame:
    """Lots made at a place on a day on which an affected lot was made there too."""
    spots = {(lot.place, lot.day) for name in affected if (lot := graph.lot(name)).place and lot.day}
    rows = [
        (lot.lot, lot.kind, lot.label, lot.place, lot.day)
        for lot in graph.lots.values()
        if lot.lot not in affected and (lot.place, lot.day) in spots and lot.kind not in ("material", "water")
    ]
    return pd.DataFrame(sorted(rows), columns=["lot", "kind", "label", "place", "day"])


def with_progress(recall: Recall, graph: LotGraph, *, held: Sequence[Held], told: Sequence[Told]) -> Recall:
    """The same recall after more stock was held and more customers were told."""
    return replace(recall, held=tuple(held), told=tuple(told), holdings=_holdings(graph, recall.accounts, held))
