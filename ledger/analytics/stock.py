"""What is on the shelf and in the store room: age, dates, what is held, and how many days it lasts at the recent rate.

Everything here is told which day it is; nothing asks a clock. Days of cover are what is there / mean use a day over the last
28 days, closed days included (common practice, no source): a rate of 28 days holds every weekday four times.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from datetime import date, timedelta

import pandas as pd

from ledger.analytics.flows import ratio

DAYS = 28


def rate_window(today: str, days: int = DAYS) -> tuple[str, str]:
    """First and last day of the days a rate is taken over: the 28 days before today (today is not over)."""
    end = date.fromisoformat(today)
    return (end - timedelta(days=days)).isoformat(), (end - timedelta(days=1)).isoformat()


def sales_rate(lines: pd.DataFrame, today: str, days: int = DAYS) -> pd.DataFrame:
    """Packs that left with customers, less what came back, in the window.

    Args:
        lines: lines or balances of ``lot.packs`` with ``day``, ``step``, ``flavour``, ``item`` (the pack), ``channel``, ``packs``.

    Returns:
        ``flavour``, ``item``, ``channel``, ``packs`` (int64), ``packs_per_day``.
    """
    first, last = rate_window(today, days)
    names = ["flavour", "item", "channel", "packs"]
    rows = (
        lines[lines["step"].isin(["sell", "ship", "return"]) & lines["day"].between(first, last)]
        if not lines.empty
        else lines
    )
    if rows.empty:
        table = _empty(names, ["packs"])
    else:
        table = rows.groupby(names[:3])[["packs"]].sum().reset_index()
        table["packs"] = -table["packs"]
    table["packs_per_day"] = table["packs"] / float(days)
    return table


def finished_lots(lots: pd.DataFrame, today: str) -> pd.DataFrame:
    """Every lot of packs that holds something, first to expire first.

    Args:
        lots: ``lot``, ``kind``, ``item``, ``batch``, ``flavour``, ``design``, ``day``, ``best_before``, ``held``, ``packs``, ``mass_mg``, ``cost``.

    Returns:
        ``lot``, ``flavour``, ``design``, ``item``, ``packs``, ``mass_mg``, ``age_days``, ``best_before``, ``left_days`` (to the date; below
        zero: past it; NaN: no date), ``held`` (reason or empty).
    """
    names = ["lot", "flavour", "design", "item", "packs", "mass_mg", "age_days", "best_before", "left_days", "held"]
    rows = lots[(lots["kind"] == "packs") & (lots["packs"] > 0)] if not lots.empty else lots
    if rows.empty:
        return _empty(names, ["packs", "mass_mg", "age_days"]).astype({"left_days": "float64"})
    rows = rows.assign(age_days=_age(rows["day"], today), left_days=_left(rows["best_before"], today))
    rows = rows.assign(_date=rows["best_before"].where(rows["best_before"] != "", "9999"))
    return rows.sort_values(["flavour", "item", "_date", "lot"], ignore_index=True)[names]


def on_the_shelf(lots: pd.DataFrame, lines: pd.DataFrame, today: str, days: int = DAYS) -> pd.DataFrame:
    """Stock of every flavour and pack with its cover.

    Returns:
        ``flavour``, ``item``, ``packs`` (free to sell), ``held_packs``, ``mass_mg``, ``lots``, ``oldest_days``, ``next_best_before``,
        ``sold_packs`` (in the window), ``packs_per_day``, ``cover_days`` (free packs / rate; NaN where nothing sold). A pack that sold
        and is gone stays in the table with nothing.
    """
    table = finished_lots(lots, today)
    rate = sales_rate(lines, today, days)
    sold = rate.groupby(["flavour", "item"], as_index=False)[["packs", "packs_per_day"]].sum()
    sold = sold.rename(columns={"packs": "sold_packs"})
    free = table["packs"].where(table["held"] == "", 0)
    table = table.assign(
        free=free,
        held_packs=table["packs"] - free,
        _date=table["best_before"].where(table["best_before"] != "", "9999"),
    )
    stock = table.groupby(["flavour", "item"], as_index=False).agg(
        packs=("free", "sum"), held_packs=("held_packs", "sum"), mass_mg=("mass_mg", "sum"), lots=("lot", "size"),
        oldest_days=("age_days", "max"), next_best_before=("_date", "min"),
    )  # fmt: skip
    stock = stock.merge(sold, how="outer", on=["flavour", "item"], sort=True)
    whole = ["packs", "held_packs", "mass_mg", "lots", "oldest_days", "sold_packs"]
    stock[whole] = stock[whole].astype("float64").fillna(0).astype("int64")
    stock["packs_per_day"] = stock["packs_per_day"].astype("float64").fillna(0.0)
    stock["next_best_before"] = (
        stock["next_best_before"].astype(object).where(stock["next_best_before"].notna(), "").replace("9999", "")
    )
    stock["cover_days"] = ratio(stock["packs"], stock["packs_per_day"].clip(lower=0))
    return stock[(stock["packs"] + stock["held_packs"] + stock["sold_packs"]) != 0].reset_index(drop=True)


def cover_by_flavour(
    lots: pd.DataFrame, lines: pd.DataFrame, today: str, days: int = DAYS, seasonal: Collection[str] = ()
) -> pd.DataFrame:
    """Free packs and packs sold a day of every flavour that has either, quickly: ``flavour``, ``packs``, ``packs_per_day``.

    A seasonal flavour that nobody bought in the last seven days is over for the year and left out.
    """
    first, last = rate_window(today, days)
    lately, _ = rate_window(today, 7)
    alive: set[str] = set()
    packs: dict[str, int] = {}
    sold: dict[str, int] = {}
    for flavour, kind, count, held in zip(lots["flavour"], lots["kind"], lots["packs"], lots["held"], strict=True):
        if kind == "packs" and not held:
            packs[flavour] = packs.get(flavour, 0) + int(count)
    for flavour, step, day, count in zip(lines["flavour"], lines["step"], lines["day"], lines["packs"], strict=True):
        if step in ("sell", "ship", "return") and first <= day <= last:
            sold[flavour] = sold.get(flavour, 0) - int(count)
            if day >= lately:
                alive.add(flavour)
    wanted = sorted(f for f in {*packs, *sold} if f not in seasonal or f in alive)
    rows = [(f, packs.get(f, 0), sold.get(f, 0) / days) for f in wanted]
    return pd.DataFrame(rows, columns=["flavour", "packs", "packs_per_day"])


def channel_rates(lines: pd.DataFrame, today: str, days: int = DAYS) -> pd.DataFrame:
    """Packs a day by flavour, pack and channel: ``flavour``, ``item``, one float column a channel (``<channel>_per_day``)."""
    rate = sales_rate(lines, today, days)
    if rate.empty:
        return pd.DataFrame({"flavour": pd.Series(dtype=object), "item": pd.Series(dtype=object)})
    wide = rate.pivot_table(
        index=["flavour", "item"], columns="channel", values="packs_per_day", aggfunc="sum", fill_value=0.0
    )
    wide.columns = [f"{c or 'other'}_per_day" for c in wide.columns]
    return wide.reset_index()


def materials(
    lots: pd.DataFrame, lines: pd.DataFrame, today: str, days: int = DAYS, book: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Raw materials and re-boil with their cover.

    Args:
        lots: as `finished_lots`, of kind ``material`` and ``reboil`` (re-boil is listed by flavour).
        lines: lines or balances of ``lot.material`` (and ``lot.reboil``) with ``day``, ``step``, ``kind``, ``item``, ``flavour``, ``mass_mg``.
        book: optional ``item``, ``lead_days``.

    Returns:
        ``item``, ``kind``, ``mass_mg`` (free), ``held_mg``, ``lots``, ``next_best_before``, ``used_mg`` (in the window), ``mg_per_day``,
        ``cover_days``, ``lead_days``, ``order_now`` (cover not longer than the supplier's lead time).
    """
    first, last = rate_window(today, days)
    names = ["item", "kind", "mass_mg", "held_mg", "lots", "next_best_before"]
    rows = lots[lots["kind"].isin(["material", "reboil"]) & (lots["mass_mg"] > 0)] if not lots.empty else lots
    if rows.empty:
        stock = _empty(names, ["mass_mg", "held_mg", "lots"])
    else:
        rows = rows.assign(
            item=rows["item"].where(rows["kind"] == "material", rows["flavour"]),
            free=rows["mass_mg"].where(rows["held"] == "", 0),
            _date=rows["best_before"].where(rows["best_before"] != "", "9999"),
        )
        rows = rows.assign(held_mg=rows["mass_mg"] - rows["free"])
        stock = rows.groupby(["item", "kind"], as_index=False).agg(
            mass_mg=("free", "sum"), held_mg=("held_mg", "sum"), lots=("lot", "size"), next_best_before=("_date", "min")
        )
    used = (
        lines[(lines["step"] == "cook") & (lines["mass_mg"] < 0) & lines["day"].between(first, last)]
        if not lines.empty
        else lines
    )
    if used.empty:
        use = _empty(["item", "kind", "used_mg"], ["used_mg"])
    else:
        used = used.assign(
            item=used["item"].where(used["kind"] == "lot.material", used["flavour"]),
            kind=used["kind"].str.removeprefix("lot."),
        )
        use = used.groupby(["item", "kind"], as_index=False).agg(used_mg=("mass_mg", "sum"))
        use["used_mg"] = -use["used_mg"]
    table = stock.merge(use, how="outer", on=["item", "kind"], sort=True)
    whole = ["mass_mg", "held_mg", "lots", "used_mg"]
    table[whole] = table[whole].astype("float64").fillna(0).astype("int64")
    table["next_best_before"] = (
        table["next_best_before"].astype(object).where(table["next_best_before"].notna(), "").replace("9999", "")
    )
    table["mg_per_day"] = table["used_mg"] / float(days)
    table["cover_days"] = ratio(table["mass_mg"], table["mg_per_day"])
    lead = pd.Series(0, index=table.index)
    if book is not None and not book.empty:
        lead = table["item"].map(book.set_index("item")["lead_days"]).fillna(0)
    table["lead_days"] = lead.astype("int64")
    table["order_now"] = (table["lead_days"] > 0) & (table["used_mg"] > 0) & (table["cover_days"] <= table["lead_days"])
    return table.sort_values(["kind", "item"], ignore_index=True)


def reorder_point(mean_a_day: float, lead_days: float, sigma_a_day: float, z: float = 1.645) -> float:
    """Stock at which to order: mean use x lead days + z sigma sqrt(lead days); z = 1.645 for 95 % of lead times without running out.

    Textbook formula for independent days (any text on inventory, such as Silver, Pyke and Peterson).
    """
    return mean_a_day * lead_days + z * sigma_a_day * math.sqrt(lead_days)


def _age(days: pd.Series, today: str) -> pd.Series:
    return (pd.Timestamp(today) - pd.to_datetime(days)).dt.days.astype("int64")


def _left(dates: pd.Series, today: str) -> pd.Series:
    when = pd.to_datetime(dates.where(dates != "", None))
    return (when - pd.Timestamp(today)).dt.days.astype("float64")


def _empty(names: list[str], whole: list[str]) -> pd.DataFrame:
    return pd.DataFrame({n: pd.Series(dtype="int64" if n in whole else object) for n in names})


__all__ = [
    "DAYS", "channel_rates", "cover_by_flavour", "finished_lots", "materials", "on_the_shelf", "rate_window", "reorder_point", "sales_rate",
]  # fmt: skip
