"""One desk a ledger: the plan last made, the change being tried beside it, and the work going on in a thread that can be stopped."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from ledger.application import season_plan, season_words
from ledger.application.ledger import Ledger
from ledger.application.season_plan import PlanMade
from ledger.application.season_settings import PlanSettings
from ledger.errors import SlabbookError
from ledger.planning import Problem, Progress


@dataclass(slots=True)
class Job:
    """Work going on: what it is, its stage in words, and whether it was asked to stop."""

    what: str
    stage: str = ""
    stop: threading.Event = field(default_factory=threading.Event)
    thread: threading.Thread | None = None

    def watch(self, at: Progress) -> str | None:
        """Told of progress by the solver."""
        self.stage = season_words.stage(at)
        return "stop" if self.stop.is_set() else None


@dataclass(slots=True)
class Desk:
    """State of the Season page of one ledger; shared by everybody who looks at it."""

    ledger: Ledger
    base: PlanMade | None = None
    trial: PlanMade | None = None
    said: str = ""
    trouble: str = ""
    adopted: str = ""
    job: Job | None = None
    version: int = 0
    base_version: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def busy(self) -> bool:
        """Whether work is going on."""
        return self.job is not None

    def make(self, settings: PlanSettings | None = None, effort: str = "normal") -> None:
        """Start making a plan anew from the ledger as it stands."""

        def work(job: Job) -> None:
            self.base = season_plan.make(self.ledger, settings, effort, job.watch)
            self.trial, self.said, self.adopted = None, "", ""
            self.base_version += 1

        self._start("Making the plan", work)

    def try_change(self, change: Callable[[Problem], Problem], said: str) -> None:
        """Start planning again with one change, beside the plan there is."""

        def work(job: Job) -> None:
            if self.base is None:
                self.trouble = "There is no plan yet to change; make one first."
                return
            self.trial = season_plan.change(self.base, change, said, job.watch)
            self.said = said

        self._start(f"What if: {said}", work)

    def edit(self, lines: dict[tuple[str, int], int], rest: bool) -> None:
        """Start checking (or planning the rest again around) batches typed by hand."""

        def work(_job: Job) -> None:
            if self.base is not None:
                self.trial = season_plan.edit(self.base, lines, rest)
                self.said = "Lines changed by hand" + (", the later weeks planned again" if rest else "")

        self._start("Checking your changes", work)

    def take(self) -> None:
        """The change tried becomes the plan on the desk."""
        if self.trial is not None:
            self.base, self.trial, self.said, self.adopted = self.trial, None, "", ""
            self.base_version += 1
            self.version += 1

    def drop(self) -> None:
        """Forget the change tried."""
        self.trial, self.said, self.trouble = None, "", ""
        self.version += 1

    def adopt(self, actor: str = "") -> None:
        """Keep the plan on the desk as the plan."""
        if self.base is None:
            return
        try:
            self.adopted, _ = season_plan.adopt(self.ledger, self.base, actor)
            self.trouble = ""
        except SlabbookError as error:
            self.trouble = error.message
        self.version += 1

    def stop(self) -> None:
        """Ask the work going on to end with the best so far."""
        if self.job is not None:
            self.job.stop.set()

    def wait(self, seconds: float = 60.0) -> None:
        """Wait for the work going on (tests and the API)."""
        job = self.job
        if job is not None and job.thread is not None:
            job.thread.join(seconds)

    def _start(self, what: str, work: Callable[[Job], None]) -> None:
        with self._lock:
            if self.job is not None:
                return
            job = self.job = Job(what)
            self.trouble = ""

        def run() -> None:
            try:
                work(job)
            except SlabbookError as error:
                self.trouble = error.message
            except Exception as error:
                self.trouble = (
                    f"The planner broke off ({type(error).__name__}: {error}). Nothing was changed; please report it."
                )
                raise
            finally:
                self.version += 1
                self.job = None

        job.thread = threading.Thread(target=run, name="slabbook-season", daemon=True)
        job.thread.start()


_desks: list[Desk] = []
_desks_lock = threading.Lock()
MOST_DESKS = 8


def desk_of(ledger: Ledger) -> Desk:
    """The desk of a ledger; the oldest of many is cleared away."""
    with _desks_lock:
        found = next((d for d in _desks if d.ledger is ledger), None)
        if found is None:
            found = Desk(ledger)
            _desks.append(found)
            del _desks[:-MOST_DESKS]
        return found


__all__ = ["Desk", "Job", "desk_of"]
