"""What a person asks to be recorded about a batch. Figures are canonical integers; the edge has read the units already.

A take with basis ``all`` empties the lot; a give with no lot gets the batch's next code; a give with basis ``derived`` takes what is left.
With no takes at all a step uses everything the batch has of the right kind; with no gives it makes one lot of the usual kind.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from ledger.domain.parts import Give, Loss, Take, Work


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenBatch:
    """Start a batch of a flavour (and design). Without a code it gets the day's next: year, day of year, letter."""

    name: ClassVar[str] = "open-batch"
    day: str
    flavour: str
    design: str = ""
    batch: str = ""
    recipe: str = ""
    plan_line: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepCommand:
    """What every step of a batch tells: the batch, what went in and came out, who worked how long, where and when."""

    day: str
    batch: str
    takes: tuple[Take, ...] = ()
    gives: tuple[Give, ...] = ()
    losses: tuple[Loss, ...] = ()
    work: tuple[Work, ...] = ()
    station: str = ""
    started: str = ""
    ended: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cook(StepCommand):
    """Record a cook: charge by lot, mains water, end temperature, portions poured."""

    name: ClassVar[str] = "cook"
    water_mg: int = 0
    end_temperature_mc: int = 0
    end_temperature: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull(StepCommand):
    """Record pulling a portion."""

    name: ClassVar[str] = "pull"


@dataclass(frozen=True, slots=True, kw_only=True)
class Blend(StepCommand):
    """Record blending portions."""

    name: ClassVar[str] = "blend"


@dataclass(frozen=True, slots=True, kw_only=True)
class Build(StepCommand):
    """Record building the log."""

    name: ClassVar[str] = "build"
    diameter_um: int = 0
    length_um: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Roll(StepCommand):
    """Record rolling down to rods."""

    name: ClassVar[str] = "roll"
    diameter_um: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class CutRods(StepCommand):
    """Record cutting and sorting: pieces, mass, scrap by cause, ends kept for re-boil."""

    name: ClassVar[str] = "cut"
    piece_um: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PackUp(StepCommand):
    """Record packing: how many packs of which pack. Without a weight, packs times the net weight left the pieces."""

    name: ClassVar[str] = "pack"
    pack: str
    packs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseBatch:
    """Nothing more will come of a batch; leftovers of its unfinished lots become unexplained."""

    name: ClassVar[str] = "close-batch"
    day: str
    batch: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordWork:
    """Time that no step holds (cleaning, weighing, setting up), on a batch or on none."""

    name: ClassVar[str] = "work"
    day: str
    work: tuple[Work, ...]
    task: str = "other"
    batch: str = ""
    station: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckThermometer:
    """Water was boiled: what the thermometer read, and what water boils at here today."""

    name: ClassVar[str] = "check-thermometer"
    day: str
    station: str
    reading_mc: int
    expected_mc: int
    reading: str = ""
    by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class IssueSheet:
    """Keep a batch sheet as it left the printer."""

    name: ClassVar[str] = "issue-sheet"
    day: str
    batch: str
    sheet: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerFlag:
    """Say what a flag turned out to be."""

    name: ClassVar[str] = "answer-flag"
    day: str
    origin: int
    code: str
    answer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Amend:
    """Say what an earlier entry should have said. ``command`` is the whole entry anew, as a command of the same kind."""

    name: ClassVar[str] = "amend"
    day: str
    origin: int
    command: Any
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Void:
    """Say that an earlier entry never happened."""

    name: ClassVar[str] = "void"
    day: str
    origin: int
    reason: str


STEP_COMMANDS = (Cook, Pull, Blend, Build, Roll, CutRods, PackUp)
