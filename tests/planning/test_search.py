"""The search's moves: what a move is said to change is what the exact costing says, whatever limits there are."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from ledger.planning import Batches, Problem
from ledger.planning.alone import best_alone
from ledger.planning.arrays import lay_out
from ledger.planning.cost import cost_table, fits
from ledger.planning.expected_loss import with_curves
from ledger.planning.findings import sort_out
from ledger.planning.polish import Around, polish
from ledger.planning.rules import best_rule
from ledger.planning.search import Moves
from ledger.planning.standing import NO_ROOM, Standing
from tests.planning.shops import invented_shop, two_kettles


def _uncertain(problem: Problem) -> Problem:
    """The shop with uncertain demand for its season designs."""
    return replace(
        problem, items=tuple(with_curves(i, [4000] * len(i.demand_g)) if i.season else i for i in problem.items)
    )


def _shops() -> dict[str, Problem]:
    plain = invented_shop(6, 8, 5)
    return {
        "as it is": plain,
        "two kettles": two_kettles(plain),
        "two kettles, uncertain": _uncertain(two_kettles(plain)),
        "a full store": replace(plain, store_g=60_000),
        "a store nearly full": replace(plain, store_g=160_000),
        "short shelf life": replace(plain, items=tuple(replace(item, shelf_weeks=2) for item in plain.items)),
        "lines in force": replace(
            plain, kept=(Batches(item="item-01", week=1, batches=2), Batches(item="item-03", week=2, batches=1))
        ),
    }


@pytest.mark.parametrize("name", _shops())
def test_what_a_move_is_said_to_change_is_what_the_exact_costing_says(name: str) -> None:
    """Given any shop, when moves are drawn and made, cheaper or dearer, then each changes the plan's exact cost by what was said."""
    a = lay_out(sort_out(_shops()[name])[0])
    plan = Moves(a, best_rule(a)[2], Random(7).random)
    cost, made, refused = cost_table(a, plan.state.table).total, 0, 0
    for _ in range(4000):
        move = plan.next()
        if move is None:
            continue
        change = plan.state.change(move[0], move[1], limit=float("inf"))
        if change >= NO_ROOM // 2:
            refused += 1
            continue
        if change > 20_000_000:
            continue
        plan.carry_out(move)
        cost, made = cost + change, made + 1
        exact = cost_table(a, plan.state.table)
        assert exact.total == cost
        assert not exact.broken
    assert made > 100
    assert refused > 0
    assert fits(a, plan.state.table)


@pytest.mark.parametrize("name", _shops())
def test_a_plan_in_hand_makes_planning_an_item_faster_and_no_worse(name: str) -> None:
    """Given any shop, when an item is planned beside the others from its batches there or from nothing, then it costs the same."""
    a = lay_out(sort_out(_shops()[name])[0])
    table = best_rule(a)[2]
    plan = Standing(a, table)
    for i in range(a.n):
        charges = Around(plan, i).charges()
        free = best_alone(a, i, charges)
        known = best_alone(a, i, charges, {j: table[j] for j in a.ways[i]})
        assert (free is None) == (known is None) == bool(a.shelf[i])
        if free is not None and known is not None:
            best = best_alone(a, i, charges, free[1])
            assert best is not None and free[0] == known[0] == best[0]


@pytest.mark.parametrize("name", _shops())
def test_a_polished_plan_costs_what_it_is_said_to_cost_and_breaks_nothing(name: str) -> None:
    """Given any shop, when the best rule's plan is polished, then its exact cost is the one told, not above the rule's, and it fits."""
    a = lay_out(sort_out(_shops()[name])[0])
    _, before, table = best_rule(a)
    cost, polished = polish(a, table)
    assert cost == cost_table(a, polished).total <= before
    assert fits(a, polished)
