"""Measure the season application on the invented shop: forecast, plan, what-if, an edit by hand, backtest, order list, and the page's callbacks.

    python -m benchmarks.season                    # the invented shop, filled anew (about 15 s)
    python -m benchmarks.season --ledger sqlite:///my.sqlite --weeks 26

Times are of CPU (`time.process_time`) beside the clock, so that a busy machine is seen as one; every figure is a ratio to the first forecast of the
same run as well. Limits: a change is answered in 3 s (wanted 1 s), a cell typed into the table in 0.3 s, the page drawn in 1 s.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from plotly.utils import PlotlyJSONEncoder

from dashboard.components.season_table import edit_panel
from dashboard.pages import season as page
from ledger.application import season_adopt, season_plan
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.season_backtest import backtest_report
from ledger.application.season_buy import buy_report
from ledger.application.season_compare import compare_report
from ledger.application.season_forecast import make_forecast
from ledger.application.season_forecast_report import forecast_report
from ledger.application.season_jobs import desk_of
from ledger.application.season_report import plan_report
from ledger.application.season_settings import settings_for
from ledger.planning.whatif import compare, day_added, demand_changed, design_dropped, helper_added, station_out
from seeds.shop import fill

LIMITS = {"what-if": 3.0, "cell typed": 0.3, "page drawn": 1.0}


class Times:
    """CPU and clock seconds of everything measured."""

    def __init__(self) -> None:
        self.rows: list[tuple[str, float, float, str]] = []

    def run(self, name: str, work: Callable[[], Any], told: Callable[[Any], str] = lambda _found: "") -> Any:
        """Do it once and keep what it took."""
        cpu, clock = time.process_time(), time.perf_counter()
        found = work()
        self.rows.append((name, time.process_time() - cpu, time.perf_counter() - clock, told(found)))
        return found

    def told(self) -> int:
        """Print the table; how many limits were missed (by CPU)."""
        unit = next((cpu for name, cpu, _, _ in self.rows if name == "forecast, again"), 1.0) or 1.0
        missed = 0
        print(f"{'what':34} {'CPU s':>8} {'clock s':>8} {'x forecast':>10}  limit")
        for name, cpu, clock, words in self.rows:
            limit = next((v for k, v in LIMITS.items() if name.startswith(k)), None)
            missed += limit is not None and cpu > limit
            mark = "" if limit is None else f"{limit:g} s" + ("  MISSED" if cpu > limit else "")
            print(f"{name:34} {cpu:8.2f} {clock:8.2f} {cpu / unit:10.1f}  {mark:12} {words}")
        changes = [cpu for name, cpu, _, _ in self.rows if name.startswith("what-if")]
        print(
            f"what-if: median {statistics.median(changes):.2f} s of CPU, worst {max(changes):.2f} s (limit 3 s, wanted 1 s)"
        )
        return missed


def measure(ledger: Ledger, weeks: int) -> int:
    """Everything once, in the order a person does it."""
    times = Times()
    times.run("forecast, first", lambda: make_forecast(ledger, weeks))
    made = times.run(
        "forecast, again",
        lambda: make_forecast(ledger, weeks),
        lambda f: f"{f.result.weekly['flavour'].nunique()} flavours",
    )
    times.run("forecast as a report", lambda: forecast_report(made))
    settings = settings_for(ledger, weeks=weeks)

    def gap(p: season_plan.PlanMade) -> str:
        return f"gap {(p.plan.gap_ppm or 0) / 1e4:.2f} %, {len(p.plan.lines)} lines"

    times.run("plan, quick (days unknown)", lambda: season_plan.make(ledger, settings, "quick"), gap)
    base = times.run("plan, normal (days known)", lambda: season_plan.make(ledger, settings, "normal"), gap)
    flavour = next(i.key for i in base.problem.items if i.season is not None)
    kettle = next((x.kettle for i in base.problem.items for x in i.loads), "")
    changes = {
        "demand +20 %": demand_changed([flavour], 20), "demand -30 %": demand_changed([flavour], -30), "a helper more": helper_added(range(weeks)),
        "a day more": day_added(range(weeks)), "a flavour dropped": design_dropped(base.problem.items[0].key),
        "a kettle out": station_out(kettle or "kettle", [2], 1 if kettle else 2),
    }  # fmt: skip
    for name, change in changes.items():
        times.run(f"what-if: {name}", lambda change=change, name=name: season_plan.change(base, change, name),  # type: ignore[misc]
                  lambda p: f"{gap(p)}, {len(compare(base.plan, p.plan).lines)} lines moved")  # fmt: skip
    times.run("plan as a report", lambda: plan_report(base))
    desk = desk_of(ledger)
    desk.base, desk.base_version = base, desk.base_version + 1
    line = base.plan.lines[0]
    times.run(
        "cell typed", lambda: (desk.type_in({(line.item, line.week, line.kettle): line.batches + 1}), edit_panel(desk))
    )
    desk.undo(everything=True)
    parts = times.run("page drawn", lambda: page.layout(ledger, {}))
    size = len(json.dumps(parts, cls=PlotlyJSONEncoder))
    times.run(
        "page drawn, one flavour",
        lambda: page.layout(ledger, {"flavour": flavour.partition(".")[0]}),
        lambda _: f"{size // 1000} kB of JSON",
    )
    times.run("adopt", lambda: season_adopt.adopt(ledger, base))
    paper = season_adopt.adopted(ledger)
    times.run(
        "check an adopted plan",
        lambda: season_adopt.recheck(paper),
        lambda c: "agrees" if c.agrees else "DOES NOT AGREE",
    )
    times.run("lines of the plan", lambda: season_adopt.next_lines(ledger, paper))
    times.run("buy", lambda: buy_report(ledger), lambda r: f"{len(r.tables['orders'].frame)} orders")
    times.run("compare", lambda: compare_report(ledger, through=base.problem.weeks[0].label))
    times.run("backtest, 13 origins x 13 weeks", lambda: backtest_report(ledger, 13, 13))
    return times.told()


def main() -> None:
    """Read the options, fill a shop where none is named, measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--ledger", default="", help="a ledger to measure on (it gets a plan adopted); else the invented shop"
    )
    parser.add_argument("--weeks", type=int, default=26)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        url = given.ledger or f"sqlite:///{folder}/shop.sqlite"
        if not given.ledger:
            fill(url)
        ledger = open_ledger(url)
        missed = measure(ledger, given.weeks)
        ledger.close()
    if missed:
        sys.exit(f"{missed} limits missed")


if __name__ == "__main__":
    main()
