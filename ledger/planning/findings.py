"""What is wrong with a planning problem, said clearly, and the part of it that can still be planned.

A planner that refuses everything because one flavour has no recipe is no help three weeks before a fair. Each thing wrong
becomes a finding with the value, the limit and the way out; the rest is planned.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from ledger.errors import BadInput
from ledger.planning.problem import Item, Kettle, Load, Problem, ShowTime, Week


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong: a permanent code, what it is about (item key, week label, kettle), and the sentence."""

    code: str
    about: str
    message: str


def sort_out(problem: Problem) -> tuple[Problem, list[Finding]]:
    """The part of a problem that can be planned, and everything found wrong with the rest.

    BadInput only when there is no week at all to plan, or two items share a key: then there is nothing to say in weeks.
    """
    if not problem.weeks:
        raise BadInput("there is no week to plan: choose a last week after this one", weeks=0)
    keys = [item.key for item in problem.items]
    double = next((key for key in keys if keys.count(key) > 1), None)
    if double is not None:
        raise BadInput(f"two items are called {double}: give each design and pack family its own key", item=double)
    findings: list[Finding] = []
    kettles_ok = _kettles(problem, findings)
    items = [_item(problem, item, findings, kettles_ok) for item in problem.items]
    shows = _show_times(problem, items, findings)
    weeks = [_week(week, t, shows) for t, week in enumerate(problem.weeks)]
    _room(problem, findings)
    store = problem.store_g
    if store is not None and store < 0:
        findings.append(
            Finding("store-below-nothing", "store", f"storage of {store} g is below 0: taken as 0; enter what it holds")
        )
        store = 0
    clean = replace(problem, items=tuple(items), weeks=tuple(weeks), show_times=tuple(shows), store_g=store)
    return clean, findings


def _kettles(problem: Problem, findings: list[Finding]) -> dict[str, Kettle]:
    """The kettles that can be used, by name."""
    good = {}
    for kettle in problem.kettles:
        if kettle.size_g < kettle.minimum_g or kettle.size_g <= 0:
            findings.append(
                Finding(
                    "kettle-too-small",
                    kettle.name,
                    f"kettle {kettle.name} holds {kettle.size_g} g, less than its minimum load of {kettle.minimum_g} g: "
                    "nothing is planned in it; correct the size or the minimum load",
                )
            )
        else:
            good[kettle.name] = kettle
    return good


def _loads(problem: Problem, item: Item, findings: list[Finding], kettles: dict[str, Kettle]) -> tuple[Load, ...]:
    """The item's loads that can be cooked: each in a kettle of its own that can be used, and within what that kettle takes."""
    good: list[Load] = []
    listed = {kettle.name for kettle in problem.kettles}
    for load in item.loads:
        kettle = kettles.get(load.kettle)
        wrong = ""
        if any(load.kettle == other.kettle for other in good):
            wrong = "is there twice; the first is kept"
        elif kettle is None and listed and load.kettle not in listed:
            wrong = f"is in none of the kettles ({', '.join(sorted(listed))}); name one of them"
        elif load.batch_g <= 0:
            wrong = f"gives {load.batch_g} g to sell; state what it gives"
        elif kettle is not None and load.load_g and not kettle.minimum_g <= load.load_g <= kettle.size_g:
            wrong = (
                f"of {load.load_g} g does not fit a kettle of {kettle.minimum_g} to {kettle.size_g} g; "
                "change the load or the kettle"
            )
        if wrong:
            findings.append(Finding("load-cannot-be", item.key, f"{item.name}: the load in the {load.kettle} {wrong}"))
        elif kettle is not None or not listed:
            good.append(load)
    return tuple(good)


