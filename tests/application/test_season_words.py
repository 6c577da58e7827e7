"""Every figure in every sentence of a plan is worked out a second time from the plan's own numbers, and every sentence has such a check.

A sentence that no check knows fails the test: words that cannot be recomputed are not said.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta

import pytest

from ledger.application import season_plan
from ledger.application.ledger import Ledger
from ledger.application.season_demand import spread_of
from ledger.application.season_plan import PlanMade, cut_back
from ledger.application.season_settings import PlanSettings
from ledger.planning.helps import MOST_WEEKS, TRY
from ledger.planning.problem import Item
from ledger.planning.scenarios import rescore, sample_seasons
from ledger.planning.season import replan
from ledger.planning.whatif import helper_added, hours_added, station_added

WEEK = r"(\d{4}-W\d\d)"
KILOS = r"(-?[\d.]+) kg"
MONEY = r"[A-Z]{3} (-?[\d ]+)"


def near(said: str, grams: float) -> bool:
    """A mass as said (whole kilograms from ten on, one decimal below) is these grams, rounded."""
    return abs(float(said) * 1000 - grams) <= (501 if abs(grams) >= 10_000 else 51)


def worth(said: str, milli: float, made: PlanMade) -> bool:
    """Whole major units as said are these thousandths of a minor unit, rounded."""
    return (
        abs(int(said.replace(" ", "")) * 1000 * made.problem.minor_per_major - milli)
        <= 501 * made.problem.minor_per_major
    )


def number_of(made: PlanMade, label: str) -> int:
    return [w.label for w in made.problem.weeks].index(label)


def named(made: PlanMade, name: str) -> Item:
    return next(item for item in made.problem.items if item.name == name)


def start(made: PlanMade, m: re.Match[str]) -> None:
    item = named(made, m["name"])
    lines = [x for x in made.plan.lines if x.item == item.key]
    weeks = sorted(x.week for x in lines)
    row = made.plan.of(item.key)
    assert made.problem.weeks[weeks[0]].label == m["first"]
    assert made.problem.weeks[weeks[-1]].label == (m["last"] or m["first"])
    assert sum(x.batches for x in lines) == int(m["batches"]) and near(m["made"], sum(x.grams for x in lines))
    assert near(m["house"] or "0", sum(lot.grams for lot in item.opening))
    assert near(m["sold"], sum(row.sold)) and near(m["left"] or "0", row.left)
    assert item.season is not None
    assert item.season.runs_on == bool(m["on"])
    assert not m["on"] or m["on"] == made.problem.weeks[-1].label
    assert (m["verb"] == "Go on with") == (item.season.first_week == 0 and m["house"] is not None)


def full(made: PlanMade, m: re.Match[str]) -> None:
    cut = cut_back(made.asked, made.problem)
    first, last = number_of(made, m["one"]), number_of(made, m["two"] or m["one"])
    for week in made.plan.weeks[first : last + 1]:
        if m["what"] in ("hands are", "making days are"):
            assert (week.week in cut) == (m["what"] == "making days are")
            assert week.hands_used >= 0.97 * week.hands_there > 0
            whole = made.asked.problem.weeks[week.week].hands_minutes
            assert m["what"] == "hands are" or week.hands_used < whole  # "though hands are left"
        else:
            name = m["what"].removesuffix(" is")
            used, there = next((u, t) for n, u, t in week.stations if n == name)
            assert used >= 0.97 * there > 0


def short(made: PlanMade, m: re.Match[str]) -> None:
    item = named(made, m["name"])
    rows = [s for s in made.plan.shortages if s.item == item.key]
    grams = sum(made.plan.of(item.key).short)
    assert near(m["grams"], grams) and worth(m["worth"], (item.price_per_kg - item.material_per_kg) * grams, made)
    labels = [made.problem.weeks[s.week].label for s in rows]
    assert min(labels) == m["one"] and max(labels) == (m["two"] or m["one"])
    for reason in re.findall(WEEK, m["why"] or ""):
        number_of(made, reason)


def more_short(made: PlanMade, m: re.Match[str]) -> None:
    told = {named(made, x["name"]).key for w in made.words if (x := SHORT.fullmatch(w.text))}
    rest = [s for s in made.plan.shortages if s.item not in told]
    assert len({s.item for s in rest}) == int(m["count"]) and near(
        m["grams"], sum(sum(made.plan.of(key).short) for key in {s.item for s in rest})
    )


def ahead(made: PlanMade, m: re.Match[str]) -> None:
    item, week, needed = named(made, m["name"]), number_of(made, m["week"]), number_of(made, m["needed"])
    row = made.plan.of(item.key)
    assert near(m["made"], row.made[week]) and needed - week >= 3
    before = row.stock[week] - row.made[week]
    assert sum(row.sold[week + 1 : needed + 1]) > max(0, before) >= sum(row.sold[week + 1 : needed])
    assert made.plan.weeks[needed].hands_used >= 0.97 * made.plan.weeks[needed].hands_there


def hour(made: PlanMade, m: re.Match[str]) -> None:
    """Planned again with the hour and without: the difference is what it says, and what it names stands in the way of something short."""
    week, what = number_of(made, m["when"]), m["what"].removeprefix("the ")
    more = hours_added([week], 60) if what == "hands" else station_added(what, [week], 60)
    without, having = replan(made.plan, made.problem, effort=TRY), replan(made.plan, made.problem, more, effort=TRY)
    assert worth(m["saves"], without.cost_milli - having.cost_milli, made)
    assert any(r.resource == what and r.first <= week <= r.last for s in made.plan.shortages for r in s.reasons)


def helps(made: PlanMade, m: re.Match[str]) -> None:
    """Planned again with the helper the sentence names, and without: the difference is what it says."""
    item, one = named(made, m["name"]), number_of(made, m["one"])
    cut = cut_back(made.asked, made.problem)
    stopped = next(
        s for s in made.plan.shortages if s.item == item.key and any(r.code == "no-hands" for r in s.reasons)
    )
    weeks = [t for r in stopped.reasons if r.code == "no-hands" for t in range(r.first, r.last + 1) if t not in cut][
        -MOST_WEEKS:
    ]
    assert weeks[0] == one and len(weeks) == int(m["weeks"] or 1)
    without, having = (
        replan(made.plan, made.problem, effort=TRY),
        replan(made.plan, made.problem, helper_added(weeks), effort=TRY),
    )
    assert worth(m["saves"], without.cost_milli - having.cost_milli, made)
    shifts = sum(w.helper_shifts for w in having.weeks) - sum(w.helper_shifts for w in without.weeks)
    assert shifts == int(m["shifts"]) and worth(m["cost"], 1000 * shifts * made.problem.prices.helper_shift, made)
    before, after = sum(without.of(item.key).short), sum(having.of(item.key).short)
    assert near(m["missing"], before) and near(m["brings"], before - after)


def shifts(made: PlanMade, m: re.Match[str]) -> None:
    told = {label: int(n) for label, n in re.findall(WEEK + r" \((\d+)\)", m["weeks"])}
    assert told == {w.label: w.helper_shifts for w in made.plan.weeks if w.helper_shifts}
    assert sum(told.values()) == int(m["total"])


def overtime(made: PlanMade, m: re.Match[str]) -> None:
    minutes = [w.overtime_minutes for w in made.plan.weeks if w.overtime_minutes]
    assert float(m["hours"]) == pytest.approx(sum(minutes) / 60, abs=0.051) and int(m["weeks"]) == len(minutes)


def proof(made: PlanMade, m: re.Match[str]) -> None:
    plan = made.plan
    assert plan.bound_milli is not None
    assert float(m["percent"]) == pytest.approx(100 * (plan.cost_milli - plan.bound_milli) / plan.cost_milli, abs=0.011)
    if m["away"]:
        assert worth(m["away"], plan.cost_milli - plan.bound_milli, made)
    else:
        assert plan.cost_milli - plan.bound_milli < 1000 * made.problem.minor_per_major
    if m["better"]:
        assert worth(m["better"], plan.rule_milli - plan.cost_milli, made) and m["rule"] == plan.rule
    assert bool(m["stopped"]) == plan.stopped


def kept(made: PlanMade, m: re.Match[str]) -> None:
    spread = spread_of(made.asked.forecast)
    score = rescore(made.plan, made.problem, sample_seasons(made.problem, season_plan.SAMPLED, spread=spread))
    assert int(m["seasons"]) == score.seasons == season_plan.SAMPLED
    for name, milli in (("low", score.low_milli), ("mean", score.mean_milli), ("high", score.high_milli)):
        assert worth(m[name], milli, made), name
    assert float(m["missed"]) == pytest.approx(score.lost_per_mille / 10, abs=0.051)


def no_day(made: PlanMade, m: re.Match[str]) -> None:
    day = next(d for d in made.days if d.label == m["one"])
    assert day.homeless and ", ".join(dict.fromkeys(made.name(key) for key in day.homeless)) == m["names"]


def bad_day(made: PlanMade, m: re.Match[str]) -> None:
    day = next(d for d in made.days if d.label == m["one"])
    number = [d.isoformat() for d in made.asked.making_days(day.week)].index(m["day"])
    assert not day.charts[number].fits
    shows = [s for s in made.problem.show_times if (s.week, s.day) == (day.week, number)]
    assert bool(shows) == bool(m["show"])


def in_work(made: PlanMade, m: re.Match[str]) -> None:
    queries = made.asked.forecast.seen.on.queries
    open_ = set(queries.batches(status="open")["batch"])
    assert set(m["names"].split(", ")) <= open_
    assert made.asked.problem.weeks[0].label == m["week"] and float(m["hours"]) > 0


def later(made: PlanMade, m: re.Match[str]) -> None:
    assert not {item.name for item in made.problem.items} & set(m["names"].split(", "))


def sells_nothing(made: PlanMade, m: re.Match[str]) -> None:
    assert sum(named(made, m["name"]).demand_g) == 0


def runs_on(made: PlanMade, m: re.Match[str]) -> None:
    start = date.fromisocalendar(*[int(x) for x in made.problem.weeks[0].label.split("-W")], 1)
    last = start + timedelta(weeks=int(m["weeks"])) - timedelta(days=1)
    assert last - timedelta(days=6) <= date.fromisoformat(m["end"]) <= last and int(m["weeks"]) > len(
        made.problem.weeks
    )
    for name in m["names"].replace(" and ", ", ").split(", "):
        season = next((i.season for i in made.problem.items if i.name == name), None)
        assert season is None or season.runs_on


def silent(_made: PlanMade, _m: re.Match[str]) -> None:
    """A sentence without figures."""


SHORT = re.compile(
    rf"{KILOS} of (?P<name>.+?) will be missing (?:in|between) {WEEK}(?: and {WEEK})?, {MONEY} of margin(?:: (?P<why>.+?))?\.".replace(
        KILOS, r"(?P<grams>[\d.]+) kg").replace(f"{WEEK}(?: and {WEEK})?", r"(?P<one>\d{4}-W\d\d)(?: and (?P<two>\d{4}-W\d\d))?").replace(MONEY, r"[A-Z]{3} (?P<worth>[\d ]+)")
)  # fmt: skip
CHECKS: tuple[tuple[re.Pattern[str], Callable[[PlanMade, re.Match[str]], None]], ...] = (
    (re.compile(r"(?P<verb>Start|Go on with) (?P<name>.+?) in (?P<first>\d{4}-W\d\d)(?:, last batch in (?P<last>\d{4}-W\d\d))?: (?P<batches>\d+) batch(?:es)?, (?P<made>[\d.]+) kg"
                r"(?: to the (?P<house>[\d.]+) kg in the house)?; (?P<sold>[\d.]+) kg should sell(?: and (?P<left>[\d.]+) kg be left)?(?:,? when (?P<on>\d{4}-W\d\d) ends and its season goes on)?\."), start),
    (re.compile(r"(?:In (?P<one>\d{4}-W\d\d)|From (?P<a>\d{4}-W\d\d) to (?P<two>\d{4}-W\d\d)) the (?P<what>.+? (?:is|are)) full(?:, though hands are left)?\."), full),
    (SHORT, short),
    (re.compile(r"(?P<count>\d+) more items? miss(?:es)? (?P<grams>[\d.]+) kg(?: together)?\."), more_short),
    (re.compile(r"Make (?P<made>[\d.]+) kg of (?P<name>.+?) already in (?P<week>\d{4}-W\d\d): it is first needed in (?P<needed>\d{4}-W\d\d), when the (?:days|hands) are full\."), ahead),
    (re.compile(r"An hour more of (?P<what>.+) in (?P<when>\d{4}-W\d\d) would save [A-Z]{3} (?P<saves>[\d ]+)\."), hour),
    (re.compile(r"One more helper shift (?:a week in (?P<weeks>\d+) weeks from |in )(?P<one>\d{4}-W\d\d)(?: to \d{4}-W\d\d)? would bring (?P<brings>[\d.]+) kg of the (?P<missing>[\d.]+) kg of "
                r"(?P<name>.+) that will be missing: the plan then calls (?P<shifts>\d+) more shifts? for [A-Z]{3} (?P<cost>[\d ]+), and [A-Z]{3} (?P<saves>[\d ]+) is left over after paying for them\."), helps),
    (re.compile(r"(?P<names>.+): (?:its|their) season runs on to (?P<end>\S+), beyond these weeks; plan (?P<weeks>\d+) weeks to see all of it\."), runs_on),
    (re.compile(r"The plan calls a helper for (?P<total>\d+) shifts?: (?P<weeks>.+)\."), shifts),
    (re.compile(r"It asks for (?P<hours>[\d.]+) hours of overtime in (?P<weeks>\d+) weeks?\."), overtime),
    (re.compile(r"This plan costs at most (?P<percent>[\d.]+) % more than the best possible \((?:less than [A-Z]{3} 1|[A-Z]{3} (?P<away>[\d ]+))\)"
                r"(?:, and [A-Z]{3} (?P<better>[\d ]+) less than the best simple rule \((?P<rule>.+?)\))?\.(?P<stopped> It was stopped early: .+)?"), proof),
    (re.compile(r"Kept unchanged over (?P<seasons>\d+) seasons .+ cost [A-Z]{3} (?P<mean>-?[\d ]+) on average \([A-Z]{3} (?P<low>-?[\d ]+) to [A-Z]{3} (?P<high>-?[\d ]+) in 8 of 10\) "
                r"and miss (?P<missed>[\d.]+) % of what is wanted; .+"), kept),
    (re.compile(r"In (?P<one>\d{4}-W\d\d) the minutes suffice but the days do not: no day is found for (?P<names>.+)\."), no_day),
    (re.compile(r"In (?P<one>\d{4}-W\d\d) (?P<day>\d{4}-\d\d-\d\d) cannot be worked as planned(?: with its show at (?P<show>[\d:-]+))?: .+"), bad_day),
    (re.compile(r"Batch(?:es)? (?P<names>[\w, ]+) (?:is|are) in work: the [\d.]+ kg still to come count as stock, and (?P<hours>[\d.]+) hours of (?P<week>\d{4}-W\d\d) are theirs\."), in_work),
    (re.compile(r"(?P<names>.+): (?:its season begins|their seasons begin) after these weeks; not planned yet\."), later),
    (re.compile(r"Plan \S+ wants \d+ batch(?:es)? \(.+\) in .+, where no making day is left: .+ planned anew\."), silent),
    (re.compile(r"(?P<name>.+) sells nothing \(0 g\) in the \d+ weeks planned: nothing is made but its display; look at its forecast or drop it\."), sells_nothing),
    (re.compile(r"(?P<name>.+): its season through \S+ is planned; the next, .+"), silent),
    (re.compile(r"Show .+"), silent),
)  # fmt: skip


def check(made: PlanMade) -> dict[str, int]:
    """Check every sentence; how many each check saw."""
    seen: dict[str, int] = {}
    for sentence in made.words:
        known = next(((m, do) for pattern, do in CHECKS if (m := pattern.fullmatch(sentence.text))), None)
        assert known is not None, f"no check knows this sentence: {sentence.text}"
        match, do = known
        if do is full and match["one"] is None:
            match = re.fullmatch(r"(?s).*", sentence.text) and full_of(sentence.text)
        do(made, match)
        seen[do.__name__] = seen.get(do.__name__, 0) + 1
    return seen


def full_of(text: str) -> re.Match[str]:
    """`From A to B the X is full` read with the names of `full`."""
    match = re.fullmatch(
        r"From (?P<one>\d{4}-W\d\d) to (?P<two>\d{4}-W\d\d) the (?P<what>.+? (?:is|are)) full(?:, though hands are left)?\.",
        text,
    )
    assert match is not None
    return match


def test_every_sentence_of_a_plan_is_true_of_its_figures(season_made: PlanMade):
    seen = check(season_made)
    assert {"start", "proof", "kept"} <= set(seen), seen


def test_every_sentence_of_a_shop_with_too_few_hands_is_true_of_its_figures(season_shop: Ledger):
    made = season_plan.make(
        season_shop, PlanSettings(weeks=7, making_percent=22, helper_shifts=1, overtime_minutes_a_day=30), "quick"
    )
    seen = check(made)
    assert {"full", "short"} <= set(seen), seen
    assert {"shifts", "overtime", "helps", "ahead"} & set(seen), seen


def test_a_wrong_figure_is_caught(season_made: PlanMade):
    """The checks themselves: one digit more in any sentence with a mass or a share, and a check fails."""
    from dataclasses import replace

    wrong = [
        replace(s, text=re.sub(r"(\d+) batch", lambda m: f"{int(m[1]) + 1} batch", s.text, count=1))
        for s in season_made.words
    ]
    assert any(a.text != b.text for a, b in zip(wrong, season_made.words, strict=True))
    with pytest.raises(AssertionError):
        check(replace(season_made, words=tuple(wrong)))
