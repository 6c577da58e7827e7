"""A forecast from monthly (or quarterly) totals alone: what a shop has before its ledger has weeks of sales. Nothing is recorded."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ledger.analytics.whole_packs import whole_packs
from ledger.application.csv_rows import csv_rows
from ledger.application.reports_types import Report, Table, columns
from ledger.errors import BadInput
from ledger.forecast.fallback import MonthlyForecast, forecast_months
from ledger.forecast.monthly_bands import monthly_bands, monthly_ratios
from ledger.projections.queries import AsOf

PERIODS = {"month": (re.compile(r"(\d{4})-(\d{2})"), 12), "quarter": (re.compile(r"(\d{4})-?Q(\d)"), 4)}
LONGEST = 24
ALL = "all together"


@dataclass(frozen=True, slots=True)
class Months:
    """What a file of monthly totals says: the grain (`month`, `quarter`), the number of the first one, and packs by series, oldest first."""

    grain: str
    first: int
    packs: dict[str, list[int]]

    @property
    def period(self) -> int:
        """How many of them make a year."""
        return PERIODS[self.grain][1]

    def name(self, number: int) -> str:
        """The month or quarter of a number as people write it: `2026-03`, `2026-Q1`."""
        year, part = divmod(number, self.period)
        return f"{year}-{part + 1:02d}" if self.grain == "month" else f"{year}-Q{part + 1}"


def read_months(text: str) -> Months:
    """Read a CSV file with the columns `month` (`2024-03`; or `quarter`, `2024-Q1`) and `packs`, and if wanted `flavour` and `channel`.

    Raises BadInput naming every bad line: no such month, packs that are no whole number from 0, a month said twice or left out.
    """
    head, rows = csv_rows(text)
    grain = next((g for g in PERIODS if g in head), "")
    if not grain or "packs" not in head:
        raise BadInput(
            f"The file's first line must name the columns month (or quarter) and packs, and flavour and channel if it has them; it has {', '.join(head) or 'nothing'}.",
            value=head,
        )
    said: dict[tuple[str, int], int] = {}
    bad: list[str] = []
    for line, row in rows:
        who = ", ".join(x for x in (row.get("flavour", ""), row.get("channel", "")) if x) or ALL
        number, packs = _number(row[grain], grain), row["packs"].replace(" ", "")
        if number is None:
            example = "2024-03" if grain == "month" else "2024-Q1"
            bad.append(f"line {line}: `{row[grain]}` is no {grain}; write it as {example}")
        elif not packs.isdigit():
            bad.append(f"line {line}: `{row['packs']}` is no number of packs; give a whole number from 0 on")
        elif (who, number) in said:
            bad.append(f"line {line}: {row[grain]} of {who} is said twice; add the two up")
        else:
            said[who, number] = int(packs)
    if not said and not bad:
        raise BadInput("The file has a head and no rows; give at least two whole years.")
    months = Months(grain, min((n for _, n in said), default=0), {})
    last = max((n for _, n in said), default=0)
    for who in sorted({w for w, _ in said}):
        begun = min(n for w, n in said if w == who)
        gone = [months.name(n) for n in range(begun, last + 1) if (who, n) not in said]
        if gone:
            bad.append(
                f"{who}: {', '.join(gone[:4])}{' and more' if len(gone) > 4 else ''} left out; write 0 for a {grain} without sales"
            )
        months.packs[who] = [said.get((who, n), 0) for n in range(begun, last + 1)]
    if bad:
        more = f"; and {len(bad) - 8} more" if len(bad) > 8 else ""
        raise BadInput(f"The file cannot be read: {'; '.join(bad[:8])}{more}.", rows=len(said), bad=len(bad))
    return Months(grain, last, months.packs)


def months_report(text: str, horizon: int = 12, name: str = "") -> Report:
    """Months ahead by series and together, with bands, the methods whose median they are, and why. Raises BadInput for a file or length that cannot be."""
    if not 1 <= horizon <= LONGEST:
        raise BadInput(f"A monthly forecast looks 1 to {LONGEST} ahead; got {horizon}.", value=horizon, limit=LONGEST)
    told = read_months(text)
    notes: list[str] = []
    made: dict[str, MonthlyForecast] = {}
    for who, packs in told.packs.items():
        if len(packs) < 2 * told.period:
            notes.append(
                f"{who} has {len(packs)} {told.grain}s; it needs two whole years ({2 * told.period}) to be forecast and is left out."
            )
        else:
            made[who] = forecast_months(np.array(packs, dtype=float), horizon, told.period)
    if not made:
        raise BadInput(
            f"No series has two whole years, {2 * told.period} {told.grain}s. {' '.join(notes)} Wait, or add older ones.",
            limit=2 * told.period,
        )
    series = [np.array(told.packs[who], dtype=float) for who in made]
    bands, guess = monthly_bands(monthly_ratios(series, horizon, told.period))
    if guess:
        notes.append(
            "The bands are a guess, half to 1.6 times what is expected: there are too few years to see how wrong such forecasts have been."
        )
    means = np.array([m.mean for m in made.values()])
    whole = whole_packs(means, ([ALL] * len(made),))
    rows = []
    for number in range(horizon):
        for s, who in enumerate(made):
            low, high = (round(float(means[s, number] * share)) for share in bands[number])
            rows.append(
                (
                    told.name(told.first + 1 + number),
                    who,
                    int(whole[s, number]),
                    min(low, int(whole[s, number])),
                    max(high, int(whole[s, number])),
                )
            )
    shown = columns(
        (told.grain, told.grain),
        ("series", "of"),
        ("mean", "expected", "count"),
        ("q10", "low", "count"),
        ("q90", "high", "count"),
    )
    tables = {
        "months": Table(f"{told.grain.title()} by {told.grain}", pd.DataFrame(rows, columns=[c.name for c in shown]), shown,
                        note="In 8 years of 10 each lies between low and high. Bands of single months do not add up."),
    }  # fmt: skip
    if len(made) > 1:
        sums = [(told.name(told.first + 1 + number), int(whole[:, number].sum())) for number in range(horizon)]
        tables["together"] = Table(
            "All together",
            pd.DataFrame(sums, columns=[told.grain, "mean"]),
            columns((told.grain, told.grain), ("mean", "expected", "count")),
        )
    why = [
        (who, len(m.members), m.why, "; ".join(f"{method} {said}" for method, said in m.left_out.items()))
        for who, m in made.items()
    ]
    tables["why"] = Table("Which model, and why", pd.DataFrame(why, columns=["series", "methods", "why", "left_out"]),
                          columns(("series", "of"), ("methods", "methods", "count"), ("why", "median of what"), ("left_out", "left out")))  # fmt: skip
    first, last = told.name(told.first + 1), told.name(told.first + horizon)
    sentence = (
        f"From {told.grain}ly totals alone, without a calendar of feasts: about {int(whole.sum())} packs from {first} to {last}. A moving feast, a promotion "
        "or a run-out is not seen here; weeks recorded in the ledger are forecast better (`slabbook season forecast`)."
    )
    title = f"Forecast from {told.grain}ly totals{' of ' + name if name else ''}, {horizon} ahead, in packs"
    return Report("season-months", title, AsOf(0, ""), sentence, tables, tuple(notes))


def _number(text: str, grain: str) -> int | None:
    pattern, period = PERIODS[grain]
    found = pattern.fullmatch(text.upper())
    if found is None or not 1 <= int(found[2]) <= period:
        return None
    return int(found[1]) * period + int(found[2]) - 1


__all__ = ["Months", "months_report", "read_months"]
