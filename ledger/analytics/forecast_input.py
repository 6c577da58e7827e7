"""The tables a demand forecast reads: what was sold, when it was not there to be sold, when the shop was open, what is known ahead."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

import pandas as pd

from ledger.analytics.compare import monday, week_of

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
) -> pd.DataFrame:
    """Share of a week's open days that a flavour was there to be bought, for the weeks in which it was not all the time.

    Args:
        run_outs: ``flavour``, ``channel``, ``day``, ``until_day`` (both included; a day is out of stock whole).
        open_weekdays: 1 = Monday. closed: single days the shop is shut. closed_of: single days only a channel is.

    Returns:
        ``flavour``, ``channel``, ``week``, ``share`` (0..1). Days named twice count once; closed days do not count.
    """
    names = ["flavour", "channel", "week", "share"]
    shut, own = set(closed), {channel: set(days) for channel, days in (closed_of or {}).items()}
    gone: dict[tuple[str, str, str], set[str]] = {}
    for row in run_outs.to_dict("records"):
        for day in days(row["day"], row["until_day"] or row["day"]):
            if day.isoweekday() in open_weekdays and day.isoformat() not in shut | own.get(row["channel"], set()):
                gone.setdefault((row["flavour"], row["channel"], week_of(day)), set()).add(day.isoformat())
    rows = []
    for (flavour, channel, week), missing in sorted(gone.items()):
        usual = len(_open(week, open_weekdays, shut | own.get(channel, set())))
        rows.append((flavour, channel, week, 1 - len(missing) / usual))
    return pd.DataFrame(rows, columns=names).astype({"share": "float64"})


def open_days(
    first_week: str,
    last_week: str,
    open_weekdays: Sequence[int],
    closed: Iterable[str] = (),
    closed_of: Mapping[str, Iterable[str]] | None = None,
) -> pd.DataFrame:
    """Days the shop is open in each week: ``week``, ``days`` (int64), for every week of the range.

    closed_of: days only a channel is shut; then ``channel`` says whose row it is, ``*`` for all that have no rows of their own.
    """
    shut = set(closed)
    weeks: list[str] = []
    at = monday(first_week)
    while at <= monday(last_week):
        weeks.append(week_of(at))
        at += timedelta(weeks=1)

    def days_of(name: str, more: Iterable[str]) -> pd.DataFrame:
        out = shut | set(more)
        counts = [len(_open(w, open_weekdays, out)) for w in weeks]
        return pd.DataFrame({"week": weeks, "days": counts, "channel": name}).astype({"days": "int64"})

    whole = days_of("*", ())
    if not closed_of:
        return whole.drop(columns="channel")
    return pd.concat([whole, *(days_of(name, more) for name, more in sorted(closed_of.items()))], ignore_index=True)


def promotions(known: pd.DataFrame) -> pd.DataFrame:
    """Promotions by week: ``week``, ``flavour``, ``channel``, ``strength`` (share of the week's seven days). Empty names mean all: ``*``.

    A row has the days of every promotion it lies in, and stands behind the wider ones: who reads a flavour's or a channel's row after the shop's
    has all of its days, each counted once.

    Args:
        known: ``from_day``, ``to_day``, ``flavour``, ``channel``, ``kind``; only kind ``promotion`` counts.
    """
    share: dict[tuple[str, str, str], set[date]] = {}
    for row in known[known["kind"] == "promotion"].to_dict("records") if not known.empty else []:
        for day in days(row["from_day"], row["to_day"]):
            share.setdefault((week_of(day), row["flavour"] or "*", row["channel"] or "*"), set()).add(day)
    for week, flavour, _ in [
        k for k in share if k[2] == "*" and k[1] != "*"
    ]:  # a flavour's and a channel's meet in its row there
        for _, _, channel in [k for k in share if k[0] == week and k[1] == "*" and k[2] != "*"]:
            share.setdefault((week, flavour, channel), set())
    rows = []
    for week, flavour, channel in sorted(share):
        wider = [(week, f, c) for f in dict.fromkeys(("*", flavour)) for c in dict.fromkeys(("*", channel))]
        rows.append((week, flavour, channel, len(set[date]().union(*(share.get(key, ()) for key in wider))) / 7))
    return pd.DataFrame(rows, columns=["week", "flavour", "channel", "strength"]).astype({"strength": "float64"})


def closed_days(known: pd.DataFrame) -> set[str]:
    """Single days of announced closures (kind ``closure`` for all flavours and channels)."""
    shut: set[str] = set()
    for row in known[known["kind"] == "closure"].to_dict("records") if not known.empty else []:
        if not row["flavour"] and not row["channel"]:
            shut.update(day.isoformat() for day in days(row["from_day"], row["to_day"]))
    return shut


def closed_of_channels(known: pd.DataFrame) -> dict[str, set[str]]:
    """Single days of announced closures of one channel: channel -> days."""
    shut: dict[str, set[str]] = {}
    for row in known[known["kind"] == "closure"].to_dict("records") if not known.empty else []:
        if row["channel"] and not row["flavour"]:
            shut.setdefault(row["channel"], set()).update(
                day.isoformat() for day in days(row["from_day"], row["to_day"])
            )
    return shut


def days(first: str, last: str) -> list[date]:
    """Every day from first to last, both included."""
    start, end = date.fromisoformat(first), date.fromisoformat(last)
    return [start + timedelta(days=n) for n in range((end - start).days + 1)]


def _open(week: str, open_weekdays: Sequence[int], shut: set[str]) -> list[date]:
    start = monday(week)
    found = [start + timedelta(days=n) for n in range(7)]
    return [d for d in found if d.isoweekday() in open_weekdays and d.isoformat() not in shut]


__all__ = ["closed_days", "closed_of_channels", "exposure", "open_days", "promotions", "weekly_sales"]
