"""What anyone may ask of the kept tables, as DataFrames. Every question can be asked as it was known at a position.

Columns are the tables' own (`ledger/projections/tables.py`); `site` is left out. Nothing is computed here beyond selecting.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
import pandas as pd
from sqlalchemy import Select, and_, case, func, select

from ledger.domain.books.book import Book
from ledger.domain.books.entries import KINDS
from ledger.domain.world import ALWAYS
from ledger.errors import BadInput
from ledger.projections import statements
from ledger.projections.tables import batches, book, contacts, corrections, edges, flags, lots, papers, postings
from ledger.store.codec import decode
from ledger.store.store import Store
from ledger.store.tables import events
from ledger.store.times import utc_text

MEASURES = ("mass_mg", "pieces", "packs", "seconds", "money", "solids_mg", "theory_mg")


@dataclass(frozen=True, slots=True)
class AsOf:
    """What a page or report is based on: the last position, when it was recorded (UTC text), and the tree's root over everything up to there.

    The root is empty where only an older position is asked for. Printed on a report it leaves the house: that is what makes it proof.
    """

    position: int
    recorded_at: str
    root: str = ""


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
        account: str | None = None,
        kinds: Sequence[str] | None = None,
        flavour: str | None = None,
    ) -> pd.DataFrame:
        """Posting lines of a range of ISO weeks (both ends included), or of one batch or one account."""
        t = postings
        query = select(*[c for c in t.columns if c.name != "site"]).where(
            t.c.site == self.store.site, believed(t, known)
        )
        if first_week:
            query = query.where(t.c.week >= first_week, t.c.week <= (last_week or first_week))
        if batch is not None:
            query = query.where(t.c.batch == batch)
        if account is not None:
            query = query.where(t.c.account == account)
        if kinds is not None:
            query = query.where(t.c.kind.in_(list(kinds)))
        if flavour is not None:
            query = query.where(t.c.flavour == flavour)
        frame = self._frame(
            query
        )  # sorted here: asked to sort, SQLite walks the whole primary key instead of the week's index
        return frame.sort_values(["known_from", "line"], ignore_index=True)

    def balances(
        self, by: Sequence[str], first_week: str | None = None, last_week: str | None = None, *, known: int | None = None,
        kinds: Sequence[str] | None = None, flavour: str | None = None, batch: str | None = None,
    ) -> pd.DataFrame:  # fmt: skip
        """Sums of all measures grouped by posting columns (`week`, `flavour`, `step`, `kind`, `account`, ...), over weeks."""
        t = postings
        keys = [t.c[name] for name in by]
        sums = [func.sum(t.c[name]).label(name) for name in MEASURES]
        query = select(*keys, *sums, func.count().label("lines")).where(t.c.site == self.store.site, believed(t, known))
        if first_week:
            query = query.where(t.c.week >= first_week, t.c.week <= (last_week or first_week))
        if kinds is not None:
            query = query.where(t.c.kind.in_(list(kinds)))
        if flavour is not None:
            query = query.where(t.c.flavour == flavour)
        if batch is not None:
            query = query.where(t.c.batch == batch)
        frame = self._frame(query.group_by(*keys).order_by(*keys))
        for name in MEASURES:
            frame[name] = frame[name].astype("int64")
        return frame

    def weekly(
        self, first_week: str, last_week: str | None = None, *, known: int | None = None, flavour: str | None = None
    ) -> pd.DataFrame:
        """The frame the weekly review is read from: balances by week, flavour, design, step, kind, account class and direction.

        `direction` is `in` (into the account) or `out`. Lots are summed over their kind, so the frame stays small at any length.
        """
        t = postings
        account = case((t.c.kind.like("lot.%"), ""), else_=t.c.account).label("account")
        direction = case((t.c.mass_mg < 0, "out"), else_="in").label("direction")
        keys = [t.c.week, t.c.flavour, t.c.design, t.c.step, t.c.channel, t.c.kind, account, direction]
        sums = [func.sum(t.c[name]).label(name) for name in MEASURES]
        query = (
            select(*keys, *sums, func.count(t.c.batch.distinct()).label("batches"))
            .where(
                t.c.site == self.store.site,
                believed(t, known),
                t.c.week >= first_week,
                t.c.week <= (last_week or first_week),
            )
            .group_by(*keys)
        )
        if flavour is not None:
            query = query.where(t.c.flavour == flavour)
        frame = self._frame(query)
        for name in MEASURES:
            frame[name] = frame[name].astype("int64")
        return frame

    def weeks(self) -> list[str]:
        """Every ISO week that has a movement, oldest first."""
        t = postings
        query = select(t.c.week).where(t.c.site == self.store.site).distinct().order_by(t.c.week)
        return [str(w) for w in self._frame(query)["week"]]

    # --- things ---------------------------------------------------------------------------------------------------

    def lots(
        self, *, holding: bool = True, kinds: Sequence[str] | None = None, flavour: str | None = None, batch: str | None = None,
        item: str | None = None, names: Sequence[str] | None = None,
    ) -> pd.DataFrame:  # fmt: skip
        """Lots as they stand (`holding`: only those with something in them)."""
        t = lots
        query = select(*[c for c in t.columns if c.name != "site"]).where(t.c.site == self.store.site)
        if holding:
            query = query.where((t.c.mass_mg > 0) | (t.c.packs > 0) | (t.c.pieces > 0))
        for column, value in ((t.c.flavour, flavour), (t.c.batch, batch), (t.c.item, item)):
            if value is not None:
                query = query.where(column == value)
        if kinds is not None:
            query = query.where(t.c.kind.in_(list(kinds)))
        if names is not None:
            query = query.where(t.c.lot.in_(list(names)))
        return self._frame(query.order_by(t.c.day, t.c.position, t.c.lot))

    def lot(self, lot: str) -> dict[str, Any] | None:
        """One lot, or None."""
        frame = self.lots(holding=False, names=[lot])
        return None if frame.empty else dict(frame.iloc[0])

    def lots_known(self, known: int) -> pd.DataFrame:
        """What each lot held right after a position: columns lot, kind, item, mass_mg, pieces, packs, cost."""
        t = postings
        query = (
            select(
                t.c.account.label("lot"), func.max(t.c.kind).label("kind"), func.max(t.c.item).label("item"),
                func.sum(t.c.mass_mg).label("mass_mg"), func.sum(t.c.pieces).label("pieces"), func.sum(t.c.packs).label("packs"),
                func.sum(t.c.money).label("cost"),
            )
            .where(t.c.site == self.store.site, believed(t, known), t.c.kind.like("lot.%"))
            .group_by(t.c.account)
        )  # fmt: skip
        frame = self._frame(query)
        for name in ("mass_mg", "pieces", "packs", "cost"):
            frame[name] = frame[name].astype("int64")
        frame["kind"] = frame["kind"].str.removeprefix("lot.")
        return frame[(frame.mass_mg != 0) | (frame.pieces != 0) | (frame.packs != 0)].reset_index(drop=True)

    def batches(
        self, *, status: str | None = None, first_day: str | None = None, last_day: str | None = None, flavour: str | None = None,
        names: Sequence[str] | None = None, most: int = 5000,
    ) -> pd.DataFrame:  # fmt: skip
        """Batches, newest first."""
        t = batches
        query = select(*[c for c in t.columns if c.name != "site"]).where(t.c.site == self.store.site)
        if status is not None:
            query = query.where(t.c.status == status)
        if first_day is not None:
            query = query.where(t.c.day >= first_day)
        if last_day is not None:
            query = query.where(t.c.day <= last_day)
        if flavour is not None:
            query = query.where(t.c.flavour == flavour)
        if names is not None:
            query = query.where(t.c.batch.in_(list(names)))
        return self._frame(query.order_by(t.c.day.desc(), t.c.position.desc()).limit(most))

    def flags(
        self,
        first_week: str | None = None,
        last_week: str | None = None,
        *,
        known: int | None = None,
        open_only: bool = False,
    ) -> pd.DataFrame:
        """Flags of a range of weeks."""
        t = flags
        query = select(*[c for c in t.columns if c.name != "site"]).where(
            t.c.site == self.store.site, believed(t, known)
        )
        if first_week:
            query = query.where(t.c.week >= first_week, t.c.week <= (last_week or first_week))
        if open_only:
            query = query.where(t.c.answered == 0)
        return self._frame(query.order_by(t.c.day, t.c.known_from, t.c.line))

    def edges(self, *, known: int | None = None) -> pd.DataFrame:
        """Every believed parent-child pair of lots."""
        t = edges
        return self._frame(
            select(*[c for c in t.columns if c.name != "site"]).where(t.c.site == self.store.site, believed(t, known))
        )

    def book_history(self, kind: str | None = None, id: str | None = None) -> pd.DataFrame:
        """Every version of book entries: kind, id, version, position, day, data (dict)."""
        t = book
        query = select(*[c for c in t.columns if c.name != "site"]).where(t.c.site == self.store.site)
        if kind is not None:
            query = query.where(t.c.kind == kind)
        if id is not None:
            query = query.where(t.c.id == id)
        frame = self._frame(query.order_by(t.c.kind, t.c.id, t.c.version))
        frame["data"] = [json.loads(x) for x in frame["data"]]
        return frame

    def recipe_version(self, kind: str, id: str, version: int) -> Any:
        """One book entry in one version (None: not there)."""
        frame = self.book_history(kind, id)
        found = frame[frame.version == version]
        return None if found.empty else msgspec.convert(found.iloc[0]["data"], KINDS[kind])

    def contacts(self, kind: str | None = None) -> pd.DataFrame:
        """Names and addresses of workers, suppliers and customers."""
        t = contacts
        query = select(t.c.kind, t.c.id, t.c.name, t.c.address, t.c.phone).where(t.c.site == self.store.site)
        if kind is not None:
            query = query.where(t.c.kind == kind)
        return self._frame(query.order_by(t.c.kind, t.c.id))

    # --- the log --------------------------------------------------------------------------------------------------

    def log(
        self, *, after: int = 0, most: int = 200, newest_first: bool = False, batch: str | None = None, stream: str | None = None,
        name: str | None = None, text: str | None = None, positions: Sequence[int] | None = None, before: int | None = None,
    ) -> pd.DataFrame:  # fmt: skip
        """Entries of the log: position, stream, name, occurred_at, recorded_at, recorded_by, command_id, corrects, payload."""
        t = events
        columns = (t.c.position, t.c.stream, t.c.version, t.c.event_id, t.c.name, t.c.schema_version, t.c.occurred_at, t.c.recorded_at,
                   t.c.recorded_by, t.c.command_id, t.c.corrects, t.c.payload)  # fmt: skip
        query = select(*columns).where(t.c.site == self.store.site, t.c.position > after)
        if before is not None:
            query = query.where(t.c.position < before)
        if batch is not None:
            query = query.where(t.c.stream == f"batch/{batch}")
        if stream is not None:
            query = query.where(t.c.stream == stream)
        if name is not None:
            query = query.where(t.c.name == name)
        if text:
            query = query.where(
                t.c.payload.contains(text, autoescape=True) | t.c.stream.contains(text, autoescape=True)
            )
        if positions is not None:
            query = query.where(t.c.position.in_(list(positions)))
        return self._frame(query.order_by(t.c.position.desc() if newest_first else t.c.position).limit(most))

    def event(self, position: int) -> Any:
        """The event first recorded at a position (None: there is none)."""
        frame = self.log(positions=[position])
        if frame.empty:
            return None
        row = frame.iloc[0]
        return decode(row["name"], int(row["schema_version"]), row["payload"])

    def papers(self, kind: str, id: str | None = None) -> list[tuple[int, Any]]:
        """Papers of a kind (sheet, forecast, plan, recall, recall-note, recall-closed, promotion, ran-out, thermometer, override),
        oldest first, as (position, event)."""
        t, e = papers, events
        query = (
            select(e.c.position, e.c.name, e.c.schema_version, e.c.payload)
            .join(t, and_(t.c.site == e.c.site, t.c.position == e.c.position))
            .where(t.c.site == self.store.site, t.c.kind == kind)
        )
        if id is not None:
            query = query.where(t.c.id == id)
        frame = self._frame(query.order_by(e.c.position))
        return [
            (int(r["position"]), decode(r["name"], int(r["schema_version"]), r["payload"]))
            for r in frame.to_dict("records")
        ]

    def corrections(self) -> pd.DataFrame:
        """Corrected entries: origin, position of the newest correction, voided."""
        t = corrections
        return self._frame(select(t.c.origin, t.c.position, t.c.voided).where(t.c.site == self.store.site))

    def shelf(self, packs: Sequence[str]) -> pd.DataFrame:
        """Lots of these packs that hold any, as they stand: the columns of `lots`. Quick at any length of history (index on item, packs)."""
        t = lots
        query = select(*[c for c in t.columns if c.name != "site"]).where(
            t.c.site == self.store.site, t.c.item.in_(list(packs)), t.c.packs > 0
        )
        return self._frame(query.order_by(t.c.day, t.c.position, t.c.lot))

    def week_lines(self, week: str, *, known: int | None = None) -> pd.DataFrame:
        """Posting lines of one ISO week, as `postings`, in no order.

        `known_from + 0` keeps SQLite from walking every line in order of position when it has no statistics: the week's own index is
        read instead, so that a report as known costs what one of today does, at any length of history.
        """
        t = postings
        columns = [c for c in t.columns if c.name not in ("site", "known_to", "origin", "station", "item")]
        at = believed(t, None) if known is None else and_(t.c.known_from + 0 <= known, t.c.known_to > known)
        return self._frame(select(*columns).where(t.c.site == self.store.site, t.c.week == week, at))

    def _frame(self, query: Select[Any]) -> pd.DataFrame:
        with self.store.read() as reader:
            return reader.frame(query)


def believed(table: Any, known: int | None) -> Any:
    """Rows believed now, or right after a position."""
    if known is None:
        return table.c.known_to == ALWAYS
    return and_(table.c.known_from <= known, table.c.known_to > known)


__all__ = ["MEASURES", "AsOf", "Queries", "believed"]
