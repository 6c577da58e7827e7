"""A plan that was adopted: kept as an entry, read back, checked again without solving, its lines opened as batches."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import msgspec

from ledger.analytics.compare import monday
from ledger.application.ledger import Ledger, Outcome
from ledger.application.season_plan import PlanMade
from ledger.domain.batch.commands import OpenBatch
from ledger.domain.books import entries as e
from ledger.domain.postings import iso_week
from ledger.domain.season.commands import AdoptPlan
from ledger.errors import BadInput, Refused, UnknownThing
from ledger.planning import Plan, Problem, check_plan
from ledger.planning.season import Check


def adopt(ledger: Ledger, made: PlanMade, actor: str = "") -> tuple[str, Outcome]:
    """Make a plan the plan: its lines, settings, cost and bound become an entry. The near weeks are frozen for the next plan.

    Raises Refused when its own checker does not agree with it.
    """
    command = command_of(ledger, made)
    return command.plan, ledger.do(command, actor)


def command_of(ledger: Ledger, made: PlanMade) -> AdoptPlan:
    """The command that adopts a plan, named after its first week. Raises Refused when its own checker does not agree with it."""
    check = check_plan(made.plan, made.problem)
    if not check.agrees:
        raise Refused(
            f"The plan does not agree with its own lines ({check.wrong[0]}); make it again.", wrong=list(check.wrong)
        )
    on = made.asked.forecast.seen.on
    labels = [week.label for week in made.problem.weeks]
    taken = {p.plan for _, p in ledger.queries.papers("plan")}
    base = f"P{labels[0].replace('-', '')}"
    name = next(n for n in (f"{base}-{i}" for i in range(1, 10_000)) if n not in taken)
    frozen = labels[min(len(labels), max(1, made.asked.settings.frozen_weeks)) - 1]
    in_force = [p for _, p in ledger.queries.papers("plan")]
    return AdoptPlan(
        day=ledger.today(), plan=name, as_of=on.known, frozen_until=frozen, cost=made.plan.cost_milli // 1000,
        bound=min(made.plan.cost_milli, made.plan.bound_milli if made.plan.bound_milli is not None else 0) // 1000, method=made.plan.method,
        lines=tuple(stored_lines(made, name)), supersedes=in_force[-1].plan if in_force else "",
        settings={
            "settings": made.asked.settings.as_data(), "origins": dict(made.asked.settings.origins), "words": [w.text for w in made.words],
            "hands": [week.hands_minutes for week in made.asked.problem.weeks],
            "problem": msgspec.json.encode(made.problem).decode(), "plan": msgspec.json.encode(replace(made.plan, milliseconds=None).to_dict()).decode(),
        },
    )  # fmt: skip


def stored_lines(made: PlanMade, plan: str) -> list[dict[str, Any]]:
    """The plan's lines as whole numbers and text, each batch with the name its batch will carry (``plan_lines``) and its day (``dates``: the
    day of the calendar, empty where none was found; ``days``: which making day of its week, 0 where none was found)."""
    by_day: dict[tuple[str, int], list[int]] = {}
    for week in made.days:
        for number, keys in enumerate(week.days, start=1):
            for key in keys:
                by_day.setdefault((key, week.week), []).append(number)
    lines: list[dict[str, Any]] = []
    named: dict[tuple[str, int], int] = {}
    for line in made.plan.lines:
        flavour, design = made.asked.made_of[line.item]
        waiting = by_day.get((line.item, line.week), [])
        days = [waiting.pop(0) if waiting else 0 for _ in range(line.batches)]
        first = named.get((line.item, line.week), 0) + 1
        named[(line.item, line.week)] = first + line.batches - 1
        making = made.asked.making_days(line.week)
        lines.append({
            "item": line.item, "flavour": flavour, "design": design, "label": line.label, "week": line.week, "batches": line.batches,
            "grams": line.grams, "frozen": int(line.frozen), "kettle": line.kettle, "days": days,
            "dates": [making[n - 1].isoformat() if 0 < n <= len(making) else "" for n in days],
            "plan_lines": [f"{plan}/{line.item}/{line.label}/{n}" for n in range(first, first + line.batches)],
        })  # fmt: skip
    return lines


def adopted(ledger: Ledger, plan: str = "") -> Any:
    """An adopted plan as it was kept: the newest one unless named. UnknownThing when there is none."""
    papers = [p for _, p in ledger.queries.papers("plan") if not plan or p.plan == plan]
    if not papers:
        what = f"There is no plan `{plan}`." if plan else "No plan is adopted yet."
        raise UnknownThing(
            f"{what} Adopt one with `slabbook season plan --adopt` or on the Season page.", kind="plan", id=plan
        )
    return papers[-1]


def read_back(paper: Any) -> tuple[Plan, Problem]:
    """The plan and the problem an entry holds."""
    try:
        problem = msgspec.json.decode(paper.settings["problem"], type=Problem)
        return Plan.from_dict(msgspec.json.decode(paper.settings["plan"])), problem
    except (KeyError, TypeError, ValueError, msgspec.MsgspecError) as error:
        raise BadInput(
            f"Plan {paper.plan} does not hold its problem in a form this version reads ({error}).", plan=paper.plan
        ) from error


def recheck(paper: Any) -> Check:
    """Cost, room and stock of an adopted plan recomputed from its lines; nothing is solved. The entry's own lines and cost must agree too."""
    plan, problem = read_back(paper)
    check = check_plan(plan, problem)
    wrong = list(check.wrong)
    kept = sorted((x["item"], x["week"], x.get("kettle", ""), x["batches"], x["grams"]) for x in paper.lines)
    if kept != sorted((x.item, x.week, x.kettle, x.batches, x.grams) for x in plan.lines):
        wrong.append("the lines of the entry are not those of its plan")
    if paper.cost != check.cost_milli // 1000:
        wrong.append(f"the entry says it costs {paper.cost}, its lines cost {check.cost_milli // 1000}")
    return Check(not wrong, tuple(wrong), check.cost_milli)


