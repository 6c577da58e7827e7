"""What happened to a batch, from the burner to the jar."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from ledger.domain.movement import Movement
from ledger.domain.parts import Flag
from ledger.domain.stored_names import stored_as


@stored_as("batch.opened", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class BatchOpened:
    """A batch was given its code, flavour, design and recipe version; nothing is on the burner yet.

    The moisture figures are the recipe's, kept here so that the batch is judged by what was expected when it was made.
    """

    day: str
    batch: str
    flavour: str
    design: str = ""
    recipe: str = ""
    recipe_version: int = 0
    end_temperature_mc: int = 154_444
    temperature_tolerance_mc: int = 3_000
    moisture_ppm: int = 20_000
    moisture_low_ppm: int = 10_000
    moisture_high_ppm: int = 30_000
    process_yield_ppm: int = 900_000
    unexplained_ppm: int = 20_000
    piece_mg: int = 0
    plan_line: str = ""
    note: str = ""


@stored_as("batch.cooked", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Cooked(Movement):
    """Sugar, syrup and water went into the kettle; cooked mass was poured in one or more portions.

    theory_mg: what should have evaporated at the recipe's moisture. The moisture band bounds what may be called evaporated.
    """

    step: ClassVar[str] = "cook"
    end_temperature_mc: int = 0
    end_temperature: str = ""
    moisture_ppm: int = 20_000
    moisture_low_ppm: int = 10_000
    moisture_high_ppm: int = 30_000
    theory_mg: int = 0


@stored_as("batch.pulled", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Pulled(Movement):
    """A portion was pulled with air until it turned white or satin."""

    step: ClassVar[str] = "pull"


@stored_as("batch.blended", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Blended(Movement):
    """Portions were worked together into a lighter or mixed shade."""

    step: ClassVar[str] = "blend"


@stored_as("batch.built", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Built(Movement):
    """Portions were built into a log and jacketed."""

    step: ClassVar[str] = "build"
    diameter_um: int = 0
    length_um: int = 0


@stored_as("batch.rolled", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Rolled(Movement):
    """The log was rolled down to rods."""

    step: ClassVar[str] = "roll"
    diameter_um: int = 0


@stored_as("batch.cut", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Cut(Movement):
    """Rods were cut into pieces and sorted; ends, crumbs and bad pictures have their own bins."""

    step: ClassVar[str] = "cut"
    piece_um: int = 0


@stored_as("batch.packed", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Packed(Movement):
    """Pieces went into jars or bags with a lot and a date."""

    step: ClassVar[str] = "pack"
    pack: str = ""
    net_mg: int = 0


@stored_as("batch.closed", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class BatchClosed(Movement):
    """Nothing more comes of this batch; what its unfinished lots still held went to `unexplained`."""

    step: ClassVar[str] = "close"


@stored_as("batch.worked", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Worked(Movement):
    """Time spent that no step holds: cleaning, weighing, setting up. ``task`` says what."""

    step: ClassVar[str] = "other"
    task: str = "other"


@stored_as("batch.thermometer-checked", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class ThermometerChecked:
    """Water was boiled and the thermometer read; the difference corrects the end temperature."""

    day: str
    station: str
    reading_mc: int
    expected_mc: int
    reading: str = ""
    by: str = ""
    note: str = ""


@stored_as("batch.sheet-issued", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class BatchSheetIssued:
    """A batch sheet left the printer. ``sheet`` holds every planned figure as integers and text."""

    day: str
    batch: str
    flavour: str
    design: str = ""
    sheet: dict[str, Any]


@stored_as("batch.flag-answered", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class FlagAnswered:
    """Somebody looked at a flag and said what it was. origin: the position of the flagged entry."""

    day: str
    origin: int
    code: str
    answer: str


@stored_as("ledger.amended", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Amended:
    """An earlier entry was wrong: ``data`` is what it should have said, under the same stored name.

    origin: position of the entry. cause: empty when a person amended it; else the id of the amendment it followed from.
    """

    day: str
    origin: int
    corrects: str
    name: str
    schema: int
    data: dict[str, Any]
    reason: str
    cause: str = ""


@stored_as("ledger.voided", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class Voided:
    """An earlier entry never happened."""

    day: str
    origin: int
    corrects: str
    reason: str
    cause: str = ""


BATCH_STEPS = (Cooked, Pulled, Blended, Built, Rolled, Cut, Packed)
__all__ = [
    "BATCH_STEPS", "Amended", "BatchClosed", "BatchOpened", "BatchSheetIssued", "Blended", "Built", "Cooked", "Cut", "Flag",
    "FlagAnswered", "Packed", "Pulled", "Rolled", "ThermometerChecked", "Voided", "Worked",
]  # fmt: skip
