"""Does it fit a day? The day's batches through kettle, slab, puller, table, roller and bench with the hands there are.

Hot candy does not wait: a step follows the one before within minutes. The schedule gives every step a start, an end, a
station and the people on it, ready to draw; the table of day mixes says which counts of plain, striped and picture fit.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from ledger.errors import UnknownThing
from ledger.planning.floor import After, Task, Timetable, timetable
from ledger.planning.problem import ShowTime

HANDS = "hands"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A step of making: its name and station, minutes, people on it, and how long the batch may wait before it."""

    name: str
    station: str
    minutes: int
    people: int
    most_wait: int | None = None


STEPS: dict[str, tuple[Step, ...]] = {
    kind: (
        Step(name="cook", station="kettle", minutes=cook, people=1),
        Step(name="pour and fold", station="slab", minutes=slab, people=2, most_wait=0),
        Step(name="pull", station="puller", minutes=pull, people=1, most_wait=5),
        Step(name="build", station="table", minutes=build, people=hands, most_wait=5),
        Step(name="roll and cut", station="roller", minutes=roll, people=2, most_wait=10),
        Step(name="pack", station="bench", minutes=pack, people=1),
    )
    for kind, cook, slab, pull, build, hands, roll, pack in (
        ("plain", 40, 15, 8, 20, 1, 25, 35),
        ("striped", 45, 20, 10, 40, 2, 30, 40),
        ("picture", 45, 25, 12, 75, 3, 40, 45),
    )
}
"""Minutes until the shop's own log says better (invented, common sense, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayShop:
    """The floor on a day: how many of each station, people, minutes of the day, lunch (people away in turn), clean-down.

    ``steps``: by kind of design. ``lunch``: (first minute, minutes) of each person's break; taken one person at a time.
    ``clean``: minutes to clean a station between colour families. Minutes count from opening.
    """

    steps: Mapping[str, tuple[Step, ...]]
    stations: Mapping[str, int]
    people: int
    minutes: int
    lunch_minutes: int = 30
    lunch_from: int = 150
    lunch_to: int = 300
    clean: Mapping[str, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """A batch to be made that day: a name for the chart, its kind, its colour family, and whether it is good to show."""

    name: str
    kind: str
    family: str = ""
    good_to_show: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One bar of the day chart: minutes from opening, station, and the numbers of the people on it (0 is the first)."""

    batch: str
    step: str
    station: str
    start: int
    end: int
    people: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPlan:
    """A day's chart; ``fits`` is False when no schedule was found, and then ``why`` says what was asked of what."""

    bars: tuple[Bar, ...]
    finish: int
    fits: bool
    proven: bool
    method: str
    why: str = ""


def minutes_of(steps: Sequence[Step]) -> dict[str, int]:
    """What one batch asks of each station, and of ``hands`` in person-minutes: the ``minutes`` of an item."""
    asked: dict[str, int] = {HANDS: sum(step.minutes * step.people for step in steps)}
    for step in steps:
        asked[step.station] = asked.get(step.station, 0) + step.minutes
    return asked


def plan_day(
    batches: Sequence[Batch],
    shop: DayShop,
    shows: Sequence[ShowTime] = (),
    opens: int = 0,
    use_solver: bool | None = None,
    any_that_fits: bool = False,
) -> DayPlan:
    """Schedule a day's batches; a show wants a showable batch under way from its start to its end.

    UnknownThing when a kind has no steps. Never raises because a day is too full: it says so.
    """
    tasks, owners = _tasks(batches, shop)
    room = {**shop.stations, HANDS: shop.people}
    wrong = _shows(batches, shop, tasks, owners, shows, opens)
    if wrong:
        return DayPlan(bars=(), finish=0, fits=False, proven=True, method="shows", why=wrong)
    lunches = _lunches(shop, len(batches)) if batches else []
    hands = sum(t.minutes * t.needs.get(HANDS, 0) for t in [*tasks, *lunches])
    found = None
    if hands <= shop.people * shop.minutes:
        found = timetable(
            [*tasks, *lunches],
            room,
            clean=shop.clean,
            latest=shop.minutes,
            use_solver=use_solver,
            effort=0.5 if any_that_fits else 4.0,
            any_that_fits=any_that_fits,
        )
    if found is None:
        asked = sum(t.minutes * t.needs.get(HANDS, 0) for t in tasks)
        why = (
            f"{len(batches)} {'batch asks' if len(batches) == 1 else 'batches ask'} for {asked} person-minutes; {shop.people} people have "
            f"{shop.people * (shop.minutes - shop.lunch_minutes)} in {shop.minutes} minutes, and the steps do not interleave"
        )
        return DayPlan(bars=(), finish=0, fits=False, proven=False, method="none found", why=why)
    return _chart(batches, owners, tasks, lunches, found, shop.people)


