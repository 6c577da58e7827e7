"""Measure the forecast on two simulators, against seasonal naive and the true rate, with its speed.

    python benchmarks/forecast.py --seeds 1-6        # seeds the method was developed on
    python benchmarks/forecast.py --seeds 101-112    # locked: looked at once per release

Three years of weeks are known, the fourth is held back: 37 origins, 13 weeks each, 24 series. Every figure is a mean
over shops with its standard error over shops (origins of one shop overlap, so weeks are not independent).
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from ledger.forecast import FixedHistory, backtest, calibrate, forecast, score_table
from ledger.forecast.history import build_panel
from ledger.forecast.lines import build_lines
from ledger.forecast.point import point_forecast
from tests.forecast.simulators import feast_shapes, other_forms
from tests.forecast.simulators.shop import SimulatedShop

KNOWN, ORIGINS, HORIZON = 156, 37, 13
TARGETS = {
    "mean MASE ratio": "<= 0.75",
    "season-only error ratio": "<= 0.62",
    "shop total error ratio": "<= 0.62",
    "season total 6 weeks ahead WAPE": "<= 0.19",
    "bias": "|.| <= 0.02",
    "pinball ratio": "<= 0.70",
}


def measure(shop: SimulatedShop) -> dict[str, float]:
    """All figures of one shop."""
    origins = [shop.week(c) for c in range(KNOWN, KNOWN + ORIGINS)]
    start = time.process_time()
    result = backtest(FixedHistory(shop.history), shop.settings, origins, HORIZON, shop.history)
    out = {"backtest CPU s": time.process_time() - start}
    series = result.weekly[result.weekly["level"] == "series"]
    whole = score_table(series, ["level"]).iloc[0]
    kinds = score_table(series, ["season_only"]).set_index("season_only")
    total = score_table(result.weekly[result.weekly["level"] == "shop"], ["level"]).iloc[0]
    out["mean MASE ratio"] = whole["mase_ratio"]
    out["season-only error ratio"] = kinds.loc[True, "error_ratio"]
    out["shop total error ratio"] = total["error_ratio"]
    out["season total 6 weeks ahead WAPE"] = season_total_error(shop)
    out["bias"] = whole["bias"]
    out["pinball ratio"] = whole["pinball_ratio"]
    out["floor: true rate, MASE ratio"] = floor_ratio(shop, series)
    for level, only in (
        ("series", False),
        ("series", True),
        ("flavour", False),
        ("flavour", True),
        ("channel", False),
        ("shop", False),
    ):
        kind = "season-only" if only else "all-year"
        part = result.weekly[(result.weekly["level"] == level) & (result.weekly["season_only"] == only)]
        out[f"80 % coverage, {kind} {level}"] = score_table(part, ["level"])["coverage_80"].iloc[0]
        sums = result.sums
        sums = sums[(sums["level"] == level) & (sums["season_only"] == only) & (sums["span"] == "8") & sums["fair"]]
        out[f"80 % coverage of 8-week sums, {kind} {level}"] = float(
            ((sums["actual"] >= sums["q10"]) & (sums["actual"] <= sums["q90"])).mean()
        )
    return out


def season_total_error(shop: SimulatedShop) -> float:
    """Summed absolute error of season totals over their sum, forecast six weeks before the window opens."""
    panel = build_panel(shop.history, shop.settings, shop.week(shop.weeks - 1))
    lines = build_lines(panel, shop.settings)
    fair = panel.not_short()
    error = actual = 0.0
    for s in np.flatnonzero(panel.seasonal):
        for season in np.unique(panel.season[s][panel.season[s] >= 0]):
            weeks = np.flatnonzero(panel.season[s] == season)
            origin = int(weeks[0]) - 6
            if origin < KNOWN - 6 or weeks[-1] >= panel.weeks - 1:
                continue
            mean = point_forecast(panel, lines, origin, panel.weeks - origin, shop.settings).mean
            seen = weeks[fair[s, weeks]]
            error += abs(mean[s, seen - origin].sum() - panel.units[s, seen].sum())
            actual += panel.units[s, seen].sum()
    return error / actual


def floor_ratio(shop: SimulatedShop, series: pd.DataFrame) -> float:
    """What knowing the true demand rate would score: nobody can forecast better than this."""
    place = {(f, c): i for i, (f, c) in enumerate((f, c) for f in shop.flavours for c in shop.channels)}
    columns = {shop.week(t): t for t in range(shop.weeks)}
    fair = series[series["fair"] & (series["mase_scale"] > 0)]
    rate = [
        shop.rate[place[f, c], columns[w]]
        for f, c, w in zip(fair["flavour"], fair["channel"], fair["week"], strict=True)
    ]
    frame = fair[["flavour", "channel"]].assign(
        floor=np.abs(fair["actual"] - rate) / fair["mase_scale"],
        naive=np.abs(fair["actual"] - fair["naive"]) / fair["mase_scale"],
    )
    each = frame.groupby(["flavour", "channel"])[["floor", "naive"]].mean()
    return float(each["floor"].mean() / each["naive"].mean())


def speed(shop: SimulatedShop) -> None:
    origin = shop.week(KNOWN)
    known = calibrate(shop.history, shop.settings, origin, HORIZON)
    forecast(shop.history, shop.settings, origin, HORIZON, known)
    start = time.process_time()
    for _ in range(5):
        forecast(shop.history, shop.settings, origin, HORIZON, known)
    warm = (time.process_time() - start) / 5
    start = time.process_time()
    forecast(shop.history, shop.settings, origin, HORIZON)
    print(
        f"speed: 24 series x 13 weeks {warm:.3f} s CPU with its calibration at hand, "
        f"{time.process_time() - start:.2f} s with a year of origins replayed first"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="1-3")
    low, _, high = parser.parse_args().seeds.partition("-")
    seeds = range(int(low), int(high or low) + 1)
    simulators: tuple[ModuleType, ...] = (feast_shapes, other_forms)
    for simulator in simulators:
        table = pd.DataFrame([measure(simulator.simulate(seed)) for seed in seeds])
        print(f"\n{simulator.__name__.rsplit('.', 1)[-1]}: {len(seeds)} shops, seeds {seeds.start}..{seeds.stop - 1}")
        for name in table:
            target = TARGETS.get(
                name, "0.78..0.83" if "coverage," in name else "0.75..0.85" if "coverage" in name else ""
            )
            error = table[name].std(ddof=1) / np.sqrt(len(table)) if len(table) > 1 else 0.0
            print(f"  {name:52s} {table[name].mean():7.3f} +- {error:.3f}   {target}")
    speed(feast_shapes.simulate(seeds.start))


if __name__ == "__main__":
    main()
