"""A plan as tables: what to make when, which weeks bind, what is short and why, each flavour's season, the next days."""

from __future__ import annotations

from typing import Any

import pandas as pd

from ledger.application.reports_types import Report, Table, columns
from ledger.application.season_beside import Beside
from ledger.application.season_plan import PlanMade, cut_back
from ledger.application.season_settings import assumptions_frame
from ledger.application.season_sides import figures_of, side_rows
from ledger.planning.day import HANDS
from ledger.quantities import duration_text

MG = 1000


def plan_report(made: PlanMade, old: Beside | None = None) -> Report:
    """The plan: words first, then lines, weeks, shortages, items and the next making days."""
    on, plan = made.asked.forecast.seen.on, made.plan
    kettles = any(line.kettle for line in plan.lines)
    tables = {
        "lines": Table("What to make", lines_frame(made), columns(
            ("week", "week"), ("item", "what"), *((("kettle", "in the"),) if kettles else ()), ("batches", "batches", "count"), ("mass_mg", "gives", "mass"),
            ("frozen", "fixed", "yes"))),
        "weeks": Table("The weeks", weeks_frame(made), columns(
            ("week", "week"), ("days", "days", "count"), ("hands_used_s", "hands used", "time"), ("hands_there_s", "hands there", "time"),
            ("share", "used", "share"), ("days_carry_s", "days carry", "time"), ("busiest", "fullest station"), ("station_share", "used", "share"),
            ("hour_worth", "an hour more of hands saves", "money"), ("station_worth", "an hour more of the station saves", "money"), ("overtime_s", "overtime", "time"),
            ("shifts", "helper shifts", "count"), ("days_fit", "days fit", "yes"))),
        "short": Table("What will be missing, and why", short_frame(made), columns(
            ("item", "what"), ("week", "week"), ("mass_mg", "missing", "mass"), ("worth", "margin missed", "money"), ("why", "why"))),
        "items": Table("Each flavour over these weeks", items_frame(made), columns(
            ("item", "what"), ("opening_mg", "in the house", "mass"), ("demand_mg", "demand", "mass"), ("made_mg", "made", "mass"),
            ("sold_mg", "sold", "mass"), ("short_mg", "missing", "mass"), ("left_mg", "left", "mass"))),
    }  # fmt: skip
    tables["assumed"] = Table("What the plan assumes", assumptions_frame(made.asked.settings, on.book), columns(
        ("what", "what"), ("figure", "figure"), ("origin", "where from")),
        note="Change any of them in the book, under planning; the next plan takes it up.")  # fmt: skip
    days = days_frame(made)
    if len(days):
        tables["days"] = Table("The next making days", days, columns(
            ("week", "week"), ("day", "day", "count"), ("start", "from"), ("end", "to"), ("batch", "what"), ("step", "step"), ("station", "at"),
            ("people", "hands", "count")))  # fmt: skip
    if old is not None:
        rows = pd.DataFrame(
            side_rows(old.old, figures_of(old.old, old.new)), columns=["figure", "in_force", "new", "more"]
        )
        tables["beside"] = Table(f"{old.plan}, in force, beside this plan, both through {old.through}", rows, columns(
            ("figure", "figure"), ("in_force", "in force"), ("new", "new"), ("more", "more or less")))  # fmt: skip
    cost = money(made, plan.cost_milli)
    bound = (
        ", how near it is to the best possible is not known"
        if plan.bound_milli is None
        else f", no plan can cost less than {money(made, plan.bound_milli)} (gap {(plan.gap_ppm or 0) / 1e4:.2f} %)"
    )
    stopped = " It was stopped; this is the best so far." if plan.stopped else ""
    sentence = f"The plan costs {cost}{bound}; {plan.changed if plan.changed == 'changed by hand' else f'found in {made.seconds:.1f} s'}. The best simple rule ({plan.rule}) would cost {money(made, plan.rule_milli)}.{stopped}"
    first, last = made.problem.weeks[0].label, made.problem.weeks[-1].label
    return Report(
        "season-plan",
        f"Season plan {first} to {last}",
        on.as_of,
        sentence,
        tables,
        tuple(w.text for w in made.words),
        on.shop,
    )


def money(made: PlanMade, milli: int) -> str:
    """Thousandths of a minor unit as whole major units."""
    return f"{made.problem.currency} {round(milli / 1000 / made.problem.minor_per_major):,}".replace(",", " ")


def lines_frame(made: PlanMade) -> pd.DataFrame:
    """``week``, ``key``, ``item``, ``kettle`` (empty where the plan does not tell them apart), ``batches``, ``mass_mg``, ``frozen``."""
    rows = [(x.label, x.item, made.name(x.item), x.kettle, x.batches, x.grams * MG, x.frozen) for x in made.plan.lines]
    return pd.DataFrame(rows, columns=["week", "key", "item", "kettle", "batches", "mass_mg", "frozen"])