def _tasks(batches: Sequence[Batch], shop: DayShop) -> tuple[list[Task], list[tuple[int, Step]]]:
    tasks: list[Task] = []
    owners: list[tuple[int, Step]] = []
    for job, batch in enumerate(batches):
        if batch.kind not in shop.steps:
            raise UnknownThing(
                f"{batch.name}: no steps are known for kind {batch.kind}; there are {', '.join(sorted(shop.steps))}",
                kind=batch.kind,
            )
        for position, step in enumerate(shop.steps[batch.kind]):
            link = () if position == 0 else (After(task=len(tasks) - 1, most_wait=step.most_wait),)
            needs = {step.station: 1, HANDS: step.people}
            tasks.append(Task(minutes=step.minutes, needs=needs, after=link, job=job, family=batch.family))
            owners.append((job, step))
    return tasks, owners


def _shows(
    batches: Sequence[Batch],
    shop: DayShop,
    tasks: list[Task],
    owners: list[tuple[int, Step]],
    shows: Sequence[ShowTime],
    opens: int,
) -> str:
    """Tie each show to a batch of its own: begun by the show's start; returns what cannot be, or nothing."""
    free = [job for job, batch in enumerate(batches) if batch.good_to_show]
    for show in sorted(shows, key=lambda s: s.start):
        start, end = show.start - opens, show.end - opens
        if start < 0 or end > shop.minutes or end <= start:
            return f"the show at minute {start} to {end} lies outside the day of {shop.minutes} minutes"
        if not free:
            return "no batch good to show is planned on a day with a show"
        lengths = {job: _seen(tasks, owners, job) for job in free}
        job = next((job for job in free if lengths[job] >= end - start), -1)
        if job < 0:
            return (
                f"the show lasts {end - start} minutes and a batch is at most {max(lengths.values())} minutes before the "
                "customers, from pouring to cutting: shorten the show or make two of it"
            )
        free.remove(job)
        mine = [k for k, (owner, _) in enumerate(owners) if owner == job]
        shown = mine[1] if len(mine) > 1 else mine[0]
        length = lengths[job]
        old = tasks[shown]
        earliest = max(0, end - length)
        tasks[shown] = Task(
            minutes=old.minutes, needs=old.needs, after=old.after, job=old.job, family=old.family,
            earliest=min(start, earliest), latest_start=start,
        )  # fmt: skip
    return ""


def _seen(tasks: Sequence[Task], owners: Sequence[tuple[int, Step]], job: int) -> int:
    """Minutes a batch is worked before the customers: all but its cooking and its packing."""
    mine = [k for k, (owner, _) in enumerate(owners) if owner == job]
    return sum(tasks[k].minutes for k in (mine[1:-1] if len(mine) > 2 else mine))


def _lunches(shop: DayShop, jobs: int) -> list[Task]:
    if not shop.lunch_minutes or shop.minutes <= shop.lunch_to:
        return []
    return [
        Task(
            minutes=shop.lunch_minutes,
            needs={HANDS: 1},
            job=jobs + person,
            earliest=shop.lunch_from,
            latest_start=max(shop.lunch_from, shop.lunch_to - shop.lunch_minutes),
        )
        for person in range(shop.people)
    ]


