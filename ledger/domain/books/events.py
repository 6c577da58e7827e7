"""What was entered in the book. Each kind of entry has its own permanent event name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ledger.domain.books import entries as e
from ledger.domain.stored_names import stored_as


@dataclass(frozen=True, slots=True, kw_only=True)
class _Defined:
    version: int = 1
    day: str = ""


@stored_as("book.material-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialDefined(_Defined):
    """A material was entered or entered anew."""

    entry: e.Material


@stored_as("book.flavour-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class FlavourDefined(_Defined):
    """A flavour was entered or entered anew."""

    entry: e.Flavour


@stored_as("book.design-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class DesignDefined(_Defined):
    """A design was entered or entered anew."""

    entry: e.Design


@stored_as("book.recipe-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeDefined(_Defined):
    """A recipe was entered, or its next version."""

    entry: e.Recipe


@stored_as("book.pack-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class PackDefined(_Defined):
    """A pack was entered or entered anew."""

    entry: e.Pack


@stored_as("book.worker-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class WorkerDefined(_Defined):
    """A worker was entered or entered anew."""

    entry: e.Worker


@stored_as("book.station-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class StationDefined(_Defined):
    """A station was entered or entered anew."""

    entry: e.Station


@stored_as("book.site-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class SiteDefined(_Defined):
    """The shop was entered or entered anew."""

    entry: e.Site


@stored_as("book.feast-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class FeastDefined(_Defined):
    """A feast was entered or entered anew."""

    entry: e.Feast


@stored_as("book.partner-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class PartnerDefined(_Defined):
    """A supplier or business customer was entered or entered anew."""

    entry: e.Partner


@stored_as("book.channel-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelDefined(_Defined):
    """A sales channel was entered or entered anew."""

    entry: e.Channel


@stored_as("book.planning-defined", version=1)
@dataclass(frozen=True, slots=True, kw_only=True)
class PlanningDefined(_Defined):
    """What the shop assumes when it plans a season was entered or entered anew."""

    entry: e.Planning


DEFINED: dict[type, type] = {
    e.Material: MaterialDefined, e.Flavour: FlavourDefined, e.Design: DesignDefined, e.Recipe: RecipeDefined,
    e.Pack: PackDefined, e.Worker: WorkerDefined, e.Station: StationDefined, e.Site: SiteDefined, e.Feast: FeastDefined,
    e.Partner: PartnerDefined, e.Channel: ChannelDefined, e.Planning: PlanningDefined,
}  # fmt: skip
BookEvent = (
    MaterialDefined | FlavourDefined | DesignDefined | RecipeDefined | PackDefined | WorkerDefined | StationDefined
    | SiteDefined | FeastDefined | PartnerDefined | ChannelDefined | PlanningDefined
)  # fmt: skip
BOOK_EVENTS: Any = tuple(DEFINED.values())
