"""A stop is heard within one item, one row or one bound: what a maker presses Stop for does not first run to its end.

The work that may not go on after a stop is counted where it is done, so a report that is never asked fails here.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from ledger.planning import Effort, Problem, Progress, check_plan, make_plan, polish, priced, solve_highs
from tests.planning.shops import invented_shop

HARD = Effort(moves=40_000, enough_ppm=-1_000_000)
"""An effort that never calls a plan good enough, so that every stage is gone through."""


@pytest.fixture(scope="module")
def shop() -> Problem:
    return invented_shop(8, 20, seed=3, load=1.15)


class Counted:
    """Counts how often a piece of work is done once somebody has asked to stop."""

    def __init__(self, work: Callable[..., Any]) -> None:
        self.work, self.stopped, self.before, self.after = work, False, 0, 0

    def __call__(self, *given: Any, **named: Any) -> Any:
        self.after += self.stopped
        self.before += not self.stopped
        return self.work(*given, **named)


def stopping(at: Callable[[Progress], bool], *works: Counted) -> Callable[[Progress], str | None]:
    """A watcher that asks to stop at the first word of progress for which `at` is true."""

    def watch(progress: Progress) -> str | None:
        if not at(progress):
            return None
        for work in works:
            work.stopped = True
        return "stop"

    return watch


def test_no_item_is_planned_by_itself_after_a_stop(shop: Problem, monkeypatch: pytest.MonkeyPatch):
    alone = Counted(polish.best_alone)
    monkeypatch.setattr(polish, "best_alone", alone)
    made = make_plan(shop, HARD, stopping(lambda p: p.stage == "items" and p.done == 2, alone))
    assert made.stopped and made.moves == 0 and alone.before > 0 and alone.after == 0
    assert made.cost_milli <= made.rule_milli and check_plan(made, shop).agrees


def test_the_bound_ends_between_its_items_and_proves_what_it_has(shop: Problem, monkeypatch: pytest.MonkeyPatch):
    """Asked while the items raise the bound; by hand: a bound with fewer items raised is no higher than the whole one."""
    whole = make_plan(shop, HARD)
    alone = Counted(priced.best_alone)
    monkeypatch.setattr(priced, "best_alone", alone)
    made = make_plan(shop, HARD, stopping(lambda p: p.stage == "bound" and alone.before >= 2, alone))
    assert made.stopped and alone.before == 2 and alone.after == 0
    assert made.bound_milli is not None and whole.bound_milli is not None
    assert made.bound_milli <= whole.bound_milli and check_plan(made, shop).agrees


def test_what_an_hour_more_is_worth_is_not_worked_out_after_a_stop(shop: Problem, monkeypatch: pytest.MonkeyPatch):
    found: list[dict[int, float]] = []
    hours = solve_highs._hours
    monkeypatch.setattr(solve_highs, "_hours", lambda *given: found.append(hours(*given)) or found[-1])
    make_plan(shop, HARD)
    make_plan(shop, HARD, stopping(lambda p: p.stage == "bound"))
    assert len(found[0]) > 1 and found[1] == {}


def test_progress_says_what_the_best_costs_and_never_more_than_before(shop: Problem):
    heard: list[Progress] = []
    made = make_plan(shop, HARD, lambda p: heard.append(p))  # type: ignore[func-returns-value]
    assert {p.stage for p in heard} >= {"rules", "bound", "items", "search"}
    costs = [p.cost_milli for p in heard]
    assert costs[0] == made.rule_milli and min(costs) >= made.cost_milli
    assert all(0 <= p.done <= p.of for p in heard)
