"""The floor as the planner sees it: minutes a batch takes at each station and of hands, and what each week has of them."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import pandas as pd

from ledger.analytics.capacity import ENOUGH, step_times
from ledger.analytics.compare import shift, week_of
from ledger.application.reports_types import Basis
from ledger.application.season_batches import kettle_names
from ledger.application.season_settings import PlanSettings
from ledger.domain.books import entries as e
from ledger.planning import Week
from ledger.planning.day import HANDS, DayShop, Step
from ledger.planning.said import listed

STATION_OF = {
    "cook": "kettle",
    "pull": "puller",
    "blend": "slab",
    "build": "slab",
    "roll": "roller",
    "cut": "cutting block",
    "pack": "packing bench",
}
MOST_WAIT = {"pull": 5, "blend": 5, "build": 10, "roll": 10, "cut": 30}
"""Minutes hot candy may wait before a step (common practice, no source); packing can wait."""
NO_STATION = 99
HISTORY_WEEKS = 52


@dataclass(frozen=True, slots=True)
class Floor:
    """Minutes by kind of design and step, and the room there is.

    steps: kind -> steps with elapsed minutes and people (of the kind's first recipe where the ledger has too few). hands: kind -> person-minutes
    by step, of the kinds the ledger knows. counts: stations by kind. able: person
    minutes a week of those who can do a step not everybody can. week_minutes: person-minutes of a full week that are free for making.
    by_kettle: kind -> kettle -> what a batch cooked in it asks of hands and stations, where the ledger has enough of them. kettles: their names.
    """

    site: e.Site
    steps: dict[str, tuple[Step, ...]]
    hands: dict[str, dict[str, int]]
    recipes: dict[str, tuple[Step, ...]]
    counts: dict[str, int]
    able: dict[str, int]
    people: int
    week_minutes: int
    other_minutes: int
    shop: DayShop
    notes: tuple[str, ...]
    by_kettle: dict[str, dict[str, dict[str, int]]] = field(default_factory=dict)
    kettles: tuple[str, ...] = ()

    def minutes(self, recipe: e.Recipe | None, kind: str) -> dict[str, int]:
        """What one batch asks of hands (person-minutes) and of each station (minutes): the ledger's own, its recipe's until there is some."""
        return _asked(*self._batch(recipe, kind), self.counts, self.able)

    def left(self, recipe: e.Recipe | None, kind: str, done: Collection[str]) -> dict[str, int]:
        """What a batch in work still asks of hands and stations: its steps that are not done."""
        steps, hands = self._batch(recipe, kind)
        rest = tuple(s for s in steps if s.name not in done)
        return _asked(rest, {s: m for s, m in hands.items() if s not in done}, self.counts, self.able)

    def _batch(self, recipe: e.Recipe | None, kind: str) -> tuple[tuple[Step, ...], Mapping[str, int]]:
        """Steps and person-minutes of a batch. Where neither ledger nor its recipe says, those of the kind's first recipe."""
        if kind in self.hands:
            return self.steps[kind], self.hands[kind]
        steps = (_recipe_steps(recipe) if recipe else ()) or self.steps.get(kind, ())
        return steps, {s.name: s.minutes * s.people for s in steps}

    def week(self, label: str, first: date, shut: set[str], settings: PlanSettings) -> Week:
        """One week of the floor from `first` on: its making days, and hands and stations in proportion."""
        end = date.fromisocalendar(int(label[:4]), int(label[6:]), 7)
        days = [first + timedelta(days=n) for n in range((end - first).days + 1)]
        making = sum(d.isoweekday() in self.site.making_days and d.isoformat() not in shut for d in days)
        usual = max(1, len(self.site.making_days))
        day_minutes = self.site.day_seconds // 60
        stations = {kind: count * day_minutes * making for kind, count in self.counts.items()}
        stations |= dict.fromkeys(self.kettles, day_minutes * making)
        stations |= {able_name(step): minutes * making // usual for step, minutes in self.able.items()}
        return Week(
            label=label, days=making, hands_minutes=self.week_minutes * making // usual,
            overtime_minutes=self.people * settings.overtime_minutes_a_day * making,
            helper_shifts=min(settings.helper_shifts, making), stations=stations,
        )  # fmt: skip


def _asked(
    steps: Sequence[Step], hands: Mapping[str, int], counts: Mapping[str, int], able: Mapping[str, int]
) -> dict[str, int]:
    """Minutes by resource: hands (person-minutes), stations (minutes), and the hands of those who can do what not everybody can."""
    asked = {HANDS: sum(hands.values())}
    for step in steps:
        if step.station in counts:
            asked[step.station] = asked.get(step.station, 0) + step.minutes
    for step_name in able:
        asked[able_name(step_name)] = hands.get(step_name, 0)
    return asked


def able_name(step: str) -> str:
    """How the hands of those who can do a step are called in a plan."""
    return f"hands who {step}"


def floor_of(on: Basis, settings: PlanSettings, day: str, kettle_of: Mapping[str, str] | None = None) -> Floor:
    """The floor from the book's stations and workers and a year of the ledger's labour.

    kettle_of: the kettle of each batch; with it the minutes are told apart by kettle where there is enough history.
    """
    book, site, notes = on.book, on.site, []
    here = week_of(date.fromisoformat(day))
    lines = on.queries.balances(
        ["step", "batch", "design", "kind"], shift(here, -HISTORY_WEEKS), here, known=on.known, kinds=["work"]
    )
    kinds = pd.DataFrame([(d.id, d.kind) for d in book.all(e.Design)], columns=["design", "design_kind"])
    times = step_times(lines, kinds)
    recipes = {kind: _typical(book, kind) for kind in e.DESIGN_KINDS}
    steps: dict[str, tuple[Step, ...]] = {}
    hands: dict[str, dict[str, int]] = {}
    for kind in e.DESIGN_KINDS:
        rows = times[(times["design_kind"] == (kind if len(kinds) else "")) & ~times["thin"]]
        planned = {s.name: s for s in recipes[kind]}
        if rows.empty:
            if recipes[kind]:
                notes.append(f"Fewer than {ENOUGH} {kind} batches are in the ledger: their minutes are the recipe's.")
                steps[kind] = recipes[kind]
            continue
        steps[kind], hands[kind] = _worked(rows, planned)
    counts: dict[str, int] = {}
    for station in book.all(e.Station):
        counts[station.kind] = counts.get(station.kind, 0) + 1
    workers = book.all(e.Worker)
    able = _able(workers, settings, {str(step) for step in times["step"]}, notes)
    other = _other(lines)
    week_minutes = max(0, sum(w.week_seconds for w in workers) // 60 * settings.making_percent // 100 - other)
    if not workers:
        notes.append(
            "The book has no workers, so there are no hands to make anything; add them with their hours a week."
        )
    idle = [w.id for w in workers if not w.week_seconds]
    if idle and len(idle) == len(workers):
        notes.append(
            "No worker in the book has hours a week, so only overtime and helpers are planned; enter their hours."
        )
    elif idle:
        notes.append(
            f"{listed(idle)} {'has' if len(idle) == 1 else 'have'} no hours a week in the book, only overtime; enter them if they work."
        )
    people = len(workers)
    shop = _day_shop(site, steps, counts, people)
    cooked_in = sorted(set((kettle_of or {}).values()))
    by_kettle: dict[str, dict[str, dict[str, int]]] = {}
    for name in cooked_in if len(cooked_in) > 1 else ():
        mine = {batch for batch, kettle in (kettle_of or {}).items() if kettle == name}
        times = step_times(lines[lines["batch"].isin(mine)], kinds)
        for kind in e.DESIGN_KINDS:
            rows = times[(times["design_kind"] == (kind if len(kinds) else "")) & ~times["thin"]]
            if len(rows) and {str(s) for s in rows["step"]} >= set(hands.get(kind, {})):
                own_steps, own_hands = _worked(rows, {s.name: s for s in recipes[kind]})
                by_kettle.setdefault(kind, {})[name] = _asked(own_steps, own_hands, counts, able)
    kettles = tuple(kettle_names(book).values())
    return Floor(site, steps, hands, recipes, counts, able, people, week_minutes, other, shop, tuple(notes), by_kettle,
                 kettles if len(kettles) > 1 else ())  # fmt: skip


def _worked(rows: pd.DataFrame, planned: Mapping[str, Step]) -> tuple[tuple[Step, ...], dict[str, int]]:
    """Steps and person-minutes of a batch from the middle of what the ledger has of it."""
    found, mine = [], {}
    for row in rows.to_dict("records"):
        name, person_minutes = str(row["step"]), -(-int(row["median_s"]) // 60)
        if name not in STATION_OF:
            continue
        people = planned[name].people if name in planned else 1
        mine[name] = person_minutes
        found.append(
            Step(
                name=name,
                station=STATION_OF[name],
                minutes=max(1, -(-person_minutes // people)),
                people=people,
                most_wait=MOST_WAIT.get(name),
            )
        )
    return tuple(found), mine


def _day_shop(site: e.Site, steps: dict[str, tuple[Step, ...]], counts: dict[str, int], people: int) -> DayShop:
    named = {s.station for kind in steps.values() for s in kind}
    return DayShop(
        steps=steps, stations={name: counts.get(name, NO_STATION) for name in named}, people=people, minutes=site.day_seconds // 60
    )  # fmt: skip


def _able(workers: list[e.Worker], settings: PlanSettings, done: Collection[str], notes: list[str]) -> dict[str, int]:
    """Person-minutes a week of those who can do a step, for the steps that not everybody can do.

    done: steps with hours in the ledger. One of them that nobody is said to know is everybody's, and that is told.
    """
    out = {}
    for step in e.STEPS:
        can = [w for w in workers if not w.skills or step in w.skills]
        if workers and not can and step in done:
            notes.append(
                f"The ledger has hours of `{step}`, and no worker in the book has that skill: everybody is counted on for it. Enter who can."
            )
        elif len(can) < len(workers):
            out[step] = sum(w.week_seconds for w in can) // 60 * settings.making_percent // 100
    return out


def _other(lines: pd.DataFrame) -> int:
    """Person-minutes a week that go into work of no batch (cleaning, other), the mean over the year."""
    own = lines[lines["batch"] == ""]
    return int(own["seconds"].sum()) // 60 // HISTORY_WEEKS if len(own) else 0


def _typical(book: Any, kind: str) -> tuple[Step, ...]:
    """Steps of the first recipe whose flavour is made in a design of this kind."""
    for design in book.all(e.Design):
        recipe = book.recipe_of(design.flavour) if design.kind == kind else None
        if recipe is not None and recipe.steps:
            return _recipe_steps(recipe)
    return ()


def _recipe_steps(recipe: e.Recipe) -> tuple[Step, ...]:
    return tuple(
        Step(
            name=s.step,
            station=STATION_OF[s.step],
            minutes=-(-s.seconds // 60),
            people=s.people,
            most_wait=MOST_WAIT.get(s.step),
        )
        for s in recipe.steps
        if s.step in STATION_OF
    )


__all__ = ["STATION_OF", "Floor", "able_name", "floor_of"]
