"""A season plan of the shop: made, said in words, checked against the days, adopted as an entry and checked again without solving."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ledger.application.ledger import Ledger
from ledger.application.season_demand import spread_of
from ledger.application.season_forecast import make_forecast
from ledger.application.season_problem import Asked, problem_of
from ledger.application.season_settings import EFFORTS, PlanSettings, settings_for
from ledger.errors import BadInput
from ledger.planning import QUICK, Plan, Problem, Progress, make_plan, replan
from ledger.planning.as_plan import gap_of, retold
from ledger.planning.check import floor_breaks
from ledger.planning.day import DayShop, day_mixes
from ledger.planning.daycheck import Mixes, WeekDays, check_days, kinds_of, within_days
from ledger.planning.helps import helps_worth_asking, hour_worth_asking
from ledger.planning.problem import Batches
from ledger.planning.said import money_said
from ledger.planning.scenarios import Score, rescore, sample_seasons
from ledger.planning.words import Sentence, sentences, whole
from ledger.quantities import time_span_text

Watch = Callable[[Progress], str | None]
Typed = dict[tuple[str, int, str], int]
"""Batches typed by hand: (item, week number, kettle) -> whole batches."""
CHARTED_WEEKS = 2
BEYOND = 10
"""Weeks forecast after those planned, so that a season that ends with them or runs on still has its sum and band."""
MOST_AHEAD = 60
CUT_BACK_ROUNDS = 4
SAMPLED = 100
AS_IT_IS = replace(QUICK, moves=0)
NEAR = replace(QUICK, moves=3_000, rounds=-1, rules=False)
FAR = replace(QUICK, moves=20_000, rounds=-1)
"""How hard a change is tried near the plan there is, and freely where that stays far from the bound: few moves, since every plan is polished item by
item as well (more moves found the same plans on the invented shop), and no bound, which is looked for once, with the plan as it is."""
OF_THE_SHOP = ("no-making-days", "no-hands", "station-out")
"""Findings about the whole shop: said first, since the rest follows from them."""
NOTED = ("feast-in-the-past",)
"""Findings that the notes of the problem tell already, with more: the feast's name and its last day."""
WORTH_MOVING = 250
"""Lines move about freely when that is worth more than one part in this many of the cost."""
STEADY_PER_MILLE = 1
"""What moving a batch costs while a change is tried, in thousandths of the plan's cost, so that lines move only for a reason; not in the figures shown."""


@dataclass(frozen=True, slots=True)
class PlanMade:
    """A plan with the problem it answers (hands cut back where the days carry less than the minutes say), its day check and its words.

    in_force: the adopted plan whose remaining lines these are, untouched; empty for a plan made or changed here.
    """

    asked: Asked
    problem: Problem
    plan: Plan
    days: tuple[WeekDays, ...]
    words: tuple[Sentence, ...]
    seconds: float
    in_force: str = ""

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
    asked = problem_of(make_forecast(ledger, min(MOST_AHEAD, settings.weeks + BEYOND), known), settings)
    return solve(asked, effort, progress, began)


def solve(asked: Asked, effort: str = "normal", progress: Watch | None = None, began: float | None = None) -> PlanMade:
    """Plan a problem, then cut the weeks back to what their days can carry and plan again, as far as it takes.

    A stop ends the search; the best so far is still laid on its days, so that it can be worked, or says which batches find none.
    """
    began = time.perf_counter() if began is None else began
    problem = asked.problem

    def heard(again: int) -> Watch:
        return lambda at: progress(replace(at, again=again)) if progress is not None else None

    def stop_at(stage: str) -> bool:
        return heard(0)(Progress(stage, 0, 1, plan.cost_milli, plan.bound_milli)) == "stop"

    plan = make_plan(problem, EFFORTS[effort], progress)
    days: list[WeekDays] = []
    if stop_at("days"):
        plan = replace(plan, stopped=True)
    if not dayless(asked):
        mixes = mixes_of(problem, asked.shop)
        shorter = replace(EFFORTS[effort], moves=QUICK.moves, rounds=QUICK.rounds)
        for again in range(1, CUT_BACK_ROUNDS + 1):
            if plan.stopped:
                break
            days = check_days(plan, problem, asked.shop, mixes, charts_for=_with_shows(plan, problem))
            if not any(day.homeless for day in days):
                break
            problem = within_days(problem, plan, days)
            plan = replan(
                plan, problem, effort=shorter, progress=heard(again), changed="cut back to what the days carry"
            )
        days = check_days(plan, problem, asked.shop, mixes, charts_for=_charted(plan))
    scored = None
    if not plan.stopped and not stop_at("seasons"):
        scored = rescore(plan, problem, sample_seasons(problem, SAMPLED, spread=spread_of(asked.forecast)))
    return told(asked, problem, plan, days, time.perf_counter() - began, scored, lambda: stop_at("helps"))


