"""Events and helpers for the tests of the store: made up, of every kind of field the ledger may hold."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

from ledger.domain.stored_names import stored_as
from ledger.store import NewEvent

NOON = "2026-10-30T12:00:00.000000Z"


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """So much of a lot."""

    lot: str
    mg: int


@stored_as("test.boiled", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Boiled:
    """A batch was boiled from lots."""

    batch: str
    taken: tuple[Taken, ...] = ()
    note: str | None = None
    by_colour: dict[str, int] | None = None
    weighed: bool = True
    kind: Literal["clear", "pulled"] = "clear"


@stored_as("test.counted", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """A number, to tell events apart."""

    number: int


def counted(stream: str, number: int, *, command: str = "", **more: Any) -> NewEvent:
    """An event that says ``number``, for ``stream``."""
    return NewEvent(stream, Counted(number=number), NOON, "worker-1", command or f"{stream}-{number}", **more)


class SteppingClock:
    """A clock that gives these moments one after the other, then stays."""

    def __init__(self, *seconds: float) -> None:
        self._moments: Iterator[datetime] = iter(
            datetime(2026, 10, 30, 12, tzinfo=UTC) + timedelta(seconds=second) for second in seconds
        )
        self._now = datetime(2026, 10, 30, 12, tzinfo=UTC)

    def __call__(self) -> datetime:
        self._now = next(self._moments, self._now)
        return self._now
