"""A season plan as plain data: lines, what they cost, how good they are proven to be, and what is short.

Whole numbers and text only, so that a plan can be kept as an event and is never solved again on replay: ``check.check_plan``
recomputes its cost, room and stock from the lines in milliseconds.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Whole batches of an item to make in a week (number and label), and the sellable grams they give.

    ``kettle``: the kettle they are made in, where the plan tells kettles apart; else empty.
    """

    week: int
    label: str
    item: str
    batches: int
    grams: int
    frozen: bool = False
    kettle: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why one more batch was not made in weeks ``first`` to ``last``: a permanent code, the resource, a few words."""

    code: str
    first: int
    last: int
    resource: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortage:
    """Grams of an item missing in a week (expected, for uncertain demand), the margin missed, and what stood in the way."""

    item: str
    week: int
    label: str
    grams: int
    worth: int
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemWeeks:
    """Grams of one item week by week: made, expected to be sold, short, thrown, in stock at the end of the week."""

    item: str
    demand: tuple[int, ...]
    made: tuple[int, ...]
    sold: tuple[int, ...]
    short: tuple[int, ...]
    thrown: tuple[int, ...]
    stock: tuple[int, ...]
    left: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekUse:
    """One week of the floor: person-minutes used and there, overtime minutes, helper shifts, station minutes used and there.

    ``hour_of_hands``: milli that one more person-hour in this week, and in no other, would save; ``hour_of_stations``: the same
    of each station an hour of which is worth something. Both are differences of bounds; 0 where nothing binds.
    """

    week: int
    label: str
    days: int
    hands_used: int
    hands_there: int
    overtime_minutes: int
    helper_shifts: int
    stations: tuple[tuple[str, int, int], ...]
    hour_of_hands: int = 0
    hour_of_stations: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A plan. Costs in thousandths of a minor unit ("milli"); ``gap_ppm`` = (cost - bound) / cost in millionths.

    ``bound_milli`` and ``gap_ppm`` are None where no bound was computed. ``rule`` and ``rule_milli``: the best simple rule
    and what it would cost. ``findings``: (code, about, message) of what could not be planned as given.
    """

    lines: tuple[Line, ...]
    items: tuple[ItemWeeks, ...]
    weeks: tuple[WeekUse, ...]
    shortages: tuple[Shortage, ...]
    cost_milli: int
    parts: tuple[tuple[str, int], ...]
    unavoidable_milli: int
    bound_milli: int | None
    gap_ppm: int | None
    rule: str
    rule_milli: int
    method: str
    seed: int
    moves: int
    nodes: int
    rounds: int
    stopped: bool
    findings: tuple[tuple[str, str, str], ...] = ()
    settings: tuple[tuple[str, int], ...] = ()
    changed: str = ""
    milliseconds: int | None = field(default=None, compare=False)

    def batches(self, item: str, week: int) -> int:
        """Batches of an item planned in a week, of all kettles."""
        return sum(line.batches for line in self.lines if line.item == item and line.week == week)

    def of(self, item: str) -> ItemWeeks:
        """The weeks of one item; KeyError names it."""
        for row in self.items:
            if row.item == item:
                return row
        raise KeyError(item)

    def to_dict(self) -> dict[str, Any]:
        """Whole numbers, text and lists, ready for an event."""
        return _plain(asdict(self))  # type: ignore[no-any-return]

    @staticmethod
    def from_dict(data: dict[str, Any]) -> Plan:
        """The plan an event holds. KeyError, TypeError or ValueError where it does not have a plan's form."""
        rest = dict(data)
        rest["lines"] = tuple(Line(**line) for line in data["lines"])
        rest["items"] = tuple(ItemWeeks(**_tuples(row)) for row in data["items"])
        rest["weeks"] = tuple(
            WeekUse(
                **(
                    row
                    | {
                        "stations": tuple((name, used, there) for name, used, there in row["stations"]),
                        "hour_of_stations": tuple((name, worth) for name, worth in row.get("hour_of_stations", ())),
                    }
                )
            )
            for row in data["weeks"]
        )
        rest["shortages"] = tuple(
            Shortage(**(row | {"reasons": tuple(Reason(**r) for r in row["reasons"])})) for row in data["shortages"]
        )
        for name in ("parts", "settings"):
            rest[name] = tuple((key, value) for key, value in data[name])
        rest["findings"] = tuple((code, about, message) for code, about, message in data["findings"])
        return Plan(**rest)


def only_lines(lines: tuple[Line, ...]) -> Plan:
    """A plan of these lines and no figures: what a costing starts from."""
    return Plan(
        lines=lines, items=(), weeks=(), shortages=(), cost_milli=0, parts=(), unavoidable_milli=0, bound_milli=None, gap_ppm=None, rule="",
        rule_milli=0, method="", seed=0, moves=0, nodes=0, rounds=0, stopped=False,
    )  # fmt: skip


def _tuples(row: dict[str, Any]) -> dict[str, Any]:
    """Lists of one row as tuples."""
    return {key: tuple(value) if isinstance(value, list) else value for key, value in row.items()}


def _plain(value: Any) -> Any:
    """Tuples as lists, all the way down."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value
