"""What a helper or an hour more would bring: planned again with it, never guessed from prices."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from ledger.planning.plan import Plan
from ledger.planning.problem import Problem
from ledger.planning.season import Effort, Progress, replan
from ledger.planning.whatif import Change, helper_added, hours_added, station_added

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


@dataclass(frozen=True, slots=True)
class Hour:
    """An hour more of hands or of a station (``what``, as it is said) in a week, planned again: milli saved."""

    week: int
    what: str
    saves_milli: int


def hour_worth_asking(
    plan: Plan, problem: Problem, days_full: Collection[int] = (), stop: Callable[[], bool] | None = None
) -> Hour | None:
    """An hour more of what stands in the way of what is short, in the week where the bounds say it is worth most; None where it saves no major unit.

    Bounds know no whole batches, so they only choose the week; what is told is the difference of two plans.
    """
    found: list[tuple[int, int, str]] = []
    for reason in (
        r for s in plan.shortages for r in s.reasons if r.code in ("no-hands", "overtime-dearer", "station-full")
    ):
        hands = reason.code != "station-full"
        for use in plan.weeks[reason.first : reason.last + 1]:
            worth = use.hour_of_hands if hands else dict(use.hour_of_stations).get(reason.resource, 0)
            if not (hands and use.week in days_full):
                found.append((worth, -use.week, "" if hands else reason.resource))
    worth, week, station = max(found, default=(0, 0, ""))
    if worth <= 0:
        return None
    more: Change = station_added(station, [-week], 60) if station else hours_added([-week], 60)
    before, after = _with_and_without(plan, problem, more, stop)
    saves = before.cost_milli - after.cost_milli
    if saves < 1000 * problem.minor_per_major or (stop is not None and stop()):
        return None
    return Hour(-week, f"the {station}" if station and not station.startswith("hands") else station or "hands", saves)


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
    before, after = _with_and_without(plan, problem, helper_added(weeks), stop)
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


def _with_and_without(
    plan: Plan, problem: Problem, change: Change, stop: Callable[[], bool] | None
) -> tuple[Plan, Plan]:
    """The problem planned again as it is and with a change, both from the same plan, so that only the change tells them apart."""

    def ended(_at: Progress) -> str | None:
        return "stop" if stop is not None and stop() else None

    return replan(plan, problem, effort=TRY, progress=ended), replan(plan, problem, change, effort=TRY, progress=ended)


__all__ = ["Help", "Hour", "helper_in", "helps_worth_asking", "hour_worth_asking"]
