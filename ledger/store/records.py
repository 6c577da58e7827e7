"""What goes into the store and what comes out of it."""

from __future__ import annotations

from typing import Any, NamedTuple

from ledger.store.codec import decode


class NewEvent(NamedTuple):
    """Something that happened, ready to be recorded.

    ``occurred_at``: UTC text of when it happened on the floor. ``recorded_by``: the worker's id. ``corrects``: the id
    of the
    event a correction speaks of. ``expected_version``: the version the stream must have now (0: it must not exist yet);
    None: not checked. ``event_id``: left out, a new one is made.
    """

    stream: str
    event: object
    occurred_at: str
    recorded_by: str
    command_id: str
    corrects: str | None = None
    expected_version: int | None = None
    event_id: str | None = None


class EncodedEvent(NamedTuple):
    """The same with its payload encoded already: canonical JSON text, as ``codec.encode`` writes it. For bulk."""

    stream: str
    name: str
    schema_version: int
    payload: str
    occurred_at: str
    recorded_by: str
    command_id: str
    corrects: str | None = None
    expected_version: int | None = None
    event_id: str | None = None


class Recorded(NamedTuple):
    """Where an event came to stand: position in the site's ledger, version in its stream, id, and when it was
    recorded.
    """

    position: int
    version: int
    event_id: str
    recorded_at: str


class Head(NamedTuple):
    """Where a site's ledger stands. An empty one: position 0, ``recorded_at`` "" (before all times), no frontier."""

    position: int
    recorded_at: str
    frontier: bytes


NO_HEAD = Head(0, "", b"")


class CommandRecord(NamedTuple):
    """A command answered before: what it contained (as a hash), the positions of its events (None: it had none), its
    result.
    """

    command_id: str
    content_hash: str
    first_position: int | None
    last_position: int | None
    result: str


class StoredEvent(NamedTuple):
    """A row of the ledger. Fields are in the order of the table's columns."""

    site: str
    position: int
    stream: str
    version: int
    event_id: str
    name: str
    schema_version: int
    occurred_at: str
    recorded_at: str
    recorded_by: str
    command_id: str
    corrects: str | None
    payload: str
    leaf_hash: bytes

    @property
    def event(self) -> Any:
        """The event itself, decoded at each call; raises LedgerDamaged if this program cannot read it."""
        return decode(self.name, self.schema_version, self.payload)