def weeks_frame(made: PlanMade) -> pd.DataFrame:
    """Hands and the fullest station of each week. ``days_carry_s``: what the days can carry of the hands' time, where that is the limit."""
    cut = cut_back(made.asked, made.problem)
    unfit = {d.week for d in made.days if not d.fits}
    rows = []
    for w in made.plan.weeks:
        full = [(used / there, name) for name, used, there in w.stations if there and name != HANDS]
        share, name = max(full, default=(0.0, ""))
        of_station = dict(w.hour_of_stations).get(name, 0)
        there = max(w.hands_there, made.asked.problem.weeks[w.week].hands_minutes)
        carry = w.hands_there if w.week in cut else None
        rows.append((w.label, w.days, w.hands_used * 60, there * 60, w.hands_used / there if there else 0.0, carry and carry * 60,
                     name if share > 0 else "", share, w.hour_of_hands // 1000, of_station // 1000, w.overtime_minutes * 60, w.helper_shifts, w.week not in unfit))  # fmt: skip
    names = [
        "week",
        "days",
        "hands_used_s",
        "hands_there_s",
        "share",
        "days_carry_s",
        "busiest",
        "station_share",
        "hour_worth",
        "station_worth",
        "overtime_s",
        "shifts",
        "days_fit",
    ]
    return pd.DataFrame(rows, columns=names)


def short_frame(made: PlanMade) -> pd.DataFrame:
    """Shortages with their reasons week by week; expected ones for uncertain demand."""
    labels = [w.label for w in made.problem.weeks]
    rows: list[tuple[Any, ...]] = []
    for s in made.plan.shortages:
        why = "; ".join(
            f"{labels[r.first]}{'' if r.first == r.last else ' to ' + labels[r.last]} {r.words}" for r in s.reasons
        )
        rows.append((made.name(s.item), s.label, s.grams * MG, s.worth, why))
    return pd.DataFrame(rows, columns=["item", "week", "mass_mg", "worth", "why"])


def items_frame(made: PlanMade) -> pd.DataFrame:
    """Sums of each item over the weeks planned, in mg."""
    rows = []
    for row in made.plan.items:
        item = made.problem.item(row.item)
        rows.append(
            (
                item.name,
                item.opening_g * MG,
                sum(row.demand) * MG,
                sum(row.made) * MG,
                sum(row.sold) * MG,
                sum(row.short) * MG,
                row.left * MG,
            )
        )
    return pd.DataFrame(rows, columns=["item", "opening_mg", "demand_mg", "made_mg", "sold_mg", "short_mg", "left_mg"])


def stock_table(made: PlanMade) -> Table:
    """What is in the house of each flavour against what should sell of it, and through which week it lasts with what is planned, the shortest first."""
    rows = []
    for row in made.plan.items:
        item = made.problem.item(row.item)
        short = next((t for t, grams in enumerate(row.short) if grams >= item.batch_g // 100 + 1), None)
        lasts = (
            "all these weeks" if short is None else made.problem.weeks[short - 1].label if short else "not this week"
        )
        rows.append(
            (
                short if short is not None else len(row.demand),
                item.name,
                item.opening_g * MG,
                sum(row.demand) * MG,
                lasts,
            )
        )
    rows.sort()
    frame = pd.DataFrame([row[1:] for row in rows], columns=["item", "opening_mg", "demand_mg", "lasts"])
    return Table("In the house against what should sell", frame, columns(
        ("item", "what"), ("opening_mg", "in the house", "mass"), ("demand_mg", "demand", "mass"), ("lasts", "lasts through")))  # fmt: skip


def days_frame(made: PlanMade) -> pd.DataFrame:
    """Steps of the next making days in order, with clock times."""
    opens = made.problem.opens
    rows = []
    for week in made.days:
        for number, chart in enumerate(week.charts, start=1):
            for bar in sorted(chart.bars, key=lambda b: (b.start, b.batch)):
                if bar.batch:
                    rows.append(
                        (
                            week.label,
                            number,
                            clock(opens + bar.start),
                            clock(opens + bar.end),
                            bar.batch,
                            bar.step,
                            bar.station,
                            len(bar.people),
                        )
                    )
    return pd.DataFrame(rows, columns=["week", "day", "start", "end", "batch", "step", "station", "people"])


def clock(minutes: int) -> str:
    """Minutes after midnight as `14:05`."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


__all__ = [
    "clock",
    "days_frame",
    "duration_text",
    "items_frame",
    "lines_frame",
    "money",
    "plan_report",
    "short_frame",
    "stock_table",
    "weeks_frame",
]
