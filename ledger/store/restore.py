"""Lines that ``ledger.store.dump`` wrote, back into an identical ledger: nothing is believed, everything is checked."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from hashlib import sha256
from typing import Any, NamedTuple

import msgspec

from ledger.errors import BadInput, Refused
from ledger.store.canonical import leaf_of, line_of
from ledger.store.dump import COMMAND_COLUMNS
from ledger.store.merkle import HASH_SIZE, MARK_EVERY, Frontier
from ledger.store.session import Session, Writes
from ledger.store.statements import Row, Statement
from ledger.store.store import Store
from ledger.store.unit import HEAD, INSERT_COMMAND, INSERT_EVENT, INSERT_MARK, SET_HEAD


class Restored(NamedTuple):
    """What a restore brought back: events, commands, and the Merkle root over the events."""

    position: int
    commands: int
    root: bytes


class _EventLine(msgspec.Struct, forbid_unknown_fields=True):
    """An event's line; the payload stays the text it is."""

    command_id: str
    corrects: str | None
    data: msgspec.Raw
    event_id: str
    name: str
    occurred_at: str
    position: int
    recorded_at: str
    recorded_by: str
    schema_version: int
    site: str
    stream: str
    version: int


_read_event = msgspec.json.Decoder(_EventLine).decode


def restore_lines(store: Store, lines: Iterable[str], *, root: bytes | None = None) -> Restored:
    """Build the ledger that ``dump_lines`` wrote: same positions, ids, times and hashes, in one transaction.

    ``root``: a Merkle root known from elsewhere (a day sheet) that the ledger must have; with it, the bare events are
    enough,
    without it the file must be whole, with seals and head.

    Raises Refused if the site has events already; BadInput, naming the line and what is wrong with it, if a line is
    missing,
    changed, out of order, not canonical or of another site. Then nothing is written.
    """
    result: list[Restored] = []

    def attempt(session: Session) -> tuple[None, Writes]:
        head = session.rows(HEAD, (store.site,))
        if head and head[0][0]:
            raise Refused(
                f"site {store.site} has {head[0][0]} events already; restore into a new database",
                site=store.site,
                position=head[0][0],
            )
        incoming = _Incoming(store.site, lines, root)
        batches: list[tuple[Statement, Iterable[Row]]] = [
            (INSERT_EVENT, incoming.events()),
            (INSERT_COMMAND, incoming.commands()),
            (SET_HEAD, incoming.head(result)),
            (INSERT_MARK, incoming.marks()),
        ]
        return None, Writes(store.site, 0, batches)

    store.transact(attempt, exclusive=True)
    return result[0]


