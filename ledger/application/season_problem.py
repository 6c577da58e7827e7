"""The planning problem of the shop as it stands: book, labour history, stock, announced days and the forecast, in the planner's words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import pandas as pd

from ledger.analytics.compare import monday, shift, week_of
from ledger.analytics.forecast_input import closed_days, days
from ledger.application.season_batches import Batches as Known
from ledger.application.season_batches import InWork, Size
from ledger.application.season_demand import Demand, spread_of, things
from ledger.application.season_floor import Floor, floor_of
from ledger.application.season_forecast import Made
from ledger.application.season_history import announced
from ledger.application.season_settings import PlanSettings, prices_of
from ledger.domain.books import entries as e
from ledger.errors import BadInput
from ledger.forecast.calendar import week_number
from ledger.planning import Batches, Item, Opening, Problem, Season, ShowTime, Week
from ledger.planning.day import HANDS, DayShop
from ledger.planning.expected_loss import with_curves, with_safety
from ledger.planning.problem import price_of_a_missed_kilo
from ledger.quantities import time_span


@dataclass(frozen=True, slots=True)
class Asked:
    """A problem with what is needed to read its plan: item -> (flavour, design), the floor, the first day planned, notes.

    undone: what the plan in force wants made in weeks in which no making day is left; it is not kept, but planned anew.
    """

    problem: Problem
    shop: DayShop
    floor: Floor
    made_of: Mapping[str, tuple[str, str]]
    first_day: date
    forecast: Made
    settings: PlanSettings
    in_force: Any
    notes: tuple[str, ...]
    shut: frozenset[str] = frozenset()
    undone: tuple[Batches, ...] = ()

    def making_days(self, week: int) -> list[date]:
        """The days of a week on which something is made, as the planner counts them: from the first day planned on, shut days left out."""
        start = monday(self.problem.weeks[week].label)
        days_ = [start + timedelta(days=n) for n in range(7)]
        making = self.forecast.seen.on.site.making_days
        return [d for d in days_ if d >= self.first_day and d.isoweekday() in making and d.isoformat() not in self.shut]

    @property
    def week_starts(self) -> list[date]:
        """The Monday of each week planned."""
        return [monday(week.label) for week in self.problem.weeks]


def problem_of(forecast: Made, settings: PlanSettings) -> Asked:
    """The problem from the running week on: what is left of this week, then whole weeks."""
    seen = forecast.seen
    on, book = seen.on, seen.on.book
    start, today = monday(seen.origin), date.fromisoformat(seen.day)
    labels = [shift(seen.origin, n) for n in range(settings.weeks)]
    shut = _shut(on)
    known = Known(on)
    floor = floor_of(on, settings, seen.day, known.kettle_of)
    weeks = tuple(
        floor.week(label, today if n == 0 else monday(label), shut, settings) for n, label in enumerate(labels)
    )
    left_open = _left_open(on.site, start, today, shut)
    notes: list[str] = list(floor.notes)
    items, made_of = [], {}
    away: list[str] = []
    lots = on.queries.lots()
    wanted = things(on.book, {})
    sizes = {
        (f.id, d.id if d else ""): known.size(f.id, d.id if d else "", on.book.recipe_of(f.id), floor.by_kettle.get(d.kind if d else "plain"))
        for f, d in wanted
    }  # fmt: skip
    working = known.in_work(lots, sizes, today)
    weeks = (_less_in_work(weeks[0], working, floor, book, notes), *weeks[1:])
    demand = Demand(forecast, labels, left_open, notes)
    for flavour, design in things(on.book, demand.designs):
        key = flavour.id if demand.designs.get(flavour.id, 1) == 1 else f"{flavour.id}.{design.id if design else '-'}"
        if _away(forecast, flavour, start, settings):
            away.append(flavour.name)
            continue
        made_of[key] = (flavour.id, design.id if design else "")
        size = sizes[(flavour.id, design.id if design else "")]
        items.append(
            _item(key, flavour, design, forecast, settings, floor, size, lots, working, demand, start, today, notes)
        )
    shows = tuple(_shows(on, labels, today, shut, notes))
    away = list(dict.fromkeys(away))
    if away:
        notes.append(
            f"{', '.join(away)}: {'its season begins' if len(away) == 1 else 'their seasons begin'} after these weeks; not planned yet."
        )
    in_force = plan_in_force(on)
    frozen, kept, frozen_weeks = _standing(on, in_force, labels, seen.origin, made_of)
    undone = tuple(x for x in (*frozen, *kept) if not weeks[x.week].days)
    frozen, kept = (tuple(x for x in lines if weeks[x.week].days) for lines in (frozen, kept))
    if undone:
        notes.append(_undone_words(in_force.plan, undone, {i.key: i.name for i in items}, labels))
    problem = Problem(
        items=tuple(items), weeks=weeks, prices=prices_of(settings, book), kettles=known.kettles, show_times=shows,
        store_g=settings.store_kg * 1000 if settings.store_kg else None, frozen_weeks=frozen_weeks, frozen=frozen, kept=kept,
        kept_weeks=max(2, frozen_weeks), currency=on.site.currency, minor_per_major=10**on.site.currency_digits,
        opens=9 * 60, closes=9 * 60 + on.site.day_seconds // 60,
    )  # fmt: skip
    return Asked(
        problem,
        floor.shop,
        floor,
        made_of,
        today,
        forecast,
        settings,
        in_force,
        tuple(dict.fromkeys(notes)),
        frozenset(shut),
        undone,
    )


def _undone_words(plan: str, undone: Sequence[Batches], names: Mapping[str, str], labels: Sequence[str]) -> str:
    """Which batches of the plan in force have no making day left, in one sentence."""
    weeks = sorted({x.week for x in undone})
    counts: dict[str, int] = {}
    for x in undone:
        counts[names[x.item]] = counts.get(names[x.item], 0) + x.batches
    number = sum(counts.values())
    what = ", ".join(f"{n} of {name}" for name, n in list(counts.items())[:4]) + (
        " and others" if len(counts) > 4 else ""
    )
    when = labels[weeks[0]] if len(weeks) == 1 else f"{labels[weeks[0]]} to {labels[weeks[-1]]}"
    return (
        f"Plan {plan} wants {number} {'batch' if number == 1 else 'batches'} ({what}) in {when}, where no making day is left: "
        f"{'it is' if number == 1 else 'they are'} planned anew."
    )


def _less_in_work(week: Week, working: Sequence[InWork], floor: Floor, book: Any, notes: list[str]) -> Week:
    """The running week less what the batches in work still ask of it; told as a note."""
    if not working:
        return week
    hands, stations = week.hands_minutes, dict(week.stations)
    for batch in working:
        design = book.find(e.Design, batch.design)
        left = floor.left(book.recipe_of(batch.flavour), design.kind if design else "plain", batch.done)
        hands -= left.pop(HANDS, 0)
        for name, minutes in left.items():
            if name in stations:
                stations[name] = max(0, stations[name] - minutes)
    taken = week.hands_minutes - max(0, hands)
    names = ", ".join(sorted(b.batch for b in working))
    kilos = sum(b.grams for b in working) / 1000
    one = len(working) == 1
    theirs = f", and {taken / 60:.1f} hours of {week.label} are theirs" if taken else ""
    notes.append(
        f"{'Batch' if one else 'Batches'} {names} {'is' if one else 'are'} in work: the {kilos:.0f} kg still to come count as stock{theirs}."
    )
    return replace(week, hands_minutes=max(0, hands), stations=stations)


def _item(
    key: str, flavour: e.Flavour, design: e.Design | None, forecast: Made, settings: PlanSettings, floor: Floor, size: Size,
    lots: pd.DataFrame, working: Sequence[InWork], demand: Demand, start: date, today: date, notes: list[str],
) -> Item:  # fmt: skip
    book = forecast.seen.on.book
    recipe = book.recipe_of(flavour.id)
    kind = design.kind if design else "plain"
    name = (
        flavour.name if demand.designs.get(flavour.id, 1) == 1 or design is None else f"{flavour.name}, {design.name}"
    )
    packs = [p for p in book.all(e.Pack) if p.flavour == flavour.id and (not design or p.design in ("", design.id))]
    material = size.material_per_kg
    price = _price_per_kg(packs, forecast, flavour.id)
    grams = demand.grams_by_week(flavour.id, design.id if design else "")
    season = _season(forecast, flavour, start, settings, material, name, notes)
    feast = season is not None
    if season is not None and season.last_week < 0:
        grams = [0] * len(grams)
    average = sum(grams) // max(1, len(grams))
    life = max((p.best_before_days for p in packs), default=365)
    wait, not_yet = _waits(forecast, recipe, lots, today)
    item = Item(
        key=key, name=name, batch_g=size.batch_g, demand_g=tuple(grams), minutes=floor.minutes(recipe, kind), kind=kind, flavour=flavour.id,
        family=flavour.colour or flavour.id, load_g=size.load_g, loads=size.loads,
        has_recipe=recipe is not None, price_per_kg=price, material_per_kg=material,
        lost_per_kg=price_of_a_missed_kilo(price, material, settings.lost_percent_feast if feast else settings.lost_percent_everyday),
        hold_per_kg_week=settings.hold_per_kg_week, display_g=sum(p.display_minimum * p.net_mg for p in packs) // 1000,
        shelf_weeks=max(1, life * settings.keep_percent // 700), opening=_opening(lots, working, flavour.id, design, start, life), season=season,
        earliest_week=wait, not_yet=not_yet, closing_cap_g=0 if feast else settings.closing_weeks * average,
        closing_value_per_kg=0 if feast else material + 120, closing_low_per_kg=0 if feast else material // 2,
        good_to_show=kind == "picture", most_a_week=settings.most_a_week,
    )  # fmt: skip
    if feast and any(grams):
        item = with_curves(item, demand.cumulative_sd(flavour.id, grams))
    elif any(grams) and 0 < settings.service_percent < 100:
        item = with_safety(item, demand.week_sd(flavour.id), settings.service_percent / 100)
    return item


def _price_per_kg(packs: list[e.Pack], forecast: Made, flavour: str) -> int:
    """Mean price of a kilo over what was lately sold of each pack; the plain mean where nothing was."""
    sold = forecast.seen.sold
    mine = sold[(sold["flavour"] == flavour)].groupby("item")["mass_mg"].sum()
    known = {p.id: p.price * 1_000_000 // p.net_mg for p in packs if p.net_mg and p.price}
    weight = {id: int(mine.get(id, 0)) for id in known}
    if sum(weight.values()):
        return sum(known[id] * w for id, w in weight.items()) // sum(weight.values())
    return sum(known.values()) // len(known) if known else 0


def _runs(
    forecast: Made, flavour: e.Flavour, start: date, settings: PlanSettings
) -> list[tuple[date, date, str]] | None:
    """First and last day and feast of a flavour's seasons, oldest first, from long ago to beyond the weeks planned; None for one sold all year."""
    windows = forecast.seen.settings.windows_of(flavour.id)
    if not windows:
        return None
    found = []
    for window in windows:
        feast = forecast.seen.settings.feast(window.feast)
        for day in feast.days(start - timedelta(days=2000), start + timedelta(days=7 * settings.weeks + 400)):
            found.append(
                (day - timedelta(days=window.days_before), day + timedelta(days=window.days_after), window.feast)
            )
    return sorted(found)


