"""One desk a ledger: the plan last made, the change being tried beside it, and the work going on in a thread that can be stopped."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from ledger.application import season_adopt, season_compare, season_plan, season_standing
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Report
from ledger.application.season_beside import Beside, beside
from ledger.application.season_plan import PlanMade, Typed
from ledger.application.season_settings import PlanSettings
from ledger.application.season_standing import Standing
from ledger.application.season_work import Job
from ledger.errors import SlabbookError
from ledger.planning import Problem

SEASON_WEEKS = 8
"""Full weeks of a plan that must be over before the page looks back on it rather than on an older one."""


@dataclass(slots=True)
class Desk:
    """State of the Season page of one ledger; shared by everybody who looks at it.

    base: the plan. trial: a change beside it. typed: batches typed into the table and not kept yet; past: what was typed before each change,
    for undo; refused: why the floor cannot carry what is typed (then there is no trial). standing: the season as the ledger has it, with what is
    left of the plan in force, which is the plan on the desk until another is made; beside: the plan in force against one just made; went: an
    earlier plan against what happened; seen: the entry, the day and the earlier plan asked for that both were read at.
    """

    ledger: Ledger
    base: PlanMade | None = None
    trial: PlanMade | None = None
    said: str = ""
    trouble: str = ""
    adopted: str = ""
    typed: Typed = field(default_factory=dict)
    past: list[Typed] = field(default_factory=list)
    refused: str = ""
    job: Job | None = None
    version: int = 0
    base_version: int = 0
    standing: Standing | None = None
    beside: Beside | None = None
    went: Report | None = None
    seen: tuple[int, str, str] = (-1, "", "")
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def busy(self) -> bool:
        """Whether work is going on."""
        return self.job is not None

    @property
    def mine(self) -> bool:
        """Whether the plan on the desk was made or changed here and not adopted."""
        return self.base is not None and not self.base.in_force and not self.adopted

    @property
    def by_hand(self) -> bool:
        """Whether the trial is what was typed into the table."""
        return bool(self.typed)

    def look(self, went: str = "") -> None:
        """Start reading how the season stands, if it moved on since: demand, stock, what is left of the plan in force, and how an earlier one went.

        A plan that was made or changed here and not adopted stays on the desk.
        """
        now = (self.ledger.queries.as_of().position, self.ledger.today(), went)
        if now == self.seen or self.job is not None:
            return

        def work(job: Job) -> None:
            self.seen = now
            self.standing = season_standing.standing(self.ledger, job.watch)
            plan = went or season_compare.looked_back(self.ledger, SEASON_WEEKS)
            self.went = season_compare.compare_report(self.ledger, plan) if plan else None
            if not (self.mine or self.typed or self.trial):
                self._lay(self.standing.made if self.standing.plan else None)

        self._start("Reading the sales and the plan in force", work, first=True)

    def make(self, settings: PlanSettings | None = None, effort: str = "normal") -> None:
        """Start making a plan anew from the ledger as it stands."""

        def work(job: Job) -> None:
            made = season_plan.make(self.ledger, settings, effort, job.watch)
            self._lay(made, beside(made))

        self._start("Making the plan", work)

    def try_change(self, change: Callable[[Problem], Problem], said: str) -> None:
        """Start planning again with one change, beside the plan there is."""

        def work(job: Job) -> None:
            if self.base is None:
                self.trouble = "There is no plan yet to change; make one first."
                return
            trial = season_plan.change(self.base, change, said, job.watch)
            self._clear()
            self.trial, self.said = trial, said

        self._start(f"What if: {said}", work)

    def type_in(self, changes: Typed) -> bool:
        """Take in batches typed into the table and recompute what they do; done when it returns (no solver runs). False: the planner is at work,
        nothing was taken, and the trouble says so. A reading of the ledger is waited for."""
        if not self._free("What was typed"):
            return False
        with self._lock:
            if self.base is None or not changes:
                return True
            self.past.append(dict(self.typed))
            self._check(self.typed | changes)
        return True

    def _free(self, what: str) -> bool:
        """Whether the table may be changed now; a reading of the ledger is waited for, other work is not."""
        job = self.job
        if job is not None and job.first:
            self.wait()
            job = self.job
        if job is None:
            return True
        self.trouble = f"{what} is not taken while the planner works ({job.what}). Wait or stop it, then do it again."
        self.version += 1
        return False

    def undo(self, everything: bool = False) -> None:
        """Take back the last change typed, or all of them."""
        if not self._free("That"):
            return
        with self._lock:
            if self.base is None or not self.past:
                return
            before = {} if everything else self.past[-1]
            self.past = [] if everything else self.past[:-1]
            self._check(before)

    def _check(self, typed: Typed) -> None:
        assert self.base is not None
        there = {(x.item, x.week, x.kettle): x.batches for x in self.base.plan.lines}
        self.typed = {key: n for key, n in typed.items() if n != there.get(key, 0)}
        self.trial, self.said, self.refused, self.trouble = None, "", "", ""
        if self.typed:
            try:
                self.trial = season_plan.edit(self.base, self.typed, rest=False)
                self.said = "Lines changed by hand"
            except SlabbookError as error:
                self.refused = error.message
        self.version += 1

    def edit_rest(self) -> None:
        """Start planning the later weeks again around what is typed."""
        typed = dict(self.typed)

        def work(job: Job) -> None:
            if self.base is not None:
                trial = season_plan.edit(self.base, typed, rest=True, progress=job.watch)
                self._clear()
                self.trial, self.said = trial, "Lines changed by hand, the later weeks planned again"
                self.base_version += 1

        if typed:
            self._start("Planning the later weeks around your changes", work)
        else:
            self.trouble = "Nothing was changed in the table; type other numbers of batches first."
            self.version += 1

    def take(self) -> None:
        """The change tried becomes the plan on the desk."""
        if self.trial is not None and self._free("That"):
            self._lay(self.trial)
            self.version += 1

    def drop(self) -> None:
        """Forget the change tried."""
        if not self._free("That"):
            return
        if self.typed:
            self.base_version += 1
        self._clear()
        self.version += 1

    @property
    def why_not_adopted(self) -> str:
        """Why there is nothing to adopt now, as a sentence with the way out; empty where there is."""
        if self.base is None:
            return "There is no plan to adopt yet: make one first."
        if self.adopted:
            return f"This plan is adopted, as {self.adopted}. Make it anew or change it, then there is something new to adopt."
        if self.typed:
            return "Numbers typed into the table are not kept yet: keep them or undo them, then adopt."
        if self.trial is not None:
            return "A change stands beside the plan: take it or forget it, then adopt."
        if self.base.in_force:
            return f"Plan {self.base.in_force} is in force already. Make the plan anew or change it, then there is something new to adopt."
        return ""

    def forget(self) -> None:
        """Take the plan made here off the desk: what stands then is the plan in force, or none."""
        if not self._free("That"):
            return
        if self.mine:
            self._lay(self.standing.made if self.standing is not None and self.standing.plan else None)
        self.version += 1

    def adopt(self, actor: str = "") -> None:
        """Keep the plan on the desk as the plan; where there is nothing to adopt, say why."""
        if not self._free("That"):
            return
        self.trouble = self.why_not_adopted
        if self.base is not None and not self.trouble:
            try:
                self.adopted, _ = season_adopt.adopt(self.ledger, self.base, actor)
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

    def _lay(self, plan: PlanMade | None, old: Beside | None = None) -> None:
        self.base, self.beside, self.adopted = plan, old, ""
        self._clear()
        self.base_version += 1

    def _clear(self) -> None:
        self.trial, self.said, self.trouble, self.refused = None, "", "", ""
        self.typed, self.past = {}, []

    def _start(self, what: str, work: Callable[[Job], None], first: bool = False) -> None:
        with self._lock:
            before = self.job
            if before is not None and (first or not before.first):
                if not first:
                    self.trouble = f"{what} was not begun: the planner is at work already ({before.what}), perhaps from another tablet. Wait or stop it."
                return
            job = self.job = Job(what, first)
            self.trouble = ""

        def run() -> None:
            try:
                if before is not None and before.thread is not None:
                    before.thread.join()
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
                if self.job is job:
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
