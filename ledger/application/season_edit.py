"""A plan changed by hand: what the change costs, what is missing now, and which week binds, recomputed from the lines; nothing is solved."""

from __future__ import annotations

from dataclasses import dataclass

from ledger.application.season_plan import PlanMade, cut_back
from ledger.planning.day import HANDS


@dataclass(frozen=True, slots=True)
class Short:
    """Grams of one thing missing over all weeks, before and after a change."""

    name: str
    before_g: int
    after_g: int


@dataclass(frozen=True, slots=True)
class Fullest:
    """The week and what of it is used most: a label, `hands`, `making days` or a station, and the share used."""

    label: str
    what: str
    share: float


@dataclass(frozen=True, slots=True)
class Edited:
    """What a change by hand does. costs in thousandths of a minor unit; shorts only of things that miss a kilo's tenth or more before or after."""

    changes: int
    cost_before: int
    cost_after: int
    made_before_g: int
    made_after_g: int
    shorts: tuple[Short, ...]
    fullest: Fullest | None
    homeless: tuple[tuple[str, tuple[str, ...]], ...]


def edited(base: PlanMade, after: PlanMade, changes: int) -> Edited:
    """The figures of a plan changed by hand beside the plan it was changed from."""
    shorts = []
    for row in after.plan.items:
        before = sum(base.plan.of(row.item).short)
        now = sum(row.short)
        if max(before, now) >= 100:
            shorts.append(Short(after.name(row.item), before, now))
    return Edited(
        changes, base.plan.cost_milli, after.plan.cost_milli, _made(base), _made(after),
        tuple(sorted(shorts, key=lambda s: (s.before_g - s.after_g, -s.after_g, s.name))), fullest(after),
        tuple((d.label, tuple(dict.fromkeys(after.name(key) for key in d.homeless))) for d in after.days if d.homeless),
    )  # fmt: skip


def _made(made: PlanMade) -> int:
    return sum(sum(row.made) for row in made.plan.items)


def fullest(made: PlanMade) -> Fullest | None:
    """The week that binds: where the largest share of hands (with what overtime and helpers can give), days or a station is used."""
    cut, found = cut_back(made.asked, made.problem), []
    for week in made.plan.weeks:
        if week.hands_there:
            found.append(
                Fullest(week.label, "making days" if week.week in cut else HANDS, week.hands_used / week.hands_there)
            )
        found += [Fullest(week.label, name, used / there) for name, used, there in week.stations if there and used]
    return max(found, key=lambda f: f.share, default=None)


__all__ = ["Edited", "Fullest", "Short", "edited", "fullest"]