def _season(
    forecast: Made, flavour: e.Flavour, start: date, settings: PlanSettings, material: int, name: str, notes: list[str]
) -> Season | None:
    """First and last week in which a season flavour sells next, counted from the first week planned; None for one sold all year."""
    runs = _runs(forecast, flavour, start, settings)
    if runs is None:
        return None
    ahead = [run for run in runs if run[1] >= start]
    salvage = material * settings.salvage_percent // 100
    if not ahead:
        feasts = ", ".join(w.feast for w in forecast.seen.settings.windows_of(flavour.id))
        after = {w.feast: w.days_after for w in forecast.seen.settings.windows_of(flavour.id)}
        when = (
            f"was last on {runs[-1][1] - timedelta(days=after[runs[-1][2]])}"
            if runs
            else "has no day in the book near these weeks"
        )
        notes.append(f"{name}: its feast {feasts} {when}; enter its next date in the book. Nothing is planned for it.")
        return Season(first_week=-2, last_week=-1, salvage_per_kg=salvage)
    first, last = (ahead[0][0] - start).days // 7, (ahead[0][1] - start).days // 7
    if last >= settings.weeks:
        return Season(first_week=max(0, first), last_week=settings.weeks - 1, salvage_per_kg=material)
    if len(ahead) > 1 and ahead[1][0] < start + timedelta(weeks=settings.weeks):
        notes.append(
            f"{name}: its season through {ahead[0][1]} is planned; the next, from {ahead[1][0]} for {ahead[1][2]}, is not. Plan again then."
        )
    return Season(first_week=max(0, first), last_week=last, salvage_per_kg=salvage)


