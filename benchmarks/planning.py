"""Season plans against the simple rules and against their bound, with seconds, memory and the rules in the same run.

    nice -n 10 .venv/bin/python -m benchmarks.planning [shops per size, default 3]

Invented shops of 15 x 16, 30 x 26 and 60 x 52 (items x weeks), and 30 x 26 with two kettles of different sizes. "above" is the cost above the unavoidable (material of what is
wanted), as a share of what the best simple rule leaves. Gaps are (cost - bound) / cost. Seconds are of CPU on one core.
"""

from __future__ import annotations

import resource
import sys
import time
from statistics import mean

from ledger.planning import Effort, Plan, check_plan, make_plan, replan
from ledger.planning.arrays import lay_out
from ledger.planning.findings import sort_out
from ledger.planning.rules import run_rules
from ledger.planning.whatif import demand_changed, design_dropped, helper_added, station_out
from tests.planning.shops import invented_shop, two_kettles

SIZES = (
    (15, 16, 1, Effort(moves=200_000, nodes=40)),
    (30, 26, 1, Effort(moves=360_000)),
    (30, 26, 2, Effort(moves=420_000)),
    (60, 52, 1, Effort(moves=220_000)),
)
CHANGE = Effort(moves=20_000)


def row(name: str, *cells: object) -> None:
    """One line of the table."""
    print(f"{name:34s}" + "".join(f"{cell!s:>14s}" for cell in cells), flush=True)


def main(shops: int) -> None:
    """Run all sizes and print the tables."""
    for items, weeks, kettles, effort in SIZES:
        of = "" if kettles == 1 else f", {kettles} kettles"
        print(f"\n{items} items x {weeks} weeks{of}, {effort.moves} moves")
        row("shop (load)", "cost", "gap %", "best rule +%", "above", "CPU seconds", "cut rounds")
        gaps, shares, seconds = [], [], []
        margins: dict[str, list[float]] = {}
        last: tuple[Plan, object] | None = None
        for seed in range(1, shops + 1):
            load = (0.85, 0.95, 1.05)[seed % 3]
            problem = invented_shop(items, weeks, 100 + seed, load=load)
            problem = two_kettles(problem) if kettles == 2 else problem
            began = time.process_time()
            plan = make_plan(problem, effort)
            took = time.process_time() - began
            assert check_plan(plan, problem).agrees
            rules = {n: cost for n, (cost, _) in run_rules(lay_out(sort_out(problem)[0])).items()}
            best = min(rules.values())
            for name, cost in rules.items():
                margins.setdefault(name, []).append(cost / plan.cost_milli - 1)
            share = (plan.cost_milli - plan.unavoidable_milli) / (best - plan.unavoidable_milli)
            gaps.append((plan.gap_ppm or 0) / 1e4)
            shares.append(share)
            seconds.append(took)
            row(
                f"{seed} ({load})", f"{plan.cost_milli / 1e5:.0f}", f"{gaps[-1]:.2f}",
                f"{100 * (best / plan.cost_milli - 1):.1f}", f"{share:.2f}", f"{took:.1f}", plan.rounds,
            )  # fmt: skip
            last = (plan, problem)
        row("mean", "", f"{mean(gaps):.2f}", "", f"{mean(shares):.2f}", f"{mean(seconds):.1f}")
        row("worst", "", f"{max(gaps):.2f}", "", f"{max(shares):.2f}", f"{max(seconds):.1f}")
        for name, values in sorted(margins.items(), key=lambda pair: mean(pair[1])):
            row(f"  {name}", f"+{100 * mean(values):.1f} %")
        if last is not None and weeks == 26 and kettles == 1:
            changes(*last)  # type: ignore[arg-type]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(f"\npeak memory {peak} MB")


def changes(plan: Plan, problem: object) -> None:
    """One change, solved again from the plan: seconds, and how far above a full new plan's cost."""
    row("  what-if", "seconds", "gap %", "over full %")
    middle = len(plan.weeks) // 2
    for name, change in (
        ("feast +20 %", demand_changed(["item-02", "item-05"], 20)),
        ("kettle out a week", station_out("kettle", [middle])),
        ("helper added", helper_added([middle, middle + 1, middle + 2, middle + 3])),
        ("design dropped", design_dropped("item-04")),
    ):
        began = time.process_time()
        again = replan(plan, problem, change, effort=CHANGE)  # type: ignore[arg-type]
        took = time.process_time() - began
        full = make_plan(change(problem), Effort(moves=200_000))  # type: ignore[arg-type]
        over = 100 * (again.cost_milli / full.cost_milli - 1)
        row(f"    {name}", f"{took:.2f}", f"{(again.gap_ppm or 0) / 1e4:.2f}", f"{over:+.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
