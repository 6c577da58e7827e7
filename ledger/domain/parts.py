"""The words every floor event is made of: what leaves a lot, what arrives in one, what is lost, who worked.

``basis`` says where a figure comes from, and therefore what happens to it when an earlier step is amended:

=========  ===========================================================================================
weighed    somebody read it off a scale or counted it; it never changes by itself
all        whatever the lot held; follows the lot when an earlier step is amended
share      the lot's mass in proportion to the packs or pieces taken; follows the lot
nominal    packs times the net weight on the label
derived    what the rest of the step leaves over; follows the rest of the step
=========  ===========================================================================================
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import cache
from operator import attrgetter
from typing import Any, TypeVar

WEIGHED, ALL, SHARE, NOMINAL, DERIVED = "weighed", "all", "share", "nominal", "derived"

LOT_KINDS = ("material", "mass", "log", "rods", "pieces", "packs", "reboil")


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """So much leaves a lot. ``portion`` names the one output it went into (empty: into all of them).

    solids_ppm: dry share of the lot's mass, kept with the fact so that a later change of the book changes nothing here.
    cost: minor units that leave the lot with the mass (its share of what the lot cost).
    """

    lot: str
    mass_mg: int = 0
    pieces: int = 0
    packs: int = 0
    cost: int = 0
    solids_ppm: int = 0
    basis: str = WEIGHED
    portion: str = ""
    entered: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Give:
    """So much arrives in a lot (usually a new one). item: the material or pack it is; colour and treatment say which portion."""

    lot: str
    kind: str
    mass_mg: int = 0
    pieces: int = 0
    packs: int = 0
    cost: int = 0
    basis: str = WEIGHED
    item: str = ""
    portion: str = ""
    colour: str = ""
    treatment: str = ""
    best_before: str = ""
    entered: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """So much went into the scrap bin, by cause (``ends``, ``crumbs``, ``picture``, ``kettle film``...)."""

    cause: str
    mass_mg: int
    pieces: int = 0
    packs: int = 0
    basis: str = WEIGHED
    entered: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One worker's seconds on a step; rate is minor units an hour at the time."""

    worker: str
    seconds: int
    rate: int = 0

    def wage(self) -> int:
        """Minor units for these hands: seconds x rate / 3600, rounded down."""
        return self.seconds * self.rate // 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """Something strange but possible that a person should answer. ``code`` is permanent; ``text`` carries the figures."""

    code: str
    text: str


P = TypeVar("P")


def changed(fact: P, **changes: Any) -> P:
    """The same fact with some fields set anew: `dataclasses.replace` at half its cost, for the path every entry takes."""
    cls: Any = type(fact)
    names, read = _fields_of(cls)
    same: P = cls(**dict(zip(names, read(fact), strict=True)) | changes)
    return same


@cache
def _fields_of(cls: Any) -> tuple[tuple[str, ...], Callable[[Any], tuple[Any, ...]]]:
    names = tuple(f.name for f in fields(cls))
    return names, attrgetter(*names)
