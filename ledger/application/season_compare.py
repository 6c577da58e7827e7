"""Planned against made against sold: the difference of an adopted plan split exactly into what the plan knew and what came differently."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from ledger.analytics.compare import shift
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Report, Table, basis, columns, read_week
from ledger.application.season_adopt import adopted, line_states, read_back
from ledger.application.season_batches import Batches, Size
from ledger.application.season_history import SeasonHistory, season_history
from ledger.domain.postings import iso_week
from ledger.errors import BadInput
from ledger.planning import Plan, Problem
from ledger.planning.deviation import Expected, Happened, Split, split
from ledger.planning.said import mass_said

MG = 1000
SALES = ("sell", "ship", "return")
LEAST_SHARE = 0.15
COLUMNS = columns(
    ("item", "what"), ("planned_batches", "batches", "count"), ("opened", "opened", "count"), ("early", "early", "count"),
    ("beside", "beside", "count"), ("planned_mg", "planned", "mass"), ("made_mg", "made", "mass"), ("expected_mg", "demand", "mass"),
    ("sold_mg", "sold", "mass"), ("missed_mg", "missed", "mass"), ("net_mg", "left or short", "mass"),
)  # fmt: skip
SPLIT = columns(
    ("item", "what"), ("known_mg", "known by plan", "mass"), ("forecast_mg", "forecast", "mass"), ("batches_mg", "batches", "mass"),
    ("yield_mg", "yield", "mass"), ("count_mg", "count", "mass"), ("net_mg", "left or short", "mass"),
)  # fmt: skip
MEANT = (
    "Batches planned, those opened for it in or after their week, early ones opened before it, and those made beside the plan. Planned and demand are "
    "the plan's; missed is an estimate, from what sold in the rest of the week."
)
WORTH_SAYING_G = 3_000
MOST_SAID = 5


def looked_back(ledger: Ledger, least_weeks: int = 1) -> str:
    """The newest plan of which that many full weeks are over, else the oldest one with a full week over; empty where there is none."""
    last = shift(iso_week(ledger.today()), -1)
    begun = [(p.plan, iso_week(p.day)) for _, p in ledger.queries.papers("plan") if iso_week(p.day) <= last]
    long = [plan for plan, first in begun if first <= shift(last, 1 - least_weeks)]
    return long[-1] if long else begun[0][0] if begun else ""


def compare_report(ledger: Ledger, plan: str = "", through: str = "") -> Report:
    """An adopted plan (unless named, the newest of which a week is over) against what happened, through a week (the last full one unless given)."""
    paper = adopted(ledger, plan or ("" if through else looked_back(ledger)))
    made_for, problem = read_back(paper)
    on = basis(ledger)
    labels = [week.label for week in problem.weeks]
    last = read_week(through) if through else shift(iso_week(on.today), -1)
    running = last >= iso_week(on.today)
    if last < labels[0]:
        raise BadInput(
            f"Plan {paper.plan} begins in {labels[0]} and no week of it is over yet; compare through the running week with --through {labels[0]}.",
            value=last, limit=labels[0],
        )  # fmt: skip
    weeks = sum(label <= last for label in labels)
    until = labels[min(weeks, len(labels)) - 1]
    found = splits(ledger, paper, made_for, problem, weeks, until)
    frame = pd.DataFrame([as_row(c) for c in found])
    sums = {c.name: int(frame[c.name].sum()) for c in (*COLUMNS, *SPLIT) if c.kind in ("mass", "count")}
    notes = compare_words(found, on.site.units)
    if running:
        notes = ("The running week is not over: what it still makes and sells is not in these figures.", *notes)
    said = {name: mass_said(abs(value) // 1000, on.site.units) for name, value in sums.items() if name.endswith("_mg")}
    less = "less" if sums["forecast_mg"] >= 0 else "more"
    early = f"{sums['early']} opened before their week, " if sums["early"] else ""
    text = (
        f"Plan {paper.plan}, {weeks} {'week' if weeks == 1 else 'weeks'} through {until}: {sums['opened']} of {sums['planned_batches']} planned batches opened, "
        f"{early}{sums['beside']} made beside the plan; {said['made_mg']} made of "
        f"{said['planned_mg']} planned, {said['sold_mg']} sold of {said['expected_mg']} expected ({said['forecast_mg']} {less} demand "
        f"than forecast); {said['net_mg']} {'left' if sums['net_mg'] >= 0 else 'short'}."
    )
    total: dict[str, Any] = {**sums, "item": "all"}
    note = "Left or short is the sum of known by plan, forecast, batches, yield and count, to the gram."
    return Report(
        "season-compare",
        f"Planned, made and sold: {paper.plan}",
        on.as_of,
        text,
        {
            "items": Table("Planned against made against sold", frame, COLUMNS, total, MEANT),
            "split": Table("Where the difference comes from", frame, SPLIT, total, note),
        },
        notes,
        on.shop,
    )


@dataclass(frozen=True, slots=True)
class Compared:
    """One item of a plan against what happened: the split, what was expected, what happened, grams estimated as missed, and its batches."""

    name: str
    split: Split
    expected: Expected
    happened: Happened
    missed_g: int
    opened: int
    early: int
    beside: int


def compare_words(found: Sequence[Compared], units: str = "metric", most: int = MOST_SAID) -> tuple[str, ...]:
    """The flavours that came out furthest from the plan, each with what made the difference, largest first; sums that say less are left out."""
    far = sorted(found, key=lambda c: (-abs(c.split.net_g - c.split.known_by_plan_g), c.name))
    return tuple(_said(c, units) for c in far[:most] if abs(c.split.net_g - c.split.known_by_plan_g) >= WORTH_SAYING_G)


def _said(c: Compared, units: str) -> str:
    def mass(grams: int) -> str:
        return mass_said(abs(grams), units)

    def left(grams: int) -> str:
        return "nothing left" if abs(grams) < 50 else f"{mass(grams)} {'left' if grams >= 0 else 'short'}"

    s, more = c.split, c.happened.batches - c.expected.batches
    batches = f"{abs(more)} {'batch' if abs(more) == 1 else 'batches'} {'more' if more > 0 else 'fewer'} than planned"
    parts = [
        (s.made_g, f"{batches} ({mass(s.made_g)})"),
        (s.yield_g, f"{mass(s.yield_g)} {'more' if s.yield_g > 0 else 'less'} out of the batches made"),
        (s.forecast_g, f"{mass(s.forecast_g)} {'less' if s.forecast_g > 0 else 'more'} wanted than forecast"),
        (
            s.count_g,
            f"{mass(s.count_g)} {'more' if s.count_g > 0 else 'less'} by count, samples and what was thrown away",
        ),
    ]
    told = [text for grams, text in sorted(parts, key=lambda part: -abs(part[0])) if abs(grams) >= WORTH_SAYING_G // 3]
    return f"{c.name}: {left(s.net_g)}, where the plan knew of {left(s.known_by_plan_g)}: {', '.join(told)}."


def splits(ledger: Ledger, paper: Any, plan: Plan, problem: Problem, weeks: int, last: str) -> list[Compared]:
    """Each item of a plan against what happened. A batch belongs to the plan when it was opened from one of its lines; what was in work when the
    plan was made counts as stock, with what came of it."""
    things = {line["item"]: (line["flavour"], line["design"]) for line in paper.lines}
    for item in problem.items:
        things.setdefault(item.key, (item.flavour or item.key, item.key.partition(".")[2]))
    keys = ["flavour", "design", "step", "kind", "batch"]
    whole = ledger.queries.balances([*keys, "week"], kinds=["lot.packs"])
    then = _by_flavour(ledger.queries.balances(keys, known=paper.as_of, kinds=["lot.packs"]))
    now, ever = _by_flavour(whole[whole["week"] <= last]), _by_flavour(whole)
    seen = season_history(ledger)
    labels = [w.label for w in problem.weeks][:weeks]
    states = line_states(ledger, paper)
    opened = [s for s in states if s["batch"] and s["label"] <= last]
    due = {s["batch"] for s in opened}
    from_plan = {s["batch"] for s in states if s["batch"]}
    known = ledger.queries.batches(most=5000)
    in_work = set(known[known["position"] <= paper.as_of]["batch"])
    still = _still_in_work(ledger, problem, things, in_work)
    found = []
    for item in problem.items:
        flavour, design = things[item.key]
        after, before = _flows(now, flavour, design), _flows(then, flavour, design)
        row = plan.of(item.key)
        missed = _missed(seen, flavour, labels, row.demand)
        sold = before["sold"] - after["sold"]
        lines = [x for x in plan.lines if x.item == item.key and x.week < weeks]
        batches, grams = sum(x.batches for x in lines), sum(x.grams for x in lines)
        usual = round(grams / batches) if batches else item.batch_g
        fresh = set(after["batches"]) - set(before["batches"])
        begun = sum(after["batches"][b] for b in fresh & in_work)
        packed_later = {
            b: g
            for b, g in _flows(ever, flavour, design)["batches"].items()
            if b in in_work and b not in after["batches"]
        }
        begun_later = sum(packed_later.values()) + sum(
            g for b, f, d, g in still if f == flavour and design in ("", d) and b not in packed_later
        )
        mine = fresh - in_work
        expected = Expected(
            opening_g=item.opening_g, batches=batches, batch_g=usual, demand_g=sum(row.demand[:weeks]), planned_g=grams
        )
        happened = Happened(
            opening_g=before["stock"] + begun + begun_later, corrections_g=after["other"] - before["other"], batches=len(mine),
            made_g=after["made"] - before["made"] - begun, demand_g=sold + missed,
        )  # fmt: skip
        found.append(Compared(item.name, split(expected, happened), expected, happened, missed,
                              sum(s["item"] == item.key for s in opened), len(mine & from_plan - due), len(mine - from_plan)))  # fmt: skip
    return found


def _still_in_work(
    ledger: Ledger, problem: Problem, things: Mapping[str, tuple[str, str]], in_work: Collection[str]
) -> list[tuple[str, str, str, int]]:
    """(batch, flavour, design, grams to come) of batches that were in work when the plan was made and still are."""
    sizes = {things[item.key]: Size(item.batch_g, item.load_g, (), 0) for item in problem.items}
    on = basis(ledger)
    found = Batches(on).in_work(on.queries.lots(), sizes, date.fromisoformat(on.today))
    return [(w.batch, w.flavour, w.design, w.grams) for w in found if w.batch in in_work]


def _by_flavour(frame: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The rows of each flavour; of any other flavour there are none."""
    return defaultdict(lambda: frame.iloc[:0], {str(flavour): part for flavour, part in frame.groupby("flavour")})


