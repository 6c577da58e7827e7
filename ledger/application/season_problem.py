"""The planning problem of the shop as it stands: book, labour history, stock, announced days and the forecast, in the planner's words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from ledger.analytics.compare import monday, shift
from ledger.application.season_batches import Batches as Known
from ledger.application.season_batches import InWork
from ledger.application.season_days import left_open, show_times, shut_days
from ledger.application.season_demand import Demand, things
from ledger.application.season_floor import Floor, floor_of
from ledger.application.season_forecast import Made
from ledger.application.season_in_force import lines_in_force, plan_in_force
from ledger.application.season_items import item_of
from ledger.application.season_settings import PlanSettings, prices_of
from ledger.application.season_windows import begins_after, running_on
from ledger.domain.books import entries as e
from ledger.planning import Batches, Problem, Week
from ledger.planning.day import HANDS, DayShop
from ledger.planning.said import mass_said


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
    shut = shut_days(on)
    known = Known(on)
    floor = floor_of(on, settings, seen.day, known.kettle_of)
    weeks = tuple(
        floor.week(label, today if n == 0 else monday(label), shut, settings) for n, label in enumerate(labels)
    )
    open_share = left_open(on.site, start, today, shut, seen.weekdays)
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
    weeks = (_less_in_work(weeks[0], working, floor, book, on.site.units, notes), *weeks[1:])
    demand = Demand(forecast, labels, open_share, notes)
    for flavour, design in things(on.book, demand.designs):
        key = flavour.id if demand.designs.get(flavour.id, 1) == 1 else f"{flavour.id}.{design.id if design else '-'}"
        if begins_after(forecast, flavour, start, settings):
            away.append(flavour.name)
            continue
        made_of[key] = (flavour.id, design.id if design else "")
        size = sizes[(flavour.id, design.id if design else "")]
        items.append(
            item_of(key, flavour, design, forecast, settings, floor, size, lots, working, demand, start, today, notes)
        )
    notes += running_on(items, forecast, start, settings)
    shows = tuple(show_times(on, labels, today, shut, notes))
    away = list(dict.fromkeys(away))
    if away:
        notes.append(
            f"{', '.join(away)}: {'its season begins' if len(away) == 1 else 'their seasons begin'} after these weeks; not planned yet."
        )
    in_force = plan_in_force(on)
    frozen, kept, frozen_weeks = lines_in_force(on, in_force, labels, seen.origin, made_of)
    undone = tuple(x for x in (*frozen, *kept) if not weeks[x.week].days)
    frozen, kept = (tuple(x for x in lines if weeks[x.week].days) for lines in (frozen, kept))
    if undone:
        notes.append(_undone_words(in_force.plan, undone, {i.key: i.name for i in items}, labels))
    problem = Problem(
        items=tuple(items), weeks=weeks, prices=prices_of(settings, book), kettles=known.kettles, show_times=shows,
        store_g=settings.store_kg * 1000 if settings.store_kg else None, frozen_weeks=frozen_weeks, frozen=frozen, kept=kept,
        kept_weeks=max(2, frozen_weeks), currency=on.site.currency, minor_per_major=10**on.site.currency_digits,
        units=on.site.units, opens=9 * 60, closes=9 * 60 + on.site.day_seconds // 60,
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


def _less_in_work(week: Week, working: Sequence[InWork], floor: Floor, book: Any, units: str, notes: list[str]) -> Week:
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
    to_come = mass_said(sum(b.grams for b in working), units)
    one = len(working) == 1
    theirs = f", and {taken / 60:.1f} hours of {week.label} are theirs" if taken else ""
    notes.append(
        f"{'Batch' if one else 'Batches'} {names} {'is' if one else 'are'} in work: the {to_come} still to come count as stock{theirs}."
    )
    return replace(week, hands_minutes=max(0, hands), stations=stations)


__all__ = ["Asked", "problem_of"]
