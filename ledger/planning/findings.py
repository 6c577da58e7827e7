"""What is wrong with a planning problem, said clearly, and the part of it that can still be planned.

A planner that refuses everything because one flavour has no recipe is no help three weeks before a fair. Each thing wrong
becomes a finding with the value, the limit and the way out; the rest is planned.
"""

from __future__ import annotations

from dataclasses import replace

from ledger.errors import BadInput
from ledger.planning.finding import Finding, joined, weeks_said
from ledger.planning.findings_floor import room, show_times, week_of
from ledger.planning.problem import UNSTATED_G, Item, Kettle, Load, Problem
from ledger.planning.said import mass_exact, price_said


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
    shows = show_times(problem, items, findings)
    weeks = [week_of(week, t, shows) for t, week in enumerate(problem.weeks)]
    room(problem, findings)
    store = problem.store_g
    if store is not None and store < 0:
        findings.append(
            Finding(
                "store-below-nothing",
                "store",
                f"storage of {mass_exact(problem, store)} is below 0: taken as 0; enter what it holds",
            )
        )
        store = 0
    findings = joined(findings)
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
                    f"kettle {kettle.name} holds {mass_exact(problem, kettle.size_g)}, less than its minimum load of "
                    f"{mass_exact(problem, kettle.minimum_g)}: nothing is planned in it; correct the size or the minimum load",
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
            wrong = f"gives {mass_exact(problem, load.batch_g)} to sell; state what it gives"
        elif kettle is not None and load.load_g and not kettle.minimum_g <= load.load_g <= kettle.size_g:
            wrong = (
                f"of {mass_exact(problem, load.load_g)} does not fit a kettle of {_room_of(problem, kettle)}; "
                "change the load or the kettle"
            )
        if wrong:
            text = f": the load in the {load.kettle} {wrong}"
            findings.append(
                Finding("load-cannot-be", item.key, f"{item.name}{text}", (item.name,), f"{{names}}{_plain(text)}")
            )
        elif kettle is not None or not listed:
            good.append(load)
    return tuple(good)


def _item(problem: Problem, item: Item, findings: list[Finding], kettles: dict[str, Kettle]) -> Item:
    """The item as it can be planned: its demand in order, and no batches where none can be made."""

    def found(code: str, message: str, more: str = "") -> None:
        findings.append(Finding(code, item.key, message, (item.name,), more))

    weeks, season = len(problem.weeks), item.season
    demand = list(item.demand_g[:weeks]) + [0] * (weeks - len(item.demand_g))
    if len(item.demand_g) != weeks:
        found(
            "demand-length",
            f"{item.name}: demand for {weeks_said(len(item.demand_g))}, {weeks} planned; the rest taken as 0; forecast them all",
        )
    if any(d < 0 for d in demand):
        low = min(demand)
        found(
            "demand-below-nothing",
            f"{item.name}: a demand of {mass_exact(problem, low)} is below 0 and is taken as 0; correct it",
        )
        demand = [max(0, d) for d in demand]
    changes: dict[str, object] = {}
    never = 0
    if not item.has_recipe:
        found(
            "no-recipe",
            f"{item.name} has no recipe: no batch is planned, its demand counts as short; give it a recipe",
            "{names} have no recipe: no batch of them is planned, their demand counts as short; give each a recipe",
        )
        changes["most_a_week"] = never
    elif item.loads:
        changes["loads"] = _loads(problem, item, findings, kettles)
        if not changes["loads"]:
            found(
                "no-kettle-fits",
                f"{item.name}: none of its loads can be cooked; nothing of it is planned",
                "{names}: none of their loads can be cooked; nothing of them is planned",
            )
            changes |= {"most_a_week": never, "batch_g": 0}
    elif item.batch_g <= 0:
        text = f"a batch of {mass_exact(problem, item.batch_g)} sells nothing; state what a batch gives"
        found("no-yield", f"{item.name}: {text}", f"{{names}}: {text}")
        changes |= {"most_a_week": never, "batch_g": 0}
    fits = item.loads or any(k.minimum_g <= item.load_g <= k.size_g for k in kettles.values())
    if problem.kettles and item.load_g and not fits:
        room = ", ".join(_room_of(problem, kettle) for kettle in kettles.values()) or "none usable"
        text = f": a load of {mass_exact(problem, item.load_g)} fits no kettle ({room}); change the batch or the kettle"
        found("no-kettle-fits", f"{item.name}{text}", f"{{names}}{_plain(text)}")
        changes["most_a_week"] = never
    if season is not None and season.last_week < 0:
        found(
            "feast-in-the-past",
            f"{item.name}: its feast was {weeks_said(-season.last_week)} before the plan; it is left out; "
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
        rest = f"(0 g) in the {weeks_said(weeks)} planned: nothing is made but"
        found(
            "no-demand",
            f"{item.name} sells nothing {rest} its display; look at its forecast or drop it",
            f"{{names}} sell nothing {rest} their display; look at their forecast or drop them",
        )
    curves = item.loss_curves
    if curves is not None and len(curves) != weeks:
        found(
            "curve-length",
            f"{item.name}: loss curves for {weeks_said(len(curves))}, {weeks} planned; planned as forecast",
        )
        changes["loss_curves"] = None
    if item.lost_per_kg <= 0 < sum(demand):
        found(
            "missed-kilo-free",
            f"{item.name}: missing it costs nothing ({price_said(problem, item.lost_per_kg)}), so none of it is made; give it a price",
        )
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
        found(
            "closing-too-dear",
            f"{item.name}: what is left of it counts {price_said(problem, item.closing_value_per_kg)}, no less than what is missed "
            f"({price_said(problem, item.lost_per_kg)}); it is taken as {price_said(problem, most)}; look at its price and its material's",
        )
        changes["closing_value_per_kg"] = most
    value = int(str(changes.get("closing_value_per_kg", item.closing_value_per_kg)))
    if item.closing_low_per_kg > value:
        changes["closing_low_per_kg"] = value
    return replace(item, demand_g=tuple(demand), **changes)  # type: ignore[arg-type]


def _room_of(problem: Problem, kettle: Kettle) -> str:
    """What a kettle takes, from its minimum to its size (which the book need not state)."""
    if kettle.minimum_g <= 0:
        return f"up to {mass_exact(problem, kettle.size_g)}"
    if kettle.size_g >= UNSTATED_G:
        return f"{mass_exact(problem, kettle.minimum_g)} or more"
    return f"{mass_exact(problem, kettle.minimum_g)} to {mass_exact(problem, kettle.size_g)}"


def _plain(text: str) -> str:
    """Text to be formatted, its braces kept as they are."""
    return text.replace("{", "{{").replace("}", "}}")
