"""Rules of the book: an entry must hang together; the same again records nothing."""

from __future__ import annotations

from dataclasses import fields
from typing import Any
from zoneinfo import ZoneInfo

from ledger.domain.books import additives
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.books.events import DEFINED
from ledger.domain.state import State
from ledger.errors import BadInput
from ledger.quantities import mass_text


def define(cmd: Define, state: State) -> list[Any]:
    """Enter one thing in the book: its next version, or nothing when it says what the newest version says."""
    entry = cmd.entry
    kind = type(entry)
    if not entry.id:
        raise BadInput(f"A {e.KIND_OF[kind]} needs an id.")
    known = state.book.find(kind, entry.id)
    if known == entry:
        return []
    _check(entry, state)
    return [DEFINED[kind](entry=entry, version=state.book.version(kind, entry.id) + 1, day=cmd.day)]


def _share(entry: Any, *names: str) -> None:
    for name in names:
        value = getattr(entry, name)
        if not 0 <= value <= 1_000_000:
            raise BadInput(
                f"{e.KIND_OF[type(entry)]} `{entry.id}`: {name.removesuffix('_ppm')} is {value / 10_000:g} %, it must lie between 0 % and 100 %.",
                value=value, limit=1_000_000,
            )  # fmt: skip


def _additive(entry: e.Material) -> None:
    """What the book says of an additive must be something a label can carry."""
    if entry.e_number != additives.e_number(entry.e_number):
        raise BadInput(
            f"Material `{entry.id}`: write the E number as `{additives.e_number(entry.e_number)}`.",
            value=entry.e_number,
        )
    known = (*additives.CLASSES, additives.NO_CLASS)
    if entry.additive_class and entry.additive_class not in known:
        raise BadInput(
            f"Material `{entry.id}`: `{entry.additive_class}` is no class of additive; known are {', '.join(known)}.",
            value=entry.additive_class,
        )
    if entry.e_number and entry.additive_class == additives.NO_CLASS:
        raise BadInput(
            f"Material `{entry.id}`: it has the E number {entry.e_number} and the class `none`. With an E number it is an additive: "
            "name its class, or take the number out.", value=entry.e_number,
        )  # fmt: skip
    if entry.e_number and not additives.class_of(entry.role, entry.e_number, entry.additive_class):
        raise BadInput(
            f"Material `{entry.id}`: {entry.e_number} needs its class (`additive_class`, such as `acidity regulator` or `emulsifier`): the EU list names it first.",
            value=entry.e_number,
        )


def _flavour(entry: e.Flavour) -> None:
    if entry.like == entry.id:
        raise BadInput(
            f"Flavour `{entry.id}` cannot be like itself; name another flavour, or leave `like` empty.",
            value=entry.like,
        )
    if entry.like_share_ppm <= 0:
        raise BadInput(
            f"Flavour `{entry.id}`: it sells {entry.like_share_ppm / 10_000:g} % of what it is like; give more than 0 %.",
            value=entry.like_share_ppm, limit=1,
        )  # fmt: skip


def _planning(entry: e.Planning, state: State) -> None:
    other = next((x.id for x in state.book.all(e.Planning) if x.id != entry.id), "")
    if other:
        raise BadInput(
            f"The book states its planning under `{other}`; enter that anew instead of `{entry.id}`.", value=entry.id
        )
    stated = {f.name: value for f in fields(entry) if isinstance(value := getattr(entry, f.name), int)}
    for name, value in stated.items():
        if name.endswith("_ppm") and not (0 <= value <= 1_000_000 and value % 10_000 == 0):
            raise BadInput(
                f"Planning `{entry.id}`: {name.removesuffix('_ppm')} is {value / 10_000:g} %; give whole percents from 0 to 100.",
                value=value, limit=1_000_000,
            )  # fmt: skip
        least = 1 if name in ("store_mg", "helper_shift_seconds", "most_a_week", "service_ppm") else 0
        if value < least:
            raise BadInput(
                f"Planning `{entry.id}`: {name.rsplit('_', 1)[0].replace('_', ' ')} of {value} cannot be; give {'more than 0' if least else '0 or more'}, "
                "or leave it out.", value=value, limit=least,
            )  # fmt: skip
    if entry.service_ppm is not None and entry.service_ppm > 990_000:
        raise BadInput(
            f"Planning `{entry.id}`: a flavour that never runs out needs endless stock; give a service of at most 99 %.",
            value=entry.service_ppm, limit=990_000,
        )  # fmt: skip