def _flows(parts: Mapping[str, pd.DataFrame], flavour: str, design: str) -> dict[str, Any]:
    """Grams packed, sold (below 0: out of the lots), of every other kind, in stock; and which batches were packed."""
    mine = parts[flavour]
    if design:
        mine = mine[mine["design"] == design]
    packed = mine[mine["step"] == "pack"]
    grams = {name: int(part) for name, part in mine.groupby("step")["mass_mg"].sum().items()}
    made, sold = grams.get("pack", 0) // MG, sum(grams.get(s, 0) for s in SALES) // MG
    stock = sum(grams.values()) // MG
    batches = packed.groupby("batch")["mass_mg"].sum()
    return {
        "made": made,
        "sold": sold,
        "stock": stock,
        "other": stock - made - sold,
        "batches": {str(b): int(mg) // MG for b, mg in batches.items() if mg > 0 and b},
    }


def _missed(seen: SeasonHistory, flavour: str, labels: list[str], demand: tuple[int, ...]) -> int:
    """Grams estimated as missed while the flavour was gone: what sold, grown to a full week; the plan's demand where it was nearly all gone."""
    exposure = seen.history.exposure
    if exposure is None or exposure.empty:
        return 0
    sales, grams = seen.history.sales, seen.grams.get(flavour, 0.0)
    total = 0.0
    for row in exposure[(exposure["flavour"] == flavour) & exposure["week"].isin(labels)].to_dict("records"):
        mine = (sales["flavour"] == flavour) & (sales["week"] == row["week"])
        here, week = (
            float(sales.loc[mine & (sales["channel"] == row["channel"]), "units"].sum()),
            float(sales.loc[mine, "units"].sum()),
        )
        share = float(row["share"])
        if share >= LEAST_SHARE:
            total += here * grams * (1 - share) / share
        else:
            total += max(0.0, demand[labels.index(row["week"])] - week * grams) * (1 - share)
    return round(total)


def as_row(c: Compared) -> dict[str, Any]:
    """One item of the table, in mg."""
    grams = {
        "planned_mg": c.expected.made_g, "made_mg": c.happened.made_g, "expected_mg": c.expected.demand_g,
        "sold_mg": c.happened.demand_g - c.missed_g, "missed_mg": c.missed_g, "known_mg": c.split.known_by_plan_g,
        "forecast_mg": c.split.forecast_g, "batches_mg": c.split.made_g, "yield_mg": c.split.yield_g, "count_mg": c.split.count_g,
        "net_mg": c.split.net_g,
    }  # fmt: skip
    counts = {
        "item": c.name,
        "planned_batches": c.expected.batches,
        "opened": c.opened,
        "early": c.early,
        "beside": c.beside,
    }
    return counts | {key: value * MG for key, value in grams.items()}


__all__ = ["COLUMNS", "SPLIT", "Compared", "compare_report", "compare_words", "looked_back", "splits"]