def line_states(ledger: Ledger, paper: Any) -> list[dict[str, Any]]:
    """Every planned batch with the batch that was opened for it (empty: not yet; a voided one does not count).

    ``plan_line``, ``item``, ``flavour``, ``design``, ``label`` (week), ``day`` (which making day, 0: none found), ``date`` (of the calendar, empty where
    none was found), ``kettle``, ``grams`` it should give, ``batch`` and its ``status``.
    """
    rows = ledger.queries.batches(first_day=(date.fromisoformat(paper.day) - timedelta(days=1)).isoformat())
    rows = rows[(rows["plan_line"] != "") & (rows["status"] != "void")]
    opened = {str(r["plan_line"]): (str(r["batch"]), str(r["status"])) for r in rows.to_dict("records")}
    found = []
    for line in paper.lines:
        dates = line.get("dates") or [""] * len(line["plan_lines"])
        for name, day, when in zip(line["plan_lines"], line["days"], dates, strict=True):
            batch, status = opened.get(name, ("", ""))
            found.append(
                {"plan_line": name, "batch": batch, "status": status, "day": day, "date": when, "kettle": line.get("kettle", "")}
                | {k: line[k] for k in ("item", "flavour", "design", "label")}
                | {"grams": line["grams"] // max(1, line["batches"])}
            )  # fmt: skip
    return found


def next_lines(ledger: Ledger, paper: Any, most: int = 8) -> list[dict[str, Any]]:
    """The planned batches from this week on that are still to be made, in the order of their days: those not opened, and those opened and open."""
    week = iso_week(ledger.today())
    waiting = [s for s in line_states(ledger, paper) if s["label"] >= week and s["status"] in ("", "open")]
    waiting.sort(
        key=lambda s: (s["label"], s["date"] or (monday(s["label"]) + timedelta(days=7)).isoformat(), s["plan_line"])
    )
    return waiting[:most]


def openable(ledger: Ledger, plan_line: str) -> dict[str, Any]:
    """A planned batch that may be opened now, as `line_states` tells it. Refused when it was opened already, or when the plan is no longer the plan and
    the newer one did not keep the line; UnknownThing for a line that is in no plan."""
    plan = plan_line.split("/")[0]
    paper = adopted(ledger, plan)
    state = next((s for s in line_states(ledger, paper) if s["plan_line"] == plan_line), None)
    if state is None:
        raise UnknownThing(
            f"Plan {plan} has no line `{plan_line}`; `slabbook season lines` lists them.",
            kind="plan line",
            id=plan_line,
        )
    if state["batch"]:
        raise Refused(f"Batch {state['batch']} was opened for {plan_line} already.", batch=state["batch"])
    newest = adopted(ledger)
    if newest.plan != plan:
        raise Refused(
            f"Plan {plan} was superseded by {newest.plan}; open a line of that one (`slabbook season lines` lists them).",
            plan=newest.plan,
        )
    return state


def open_line(ledger: Ledger, plan_line: str, actor: str = "") -> Outcome:
    """Open a planned batch as a batch that remembers its line. Raises what `openable` raises."""
    state = openable(ledger, plan_line)
    return ledger.do(
        OpenBatch(day=ledger.today(), flavour=state["flavour"], design=state["design"], plan_line=plan_line), actor
    )


def next_line(ledger: Ledger) -> dict[str, Any]:
    """The next planned batch that is not opened yet, from this week on. Refused when there is none."""
    paper = adopted(ledger)
    waiting = [s for s in next_lines(ledger, paper, most=10_000) if not s["batch"]]
    if not waiting:
        raise Refused(
            f"Every batch of plan {paper.plan} is opened, or its weeks are over. Plan again with `slabbook season plan`.",
            plan=paper.plan,
        )
    return waiting[0]


@dataclass(frozen=True, slots=True)
class SheetOf:
    """What a planned batch's sheet is asked with: design, packs to make of which pack, kettle (its id), the batch."""

    design: str
    flavour: str
    pack: str
    packs: int
    kettle: str
    batch: str

    def query(self) -> dict[str, str]:
        """As an address of the Sheet page says it, empty ones left out."""
        said = {
            "design": self.design,
            "flavour": self.flavour,
            "pack": self.pack,
            "packs": str(self.packs or ""),
            "kettle": self.kettle,
            "batch": self.batch,
        }
        return {name: value for name, value in said.items() if value}


def sheet_of(book: Any, state: dict[str, Any]) -> SheetOf:
    """The sheet of a planned batch: its grams as packs of the design's smallest pack, in the kettle the plan says."""
    from ledger.application.season_batches import kettle_names

    packs = [p for p in book.all(e.Pack) if p.flavour == state["flavour"] and p.design in ("", state["design"])]
    pack = min(packs, key=lambda p: (p.net_mg, p.id), default=None)
    kettle = next((id for id, name in kettle_names(book).items() if name == state["kettle"]), "")
    count = state["grams"] * 1000 // pack.net_mg if pack else 0
    return SheetOf(state["design"], state["flavour"], pack.id if pack else "", count, kettle, state["batch"])


__all__ = [
    "SheetOf", "adopt", "adopted", "command_of", "line_states", "next_line", "next_lines", "open_line", "openable", "read_back", "recheck", "sheet_of", "stored_lines",
]  # fmt: skip
