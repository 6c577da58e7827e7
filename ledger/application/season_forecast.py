"""What will sell, from the ledger: the forecast with the owner's word laid over it, kept as an entry when it is issued."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from ledger.analytics.compare import shift, week_of
from ledger.application.ledger import Ledger, Outcome
from ledger.application.season_history import SeasonHistory, season_history
from ledger.application.season_run_outs import run_out_notes
from ledger.domain.books.entries import Flavour
from ledger.domain.season.commands import IssueForecast, MakeOverride
from ledger.errors import BadInput, SlabbookError, UnknownThing
from ledger.forecast import Calibration, Forecast, Override, apply_override, forecast
from ledger.forecast.calendar import week_number

MILLI = 1000
"""A stored forecast counts in thousandths of a pack, because events hold whole numbers only."""
QUANTILES = ("q10", "q25", "q50", "q75", "q90")


@dataclass(frozen=True, slots=True)
class Made:
    """A forecast with what it was made from: `plain` as the models say, `result` with the owner's overrides."""

    seen: SeasonHistory
    plain: Forecast
    result: Forecast
    overrides: tuple[Any, ...]
    notes: tuple[str, ...]


_kept: OrderedDict[tuple[int, int, str], tuple[Ledger, Calibration]] = OrderedDict()
_lock = threading.Lock()
MOST_KEPT = 6


def make_forecast(ledger: Ledger, horizon: int = 13, known: int | str | None = None) -> Made:
    """Forecast from the running week on; earlier origins are replayed once a position of the ledger and kept.

    Raises BadInput when nothing was sold before this week, or the horizon is not 1 to 60 weeks.
    """
    seen = season_history(ledger, known)
    if seen.history.before(seen.origin).sales.empty:
        raise BadInput(
            f"Nothing was sold before {seen.origin}, so there is nothing to forecast from. Record sales with `slabbook sell`, or load older ones with the "
            "batches they came from (`slabbook import`). Monthly totals from before the ledger are forecast by themselves: `slabbook season months FILE`.",
            value=seen.origin,
        )
    key = (id(ledger), seen.on.known, seen.origin)
    with _lock:
        held = _kept.get(key)
    kept = held[1] if held is not None and held[0] is ledger and held[1].horizon >= horizon else None
    plain = forecast(seen.history, seen.settings, seen.origin, horizon, kept)
    with _lock:
        _kept[key] = (ledger, plain.calibration)
        _kept.move_to_end(key)
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    result, used, said = plain, [], []
    for paper in standing_overrides(seen):
        try:
            result = apply_override(result, as_override(paper, seen))
            used.append(paper)
        except SlabbookError as error:
            said.append(f"The owner's figure for {paper.key} in {paper.week} is not laid over: {error.message}.")
    said += beaten(result, used, seen)
    return Made(seen, plain, result, tuple(used), (*run_out_notes(seen), *seen.notes, *plain.notes, *said))


def beaten(result: Forecast, used: Sequence[Any], seen: SeasonHistory) -> list[str]:
    """A sentence for each owner's figure that no longer holds, because one said later speaks of some of the same packs."""
    notes = []
    series = result.weekly[result.weekly["level"] == "series"]
    for paper in used:
        said = as_override(paper, seen)
        mine = series["week"].between(said.from_week, said.to_week)
        mine &= (series["flavour"] == said.flavour) | (said.flavour == "*")
        mine &= (series["channel"] == said.channel) | (said.channel == "*")
        stands = float(series.loc[mine, "mean"].sum())
        if abs(stands - said.units) >= 0.5:
            notes.append(
                f"Your figure of {paper.units} packs for {paper.key} in {paper.week} gives way to one said later: {stands:.0f} of the {said.units:.0f} still to "
                "come stand. Void the one that is wrong."
            )
    return notes


def standing_overrides(seen: SeasonHistory) -> list[Any]:
    """The newest owner's figure of every level, key and span of weeks that has not passed yet."""
    newest: dict[tuple[str, str, str], Any] = {}
    for _, paper in seen.on.queries.papers("override", known=seen.on.known):
        if span_of(paper.week)[1] >= seen.origin:
            newest.pop((paper.level, paper.key, paper.week), None)  # the newest word is laid over last
            newest[(paper.level, paper.key, paper.week)] = paper
    return list(newest.values())


