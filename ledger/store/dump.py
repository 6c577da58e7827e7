"""The whole ledger as text: one line an event, readable in fifty years, and back into an identical ledger.

An event's line is its canonical row, exactly the bytes that are hashed into the tree. Between them stand three kinds
of lines
of our own:

* a *seal* after every 1,000 events, and after the last: the leaf hashes of the events since the one before, so that a
changed
  line can be named, not only noticed;
* the answered *commands* after the events, so that a command sent again after a restore is still known;
* the *head* at the very end: position, Merkle root, and the SHA-256 of all lines before it. A file without it was cut
short.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from hashlib import sha256
from typing import Any

from sqlalchemy import bindparam, select

from ledger.store.canonical import line_of
from ledger.store.reader import Reader
from ledger.store.statements import Statement
from ledger.store.tables import commands

SEALED_EVENTS = 1000
PAGE = 2000
COMMAND_COLUMNS = tuple(commands.c.keys())
COMMANDS = Statement(
    select(commands)
    .where(commands.c.site == bindparam("site"), commands.c.command_id > bindparam("after"))
    .order_by(commands.c.command_id)
    .limit(PAGE),
    ["site", "after"],
)


def dump_lines(reader: Reader, *, seals: bool = True) -> Iterator[str]:
    """The ledger of a snapshot as lines without line ends; ``seals=False`` gives the events alone.

    Hashes are those stored, so damage done to the database shows when the lines are restored.
    """
    whole = sha256()
    count = 0

    def told(line: str) -> str:
        nonlocal count
        whole.update(line.encode() + b"\n")
        count += 1
        return line

    leaves: list[str] = []
    for event in reader.events():
        yield told(line_of(event))
        leaves.append(bytes(event.leaf_hash).hex())
        if seals and (len(leaves) == SEALED_EVENTS or event.position == reader.head.position):
            yield told(_own("seal", {"leaves": "".join(leaves), "position": event.position}))
            leaves.clear()
    if not seals:
        return
    after = ""
    while page := reader.rows(COMMANDS, (reader.site, after)):
        for row in page:
            yield told(_own("command", dict(zip(COMMAND_COLUMNS, row, strict=True))))
        after = page[-1][1]
    head = {"position": reader.head.position, "recorded_at": reader.head.recorded_at, "root": reader.root().hex()}
    yield _own("head", head | {"lines": count, "sha256": whole.hexdigest(), "site": reader.site})


def _own(kind: str, content: dict[str, Any]) -> str:
    return json.dumps({kind: content}, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
