"""Work on a season that goes on in a thread of its own: watched, timed, and asked to stop."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field

from ledger.planning import Progress


@dataclass(slots=True)
class Job:
    """Work going on: what it is, where it is (None before its first word), and whether it was asked to stop.

    first: work that a button need not wait to see ended before it is pressed; what it starts comes after it.
    """

    what: str
    first: bool = False
    at: Progress | None = None
    began: float = field(default_factory=time.monotonic)
    stop: threading.Event = field(default_factory=threading.Event)
    thread: threading.Thread | None = None

    @property
    def seconds(self) -> float:
        """How long it has been going on."""
        return time.monotonic() - self.began

    def watch(self, at: Progress) -> str | None:
        """Told of progress by the solver."""
        self.at = at
        return "stop" if self.stop.is_set() else None


__all__ = ["Job"]
