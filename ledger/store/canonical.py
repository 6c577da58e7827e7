"""The canonical line of a stored row: what is hashed into the tree, and what an export writes.

One JSON object of every column but the hash, keys sorted, no spaces, the payload inlined under ``data``; RFC 8785 form.
So the leaf of a line can be checked by anybody::

    (printf '\\0'; printf '%s' "$line") | sha256sum
"""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256
from json.encoder import encode_basestring as _quote
from typing import Any

quote: Callable[[str], str] = _quote
"""A text as a JSON string with RFC 8785's escapes (which are those of Python's ``json`` without ``ensure_ascii``)."""

STORED_COLUMNS = (
    "site",
    "position",
    "stream",
    "version",
    "event_id",
    "name",
    "schema_version",
    "occurred_at",
    "recorded_at",
    "recorded_by",
    "command_id",
    "corrects",
    "payload",
)
"""The columns of ``events`` in their order, without the hash."""


def line_of(row: tuple[Any, ...]) -> str:
    """The canonical line of a row given in the order of ``STORED_COLUMNS`` (a hash after them is ignored)."""
    site, position, stream, version, event_id, name, schema, occurred, recorded, by, command_id, corrects, payload = (
        row[:13]
    )
    return (
        f'{{"command_id":{quote(command_id)},"corrects":{"null" if corrects is None else quote(corrects)}'
        f',"data":{payload},"event_id":{quote(event_id)},"name":{quote(name)},"occurred_at":{quote(occurred)}'
        f',"position":{position},"recorded_at":{quote(recorded)},"recorded_by":{quote(by)},"schema_version":{schema}'
        f',"site":{quote(site)},"stream":{quote(stream)},"version":{version}}}'
    )


def leaf_of(row: tuple[Any, ...]) -> bytes:
    """The leaf hash of a row (32 bytes)."""
    return sha256(b"\x00" + line_of(row).encode()).digest()
