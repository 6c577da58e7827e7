"""Losses over weeks, and the control chart of a flavour's yield."""

from __future__ import annotations

import math

import pandas as pd

from ledger.analytics import control, losses, words, yields
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Report, Table, as_row, basis, columns, read_weeks
from ledger.domain.books import entries as e

LOSS_COLUMNS = columns(
    ("rank", "rank", "count"), ("step", "step"), ("cause", "cause"), ("mass_mg", "mass", "mass"), ("pieces", "pieces", "count"),
    ("loss_ratio", "of all lost", "share"), ("cooked_ratio", "of cooked", "share"),
)  # fmt: skip
WATERFALL_COLUMNS = columns(
    ("what", "what"), ("change_mg", "mass", "mass"), ("left_mg", "left", "mass"), ("cooked_ratio", "of cooked", "share")
)
STEP_COLUMNS = columns(
    ("step", "step"), ("in_mg", "in", "mass"), ("out_mg", "sound out", "mass"), ("evaporated_mg", "boiled off", "mass"),
    ("reboil_mg", "re-boil", "mass"), ("scrap_mg", "scrap", "mass"), ("unexplained_mg", "unexplained", "small"),
    ("first_pass_ratio", "first pass", "share"), ("seconds", "hands", "time"),
)  # fmt: skip
TREND_COLUMNS = columns(
    ("week", "week"), ("cooked_mg", "cooked", "mass"), ("reboil_mg", "re-boil", "mass"), ("scrap_mg", "scrap", "mass"),
    ("unexplained_mg", "unexplained", "mass"), ("rework_ratio", "re-boil", "share"), ("scrap_ratio", "scrap", "share"),
    ("unexplained_ratio", "unexplained", "share"),
)  # fmt: skip
POINT_COLUMNS = columns(
    ("week", "week"), ("value", "process yield", "share"), ("moving_range", "moved by", "move"), ("center", "middle", "share"),
    ("lower", "lower limit", "share"), ("upper", "upper limit", "share"), ("unusual", "unusual", "yes"), ("rules", "rule"),
)  # fmt: skip
UNUSUAL_COLUMNS = columns(
    ("week", "week"), ("value", "process yield", "share"), ("side", "side"), ("rule", "rule"), ("why", "why")
)


def losses_report(
    ledger: Ledger, first_week: str, last_week: str = "", known: int | str | None = None, flavour: str = ""
) -> Report:
    """Where the sugar went in a range of ISO weeks, by step and cause, by flavour, and week by week.

    Raises:
        BadInput: a bad week. UnknownThing: a flavour that is not in the book.
    """
    on = basis(ledger, known)
    first, last = read_weeks(first_week, last_week or first_week)
    frame = on.queries.weekly(first, last, known=on.known)
    title = f"Losses {first}" + (f" to {last}" if last != first else "")
    if flavour:
        title += f", {on.book.get(e.Flavour, flavour).name}"
        frame = frame[frame["flavour"] == flavour]
    fall = losses.waterfall(frame)
    ranked = losses.losses(frame)
    if frame.empty or (ranked.empty and not fall["change_mg"].any()):
        text = f"Nothing was made or lost in {first} to {last}. Record a batch, or ask for other weeks."
        return Report("losses", title, on.as_of, text, {}, (), on.shop)
    by_flavour = losses.losses(frame, ("flavour",))
    trend = yields.yields(frame, ("week",))
    total = yields.shop_row(trend).iloc[0]
    tables = {
        "waterfall": Table(
            "Where the sugar went", fall, WATERFALL_COLUMNS, note="Water boiled off is no loss; re-boil comes back."
        ),
        "losses": Table("By step and cause", ranked, LOSS_COLUMNS),
        "steps": Table("By step", yields.first_pass(frame), STEP_COLUMNS),
        "flavours": Table("By flavour", by_flavour, (*columns(("flavour", "flavour", "flavour")), *LOSS_COLUMNS)),
        "weeks": Table("Week by week", trend, TREND_COLUMNS, as_row(total, week="all")),
    }
    shares = [] if math.isnan(total["scrap_ratio"]) else [
        f"Of the cooked mass {words.percent(total['scrap_ratio'])} was scrap, {words.percent(total['rework_ratio'])} went back to re-boil "
        f"and {words.percent(total['unexplained_ratio'])} is unexplained."
    ]  # fmt: skip
    text = words.sentence([*shares, words.worst_loss(losses.worst(ranked), on.shop.units)]) or "Nothing was lost."
    return Report("losses", title, on.as_of, text, tables, (), on.shop)


def control_report(
    ledger: Ledger, flavour: str, first_week: str, last_week: str = "", known: int | str | None = None
) -> Report:
    """Individuals and moving-range chart of a flavour's weekly process yield, with its unusual weeks named.

    Only weeks in which the flavour was cooked and cut make a point.

    Raises:
        BadInput: a bad week. UnknownThing: a flavour that is not in the book.
    """
    on = basis(ledger, known)
    first, last = read_weeks(first_week, last_week or first_week)
    name = on.book.get(e.Flavour, flavour).name
    frame = on.queries.weekly(
        first, last, known=on.known, flavour=flavour, steps=control.STEPS, by=("week", "step", "kind")
    )
    table = yields.yields(frame, ("week",))
    table = table[(table["theoretical_mg"] > 0) & (table["good_mg"] > 0)]
    points = control.chart(table, "process_yield_ratio")
    lines = control.limits(points["value"])
    found = control.unusual(points)
    limits_row = pd.DataFrame(
        [(lines.center, lines.lower, lines.upper, lines.moving_range, lines.range_upper, lines.points)],
        columns=["center", "lower", "upper", "moving_range", "range_upper", "points"],
    )
    tables = {
        "unusual": Table("Unusual weeks", found, UNUSUAL_COLUMNS),
        "limits": Table("Middle and limits", limits_row, columns(
            ("center", "middle", "share"), ("lower", "lower limit", "share"), ("upper", "upper limit", "share"),
            ("moving_range", "mean move", "move"), ("range_upper", "largest usual move", "move"), ("points", "weeks", "count"))),
        "points": Table("Week by week", points, POINT_COLUMNS),
    }  # fmt: skip
    notes = (
        (f"Only {lines.points} weeks: the limits are provisional until there are {control.ENOUGH}.",)
        if lines.provisional
        else ()
    )
    return Report(
        "control",
        f"Yield of {name}, {first} to {last}",
        on.as_of,
        _chart_words(name, lines, found),
        tables,
        notes,
        on.shop,
    )


def _chart_words(name: str, lines: control.Limits, found: pd.DataFrame) -> str:
    if lines.points == 0:
        return f"{name} was not made in these weeks; ask for others, or record a batch first."
    if lines.points == 1:
        return f"{name} was made in one week only, at {words.percent(lines.center)}; two are needed for a chart."
    usual = f"{name} usually yields {words.percent(max(lines.lower, 0))} to {words.percent(min(lines.upper, max(lines.center, 1)))}, {words.percent(lines.center)} in the middle."
    if found.empty:
        return f"{usual} No week stands out."
    first = found.drop_duplicates("week")
    listed = ", ".join(
        f"{r['week']} ({words.percent(r['value'])}: {r['why']})" for r in first.tail(4).to_dict("records")
    )
    more = f" and {len(first) - 4} earlier" if len(first) > 4 else ""
    return f"{usual} Unusual: {listed}{more}."


__all__ = ["LOSS_COLUMNS", "STEP_COLUMNS", "WATERFALL_COLUMNS", "control_report", "losses_report"]