def _item(problem: Problem, item: Item, findings: list[Finding], kettles: dict[str, Kettle]) -> Item:
    """The item as it can be planned: its demand in order, and no batches where none can be made."""

    def found(code: str, message: str) -> None:
        findings.append(Finding(code, item.key, message))

    weeks, season = len(problem.weeks), item.season
    demand = list(item.demand_g[:weeks]) + [0] * (weeks - len(item.demand_g))
    if len(item.demand_g) != weeks:
        found(
            "demand-length",
            f"{item.name}: demand for {len(item.demand_g)} weeks, {weeks} planned; the rest taken as 0; forecast them all",
        )
    if any(d < 0 for d in demand):
        low = min(demand)
        found("demand-below-nothing", f"{item.name}: a demand of {low} g is below 0 and is taken as 0; correct it")
        demand = [max(0, d) for d in demand]
    changes: dict[str, object] = {}
    never = 0
    if not item.has_recipe:
        found(
            "no-recipe", f"{item.name} has no recipe: no batch is planned, its demand counts as short; give it a recipe"
        )
        changes["most_a_week"] = never
    elif item.loads:
        changes["loads"] = _loads(problem, item, findings, kettles)
        if not changes["loads"]:
            found("no-kettle-fits", f"{item.name}: none of its loads can be cooked; nothing of it is planned")
            changes |= {"most_a_week": never, "batch_g": 0}
    elif item.batch_g <= 0:
        found("no-yield", f"{item.name}: a batch of {item.batch_g} g sells nothing; state what a batch gives")
        changes |= {"most_a_week": never, "batch_g": 0}
    room = [(kettle.minimum_g, kettle.size_g) for kettle in kettles.values()]
    fits = item.loads or any(low <= item.load_g <= high for low, high in room)
    if problem.kettles and item.load_g and not fits:
        found(
            "no-kettle-fits",
            f"{item.name}: a load of {item.load_g} g fits no kettle "
            f"({', '.join(f'{low} to {high} g' for low, high in room) or 'none usable'}); change the batch or the kettle",
        )
        changes["most_a_week"] = never
    if season is not None and season.last_week < 0:
        found(
            "feast-in-the-past",
            f"{item.name}: its feast was {-season.last_week} {'week' if season.last_week == -1 else 'weeks'} before the plan; it is left out; "
            "enter its next date",
        )
        changes |= {"most_a_week": never, "season": None, "display_g": 0}
        demand = [0] * weeks
    elif season is not None and season.first_week > season.last_week:
        found(
            "season-backwards",
            f"{item.name}: season from week {season.first_week} to {season.last_week}; order changed",
        )
        changes["season"] = replace(season, first_week=season.last_week, last_week=season.first_week)
    now = changes.get("season", season)
    if now is not None and isinstance(now, type(season)) and season is not None:
        last = max(season.first_week, season.last_week)
        if any(demand[last + 1 :]):
            found("demand-after-feast", f"{item.name}: demand after its feast week is left out")
            demand = [d if t <= last else 0 for t, d in enumerate(demand)]
    if not any(demand) and not (season is not None and season.last_week < 0):
        text = f"{item.name} sells nothing (0 g) in the {weeks} weeks planned: nothing is made but its display"
        found("no-demand", f"{text}; look at its forecast or drop it")
    curves = item.loss_curves
    if curves is not None and len(curves) != weeks:
        found("curve-length", f"{item.name}: loss curves for {len(curves)} weeks, {weeks} planned; planned as forecast")
        changes["loss_curves"] = None
    if item.lost_per_kg <= 0 < sum(demand):
        found("missed-kilo-free", f"{item.name}: a missed kilo costs {item.lost_per_kg}; a plan will make none of it")
    if any(v < 0 for v in item.minutes.values()):
        least = min(item.minutes.values())
        found("minutes-below-nothing", f"{item.name}: {least} minutes are below 0 and are taken as 0; correct them")
        changes["minutes"] = {name: max(0, v) for name, v in item.minutes.items()}
    if any(v < 0 for load in item.loads for v in (load.minutes or {}).values()):
        found("minutes-below-nothing", f"{item.name}: minutes of a load below 0 are taken as 0")
        changes["loads"] = tuple(
            replace(load, minutes=load.minutes and {name: max(0, v) for name, v in load.minutes.items()})
            for load in changes.get("loads", item.loads)  # type: ignore[attr-defined]
        )
    if item.closing_value_per_kg >= item.lost_per_kg > 0 and item.closing_cap_g:
        most = max(0, item.lost_per_kg - 1)
        found("closing-too-dear", f"{item.name}: closing stock worth {item.closing_value_per_kg}, taken as {most}")
        changes["closing_value_per_kg"] = most
    value = int(str(changes.get("closing_value_per_kg", item.closing_value_per_kg)))
    if item.closing_low_per_kg > value:
        changes["closing_low_per_kg"] = value
    return replace(item, demand_g=tuple(demand), **changes)  # type: ignore[arg-type]


