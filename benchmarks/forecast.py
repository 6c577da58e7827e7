"""Measure the forecast on three simulators, against seasonal naive and the true rate, with its speed.

    python benchmarks/forecast.py --seeds 1-6                 # seeds the method was developed on (first two simulators)
    python benchmarks/forecast.py --seeds 101-112             # locked: looked at once per release
    python benchmarks/forecast.py --seeds 1-8 --only hand     # a shop by another hand: nothing was ever tuned on it
    python benchmarks/forecast.py --ledger sqlite:///my.sqlite   # a ledger's own last year, weekly origins

Three years of weeks are known, the fourth is held back: 37 origins, 13 weeks each, about 24 series. Every figure is a
mean over shops with its standard error over shops (origins of one shop overlap, so weeks are not independent).
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from ledger.forecast import FixedHistory, ForecastSettings, Window, backtest, calibrate, feasts_from, forecast
from ledger.forecast.baselines import seasonal_naive
from ledger.forecast.calendar import week_number, week_text
from ledger.forecast.history import DemandHistory, HistoryAsKnown, build_panel
from ledger.forecast.lines import build_lines
from ledger.forecast.point import point_forecast
from ledger.forecast.scoring import score_table
from tests.forecast import shop_by_another_hand
from tests.forecast.shop_by_another_hand_world import FAILED
from tests.forecast.simulators import feast_shapes, other_forms

KNOWN, ORIGINS, HORIZON = 156, 37, 13
GROUPS = (
    ("series", False),
    ("series", True),
    ("flavour", False),
    ("flavour", True),
    ("channel", False),
    ("shop", False),
)
TARGETS = {
    "mean MASE ratio": "<= 0.75",
    "season-only error ratio": "<= 0.62",
    "shop total error ratio": "<= 0.62",
    "season total 6 weeks ahead WAPE": "<= 0.19",
    "bias": "|.| <= 0.02",
    "pinball ratio": "<= 0.70",
    "backtest CPU s": "<= 2 (fixed history)",
}


@dataclass(frozen=True)
class Case:
    """One shop to be judged on: what was known when, what came, and the rate nobody knows (None for a real ledger).

    ``calm`` is the rate for one who knows the shop by heart, but not how lucky a season will be or that it will fail.
    ``failed`` names the season-only flavours that the simulator makes fail in the year held back.
    """

    as_known: HistoryAsKnown
    outcome: DemandHistory
    settings: ForecastSettings
    origins: list[str]
    rate: pd.DataFrame | None
    calm: pd.DataFrame | None = None
    failed: tuple[str, ...] = ()


def of_simulator(module: object) -> Callable[[int], Case]:
    def case(seed: int) -> Case:
        shop = module.simulate(seed)  # type: ignore[attr-defined]
        series = [(f, c) for f in shop.flavours for c in shop.channels]
        rate, calm = (
            pd.DataFrame(
                [(f, c, shop.week(t), grid[i, t]) for i, (f, c) in enumerate(series) for t in range(shop.weeks)],
                columns=["flavour", "channel", "week", "rate"],
            )
            for grid in (shop.rate, shop.calm)
        )
        origins = [shop.week(c) for c in range(KNOWN, KNOWN + ORIGINS)]
        return Case(FixedHistory(shop.history), shop.history, shop.settings, origins, rate, calm, shop.failed)

    return case


def by_another_hand(seed: int) -> Case:
    shop = shop_by_another_hand.simulate(seed)
    feasts = feasts_from((str(n), d.isoformat()) for n, d in shop.feasts[["feast", "date"]].itertuples(index=False))
    windows = tuple(Window(f, w.feast, w.first, w.last) for f, mine in shop.windows.items() for w in mine)
    start = week_number(shop.held_back_from)
    origins = [week_text(n) for n in range(start, start + ORIGINS)]
    rate = shop.truth[["flavour", "channel", "week"]].assign(rate=shop.truth["expected"])
    settings = ForecastSettings(feasts=feasts, windows=windows)
    failed = shop.secrets["failed season"]
    fails = (rate["flavour"] == failed) & (rate["week"] >= shop.held_back_from)
    calm = rate.assign(rate=rate["rate"].mask(fails, rate["rate"] / FAILED))
    return Case(shop.as_known, shop.history, settings, origins, rate, calm, (failed,))


SIMULATORS: dict[str, Callable[[int], Case]] = {
    "shapes": of_simulator(feast_shapes),
    "forms": of_simulator(other_forms),
    "hand": by_another_hand,
}


def measure(case: Case) -> dict[str, float]:
    """All figures of one shop."""
    start = time.process_time()
    result = backtest(case.as_known, case.settings, case.origins, HORIZON, case.outcome)
    out = {"backtest CPU s": time.process_time() - start}
    series = result.weekly[result.weekly["level"] == "series"]
    whole = score_table(series, ["level"]).iloc[0]
    kinds = score_table(series, ["season_only"]).set_index("season_only")
    total = score_table(result.weekly[result.weekly["level"] == "shop"], ["level"]).iloc[0]
    out["mean MASE ratio"] = whole["mase_ratio"]
    out["season-only error ratio"] = kinds.loc[True, "error_ratio"]
    usual = series[series["season_only"] & ~series["flavour"].isin(case.failed)]
    out["season-only error ratio, none failing"] = score_table(usual, ["level"])["error_ratio"].iloc[0]
    out["season-only MASE ratio"] = kinds.loc[True, "mase_ratio"]
    out["shop total error ratio"] = total["error_ratio"]
    out |= season_total_errors(case)
    out["bias"] = whole["bias"]
    out["pinball ratio"] = whole["pinball_ratio"]
    if case.rate is not None:
        out |= floors(case.rate, series)
    for level, only in GROUPS:
        kind = "season-only" if only else "all-year"
        part = result.weekly[(result.weekly["level"] == level) & (result.weekly["season_only"] == only)]
        out[f"80 % coverage, {kind} {level}"] = score_table(part, ["level"])["coverage_80"].iloc[0]
        sums = result.sums
        sums = sums[(sums["level"] == level) & (sums["season_only"] == only) & (sums["span"] == "8") & sums["fair"]]
        inside = ((sums["actual"] >= sums["q10"]) & (sums["actual"] <= sums["q90"])).mean() if len(sums) else np.nan
        out[f"80 % coverage of 8-week sums, {kind} {level}"] = float(inside)
    return out


def season_total_errors(case: Case) -> dict[str, float]:
    """Summed absolute error of season totals over their sum, six weeks before the window opens: ours, last season's
    again, the true rate's and the true rate's but for the season's luck; then the same without the seasons that the simulator makes fail.

    The first two simulators' rate knows how lucky the season will be, another hand's only whether it fails.
    """
    rows = pd.DataFrame(_season_totals(case))
    out: dict[str, float] = {}
    for ending, part in (("", rows), (", none failing", rows[~rows["failed"]])):
        came = part["came"]
        names = {"said": "season total 6 weeks ahead WAPE", "again": "the same, last year's weeks again"}
        if case.rate is not None:
            names["rate"] = "floor: true rate, season total WAPE"
            names["calm"] = "floor: true rate but for luck, season total WAPE"
        out |= {f"{name}{ending}": float((part[k] - came).abs().sum() / came.sum()) for k, name in names.items()}
    return out


def _season_totals(case: Case) -> Iterator[dict[str, object]]:
    """Each season of a season-only series that lies in the year held back, over its weeks that were not short."""
    known_until = max(week_number(str(w)) for w in case.outcome.sales["week"].unique())
    truth = build_panel(case.outcome, case.settings, week_text(known_until + 1))  # a week more: is the season over?
    fair = truth.not_short()
    names = list(zip(truth.flavours, truth.channels, strict=True))
    earliest = week_number(case.origins[0]) - 6
    seasons: dict[int, list[tuple[int, np.ndarray]]] = {}
    for s in np.flatnonzero(truth.seasonal):
        for season in np.unique(truth.season[s][truth.season[s] >= 0]):
            weeks = np.flatnonzero(truth.season[s] == season)
            origin = int(weeks[0]) - 6 + truth.first
            if origin >= earliest and weeks[-1] < truth.weeks - 1:
                seasons.setdefault(origin, []).append((int(s), weeks))
    rate, calm = (
        {} if table is None else table.set_index(["flavour", "channel", "week"])["rate"].to_dict()
        for table in (case.rate, case.calm)
    )
    for origin, held in seasons.items():
        panel = build_panel(case.as_known(week_text(origin)), case.settings, week_text(known_until + 1))
        column = origin - panel.first
        point = point_forecast(panel, build_lines(panel, case.settings), column, panel.weeks - column, case.settings)
        rows = {pair: i for i, pair in enumerate(zip(panel.flavours, panel.channels, strict=True))}
        naive = seasonal_naive(truth, origin - truth.first)
        for s, weeks in held:
            seen = weeks[fair[s, weeks]]
            row = rows.get(names[s])
            yield {
                "failed": names[s][0] in case.failed,
                "said": 0.0 if row is None else point.mean[row, seen + truth.first - origin].sum(),
                "came": truth.units[s, seen].sum(),
                "again": naive[s, seen + truth.first - origin].sum(),
                "rate": sum(rate.get((*names[s], week_text(truth.first + int(t))), 0.0) for t in seen),
                "calm": sum(calm.get((*names[s], week_text(truth.first + int(t))), 0.0) for t in seen),
            }


def floors(rate: pd.DataFrame, series: pd.DataFrame) -> dict[str, float]:
    """What knowing the true demand rate would score: nobody can forecast better than this."""
    fair = series[series["fair"]].merge(rate, on=["flavour", "channel", "week"], how="left")
    floor, naive = (fair["actual"] - fair["rate"]).abs(), (fair["actual"] - fair["naive"]).abs()
    scaled = fair[["flavour", "channel"]].assign(floor=floor / fair["mase_scale"], naive=naive / fair["mase_scale"])
    each = scaled[fair["mase_scale"] > 0].groupby(["flavour", "channel"])[["floor", "naive"]].mean()
    only = fair["season_only"].astype(bool)
    whole = fair.groupby(["origin", "week"])[["actual", "rate", "naive"]].sum()
    of_shop = (whole["actual"] - whole["rate"]).abs().sum() / (whole["actual"] - whole["naive"]).abs().sum()
    return {
        "floor: true rate, MASE ratio": float(each["floor"].mean() / each["naive"].mean()),
        "floor: true rate, shop total error ratio": float(of_shop),
        "floor: true rate, season-only error ratio": float(floor[only].sum() / naive[only].sum()),
    }


def speed(case: Case) -> None:
    origin, history = case.origins[0], case.outcome
    known = calibrate(history, case.settings, origin, HORIZON)
    forecast(history, case.settings, origin, HORIZON, known)
    start = time.process_time()
    for _ in range(5):
        forecast(history, case.settings, origin, HORIZON, known)
    warm = (time.process_time() - start) / 5
    start = time.process_time()
    forecast(history, case.settings, origin, HORIZON)
    print(
        f"speed: 24 series x 13 weeks {warm:.3f} s CPU with its calibration at hand, "
        f"{time.process_time() - start:.2f} s with a year of origins replayed first"
    )


def of_ledger(url: str, site: str) -> Case:
    """A ledger's last year, replayed as it was known each week."""
    from ledger.application.ledger import open_ledger
    from ledger.application.season_backtest import HELD_BACK, AsKnown
    from ledger.application.season_history import season_history

    ledger = open_ledger(url, site)
    seen = season_history(ledger)
    now = week_number(seen.origin)
    origins = [week_text(n) for n in range(now - HELD_BACK, now - HORIZON + 1)]
    return Case(AsKnown(ledger), seen.history.before(seen.origin), seen.settings, origins, None)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="1-3")
    parser.add_argument("--only", choices=sorted(SIMULATORS), action="append")
    parser.add_argument("--ledger")
    parser.add_argument("--site", default="main")
    asked = parser.parse_args()
    low, _, high = asked.seeds.partition("-")
    seeds = range(int(low), int(high or low) + 1)
    if asked.ledger:
        show("ledger", [measure(of_ledger(asked.ledger, asked.site))])
        return
    for name in asked.only or SIMULATORS:
        show(
            f"{name}: {len(seeds)} shops, seeds {seeds.start}..{seeds.stop - 1}",
            [measure(SIMULATORS[name](s)) for s in seeds],
        )
    speed(SIMULATORS["shapes"](seeds.start))


def show(title: str, rows: list[dict[str, float]]) -> None:
    table = pd.DataFrame(rows)
    print(f"\n{title}")
    for name in table:
        target = TARGETS.get(name, "0.78..0.83" if "coverage," in name else "0.75..0.85" if "coverage" in name else "")
        error = table[name].std(ddof=1) / np.sqrt(len(table)) if len(table) > 1 else 0.0
        print(f"  {name:52s} {table[name].mean():7.3f} +- {error:.3f}   {target}", flush=True)


if __name__ == "__main__":
    main()