def span_of(week: str) -> tuple[str, str]:
    """First and last week of an owner's figure, kept as an ISO 8601 week or interval `2026-W50/2026-W52`."""
    first, _, last = week.partition("/")
    return first, last or first


def as_override(paper: Any, seen: SeasonHistory) -> Override:
    """An owner's figure for what is left of its weeks: packs sold in the weeks gone by are taken off."""
    flavour, _, channel = paper.key.partition("/")
    first, last = span_of(paper.week)
    units = float(paper.units)
    if first < seen.origin:
        units = max(0.0, units - sold_beside_bulk(seen, flavour or "*", channel or "*", first, shift(seen.origin, -1)))
    return Override(flavour or "*", channel or "*", max(first, seen.origin), last, units, paper.reason)


def sold_beside_bulk(seen: SeasonHistory, flavour: str, channel: str, first: str, last: str) -> float:
    """Packs sold from one week through another (``*``: of every flavour, over every channel), bulk orders taken out: an owner's figure, like the
    forecast, speaks of what walks in, and what is promised stands on top of it."""

    def mine(table: pd.DataFrame) -> Any:
        here = table["week"].between(first, last)
        for name, asked in (("flavour", flavour), ("channel", channel)):
            if asked != "*":
                here &= table[name] == asked
        return table[here].groupby(["week", "flavour", "channel"])["units"].sum()

    sold, bulk = mine(seen.history.sales), seen.history.bulk_orders
    rest = sold if bulk is None else sold.sub(mine(bulk).reindex(sold.index, fill_value=0))
    return float(np.maximum(rest.to_numpy(dtype=float), 0.0).sum())


# --- kept as entries ----------------------------------------------------------------------------------------------------


def issue(ledger: Ledger, made: Made, actor: str = "") -> tuple[str, Outcome]:
    """Keep the forecast as it leaves the house, in thousandths of a pack, one line a row with its weeks in order."""
    taken = {paper.forecast for _, paper in made.seen.on.queries.papers("forecast")}
    base = f"F{made.result.origin.replace('-', '')}"
    name = next(n for n in (f"{base}-{i}" for i in range(1, 10_000)) if n not in taken)
    command = IssueForecast(day=ledger.today(), forecast=name, origin_week=made.result.origin, as_of=made.seen.on.known,
                            method="pooled quasi-Poisson, conformal bands; thousandths of a pack", lines=tuple(stored_lines(made.result)))  # fmt: skip
    return name, ledger.do(command, actor)


def stored_lines(result: Forecast) -> list[dict[str, Any]]:
    """The weekly rows as whole numbers: level, flavour, channel, model, from_week and lists by week."""
    lines = []
    weekly = result.weekly
    said = weekly["model_mean"] if "model_mean" in weekly else weekly["mean"]
    weekly = weekly.assign(model_mean=said)
    for (level, flavour, channel), part in weekly.groupby(["level", "flavour", "channel"], sort=True):
        line: dict[str, Any] = {"level": level, "flavour": flavour, "channel": channel, "model": str(part["model"].iloc[0]),
                                "from_week": result.origin}  # fmt: skip
        for name in ("mean", *QUANTILES, "firm", "model_mean"):
            line[name] = [round(float(v) * MILLI) for v in part[name]]
        lines.append(line)
    return lines


