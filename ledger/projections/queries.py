"""What anyone may ask of the kept tables, as DataFrames. Every question can be asked as it was known at a position.

Columns are the tables' own (`ledger/projections/tables.py`); `site` is left out. Nothing is computed here beyond selecting.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import msgspec
import pandas as pd

from ledger.domain.books.book import Book
from ledger.domain.books.entries import KINDS
from ledger.domain.world import ALWAYS
from ledger.errors import BadInput
from ledger.projections import questions as ask
from ledger.projections import statements
from ledger.projections.ask import Question, Value
from ledger.projections.questions import MEASURES
from ledger.projections.sql_world import decode_amendment
from ledger.store.codec import decode
from ledger.store.store import Store
from ledger.store.times import utc_text

EVERY = 1_000_000
WEEKLY = ("week", "flavour", "design", "step", "kind")
"""What the weekly frame keeps apart, besides the cause of a loss and the direction."""


@dataclass(frozen=True, slots=True)
class AsOf:
    """What a page or report is based on: the last position, when it was recorded (UTC text), and the tree's root over everything up to there.

    The root is empty where only an older position is asked for. Printed on a report it leaves the house: that is what makes it proof.
    """

    position: int
    recorded_at: str
    root: str = ""


class PaperVersion(NamedTuple):
    """What a paper first recorded at `position` said, believed from one position of the log until another."""

    position: int
    known_from: int
    known_to: int
    event: Any


def papers_believed(versions: Sequence[PaperVersion], known: int | None = None) -> list[tuple[int, Any]]:
    """What was believed right after a position (None: now) as (position first recorded, event)."""
    at = ALWAYS - 1 if known is None else known
    return [(v.position, v.event) for v in versions if v.known_from <= at < v.known_to]


@dataclass(slots=True)
class Queries:
    """Questions to one site's ledger. `known` is a position: rows as they were believed right after it (None: now)."""

    store: Store
    clock: Callable[[], datetime]

    # --- where we stand -------------------------------------------------------------------------------------------

    def as_of(self) -> AsOf:
        """The newest position and when it was recorded."""
        with self.store.read() as reader:
            return AsOf(reader.head.position, reader.head.recorded_at, reader.root().hex())

    def known_on(self, day: str) -> int:
        """The last position recorded up to the end of a day (ISO, the shop's zone). Raises BadInput for no day."""
        try:
            when = date.fromisoformat(day)
        except ValueError as error:
            raise BadInput(f"`{day}` is no day; give it as `2026-11-02`.", value=day) from error
        zone = ZoneInfo(self.book().site().zone)
        end = datetime.combine(when + timedelta(days=1), time(), zone)
        with self.store.read() as reader:
            return reader.position_at(utc_text(end - timedelta(microseconds=1)))

    def book(self) -> Book:
        """The book as it stands."""
        from ledger.projections.sql_world import read_book

        with self.store.read() as reader:
            return read_book(reader.rows(statements.BOOK_ALL, (self.store.site,)))

    def today(self) -> str:
        """The shop's own calendar day."""
        return self.clock().astimezone(ZoneInfo(self.book().site().zone)).date().isoformat()

    # --- movements ------------------------------------------------------------------------------------------------

    def postings(
        self,
        first_week: str | None = None,
        last_week: str | None = None,
        *,
        known: int | None = None,
        batch: str | None = None,
        lot: str | None = None,
        account: str | None = None,
        kinds: Sequence[str] | None = None,
        flavour: str | None = None,
    ) -> pd.DataFrame:
        """Posting lines of a range of ISO weeks (both ends included), or of one batch, one lot or one other account."""
        frame = self._frame(ask.POSTINGS, **span(first_week, last_week), known=known, batch=batch, lot=lot, account=account,
                            kinds=kinds, flavour=flavour)  # fmt: skip
        return frame.sort_values(["known_from", "line"], ignore_index=True)

    def balances(
        self, by: Sequence[str], first_week: str | None = None, last_week: str | None = None, *, known: int | None = None,
        kinds: Sequence[str] | None = None, flavour: str | None = None, batch: str | None = None, batches: Sequence[str] | None = None,
    ) -> pd.DataFrame:  # fmt: skip
        """Sums of all measures grouped by posting columns (`week`, `flavour`, `step`, `kind`, `account`, ...), over weeks or batches."""
        return whole(self._frame(
            ask.balances(tuple(by)), **span(first_week, last_week), known=known, kinds=kinds, flavour=flavour, batch=batch,
            batches=batches,
        ))  # fmt: skip

    def weekly(
        self, first_week: str, last_week: str | None = None, *, known: int | None = None, flavour: str | None = None,
        steps: Sequence[str] | None = None, kinds: Sequence[str] | None = None, by: Sequence[str] = WEEKLY,
    ) -> pd.DataFrame:  # fmt: skip
        """The frame the weekly review is read from: balances by week, flavour, design, step, kind, cause of loss and direction.

        `account` is the cause of what was scrapped, else empty: lots, customers and workers are summed over their kind, so the frame
        stays small at any length. `direction` is `in` (into the account) or `out`. `by`: keep fewer columns apart. `steps`, `kinds`: only these.
        """
        return whole(self._frame(
            ask.weekly(tuple(by)), **span(first_week, last_week), known=known, flavour=flavour, steps=steps, kinds=kinds
        ))  # fmt: skip

    def weeks(self, newest: int | None = None) -> list[str]:
        """Every ISO week that has a movement, oldest first; `newest`: only so many of the last."""
        with self.store.read() as reader:
            found = reader.rows(ask.WEEKS, (self.store.site, EVERY if newest is None else newest))
        return [str(week) for (week,) in reversed(found)]

    # --- things ---------------------------------------------------------------------------------------------------

    def lots(
        self, *, holding: bool = True, kinds: Sequence[str] | None = None, flavour: str | None = None, batch: str | None = None,
        item: str | None = None, names: Sequence[str] | None = None,
    ) -> pd.DataFrame:  # fmt: skip
        """Lots as they stand (`holding`: only those with something in them)."""
        return self._frame(
            ask.LOTS_HOLDING if holding else ask.LOTS,
            holding=holding,
            kinds=kinds,
            flavour=flavour,
            batch=batch,
            item=item,
            names=names,
        )

    def lot(self, lot: str) -> dict[str, Any] | None:
        """One lot, or None."""
        frame = self.lots(holding=False, names=[lot])
        return None if frame.empty else dict(frame.iloc[0])

    def lots_known(self, known: int) -> pd.DataFrame:
        """What each lot held right after a position: columns lot, kind, item, mass_mg, pieces, packs, cost."""
        frame = self._frame(ask.LOTS_KNOWN, known=known)
        for name in ("mass_mg", "pieces", "packs", "cost"):
            frame[name] = frame[name].astype("int64")
        frame["kind"] = frame["kind"].str.removeprefix("lot.")
        return frame[(frame.mass_mg != 0) | (frame.pieces != 0) | (frame.packs != 0)].reset_index(drop=True)

    def batches(
        self, *, status: str | None = None, first_day: str | None = None, last_day: str | None = None, flavour: str | None = None,
        names: Sequence[str] | None = None, most: int = 5000,
    ) -> pd.DataFrame:  # fmt: skip
        """Batches, newest first."""
        if names is None:
            return self._frame(
                ask.BATCHES, most=most, status=status, first_day=first_day, last_day=last_day, flavour=flavour
            )
        found = self._frame(
            ask.BATCHES_NAMED, names=names, status=status, first_day=first_day, last_day=last_day, flavour=flavour
        )
        return found.sort_values(["day", "position"], ascending=False, ignore_index=True).head(most)

    def flags(
        self,
        first_week: str | None = None,
        last_week: str | None = None,
        *,
        known: int | None = None,
        open_only: bool = False,
    ) -> pd.DataFrame:
        """Flags of a range of weeks."""
        return self._frame(ask.FLAGS, **span(first_week, last_week), known=known, open_only=open_only)

    def edges(self, *, known: int | None = None) -> pd.DataFrame:
        """Every believed parent-child pair of lots."""
        return self._frame(ask.EDGES, known=known)

    def book_history(self, kind: str | None = None, id: str | None = None) -> pd.DataFrame:
        """Every version of book entries: kind, id, version, position, day, data (dict)."""
        frame = self._frame(ask.BOOK_HISTORY, kind=kind, id=id)
        frame["data"] = [json.loads(x) for x in frame["data"]]
        return frame

    def recipe_version(self, kind: str, id: str, version: int) -> Any:
        """One book entry in one version (None: not there)."""
        frame = self.book_history(kind, id)
        found = frame[frame.version == version]
        return None if found.empty else msgspec.convert(found.iloc[0]["data"], KINDS[kind])

    def contacts(self, kind: str | None = None) -> pd.DataFrame:
        """Names and addresses of workers, suppliers and customers."""
        return self._frame(ask.CONTACTS, kind=kind)

    def ever_believed(self, by: Sequence[str], kinds: Sequence[str]) -> pd.DataFrame:
        """Packs of every line of these kinds of account that was ever believed, grouped by posting columns (`known_from` and `known_to` among them)."""
        found = self._frame(ask.ever_believed(tuple(by)), kinds=kinds)
        return found.astype({"packs": "int64"})

    # --- the log --------------------------------------------------------------------------------------------------

    def log(
        self, *, after: int = 0, most: int = 200, newest_first: bool = False, batch: str | None = None, stream: str | None = None,
        name: str | None = None, text: str | None = None, positions: Sequence[int] | None = None, before: int | None = None,
        streams: Sequence[str] | None = None,
    ) -> pd.DataFrame:  # fmt: skip
        """Entries of the log: position, stream, name, occurred_at, recorded_at, recorded_by, command_id, corrects, payload.

        Quick at any length by position, stream or streams; a name or text alone is looked for in every entry.
        """
        asked: dict[str, Value] = {
            "before": before, "stream": f"batch/{batch}" if batch is not None else stream, "name": name,
            "text": ask.holding_text(text) if text else None, "positions": None if positions is None else [int(p) for p in positions],
        }  # fmt: skip
        if streams is not None or asked["stream"] is not None:
            found = self._frame(ask.LOG_OF_STREAMS, streams=streams, **asked)
            found = found[found["position"] > after].sort_values(
                "position", ascending=not newest_first, ignore_index=True
            )
            return found.head(most)
        return self._frame(ask.LOG_NEWEST_FIRST if newest_first else ask.LOG, most=most, after=after or None, **asked)

    def event(self, position: int) -> Any:
        """The event first recorded at a position (None: there is none)."""
        found = self._rows(ask.ENTRY, position=position)
        return decode(*found[0]) if found else None

    def answered(self, command_id: str) -> tuple[int, int] | None:
        """First and last entry that a command led to (None: no such command, or it found nothing to do). By its id, however old it is."""
        found = self._rows(ask.ANSWERED, command_id=command_id)
        return (int(found[0][0]), int(found[0][1])) if found and found[0][0] else None

    def papers(self, kind: str, id: str | None = None, known: int | None = None) -> list[tuple[int, Any]]:
        """Papers of a kind (sheet, forecast, plan, recall, recall-note, recall-closed, promotion, ran-out, thermometer, override),
        oldest first, as (position first recorded, event), as believed right after `known` (None: now). Voided ones are left out."""
        return papers_believed(self.paper_versions(kind, id), known)

    def paper_versions(self, kind: str, id: str | None = None) -> list[PaperVersion]:
        """Everything papers of a kind ever said, oldest paper first, each with the positions between which it was believed."""
        found = self._rows(ask.PAPERS, kind=kind, id=id)
        fixes = self._fixes(sorted({stream for *_, stream, corrected in found if corrected is not None}))
        out = []
        for position, name, schema, payload, _stream, _corrected in found:
            said = [(int(position), decode(name, schema, payload)), *fixes.get(int(position), ())]
            ends = [*(at for at, _ in said[1:]), ALWAYS]
            out += [
                PaperVersion(int(position), at, end, event)
                for (at, event), end in zip(said, ends, strict=True)
                if event is not None
            ]
        return out

    def _fixes(self, streams: list[str]) -> dict[int, list[tuple[int, Any]]]:
        """Corrections in these streams by the entry they correct: (position, what it says from then on; None: it was voided)."""
        fixes: dict[int, list[tuple[int, Any]]] = {}
        if streams:
            for row in self.log(streams=streams, most=EVERY).to_dict("records"):
                if row["name"] in ("ledger.amended", "ledger.voided"):
                    said = json.loads(row["payload"])
                    new = decode_amendment(said["name"], said["schema"], said["data"]) if "data" in said else None
                    fixes.setdefault(int(said["origin"]), []).append((int(row["position"]), new))
        return fixes

    def corrections(self) -> pd.DataFrame:
        """Corrected entries: origin, position of the newest correction, voided."""
        return self._frame(ask.CORRECTIONS)

    def shelf(self, packs: Sequence[str]) -> pd.DataFrame:
        """Lots of these packs that hold any, as they stand: the columns of `lots`. Quick at any length of history (index on item, packs)."""
        return self._frame(ask.LOTS, items=packs, with_packs=True)

    def week_lines(self, week: str, *, known: int | None = None) -> pd.DataFrame:
        """Posting lines of one ISO week, as `postings` but for columns no report of a week reads, in no order."""
        return self._frame(ask.WEEK_LINES, week=week, known=known)

    def _frame(self, question: Question, **values: Value) -> pd.DataFrame:
        statement, params = question.asked(self.store.site, **values)
        with self.store.read() as reader:
            return reader.frame(statement, params)

    def _rows(self, question: Question, **values: Value) -> list[tuple[Any, ...]]:
        statement, params = question.asked(self.store.site, **values)
        with self.store.read() as reader:
            return reader.rows(statement, params)


def span(first_week: str | None, last_week: str | None) -> dict[str, str | None]:
    """A range of weeks as conditions: no first week is no range, no last one is the first."""
    return {"first_week": first_week or None, "last_week": (last_week or first_week) if first_week else None}


def whole(frame: pd.DataFrame) -> pd.DataFrame:
    """Sums as whole numbers: a server hands them over as decimals, an empty frame as nothing at all."""
    wrong = [name for name in MEASURES if frame[name].dtype != "int64"]
    return frame.astype(dict.fromkeys(wrong, "int64")) if wrong else frame


def believed(table: Any, known: int | None) -> Any:
    """Rows believed now, or right after a position."""
    if known is None:
        return table.c.known_to == ALWAYS
    return (table.c.known_from <= known) & (table.c.known_to > known)


__all__ = ["MEASURES", "WEEKLY", "AsOf", "PaperVersion", "Queries", "believed", "papers_believed"]
