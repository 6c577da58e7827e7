"""The plans the invented shop adopted. Each was made once by the product itself and is kept as a file; filling the shop adopts it like any other
plan, so a history needs no solver and is the same on every machine.

``python -m seeds.shop.make_plans`` makes the files anew: after a change of the shop's history, its book, or the shape of a plan.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import msgspec

from ledger.domain.postings import iso_week
from ledger.domain.season.commands import AdoptPlan
from seeds.shop.recorder import at
from seeds.shop.settings import Line
from seeds.shop.world import World

PLACE = Path(__file__).parent / "plans"
HISTORY = {"seed": 7, "years": 3, "weeks": 0, "end": "2026-11-24"}
"""The one history the files were made in; another seed or length has no plan."""
MOMENTS = {date(2026, 9, 7): 18, date(2026, 11, 23): 26}
"""Mondays on which the shop plans, before work, and how many weeks: the autumn with two feasts in it, and the winter to come."""
HOUR = 7.0
AHEAD_WEEKS = 4
"""A planned batch may be made this many weeks before its own."""

Maker = Callable[[World, date], AdoptPlan | None]


@dataclass(slots=True)
class Book:
    """The plan in force as the shop works by it: which of its batches wait, by flavour and design."""

    waiting: dict[tuple[str, str], list[tuple[str, str]]]

    @classmethod
    def of(cls, command: AdoptPlan) -> Book:
        """The batches of a plan, those of the earliest week first."""
        found: dict[tuple[str, str], list[tuple[str, str]]] = {}
        for line in sorted(command.lines, key=lambda x: (x["label"], x["item"])):
            mine = found.setdefault((line["flavour"], line["design"]), [])
            mine.extend((line["label"], name) for name in line["plan_lines"])
        return cls(found)

    def next(self, line: Line, day: date) -> str:
        """The planned batch that one of this flavour made today is: empty where none is due."""
        mine = self.waiting.get((line.id, line.design.id), [])
        last = iso_week(date.fromordinal(day.toordinal() + 7 * AHEAD_WEEKS).isoformat())
        return mine.pop(0)[1] if mine and mine[0][0] <= last else ""


def kept(world: World, day: date) -> AdoptPlan | None:
    """The plan that was made for this day and kept; None where there is none."""
    file = PLACE / f"{day.isoformat()}.json"
    if not file.exists():
        return None
    return msgspec.convert(json.loads(file.read_text("utf-8")), AdoptPlan)


def adopt(world: World, day: date, maker: Maker) -> Book | None:
    """Adopt the plan of this Monday; returns the shop's list of its batches, None where no plan is made that day."""
    if day not in MOMENTS:
        return None
    command = maker(world, day)
    if command is None:
        return None
    held = world.recorder.ledger.queries.as_of().position
    world.recorder.tell(replace(command, as_of=held), "MK", at(day, HOUR, world.recorder.zone))
    world.note("plans")
    return Book.of(command)
