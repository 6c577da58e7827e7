"""What a helper would bring: planned again with one, never guessed from prices."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from ledger.planning.plan import Plan
from ledger.planning.problem import Problem
from ledger.planning.season import Effort, Progress, replan
from ledger.planning.whatif import helper_added

MOST_WEEKS = 4
TRY = Effort(moves=3_000, rounds=-1, rules=False, hours=False)
"""How hard both plans are looked for, with the helper and without, so that only the helper tells them apart."""


@dataclass(frozen=True, slots=True)
class Help:
    """One helper shift more allowed in each of ``weeks``, planned again: shifts called beyond those called now, and grams of ``item`` (of
    ``missing_g``) that are then no longer missing. ``shifts_milli``: what those shifts cost. ``saves_milli``: what is left over after paying them."""

    item: str
    weeks: tuple[int, ...]
    shifts: int
    brings_g: int
    missing_g: int
    shifts_milli: int
    saves_milli: int


def helps_worth_asking(
    plan: Plan, problem: Problem, days_full: Collection[int] = (), stop: Callable[[], bool] | None = None
) -> list[Help]:
    """A helper in the last full weeks before the dearest shortage that hands stand in the way of; empty where none pays. Plans twice, quickly.

    days_full: weeks whose days carry no more, however many hands there are. ``stop`` ends it with nothing known.
    """
    stopped = {
        s: [t for r in s.reasons if r.code == "no-hands" for t in range(r.first, r.last + 1) if t not in days_full]
        for s in plan.shortages
    }
    dearest = next((s for s, weeks in stopped.items() if weeks), None)
    if dearest is None:
        return []
    weeks = tuple(stopped[dearest][-MOST_WEEKS:])
    found = helper_in(plan, problem, dearest.item, weeks, stop)
    if stop is not None and stop():
        return []
    return [found] if found.saves_milli > 0 and found.shifts > 0 and found.brings_g > 0 else []


def helper_in(
    plan: Plan, problem: Problem, item: str, weeks: Sequence[int], stop: Callable[[], bool] | None = None
) -> Help:
    """One more helper shift allowed in each of some weeks, by planning with it and without it from the same plan."""

    def ended(_at: Progress) -> str | None:
        return "stop" if stop is not None and stop() else None

    before = replan(plan, problem, effort=TRY, progress=ended)
    after = replan(plan, problem, helper_added(weeks), effort=TRY, progress=ended)
    shifts = sum(w.helper_shifts for w in after.weeks) - sum(w.helper_shifts for w in before.weeks)
    missing = sum(before.of(item).short)
    return Help(
        item=item,
        weeks=tuple(weeks),
        shifts=shifts,
        brings_g=missing - sum(after.of(item).short),
        missing_g=missing,
        shifts_milli=shifts * problem.prices.helper_shift * 1000,
        saves_milli=before.cost_milli - after.cost_milli,
    )


__all__ = ["Help", "helper_in", "helps_worth_asking"]