def dayless(asked: Asked) -> bool:
    """Whether no day can be drawn: nobody works, or no step is known."""
    return asked.shop.people == 0 or not asked.shop.steps or not any(week.days for week in asked.problem.weeks)


def change(made: PlanMade, what: Callable[[Problem], Problem], said: str, progress: Watch | None = None) -> PlanMade:
    """What if: one change, planned again from the plan there is (quick), with the days checked on what is known of them already."""
    began = time.perf_counter()
    problem = what(made.problem)
    known = {item.key for item in problem.items}
    kept = tuple(
        Batches(item=x.item, week=x.week, batches=x.batches, kettle=x.kettle)
        for x in made.plan.lines
        if x.item in known
    )
    dear = max(1, abs(made.plan.cost_milli) * STEADY_PER_MILLE // 1_000_000)
    steady = replace(
        problem, kept=kept, kept_weeks=len(problem.weeks), prices=replace(problem.prices, moved_batch=dear)
    )
    bounded = replan(made.plan, problem, effort=replace(AS_IT_IS, hours=False), progress=progress, changed=said)
    near = replan(made.plan, steady, progress=progress, effort=NEAR, changed=said)
    plan = replan(near, problem, effort=replace(NEAR, moves=0), changed=said)
    plan = replace(plan, rule=bounded.rule, rule_milli=bounded.rule_milli)
    bound, rule, stopped = bounded.bound_milli, bounded.rule_milli, bounded.stopped or near.stopped
    if bounded.cost_milli < plan.cost_milli and (plan.cost_milli - bounded.cost_milli) * WORTH_MOVING > plan.cost_milli:
        plan = bounded
    usual = made.plan.cost_milli - (made.plan.cost_milli if made.plan.bound_milli is None else made.plan.bound_milli)
    far = bound is None or (plan.cost_milli - bound - usual) * WORTH_MOVING > plan.cost_milli
    if (far or plan.cost_milli > rule) and not stopped:
        free = replan(plan, problem, progress=progress, effort=FAR, changed=said)
        stopped = free.stopped
        if (plan.cost_milli - free.cost_milli) * WORTH_MOVING > plan.cost_milli or plan.cost_milli > rule:
            plan = free
    plan = with_bound(plan, bound)
    if stopped:
        plan = replace(plan, stopped=True)
    days = (
        ()
        if dayless(made.asked) or not made.days
        else tuple(check_days(plan, problem, made.asked.shop, mixes_of(made.problem, made.asked.shop)))
    )
    return told(made.asked, problem, plan, days, time.perf_counter() - began)


def edit(made: PlanMade, lines: Typed, rest: bool, progress: Watch | None = None) -> PlanMade:
    """A plan changed by hand: batches by (item, week number, kettle; the kettle empty where the plan does not tell them apart). `rest`: those weeks stay as typed and all others are planned again;
    else every other line stays and only the figures are recomputed.

    Raises BadInput for batches below 0, or a table that the floor cannot carry at all, with what is too much.
    """
    began = time.perf_counter()
    wrong = next((n for n in lines.values() if n < 0), None)
    if wrong is not None:
        raise BadInput(f"{wrong} batches cannot be made; give 0 or more.", value=wrong)
    weeks = sorted({week for _, week, _ in lines})
    table = {(line.item, line.week, line.kettle): line.batches for line in made.plan.lines} | lines
    last = max(weeks) if rest else len(made.problem.weeks) - 1
    held = tuple(Batches(item=i, week=w, batches=n, kettle=k) for (i, w, k), n in table.items() if n and w <= last)
    typed = replace(made.problem, frozen_weeks=last + 1, frozen=held)
    plan = replan(
        made.plan,
        typed,
        effort=QUICK if rest else replace(QUICK, moves=0, rounds=-1),
        progress=progress,
        changed="changed by hand",
    )
    wrong_now = floor_breaks(plan, replace(made.problem, frozen_weeks=0, frozen=()))
    if wrong_now:
        raise BadInput(
            f"The floor cannot carry that. {'; '.join(wrong_now[:3])}. Take batches out, or try a helper or a day more."
        )
    near = made.problem.frozen_weeks
    frozen = tuple(
        Batches(item=x.item, week=x.week, batches=x.batches, kettle=x.kettle) for x in plan.lines if x.week < near
    )
    problem = replace(made.problem, frozen=frozen)
    plan = retold(plan, problem)
    plan = with_bound(plan, made.plan.bound_milli)  # of the plan before: what no plan can beat, whoever changes lines
    plan = replace(
        plan, rule=made.plan.rule, rule_milli=made.plan.rule_milli
    )  # a rule cannot be tried where all is typed
    days = (
        ()
        if dayless(made.asked)
        else tuple(check_days(plan, problem, made.asked.shop, mixes_of(made.problem, made.asked.shop)))
    )
    return told(made.asked, problem, plan, days, time.perf_counter() - began)


def with_bound(plan: Plan, bound_milli: int | None) -> Plan:
    """The plan measured by another bound of the same problem."""
    if bound_milli is None:
        return plan
    bound = min(bound_milli, plan.cost_milli)
    return replace(plan, bound_milli=bound, gap_ppm=gap_of(plan.cost_milli, bound))


def cut_back(asked: Asked, problem: Problem) -> set[int]:
    """The weeks whose hands were cut back to what their days can carry."""
    pairs = zip(asked.problem.weeks, problem.weeks, strict=True)
    return {t for t, (whole, cut) in enumerate(pairs) if cut.hands_minutes < whole.hands_minutes}


def _charted(plan: Plan) -> list[int]:
    """The next weeks with something to make: their days are drawn."""
    return sorted({line.week for line in plan.lines})[:CHARTED_WEEKS]


def _with_shows(plan: Plan, problem: Problem) -> list[int]:
    """The weeks to be drawn that have a show: there the days decide how many batches the week carries."""
    return [week for week in _charted(plan) if any(show.week == week for show in problem.show_times)]


def told(
    asked: Asked, problem: Problem, plan: Plan, days: Sequence[WeekDays], seconds: float, scored: Score | None = None,
    stop: Callable[[], bool] | None = None,
) -> PlanMade:  # fmt: skip
    """The plan with its words, the full days among them. What a helper or an hour would bring (planned again) is left out of a stopped plan, or on `stop`."""
    full_days = cut_back(asked, problem)
    helps = [] if plan.stopped else helps_worth_asking(plan, problem, full_days, stop)
    hour = None if plan.stopped else hour_worth_asking(plan, problem, full_days, stop)
    said = sentences(plan, problem, helps, full_days, hour)
    first = {whole(message) for code, _, message in plan.findings if code in OF_THE_SHOP}
    told_already = {whole(message) for code, _, message in plan.findings if code in NOTED}
    words = [s for s in said if s.text in first]
    words += [Sentence(note, "finding", ()) for note in asked.notes]
    words += [s for s in said if s.text not in first | told_already]
    if scored is not None:
        low, mean, high = (
            money_said(problem, milli) for milli in (scored.low_milli, scored.mean_milli, scored.high_milli)
        )
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
            when = asked.making_days(day.week)
            shows = [s for s in problem.show_times if (s.week, s.day) == (day.week, number - 1)]
            show = f" with its show at {time_span_text(shows[0].start, shows[0].end)}" if shows else ""
            text = f"In {day.label} {when[number - 1] if number <= len(when) else f'making day {number}'} cannot be worked as planned{show}: {why}."
        words.append(Sentence(text, "days", (f"week/{day.week}",)))
    return PlanMade(asked, problem, plan, tuple(days), tuple(words), seconds)


__all__ = ["PlanMade", "Typed", "change", "cut_back", "edit", "make", "mixes_of", "solve", "told"]