def _chart(
    batches: Sequence[Batch],
    owners: list[tuple[int, Step]],
    tasks: list[Task],
    lunches: list[Task],
    found: Timetable,
    people: int,
) -> DayPlan:
    """Give every bar its people: whoever is free and has rested longest; the pool never runs dry, so this always works."""
    free_at, bars = [0] * people, []
    everything = [*tasks, *lunches]
    for k in sorted(range(len(everything)), key=lambda k: (found.starts[k], k)):
        task, start = everything[k], found.starts[k]
        able = sorted((p for p in range(people) if free_at[p] <= start), key=lambda p: (free_at[p], p))
        chosen = tuple(sorted(able[: task.needs.get(HANDS, 0)]))
        for person in chosen:
            free_at[person] = start + task.minutes
        if k < len(tasks):
            job, step = owners[k]
            bar = (batches[job].name, step.name, step.station)
        else:
            bar = ("", "lunch", "")
        bars.append(
            Bar(batch=bar[0], step=bar[1], station=bar[2], start=start, end=start + task.minutes, people=chosen)
        )
    finish = max((bar.end for bar in bars if bar.batch), default=0)
    return DayPlan(bars=tuple(bars), finish=finish, fits=True, proven=found.proven, method=found.method)


def day_mixes(
    shop: DayShop, kinds: Sequence[str], most: int = 6, use_solver: bool | None = None
) -> set[tuple[int, ...]]:
    """Every count of batches by kind that fits the day; what holds a mix that fits also fits, so it is not asked again."""
    good: set[tuple[int, ...]] = {tuple(0 for _ in kinds)}
    for counts in sorted(product(range(most + 1), repeat=len(kinds)), key=lambda c: (sum(c), c)):
        if sum(counts) == 0 or sum(counts) > most:
            continue
        fewer = [tuple(n - (j == k) for j, n in enumerate(counts)) for k in range(len(kinds)) if counts[k]]
        if all(mix in good for mix in fewer):
            batches = [
                Batch(name=f"{kind} {n + 1}", kind=kind)
                for kind, count in zip(kinds, counts, strict=True)
                for n in range(count)
            ]
            if plan_day(batches, shop, use_solver=use_solver, any_that_fits=True).fits:
                good.add(counts)
    return good


def largest(mixes: set[tuple[int, ...]]) -> list[tuple[int, ...]]:
    """The mixes to which nothing can be added."""
    return sorted(
        mix
        for mix in mixes
        if not any(other != mix and all(o >= m for o, m in zip(other, mix, strict=True)) for other in mixes)
    )


def spread_week(
    batches: Sequence[Batch],
    days: int,
    mixes: set[tuple[int, ...]],
    kinds: Sequence[str],
    show_days: Sequence[int] = (),
    alone: Collection[int] = (),
) -> tuple[list[list[int]], list[int]]:
    """The week's batches over its days so that each day's mix fits: (numbers of batches by day, those that fit nowhere).

    A showable batch first goes to each show day, and nothing else to a show day in ``alone``; then the kinds that are hardest to place go first, each to the day that
    already makes its family, else to the emptiest day.
    """
    index = {kind: k for k, kind in enumerate(kinds)}
    filled: list[list[int]] = [[] for _ in range(days)]
    counts = [[0] * len(kinds) for _ in range(days)]
    left = list(range(len(batches)))

    def put(number: int, day: int) -> bool:
        kind = index[batches[number].kind]
        counts[day][kind] += 1
        if tuple(counts[day]) in mixes:
            filled[day].append(number)
            return True
        counts[day][kind] -= 1
        return False

    for day in show_days:
        if 0 <= day < days:
            number = next((n for n in left if batches[n].good_to_show and put(n, day)), None)
            if number is not None:
                left.remove(number)
    hardness = {kind: max((mix[k] for mix in mixes), default=0) for kind, k in index.items()}
    homeless: list[int] = []
    for number in sorted(left, key=lambda n: (hardness[batches[n].kind], batches[n].family, n)):
        wanted = batches[number].family
        order = sorted(
            (day for day in range(days) if day not in alone),
            key=lambda day: (all(batches[m].family != wanted for m in filled[day]), len(filled[day]), day),
        )
        if not any(put(number, day) for day in order):
            homeless.append(number)
    return filled, homeless