def _step_times(entry: e.Recipe) -> None:
    told: set[str] = set()
    for at in entry.steps:
        if at.step not in e.STEPS:
            raise BadInput(
                f"Recipe `{entry.id}`: `{at.step}` is no step; known are {', '.join(e.STEPS)}.", value=at.step
            )
        if at.step in told:
            raise BadInput(f"Recipe `{entry.id}`: {at.step} is timed twice; give it once.", value=at.step)
        if not 0 < at.seconds <= 86_400:
            raise BadInput(
                f"Recipe `{entry.id}`: {at.step} takes {at.seconds / 60:g} min; give more than 0 min and at most 24 h.",
                value=at.seconds, limit=86_400,
            )  # fmt: skip
        if not 1 <= at.people <= 50:
            raise BadInput(
                f"Recipe `{entry.id}`: {at.step} with {at.people} pairs of hands; give 1 to 50.", value=at.people
            )
        told.add(at.step)


def _check(entry: Any, state: State) -> None:
    if isinstance(entry, e.Material):
        _share(entry, "solids_ppm")
        _additive(entry)
    elif isinstance(entry, e.Flavour):
        _flavour(entry)
    elif isinstance(entry, e.Planning):
        _planning(entry, state)
    elif isinstance(entry, e.Recipe):
        _share(entry, "moisture_ppm", "moisture_low_ppm", "moisture_high_ppm", "process_yield_ppm", "unexplained_ppm")
        if not entry.moisture_low_ppm <= entry.moisture_ppm <= entry.moisture_high_ppm < 1_000_000:
            raise BadInput(
                f"Recipe `{entry.id}`: the expected moisture must lie within its low and high bound, below 100 %.",
                value=entry.moisture_ppm,
            )
        state.book.get(e.Flavour, entry.flavour)
        for line in entry.lines:
            state.book.get(e.Material, line.material)
        _step_times(entry)
    elif isinstance(entry, e.Pack):
        state.book.get(e.Flavour, entry.flavour)
        if entry.design:
            state.book.get(e.Design, entry.design)
        if entry.net_mg <= 0:
            raise BadInput(
                f"Pack `{entry.id}`: the net weight is {entry.net_mg} mg, it must be above zero.", value=entry.net_mg
            )
    elif isinstance(entry, e.Station):
        if entry.kind not in e.STATION_KINDS:
            raise BadInput(
                f"Station `{entry.id}`: `{entry.kind}` is not one of {', '.join(e.STATION_KINDS)}.", value=entry.kind
            )
        if entry.max_mg and entry.min_mg > entry.max_mg:
            raise BadInput(
                f"Station `{entry.id}`: its smallest load, {mass_text(entry.min_mg)}, is above its largest, {mass_text(entry.max_mg)}; "
                "correct one of them.",
                value=entry.min_mg,
                limit=entry.max_mg,
            )
    elif isinstance(entry, e.Site):
        try:
            ZoneInfo(entry.zone)
        except (KeyError, ValueError) as error:
            raise BadInput(
                f"Site `{entry.id}`: `{entry.zone}` is no time zone; give one such as `Europe/Paris`.", value=entry.zone
            ) from error
        if entry.units not in ("metric", "us"):
            raise BadInput(f"Site `{entry.id}`: units are `metric` or `us`, not `{entry.units}`.", value=entry.units)
    elif isinstance(entry, e.Design) and entry.kind not in e.DESIGN_KINDS:
        raise BadInput(
            f"Design `{entry.id}`: `{entry.kind}` is not one of {', '.join(e.DESIGN_KINDS)}.", value=entry.kind
        )