def override(
    ledger: Ledger, flavour: str, first_week: str, last_week: str, packs: int, reason: str, channel: str = "", actor: str = "",
    forecast_id: str = "",
) -> tuple[int, Outcome]:  # fmt: skip
    """Keep the owner's figure for some weeks beside what the issued forecast said; returns what the model said.

    Raises UnknownThing when no forecast was issued yet, BadInput for a missing reason or weeks outside it.
    """
    papers = [p for _, p in ledger.queries.papers("forecast") if not forecast_id or p.forecast == forecast_id]
    if not papers:
        what = f"There is no forecast `{forecast_id}`." if forecast_id else "No forecast is issued yet."
        raise UnknownThing(
            f"{what} Issue one with `slabbook season forecast --issue`; the owner's figure stands beside it.",
            kind="forecast",
            id=forecast_id,
        )
    paper = papers[-1]
    if not reason.strip():
        raise BadInput("Your own figure needs a reason, so that next year somebody knows why.")
    if packs < 0 or first_week > last_week:
        raise BadInput(
            f"An override needs 0 packs or more and weeks in order; got {packs} from {first_week} to {last_week}.",
            value=packs,
        )
    if flavour:
        ledger.book().get(Flavour, flavour)
    level = "series" if flavour and channel else "flavour" if flavour else "channel" if channel else "shop"
    line = next(
        (x for x in paper.lines if (x["level"], x["flavour"], x["channel"]) == (level, flavour or "*", channel or "*")),
        None,
    )
    start = week_number(paper.origin_week)
    wanted = [week_number(first_week) - start, week_number(last_week) - start]
    if line is None and flavour:
        what = ledger.book().get(Flavour, flavour).name + (f" in {channel}" if channel else "")
        raise BadInput(
            f"{what} has never been sold, so there is no forecast for your figure to stand beside. Name the flavour it is like in the book (`like`); "
            "once the next forecast is issued it knows it.",
            value=flavour,
        )
    if line is None or wanted[0] < 0 or wanted[1] >= len(line["mean"]):
        weeks = len(paper.lines[0]["mean"]) if paper.lines else 0
        raise BadInput(
            f"Forecast {paper.forecast} covers {weeks} weeks from {paper.origin_week} and "
            f"{'does not know ' + (flavour or '*') + ' in ' + (channel or 'all channels') if line is None else 'not all of ' + first_week + ' to ' + last_week}; "
            "issue a longer one with `slabbook season forecast --horizon N --issue`.",
            value=first_week,
        )  # fmt: skip
    said = round(sum(line["model_mean"][wanted[0] : wanted[1] + 1]) / MILLI)
    if packs and not any(line["model_mean"][wanted[0] : wanted[1] + 1]):
        raise BadInput(
            f"Nothing can be sold in {first_week if first_week == last_week else f'any week of {first_week} to {last_week}'} by the book and the facts told: the "
            "shop or channel is shut, the flavour out of its season, or not yet sold in it. Take the closure back or widen the flavour's days in the book, then "
            "issue a new forecast.",
            value=first_week,
        )
    week = first_week if first_week == last_week else f"{first_week}/{last_week}"
    command = MakeOverride(day=ledger.today(), forecast=paper.forecast, level=level, key=f"{flavour or '*'}/{channel or '*'}", week=week,
                           units=packs, model_units=said, reason=reason)  # fmt: skip
    return said, ledger.do(command, actor)


LEAST_ISSUED = 26
MOST_ISSUED = 60


def covered(ledger: Ledger, first: str, last: str) -> bool:
    """Whether the newest issued forecast was made this week and covers these weeks, so that an owner's figure may stand beside it."""
    papers = [p for _, p in ledger.queries.papers("forecast")]
    if not papers or papers[-1].origin_week != week_of(date.fromisoformat(ledger.today())):
        return False
    start, length = week_number(papers[-1].origin_week), len(papers[-1].lines[0]["mean"]) if papers[-1].lines else 0
    return start <= week_number(first) and week_number(last) < start + length


def horizon_for(ledger: Ledger, last: str) -> int:
    """Weeks a forecast must have to cover a week, at least half a year. BadInput for a week gone by or too far ahead."""
    now = week_of(date.fromisoformat(ledger.today()))
    ahead = week_number(last) - week_number(now) + 1
    if not 1 <= ahead <= MOST_ISSUED:
        raise BadInput(
            f"Week {last} is {'gone by' if ahead < 1 else 'too far ahead'}; your own figure is for weeks from {now}, the running one, to {MOST_ISSUED} weeks on.",
            value=last,
        )
    return max(LEAST_ISSUED, ahead)


def on_top(ledger: Ledger, flavour: str, channel: str, first: str, last: str) -> str:
    """What is promised in bulk for these weeks beside an owner's figure, in words; empty where nothing is."""
    orders = season_history(ledger).history.bulk_orders
    if orders is None:
        return ""
    mine = (
        orders["week"].between(first, last)
        & (orders["flavour"].isin([flavour]) | (not flavour))
        & (orders["channel"].isin([channel]) | (not channel))
    )
    packs = int(orders.loc[mine, "units"].sum())
    return f"On top of that {packs} packs are promised in bulk orders." if packs else ""


__all__ = [
    "MILLI", "Made", "as_override", "covered", "horizon_for", "issue", "make_forecast", "on_top", "override", "sold_beside_bulk", "span_of",
    "standing_overrides", "stored_lines",
]  # fmt: skip
