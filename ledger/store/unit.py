"""One transaction on a site's ledger, as the code inside it sees it.

Everything read is the state *before* this unit: appended events and written rows are collected and reach the database
together at the end. So a rule that depends on what the same unit has done must keep that in its own hands.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime

from sqlalchemy import bindparam, func, select

from ledger.domain.stored_names import registered
from ledger.errors import Conflict
from ledger.store.canonical import leaf_of
from ledger.store.codec import encode
from ledger.store.merkle import MARK_EVERY, Frontier
from ledger.store.records import NO_HEAD, CommandRecord, EncodedEvent, Head, NewEvent, Recorded
from ledger.store.session import Session, Writes
from ledger.store.statements import Params, Row, Statement, among, insert_into, upsert
from ledger.store.tables import commands, events, heads, marks
from ledger.store.times import require_utc_text, utc_text

Clock = Callable[[], datetime]
Ids = Callable[[], str]

HEAD = Statement(
    select(heads.c.position, heads.c.recorded_at, heads.c.frontier).where(heads.c.site == bindparam("site")), ["site"]
)
SET_HEAD = upsert(heads)
INSERT_EVENT = insert_into(events)
INSERT_MARK = insert_into(marks)
VERSION = Statement(
    select(func.coalesce(func.max(events.c.version), 0)).where(
        events.c.site == bindparam("site"), events.c.stream == bindparam("stream")
    ),
    ["site", "stream"],
)
VERSIONS = Statement(
    select(events.c.stream, func.max(events.c.version))
    .where(events.c.site == bindparam("site"), among(events.c.stream, "streams"))
    .group_by(events.c.stream),
    ["site", "streams"],
)
_RECORD = (
    commands.c.command_id,
    commands.c.content_hash,
    commands.c.first_position,
    commands.c.last_position,
    commands.c.result,
)
COMMAND = Statement(
    select(*_RECORD).where(commands.c.site == bindparam("site"), commands.c.command_id == bindparam("command_id")),
    ["site", "command_id"],
)
COMMANDS = Statement(
    select(*_RECORD).where(commands.c.site == bindparam("site"), among(commands.c.command_id, "ids")),
    ["site", "ids"],
)
INSERT_COMMAND = insert_into(commands)


class Unit:
    """One transaction. Made by ``Store.run``; not for keeping after it."""

    def __init__(
        self,
        session: Session,
        site: str,
        clock: Clock,
        ids: Ids,
        *,
        command_id: str | None = None,
        streams: Sequence[str] = (),
    ) -> None:
        self.site = site
        self._session = session
        self._clock = clock
        self._ids = ids
        self._recorded_at: str | None = None
        self._frontier: Frontier | None = None
        self._versions: dict[str, int] = {}
        self._commands: dict[str, CommandRecord | None] = {}
        self._event_rows: list[Row] = []
        self._mark_rows: list[Row] = []
        self._batches: list[tuple[Statement, Iterable[Row]]] = []
        self._remembered: list[tuple[str, str, str]] = []
        self._spans: dict[str, tuple[int, int]] = {}
        self.head: Head = self._open(command_id, streams)
        """Where the ledger stood when this unit began."""
        self._position = self.head.position
        self._not_before = self.head.recorded_at

    def rows(self, statement: Statement, params: Params = ()) -> list[Row]:
        """All rows of a statement, as the ledger was before this unit."""
        return self._session.rows(statement, params)

    def rows_of(self, asked: Sequence[tuple[Statement, Params]]) -> list[list[Row]]:
        """The rows of several statements; one trip to a PostgreSQL server instead of one each."""
        return self._session.rows_of(asked)

    @property
    def position(self) -> int:
        """The position of the last event, those appended by this unit included."""
        return self._position

    @property
    def recorded_at(self) -> str:
        """The time this unit's events are recorded under: the clock's, but never before the last event's."""
        if self._recorded_at is None:
            self._recorded_at = max(utc_text(self._clock()), self._not_before)
        return self._recorded_at

    def tick(self) -> None:
        """Look at the clock again for the events that follow; never back. For units that hold many commands."""
        self._not_before, self._recorded_at = self._recorded_at or self._not_before, None

    def version(self, stream: str) -> int:
        """How many events the stream has, those of this unit included; 0 if there is none."""
        known = self._versions.get(stream)
        if known is None:
            known = self._versions[stream] = self._session.rows(VERSION, (self.site, stream))[0][0]
        return known

    @property
    def versions(self) -> dict[str, int]:
        """Versions of the streams this unit has met, its own events included."""
        return self._versions

    def know(self, versions: dict[str, int]) -> None:
        """Take versions over from the unit before, when nobody else has written since (same head): saves asking again."""
        self._versions = versions

    def append(self, new: NewEvent) -> Recorded:
        """Add an event to the end of its stream and of the ledger.

        Raises Conflict (``stream``, ``expected``, ``actual``) if the stream does not have the expected version;
        BadInput for
        a badly written time or a value that cannot be stored exactly; KeyError for an event without a stored name.
        """
        stream, event, occurred_at, recorded_by, command_id, corrects, expected, event_id = new
        name, schema = registered(type(event))
        return self._append(
            EncodedEvent(
                stream,
                name,
                schema,
                encode(event).decode(),
                occurred_at,
                recorded_by,
                command_id,
                corrects,
                expected,
                event_id,
            )
        )

    def append_encoded(self, rows: Iterable[EncodedEvent]) -> list[Recorded]:
        """Add many events whose payloads are canonical JSON already. Versions of all streams are fetched in one go."""
        rows = list(rows)
        unknown = {row.stream for row in rows if row.stream not in self._versions}
        if len(unknown) > 1:
            self._fetch_versions(unknown)
        return [self._append(row) for row in rows]

    def write(self, statement: Statement, rows: Iterable[Row]) -> None:
        """Have ``statement`` run for every row at the end of this unit, after the events, in the order of the calls."""
        rows = list(rows)
        if not rows:
            return
        if self._batches:
            last, collected = self._batches[-1]
            if last is statement and isinstance(collected, list):
                collected.extend(rows)
                return
        self._batches.append((statement, rows))

    def stream(self, statement: Statement, rows: Iterable[Row]) -> None:
        """Like ``write`` for more rows than fit in memory: they are drawn while they are being written.

        ``rows`` may read the ledger through ``Store.read``, not through this unit; what it raises undoes the whole
        unit.
        Inserts made by ``insert_into`` go by COPY on PostgreSQL. A unit that is tried again draws a new ``rows``.
        """
        self._batches.append((statement, rows))

    def command(self, command_id: str) -> CommandRecord | None:
        """What was answered to this command before; None if it is new."""
        if command_id not in self._commands:
            found = self._session.rows(COMMAND, (self.site, command_id))
            self._commands[command_id] = CommandRecord._make(found[0]) if found else None
        return self._commands[command_id]

    def expect(self, command_ids: Sequence[str]) -> None:
        """Look up many commands in one go, for `command` to answer from."""
        unknown = [x for x in command_ids if x and x not in self._commands]
        if len(unknown) > 1:
            self._commands.update(dict.fromkeys(unknown))
            for row in self._session.rows(COMMANDS, (self.site, json.dumps(unknown))):
                self._commands[row[0]] = CommandRecord._make(row)

    def remember(self, command_id: str, content_hash: str, result_text: str) -> None:
        """Keep the answer to a command, with the positions of the events it caused in this unit, in the same
        transaction.
        """
        self._remembered.append((command_id, content_hash, result_text))

    def writes(self) -> Writes:
        """Everything this unit wants written, in order. For the store."""
        batches: list[tuple[Statement, Iterable[Row]]] = []
        if self._event_rows:
            batches.append((INSERT_EVENT, self._event_rows))
        if self._mark_rows:
            batches.append((INSERT_MARK, self._mark_rows))
        batches.extend(self._batches)
        if self._remembered:
            none = (None, None)
            batches.append(
                (
                    INSERT_COMMAND,
                    [
                        (self.site, command_id, content, *self._spans.get(command_id, none), result)
                        for command_id, content, result in self._remembered
                    ],
                )
            )
        if self._frontier is not None and self._event_rows:
            batches.append((SET_HEAD, [(self.site, self._position, self._event_rows[-1][8], bytes(self._frontier))]))
        return Writes(self.site, self.head.position, batches)

    def _open(self, command_id: str | None, streams: Sequence[str]) -> Head:
        asked: list[tuple[Statement, Params]] = [(HEAD, (self.site,))]
        if command_id is not None:
            asked.append((COMMAND, (self.site, command_id)))
        asked.extend((VERSION, (self.site, stream)) for stream in streams)
        head, *answers = self._session.rows_of(asked)
        if command_id is not None:
            found = answers.pop(0)
            self._commands[command_id] = CommandRecord._make(found[0]) if found else None
        for stream, answer in zip(streams, answers, strict=True):
            self._versions[stream] = answer[0][0]
        return Head._make(head[0]) if head else NO_HEAD

    def _fetch_versions(self, streams: set[str]) -> None:
        found = self._session.rows(VERSIONS, (self.site, json.dumps(sorted(streams))))
        self._versions.update(dict.fromkeys(streams, 0))
        self._versions.update(dict(found))

    def _append(self, new: EncodedEvent) -> Recorded:
        stream, name, schema, payload, occurred_at, recorded_by, command_id, corrects, expected, event_id = new
        require_utc_text(occurred_at)
        actual = self.version(stream)
        if expected is not None and expected != actual:
            raise Conflict(
                f"{stream} has {actual} events, not {expected}: somebody else recorded something there first; "
                "look at it again and repeat the entry",
                stream=stream,
                expected=expected,
                actual=actual,
            )
        if self._frontier is None:
            self._frontier = Frontier(self.head.position, self.head.frontier)
        if event_id is None:
            event_id = self._ids()
        recorded_at = self.recorded_at
        version = actual + 1
        position = self._position + 1
        row = (
            self.site,
            position,
            stream,
            version,
            event_id,
            name,
            schema,
            occurred_at,
            recorded_at,
            recorded_by,
            command_id,
            corrects,
            payload,
        )
        leaf = leaf_of(row)
        self._frontier.append(leaf)
        self._event_rows.append((*row, leaf))
        if not position % MARK_EVERY:
            self._mark_rows.append((self.site, position, bytes(self._frontier)))
        self._versions[stream] = version
        self._position = position
        first, _last = self._spans.get(command_id, (position, position))
        self._spans[command_id] = (first, position)
        return Recorded(position, version, event_id, recorded_at)
