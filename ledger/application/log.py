"""One entry of the log as it is believed now."""

from __future__ import annotations

from typing import Any

from ledger.application.ledger import Ledger
from ledger.domain.batch.events import Amended, Voided
from ledger.errors import Refused, UnknownThing
from ledger.projections.sql_world import decode_amendment


def believed_event(ledger: Ledger, position: int) -> Any:
    """What the entry at a position says today, after its corrections. UnknownThing if there is none, Refused if voided."""
    event = ledger.queries.event(position)
    if event is None:
        raise UnknownThing(
            f"There is no entry {position} in the log. `slabbook log` lists them.", kind="entry", id=position
        )
    corrections = ledger.queries.corrections()
    found = corrections[corrections.origin == position]
    if not found.empty:
        newest = ledger.queries.event(int(found.iloc[0]["position"]))
        if isinstance(newest, Voided):
            raise Refused(f"Entry {position} was voided.", origin=position)
        if isinstance(newest, Amended):
            return decode_amendment(newest.name, newest.schema, newest.data)
    return event