def _show_times(problem: Problem, items: list[Item], findings: list[Finding]) -> list[ShowTime]:
    """Show times that can be kept; each that cannot is named with what it runs into."""
    kept: list[ShowTime] = []
    for show in sorted(problem.show_times, key=lambda s: (s.week, s.day, s.start, s.end)):
        label = problem.weeks[show.week].label if 0 <= show.week < len(problem.weeks) else f"week {show.week}"
        when = f"{label} day {show.day + 1} {_clock(show.start)}-{_clock(show.end)}"
        clash = next((o for o in kept if (o.week, o.day) == (show.week, show.day) and show.start < o.end), None)
        if not 0 <= show.week < len(problem.weeks):
            wrong = "lies outside the weeks planned"
        elif show.end <= show.start:
            wrong = "ends before it begins"
        elif not 0 <= show.day < problem.weeks[show.week].days:
            wrong = f"is on a day without making (there are {problem.weeks[show.week].days} that week)"
        elif show.start < problem.opens or show.end > problem.closes:
            wrong = f"is outside making hours {_clock(problem.opens)}-{_clock(problem.closes)}"
        elif clash is not None:
            wrong = f"overlaps the show {_clock(clash.start)}-{_clock(clash.end)}"
        else:
            kept.append(show)
            continue
        findings.append(Finding("show-cannot-be", when, f"show {when} {wrong}: it is left out; change or remove it"))
    promised = bool(kept) or any(week.shows for week in problem.weeks)
    if promised and not any(item.good_to_show and item.most_a_week for item in items):
        count = max(len(kept), sum(week.shows for week in problem.weeks))
        text = (
            f"{count} shows are promised but no design that can be made is good to show; mark one or take the shows out"
        )
        findings.append(Finding("nothing-to-show", "shows", text))
    return kept


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _week(week: Week, t: int, shows: list[ShowTime]) -> Week:
    """The week with no figure below nothing, no hands where it is closed, and its kept show times counted."""
    wanted = max(week.shows, sum(1 for show in shows if show.week == t))
    open_days = max(0, week.days)
    return replace(
        week,
        days=open_days,
        hands_minutes=max(0, week.hands_minutes),
        overtime_minutes=max(0, week.overtime_minutes) if open_days else 0,
        helper_shifts=max(0, week.helper_shifts) if open_days else 0,
        stations={name: max(0, minutes) for name, minutes in week.stations.items()},
        shows=wanted if open_days else 0,
    )


def _room(problem: Problem, findings: list[Finding]) -> None:
    if all(week.days <= 0 for week in problem.weeks):
        findings.append(
            Finding(
                "no-making-days",
                "weeks",
                f"no week has a making day (0 in {len(problem.weeks)} weeks): only stock is sold; enter the making days",
            )
        )
    for week in problem.weeks:
        if week.hands_minutes < 0 or any(v < 0 for v in week.stations.values()):
            least = min([week.hands_minutes, *week.stations.values()])
            text = f"{week.label}: {least} minutes are below 0 and are taken as 0; enter what there is"
            findings.append(Finding("room-below-nothing", week.label, text))
    idle = [t for t, w in enumerate(problem.weeks) if w.days > 0 and _nobody(w)]
    for when, days, label in _runs(problem, idle):
        findings.append(
            Finding(
                "no-hands",
                label,
                f"{when} has {days} making days but no hands (0 person-minutes, overtime or helper shifts): "
                "nothing can be made; enter somebody's hours, overtime or a helper",
            )
        )
    for name in dict.fromkeys(name for week in problem.weeks for name in week.stations):
        out = [t for t, w in enumerate(problem.weeks) if w.days > 0 and w.stations.get(name) == 0]
        for when, days, label in _runs(problem, out):
            text = (
                f"{when}: the {name} {is_or_are(name, 'has', 'have')} 0 minutes in {days} making days, so nothing that needs "
                f"{is_or_are(name, 'it', 'them')} is made; give {is_or_are(name, 'it', 'them')} minutes or take the days out"
            )
            findings.append(Finding("station-out", label, text))


def _nobody(week: Week) -> bool:
    return week.hands_minutes >= 0 and week.hands_minutes + week.overtime_minutes + week.helper_shifts == 0


def _runs(problem: Problem, weeks: list[int]) -> list[tuple[str, int, str]]:
    """Weeks in a row as one: (what it is called, its making days, its first label)."""
    found: list[tuple[str, int, str]] = []
    first = 0
    for t in weeks:
        first = first if t - 1 in weeks else t
        if t + 1 in weeks:
            continue
        one, two = problem.weeks[first].label, problem.weeks[t].label
        days = sum(week.days for week in problem.weeks[first : t + 1])
        found.append((one if first == t else f"{one} to {two}", days, one))
    return found


def is_or_are(name: str, one: str, more: str) -> str:
    """The verb or pronoun of a resource: `hands who cook` are several, a slab is one."""
    return more if name.startswith("hands") else one
