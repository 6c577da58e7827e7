"""Times as the ledger writes them: UTC, ISO 8601, always 27 characters (``2026-10-30T09:15:00.000000Z``).

Fixed width makes text order the same as time order, on every database.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime

from ledger.errors import BadInput

_SHAPE = re.compile(
    r"\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])T(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d\.\d{6}Z", re.ASCII
).fullmatch


def utc_text(moment: datetime) -> str:
    """The 27-character text of a moment. Raises BadInput for a moment without a time zone."""
    if moment.tzinfo is None:
        raise BadInput(f"the time {moment.isoformat()} has no time zone; give one (for example +00:00)", value=moment)
    if moment.tzinfo is not UTC:
        moment = moment.astimezone(UTC)
    return moment.isoformat(timespec="microseconds")[:26] + "Z"


def from_utc_text(text: str) -> datetime:
    """The moment a stored text means."""
    return datetime.fromisoformat(require_utc_text(text))


def require_utc_text(text: str) -> str:
    """The text itself, if it is written the ledger's way; raises BadInput otherwise."""
    if _SHAPE(text) is None:
        raise BadInput(
            f"the time {text!r} is not written as 2026-10-30T09:15:00.000000Z (UTC, six decimals, Z at the end)",
            value=text,
        )
    return text


def utc_now() -> datetime:
    """The clock of this machine."""
    return datetime.now(UTC)