def _away(forecast: Made, flavour: e.Flavour, start: date, settings: PlanSettings) -> bool:
    """Whether a season flavour's next season begins only after the last week planned."""
    ahead = [run for run in _runs(forecast, flavour, start, settings) or [] if run[1] >= start]
    return bool(ahead) and ahead[0][0] >= start + timedelta(weeks=settings.weeks)


def _opening(
    lots: pd.DataFrame, working: Sequence[InWork], flavour: str, design: e.Design | None, start: date, life: int
) -> tuple[Opening, ...]:
    """What may be sold of what is there: packs and pieces of finished batches not held, with the last week of each lot's date, and batches in work."""
    open_batches = {w.batch for w in working}
    mine = lots[(lots["flavour"] == flavour) & lots["kind"].isin(["packs", "pieces"]) & (lots["held"] == "")]
    mine = mine[~mine["batch"].isin(open_batches)]
    if design is not None:
        mine = mine[mine["design"].isin(["", design.id])]
    found = []
    for lot in mine.to_dict("records"):
        last = 10_000
        if lot["best_before"]:
            last = (date.fromisoformat(str(lot["best_before"])) - start).days // 7
        if last >= 0 and lot["mass_mg"] > 0:
            found.append(Opening(grams=int(lot["mass_mg"]) // 1000, good_through=last))
    for batch in working:
        if batch.flavour == flavour and (design is None or batch.design in ("", design.id)):
            last = (date.fromisoformat(batch.day) + timedelta(days=life) - start).days // 7
            found.append(Opening(grams=batch.grams, good_through=last))
    return tuple(found)


def _waits(forecast: Made, recipe: e.Recipe | None, lots: pd.DataFrame, today: date) -> tuple[int, str]:
    """First week in which everything for one batch can be in the house, and what it waits for."""
    if recipe is None:
        return 0, "the material is not in the house"
    book = forecast.seen.on.book
    wait, what = 0, ""
    free = lots[(lots["kind"] == "material") & (lots["held"] == "")].groupby("item")["mass_mg"].sum()
    for line in recipe.lines:
        material = book.find(e.Material, line.material)
        if material is None or not material.tracked or int(free.get(line.material, 0)) >= line.mass_mg:
            continue
        there = today + timedelta(days=material.lead_days + 1)
        weeks = (there - today + timedelta(days=today.weekday())).days // 7
        weeks = weeks if weeks > wait else wait
        if weeks >= wait:
            wait, what = weeks, material.name
    return wait, f"{what} is not in the house" if what else "the material is not in the house"


def _shut(on: Any) -> set[str]:
    rows = [(p.from_day, p.to_day, p.flavour, p.channel, p.kind) for p in announced(on, "closure")]
    return closed_days(pd.DataFrame(rows, columns=["from_day", "to_day", "flavour", "channel", "kind"]))


def _left_open(site: e.Site, start: date, today: date, shut: set[str]) -> float:
    days = [start + timedelta(days=n) for n in range(7)]
    open_days = [d for d in days if d.isoweekday() in site.open_days and d.isoformat() not in shut]
    return sum(d >= today for d in open_days) / len(open_days) if open_days else 0.0


def _shows(on: Any, labels: list[str], today: date, shut: set[str], notes: list[str]) -> list[ShowTime]:
    """Shows announced, each of their days as week, making day of that week and minutes of the day. Older entries begin their note with the time.

    The days of a week are counted as the planner counts them: making days that are not shut, from today on in the running week.
    """
    found = []
    for paper in announced(on, "show"):
        try:
            start, end = time_span(paper.at or (paper.note.split() or [""])[0])
        except BadInput:
            notes.append(
                f"The show on {paper.from_day} does not say from when to when (`14:00-15:30`); it is left out."
            )
            continue
        for day in days(paper.from_day, paper.to_day):
            label = week_of(day)
            if day < today or label > labels[-1]:
                continue
            first = max(today, monday(label))
            making = [d for d in days(first.isoformat(), (monday(label) + timedelta(days=6)).isoformat())
                      if d.isoweekday() in on.site.making_days and d.isoformat() not in shut]  # fmt: skip
            if day not in making:
                notes.append(
                    f"The show on {day} is on a day on which nothing is made; it is left out. Make that day a making day, or move the show."
                )
                continue
            week = week_number(label) - week_number(labels[0])
            found.append(ShowTime(week=week, day=making.index(day), start=start, end=end))
    return found


def plan_in_force(on: Any) -> Any:
    """The newest adopted plan as known (None: there is none)."""
    papers = [p for position, p in on.queries.papers("plan") if position <= on.known]
    return papers[-1] if papers else None


def _standing(
    on: Any, paper: Any, labels: list[str], origin: str, made_of: Mapping[str, tuple[str, str]]
) -> tuple[tuple[Batches, ...], tuple[Batches, ...], int]:
    """Frozen lines, kept lines and how many weeks are frozen, of the plan in force.

    A batch opened from one of its lines is taken off that line, whenever it was due; one made beside the plan this week off a line of this week.
    """
    if paper is None:
        return (), (), 0
    first = min(monday(origin), date.fromisoformat(paper.day) - timedelta(days=1))
    opened = on.queries.batches(first_day=first.isoformat())
    opened = opened[opened["status"] != "void"]
    names = set(opened["plan_line"])
    beside: dict[tuple[str, str], int] = {}
    for row in opened[(opened["day"] >= monday(origin).isoformat()) & (opened["position"] > paper.as_of)].to_dict(
        "records"
    ):
        if not str(row["plan_line"]).startswith(f"{paper.plan}/"):
            key = (str(row["flavour"]), str(row["design"]))
            beside[key] = beside.get(key, 0) + 1
    frozen: list[Batches] = []
    kept: list[Batches] = []
    for line in paper.lines:
        if line["item"] not in made_of or line["label"] not in labels:
            continue
        week, batches = labels.index(line["label"]), sum(name not in names for name in line["plan_lines"])
        if week == 0:
            thing = made_of[line["item"]]
            used = min(batches, beside.get(thing, 0))
            beside[thing] = beside.get(thing, 0) - used
            batches -= used
        if batches > 0:
            row = Batches(item=line["item"], week=week, batches=batches, kettle=str(line.get("kettle", "")))
            (frozen if line["label"] <= paper.frozen_until else kept).append(row)
    frozen_weeks = sum(label <= paper.frozen_until for label in labels)
    return tuple(frozen), tuple(kept), frozen_weeks


__all__ = ["Asked", "plan_in_force", "problem_of", "spread_of", "things"]
