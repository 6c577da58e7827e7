"""The tables a demand forecast reads: what was sold, when it was not there to be sold, when the shop was open, what is known ahead."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, timedelta

import numpy as np
import pandas as pd

from ledger.analytics.compare import monday, week_of
from ledger.analytics.weekdays import Weights, even, is_open, iso_weekday

SALE = ("sell", "ship", "return")


def weekly_sales(frame: pd.DataFrame) -> pd.DataFrame:
    """Packs that left with customers each week, less those that came back (never below zero).

    Args:
        frame: balances of ``customer`` accounts with ``week``, ``flavour``, ``channel``, ``kind``, ``packs``.

    Returns:
        ``week``, ``flavour``, ``channel``, ``units`` (int64), oldest week first.
    """
    keys = ["week", "flavour", "channel"]
    rows = frame[(frame["kind"] == "customer") & (frame["flavour"] != "")] if not frame.empty else frame
    if rows.empty:
        return pd.DataFrame({**{k: pd.Series(dtype=object) for k in keys}, "units": pd.Series(dtype="int64")})
    table = rows.groupby(keys, sort=True)[["packs"]].sum().reset_index().rename(columns={"packs": "units"})
    table["units"] = table["units"].clip(lower=0).astype("int64")
    return table


def exposure(
    run_outs: pd.DataFrame,
    open_weekdays: Sequence[int],
    closed: Iterable[str] = (),
    closed_of: Mapping[str, Iterable[str]] | None = None,
    weights: Mapping[str, Weights] | None = None,
    sold: Collection[tuple[str, str, str]] = (),
) -> pd.DataFrame:
    """Share of a week's usual sales that a flavour was there for, for the weeks in which it was not there all the time.

    Args:
        run_outs: ``flavour``, ``channel``, ``day``, ``until_day`` (both included).
        open_weekdays: 1 = Monday. closed: single days the shop is shut. closed_of: single days only a channel is.
        weights: by channel, what each weekday sells (`weekday_weights`); the days of a channel not named count alike.
        sold: flavour, channel and day with a sale. Of a day it was gone and yet sold it was there for half: it went in the course of
            it, or came back (common practice, no source).

    Returns:
        ``flavour``, ``channel``, ``week``, ``share`` (0..1). Days named twice count once; closed days do not count.
    """
    names = ["flavour", "channel", "week", "share"]
    shut, own = set(closed), {channel: set(days) for channel, days in (closed_of or {}).items()}
    gone: dict[tuple[str, str, str], set[date]] = {}
    for row in run_outs.to_dict("records"):
        for day in days(row["day"], row["until_day"] or row["day"]):
            if day.isoweekday() in open_weekdays and day.isoformat() not in shut | own.get(row["channel"], set()):
                gone.setdefault((row["flavour"], row["channel"], week_of(day)), set()).add(day)
    rows = []
    for (flavour, channel, week), missing in sorted(gone.items()):
        weight = (weights or {}).get(channel) or even(open_weekdays)
        there = [d for d in open_of(week, open_weekdays, shut | own.get(channel, set())) if d not in missing]
        partly = [d for d in missing if (flavour, channel, d.isoformat()) in sold]
        usual = _weighed([*there, *missing], weight)
        rows.append((flavour, channel, week, (_weighed(there, weight) + _weighed(partly, weight) / 2) / usual))
    return pd.DataFrame(rows, columns=names).astype({"share": "float64"})


def open_days(
    first_week: str,
    last_week: str,
    open_weekdays: Sequence[int],
    closed: Iterable[str] = (),
    closed_of: Mapping[str, Iterable[str]] | None = None,
    weights: Mapping[str, Weights] | None = None,
) -> pd.DataFrame:
    """Days the shop is open in each week: ``week``, ``days``, for every week of the range.

    closed_of: days only a channel is shut. weights: by channel, what each weekday sells, in ordinary days (`weekday_weights`): a week without its
    Saturday is more than a day short. Where either is given ``channel`` says whose row it is, ``*`` for all that have no rows of their own.
    """
    own, by_channel = closed_of or {}, weights or {}
    start = np.datetime64(monday(first_week), "D")
    grid = start + np.arange(max(0, (monday(last_week) - monday(first_week)).days + 7))
    weeks = [week_of(start) for start in grid[::7].tolist()]

    def days_of(name: str) -> pd.DataFrame:
        there = is_open(grid, open_weekdays, {*closed, *own.get(name, ())})
        by_weekday = np.zeros(8)
        for weekday, weight in (by_channel.get(name) or even(open_weekdays)).items():
            by_weekday[weekday] = weight
        sums = np.where(there, by_weekday[iso_weekday(grid)], 0.0).reshape(-1, 7).sum(axis=1)
        return pd.DataFrame({"week": weeks, "days": sums.round(6), "channel": name})

    if not own and not by_channel:
        return days_of("*").drop(columns="channel")
    return pd.concat([days_of(name) for name in ("*", *sorted({*own, *by_channel}))], ignore_index=True)


def promotions(known: pd.DataFrame, weekdays: Weights | None = None) -> pd.DataFrame:
    """Promotions by week: ``week``, ``flavour``, ``channel``, ``strength`` (share of what the week usually sells that falls on their days).

    Empty names mean all: ``*``.

    A row has the days of every promotion it lies in, and stands behind the wider ones: who reads a flavour's or a channel's row after the shop's
    has all of its days, each counted once.

    Args:
        known: ``from_day``, ``to_day``, ``flavour``, ``channel``, ``kind``; only kind ``promotion`` counts.
        weekdays: what each open weekday sells, in ordinary days; without them all seven days count alike.
    """
    weight = weekdays or even(range(1, 8))
    usual = sum(weight.values())
    share: dict[tuple[str, str, str], set[date]] = {}
    for row in known[known["kind"] == "promotion"].to_dict("records") if not known.empty else []:
        for day in days(row["from_day"], row["to_day"]):
            share.setdefault((week_of(day), row["flavour"] or "*", row["channel"] or "*"), set()).add(day)
    # a flavour's and a channel's promotion meet in the flavour's row there
    for week, flavour, _ in [k for k in share if k[2] == "*" and k[1] != "*"]:
        for _, _, channel in [k for k in share if k[0] == week and k[1] == "*" and k[2] != "*"]:
            share.setdefault((week, flavour, channel), set())
    rows = []
    for week, flavour, channel in sorted(share):
        wider = [(week, f, c) for f in dict.fromkeys(("*", flavour)) for c in dict.fromkeys(("*", channel))]
        promoted = set[date]().union(*(share.get(key, ()) for key in wider))
        sells = sum(weight.get(d.isoweekday(), 0.0) for d in promoted)
        if sells:
            rows.append((week, flavour, channel, min(1.0, sells / usual)))
    return pd.DataFrame(rows, columns=["week", "flavour", "channel", "strength"]).astype({"strength": "float64"})


def closed_days(known: pd.DataFrame) -> set[str]:
    """Single days of announced closures (kind ``closure`` for all flavours and channels)."""
    return _closures(known).get("", set())


def closed_of_channels(known: pd.DataFrame) -> dict[str, set[str]]:
    """Single days of announced closures of one channel: channel -> days."""
    return {channel: shut for channel, shut in _closures(known).items() if channel}


def _closures(known: pd.DataFrame) -> dict[str, set[str]]:
    shut: dict[str, set[str]] = {}
    for row in known[known["kind"] == "closure"].to_dict("records") if not known.empty else []:
        if not row["flavour"]:
            when = (day.isoformat() for day in days(row["from_day"], row["to_day"]))
            shut.setdefault(row["channel"], set()).update(when)
    return shut


def days(first: str, last: str) -> list[date]:
    """Every day from first to last, both included."""
    start, end = date.fromisoformat(first), date.fromisoformat(last)
    return [start + timedelta(days=n) for n in range((end - start).days + 1)]


def _weighed(some: Iterable[date], weight: Weights) -> float:
    """Days in ordinary days, rounded so that every whole week counts exactly the same."""
    return round(sum(weight[d.isoweekday()] for d in some), 6)


def open_of(week: str, open_weekdays: Sequence[int], shut: set[str]) -> list[date]:
    """The open days of a week that nothing closes."""
    start = monday(week)
    found = [start + timedelta(days=n) for n in range(7)]
    return [d for d in found if d.isoweekday() in open_weekdays and d.isoformat() not in shut]


__all__ = [
    "closed_days",
    "closed_of_channels",
    "days",
    "exposure",
    "open_days",
    "open_of",
    "promotions",
    "weekly_sales",
]