class _Incoming:
    """Lines being read, checked and turned into rows, in three stretches: events, commands, head."""

    def __init__(self, site: str, lines: Iterable[str], root: bytes | None) -> None:
        self.site = site
        self.root = root
        self.frontier = Frontier()
        self.recorded_at = ""
        self.command_count = 0
        self._versions: dict[str, int] = {}
        self._whole = sha256()
        self._number = 0
        self._lines = (line.rstrip("\r\n") for line in lines)
        self._pending: str | None = None
        self._block: list[tuple[int, bytes]] = []
        self._marks: list[Row] = []

    def events(self) -> Iterator[Row]:
        while (line := self._next()) is not None:
            if line.startswith('{"seal":'):
                self._check_seal(line)
            elif line.startswith(('{"command":', '{"head":')):
                self._pending = line
                return
            else:
                yield self._event(line)
            self._whole.update(line.encode() + b"\n")

    def commands(self) -> Iterator[Row]:
        while (line := self._next()) is not None:
            if not line.startswith('{"command":'):
                self._pending = line
                return
            content = self._content(line, "command", set(COMMAND_COLUMNS))
            if content["site"] != self.site:
                raise self._bad(f"it belongs to site {content['site']}, not {self.site}")
            self.command_count += 1
            self._whole.update(line.encode() + b"\n")
            yield tuple(content[name] for name in COMMAND_COLUMNS)

    def marks(self) -> Iterator[Row]:
        """The frontiers that were passed while the events were drawn."""
        yield from self._marks

    def head(self, result: list[Restored]) -> Iterator[Row]:
        root = self.frontier.root()
        line = self._next()
        if line is None:
            if self.root is None:
                self._number += 1
                raise self._bad("the head that ends every whole file is missing: the file was cut short")
        else:
            self._check_head(line, root)
        if self.root is not None and self.root != root:
            raise BadInput(
                f"the lines have the Merkle root {root.hex()}, not {self.root.hex()} as asked for: some line was changed",
                expected=self.root.hex(),
                actual=root.hex(),
            )
        result[:] = [Restored(self.frontier.size, self.command_count, root)]
        if self.frontier.size:
            yield self.site, self.frontier.size, self.recorded_at, bytes(self.frontier)

    def _next(self) -> str | None:
        pending, self._pending = self._pending, None
        if pending is not None:
            return pending
        line = next(self._lines, None)
        if line is not None:
            self._number += 1
        return line

    def _event(self, line: str) -> Row:
        try:
            read = _read_event(line)
        except (msgspec.MsgspecError, UnicodeEncodeError) as error:
            raise self._bad(f"it is not an event: {error}") from error
        row = (
            read.site,
            read.position,
            read.stream,
            read.version,
            read.event_id,
            read.name,
            read.schema_version,
            read.occurred_at,
            read.recorded_at,
            read.recorded_by,
            read.command_id,
            read.corrects,
            bytes(read.data).decode(),
        )
        if line_of(row) != line:
            raise self._bad("it is not written canonically (sorted keys, no spaces), so its hash cannot be right")
        self._check_order(read)
        leaf = leaf_of(row)
        self.frontier.append(leaf)
        self._block.append((self._number, leaf))
        if not self.frontier.size % MARK_EVERY:
            self._marks.append((self.site, self.frontier.size, bytes(self.frontier)))
        return *row, leaf

    def _check_order(self, read: _EventLine) -> None:
        position, version = self.frontier.size + 1, self._versions.get(read.stream, 0) + 1
        if read.site != self.site:
            raise self._bad(f"it belongs to site {read.site}; open the store with that site name, not {self.site}")
        if read.position != position:
            raise self._bad(f"event {position} should be here, not {read.position}: a line is missing or out of order")
        if read.version != version:
            raise self._bad(f"version {version} of {read.stream} should be here, not {read.version}")
        if read.recorded_at < self.recorded_at:
            raise self._bad(f"it was recorded at {read.recorded_at}, before the line above it ({self.recorded_at})")
        self._versions[read.stream] = version
        self.recorded_at = read.recorded_at

    def _check_seal(self, line: str) -> None:
        content = self._content(line, "seal", {"leaves", "position"})
        sealed = bytes.fromhex(content["leaves"])
        for at, (number, leaf) in enumerate(self._block):
            if sealed[at * HASH_SIZE : (at + 1) * HASH_SIZE] != leaf:
                raise BadInput(
                    f"line {number}: it was changed; the seal in line {self._number} has another hash than {leaf.hex()}",
                    line=number,
                )
        if len(sealed) != HASH_SIZE * len(self._block) or content["position"] != self.frontier.size:
            raise self._bad("the seal is for other events than those before it")
        self._block.clear()

    def _check_head(self, line: str, root: bytes) -> None:
        content = self._content(line, "head", {"lines", "position", "recorded_at", "root", "sha256", "site"})
        if self._block:
            raise self._bad("the last events have no seal: a line is missing")
        if content["root"] != root.hex() or content["position"] != self.frontier.size:
            raise self._bad(
                f"the head says {content['position']} events with the root {content['root']}; the lines are "
                f"{self.frontier.size} with {root.hex()}"
            )
        if content["lines"] != self._number - 1 or content["sha256"] != self._whole.hexdigest():
            raise self._bad("these are not the lines the head was written for: a command was changed or is missing")
        if self._next() is not None:
            raise self._bad("there are lines after the head")

    def _content(self, line: str, kind: str, keys: set[str]) -> dict[str, Any]:
        try:
            content: dict[str, Any] = json.loads(line)[kind]
        except (ValueError, KeyError) as error:
            raise self._bad(f"a {kind} should be here, and it does not read: {line[:60]!r}") from error
        if set(content) != keys:
            raise self._bad(f"a {kind} has {sorted(keys)}, not {sorted(content)}")
        return content

    def _bad(self, what: str) -> BadInput:
        return BadInput(f"line {self._number}: {what}", line=self._number)
