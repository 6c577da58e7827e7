"""A season plan of the shop: made, said in words, checked against the days, adopted as an entry and checked again without solving."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import msgspec

from ledger.application.ledger import Ledger, Outcome
from ledger.application.season_forecast import make_forecast
from ledger.application.season_problem import Asked, problem_of, spread_of
from ledger.application.season_settings import EFFORTS, PlanSettings, settings_for
from ledger.domain.batch.commands import OpenBatch
from ledger.domain.season.commands import AdoptPlan
from ledger.errors import BadInput, Refused, UnknownThing
from ledger.planning import QUICK, Plan, Problem, Progress, check_plan, make_plan, replan
from ledger.planning.day import DayShop, day_mixes
from ledger.planning.daycheck import Mixes, WeekDays, check_days, kinds_of, within_days
from ledger.planning.problem import Batches
from ledger.planning.scenarios import Score, rescore, sample_seasons
from ledger.planning.season import Check
from ledger.planning.words import Sentence, helps_worth_asking, money, sentences

Watch = Callable[[Progress], str | None]
CHARTED_WEEKS = 2
CUT_BACK_ROUNDS = 2
SAMPLED = 100
WORTH_MOVING = 250
"""Lines move about freely when that is worth more than one part in this many of the cost."""
STEADY = 50
"""Minor units that moving a batch costs while a change is tried, so that lines move only for a reason; not in the figures shown."""


@dataclass(frozen=True, slots=True)
class PlanMade:
    """A plan with the problem it answers (hands cut back where the days carry less than the minutes say), its day check and its words."""

    asked: Asked
    problem: Problem
    plan: Plan
    days: tuple[WeekDays, ...]
    words: tuple[Sentence, ...]
    seconds: float

    def name(self, item: str) -> str:
        """What an item is called."""
        return next((i.name for i in self.problem.items if i.key == item), item)


_mixes: OrderedDict[str, Mixes] = OrderedDict()
_lock = threading.Lock()


def mixes_of(problem: Problem, shop: DayShop) -> Mixes:
    """Which mixes of kinds fit a day of this floor; computed once a floor (some seconds) and kept."""
    kinds = kinds_of(problem, shop)
    key = repr((kinds, sorted(shop.steps.items()), sorted(shop.stations.items()), shop.people, shop.minutes))
    with _lock:
        if key in _mixes:
            return _mixes[key]
    found = day_mixes(shop, kinds)
    with _lock:
        _mixes[key] = found
        while len(_mixes) > 8:
            _mixes.popitem(last=False)
    return found


def make(
    ledger: Ledger, settings: PlanSettings | None = None, effort: str = "normal", progress: Watch | None = None,
    known: int | str | None = None,
) -> PlanMade:  # fmt: skip
    """Forecast, lay out and plan from the ledger. `progress` hears of every stage and may answer "stop": the best so far is given.

    Raises BadInput when there is nothing to forecast from or the effort has no such name.
    """
    settings = settings or settings_for(ledger)
    if effort not in EFFORTS:
        raise BadInput(f"There is no effort `{effort}`; give {' or '.join(EFFORTS)}.", value=effort)
    began = time.perf_counter()
    if progress is not None:
        progress(Progress("forecast", 0, 1, 0, None))
    asked = problem_of(make_forecast(ledger, settings.weeks, known), settings)
    return solve(asked, effort, progress, began)


def solve(asked: Asked, effort: str = "normal", progress: Watch | None = None, began: float | None = None) -> PlanMade:
    """Plan a problem, then cut the weeks back to what their days can carry and plan again, as far as it takes."""
    began = time.perf_counter() if began is None else began
    problem = asked.problem
    plan = make_plan(problem, EFFORTS[effort], progress)
    stopped = plan.stopped
    if progress is not None and not stopped:
        stopped = progress(Progress("days", 0, 1, plan.cost_milli, plan.bound_milli)) == "stop"
    days: list[WeekDays] = []
    if not stopped and not dayless(asked):
        mixes = mixes_of(problem, asked.shop)
        days = check_days(plan, problem, asked.shop, mixes)
        for _ in range(CUT_BACK_ROUNDS):
            if all(day.fits for day in days) or plan.stopped:
                break
            problem = within_days(problem, plan, days)
            plan = replan(plan, problem, effort=QUICK, progress=progress, changed="cut back to what the days carry")
            days = check_days(plan, problem, asked.shop, mixes)
        days = check_days(plan, problem, asked.shop, mixes, charts_for=_charted(plan))
    scored = (
        None
        if stopped or plan.stopped
        else rescore(plan, problem, sample_seasons(problem, SAMPLED, spread=spread_of(asked.forecast)))
    )
    return _told(asked, problem, plan, days, time.perf_counter() - began, scored)


def dayless(asked: Asked) -> bool:
    """Whether no day can be drawn: nobody works, or no step is known."""
    return asked.shop.people == 0 or not asked.shop.steps or not any(week.days for week in asked.problem.weeks)


def change(made: PlanMade, what: Callable[[Problem], Problem], said: str, progress: Watch | None = None) -> PlanMade:
    """What if: one change, planned again from the plan there is (quick), with the days checked on what is known of them already."""
    began = time.perf_counter()
    problem = what(made.problem)
    known = {item.key for item in problem.items}
    kept = tuple(Batches(item=x.item, week=x.week, batches=x.batches) for x in made.plan.lines if x.item in known)
    steady = replace(
        problem, kept=kept, kept_weeks=len(problem.weeks), prices=replace(problem.prices, moved_batch=STEADY)
    )
    near = replan(made.plan, steady, progress=progress, effort=QUICK, changed=said)
    plan = replan(near, problem, effort=replace(QUICK, moves=0), changed=said)
    if not near.stopped:
        free = replan(made.plan, problem, progress=progress, effort=QUICK, changed=said)
        if (plan.cost_milli - free.cost_milli) * WORTH_MOVING > plan.cost_milli:
            plan = free
    if near.stopped:
        plan = replace(plan, stopped=True)
    days = (
        ()
        if dayless(made.asked) or not made.days
        else tuple(check_days(plan, problem, made.asked.shop, mixes_of(made.problem, made.asked.shop)))
    )
    return _told(made.asked, problem, plan, days, time.perf_counter() - began)


def edit(made: PlanMade, lines: dict[tuple[str, int], int], rest: bool) -> PlanMade:
    """A plan changed by hand: batches by (item, week number). `rest`: those weeks stay as typed and all others are planned again;
    else every other line stays and only the figures are recomputed.

    Raises BadInput for batches below 0, or a table that the floor cannot carry at all, with what is too much.
    """
    began = time.perf_counter()
    wrong = next((n for n in lines.values() if n < 0), None)
    if wrong is not None:
        raise BadInput(f"{wrong} batches cannot be made; give 0 or more.", value=wrong)
    weeks = sorted({week for _, week in lines})
    table = {(line.item, line.week): line.batches for line in made.plan.lines} | lines
    last = max(weeks) if rest else len(made.problem.weeks) - 1
    held = tuple(Batches(item=i, week=w, batches=n) for (i, w), n in table.items() if n and w <= last)
    typed = replace(made.problem, frozen_weeks=last + 1, frozen=held)
    plan = replan(
        made.plan, typed, effort=QUICK if rest else replace(QUICK, moves=0, rounds=0), changed="changed by hand"
    )
    wrong_now = check_plan(plan, replace(made.problem, frozen_weeks=0, frozen=())).wrong
    if wrong_now:
        raise BadInput(
            f"The floor cannot carry that. {'; '.join(wrong_now[:3])}. Take batches out, or try a helper or a day more."
        )
    near = made.problem.frozen_weeks
    frozen = tuple(Batches(item=x.item, week=x.week, batches=x.batches) for x in plan.lines if x.week < near)
    problem = replace(made.problem, frozen=frozen)
    bound = made.plan.bound_milli
    if bound is not None:  # of the plan before: what no plan can beat, whoever changes lines
        bound = min(bound, plan.cost_milli)
        gap = -(-(plan.cost_milli - bound) * 10**6 // max(1, abs(plan.cost_milli)))
        plan = replace(plan, bound_milli=bound, gap_ppm=gap)
    days = (
        ()
        if dayless(made.asked)
        else tuple(check_days(plan, problem, made.asked.shop, mixes_of(made.problem, made.asked.shop)))
    )
    return _told(made.asked, problem, plan, days, time.perf_counter() - began)


def _charted(plan: Plan) -> list[int]:
    """The next weeks with something to make: their days are drawn."""
    return sorted({line.week for line in plan.lines})[:CHARTED_WEEKS]


def _told(
    asked: Asked, problem: Problem, plan: Plan, days: Sequence[WeekDays], seconds: float, scored: Score | None = None
) -> PlanMade:
    words = [Sentence(note, "finding", ()) for note in asked.notes]
    words += sentences(plan, problem, helps_worth_asking(plan, problem))
    if scored is not None:
        low, mean, high = (money(problem, milli) for milli in (scored.low_milli, scored.mean_milli, scored.high_milli))
        text = f"Kept unchanged over {scored.seasons} seasons drawn around the forecast it would cost {mean} on average ({low} to {high} in 8 of 10) "
        text += (
            f"and miss {scored.lost_per_mille / 10:.1f} % of what is wanted; plan again every week and it does better."
        )
        words.append(Sentence(text, "proof", ("plan",)))
    full = [day for day in days if not day.fits]
    for day in full[:3]:
        names = ", ".join(dict.fromkeys(next(i.name for i in problem.items if i.key == key) for key in day.homeless))
        text = f"In {day.label} the minutes suffice but the days do not: no day is found for {names}."
        if not names:
            number, why = next((n, chart.why) for n, chart in enumerate(day.charts, start=1) if not chart.fits)
            text = f"In {day.label} making day {number} cannot be worked as planned: {why}."
        words.append(Sentence(text, "days", (f"week/{day.week}",)))
    return PlanMade(asked, problem, plan, tuple(days), tuple(words), seconds)


# --- adopted ------------------------------------------------------------------------------------------------------------


def adopt(ledger: Ledger, made: PlanMade, actor: str = "") -> tuple[str, Outcome]:
    """Make a plan the plan: its lines, settings, cost and bound become an entry. The near weeks are frozen for the next plan.

    Raises Refused when its own checker does not agree with it.
    """
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
    command = AdoptPlan(
        day=ledger.today(), plan=name, as_of=on.known, frozen_until=frozen, cost=made.plan.cost_milli // 1000,
        bound=min(made.plan.cost_milli, made.plan.bound_milli if made.plan.bound_milli is not None else 0) // 1000, method=made.plan.method,
        lines=tuple(stored_lines(made, name)), supersedes=in_force[-1].plan if in_force else "",
        settings={
            "settings": made.asked.settings.as_data(), "origins": dict(made.asked.settings.origins), "words": [w.text for w in made.words],
            "problem": msgspec.json.encode(made.problem).decode(), "plan": msgspec.json.encode(replace(made.plan, milliseconds=None).to_dict()).decode(),
        },
    )  # fmt: skip
    return name, ledger.do(command, actor)


def stored_lines(made: PlanMade, plan: str) -> list[dict[str, Any]]:
    """The plan's lines as whole numbers and text, each batch with the name its batch will carry (``plan_lines``) and its day (0: none found)."""
    by_day: dict[tuple[str, int], list[int]] = {}
    for week in made.days:
        for number, keys in enumerate(week.days, start=1):
            for key in keys:
                by_day.setdefault((key, week.week), []).append(number)
    lines = []
    for line in made.plan.lines:
        flavour, design = made.asked.made_of[line.item]
        days = by_day.get((line.item, line.week), [])
        lines.append({
            "item": line.item, "flavour": flavour, "design": design, "label": line.label, "week": line.week, "batches": line.batches,
            "grams": line.grams, "frozen": int(line.frozen), "days": days[: line.batches] + [0] * (line.batches - len(days)),
            "plan_lines": [f"{plan}/{line.item}/{line.label}/{n}" for n in range(1, line.batches + 1)],
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
    except (KeyError, msgspec.MsgspecError) as error:
        raise BadInput(
            f"Plan {paper.plan} does not hold its problem in a form this version reads ({error}).", plan=paper.plan
        ) from error


def recheck(paper: Any) -> Check:
    """Cost, room and stock of an adopted plan recomputed from its lines; nothing is solved. The entry's own lines and cost must agree too."""
    plan, problem = read_back(paper)
    check = check_plan(plan, problem)
    wrong = list(check.wrong)
    kept = sorted((line["item"], line["week"], line["batches"], line["grams"]) for line in paper.lines)
    if kept != sorted((line.item, line.week, line.batches, line.grams) for line in plan.lines):
        wrong.append("the lines of the entry are not those of its plan")
    if paper.cost != check.cost_milli // 1000:
        wrong.append(f"the entry says it costs {paper.cost}, its lines cost {check.cost_milli // 1000}")
    return Check(not wrong, tuple(wrong), check.cost_milli)


def line_states(ledger: Ledger, paper: Any) -> list[dict[str, Any]]:
    """Every planned batch with the batch that was opened for it (empty: not yet): plan_line, item, flavour, design, label, day, batch."""
    opened = {
        row["plan_line"]: row["batch"]
        for row in ledger.queries.batches(most=5000).to_dict("records")
        if row["plan_line"] and row["status"] != "voided"
    }
    return [
        {"plan_line": name, "batch": opened.get(name, ""), "day": day}
        | {k: line[k] for k in ("item", "flavour", "design", "label")}
        for line in paper.lines
        for name, day in zip(line["plan_lines"], line["days"], strict=True)
    ]


def open_line(ledger: Ledger, plan_line: str, actor: str = "") -> Outcome:
    """Open a planned batch as a batch. Refused when it was opened already; UnknownThing for a line that is in no plan."""
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
    return ledger.do(
        OpenBatch(day=ledger.today(), flavour=state["flavour"], design=state["design"], plan_line=plan_line), actor
    )


def next_line(ledger: Ledger) -> dict[str, Any]:
    """The next planned batch that is not opened yet, from this week on. Refused when there is none."""
    from ledger.domain.postings import iso_week

    paper, week = adopted(ledger), iso_week(ledger.today())
    waiting = [s for s in line_states(ledger, paper) if not s["batch"] and s["label"] >= week]
    if not waiting:
        raise Refused(
            f"Every batch of plan {paper.plan} is opened, or its weeks are over. Plan again with `slabbook season plan`.",
            plan=paper.plan,
        )
    return min(waiting, key=lambda s: (s["label"], s["day"] or 9, s["plan_line"]))


__all__ = [
    "PlanMade", "adopt", "adopted", "change", "edit", "line_states", "make", "mixes_of", "next_line", "open_line", "read_back", "recheck",
    "solve", "stored_lines",
]  # fmt: skip
