"""The book: what the shop knows before a burner is lit. Each entry is one immutable dataclass of integers and text.

An entry is never edited: defining it again under the same id records the next version, and the older ones stay readable.
Names of people and businesses are not here (see ``contacts``): the book holds their ids only.
"""

from __future__ import annotations

from dataclasses import dataclass

STEPS = ("cook", "pull", "blend", "build", "roll", "cut", "pack")
STATION_KINDS = ("kettle", "slab", "puller", "roller", "cutting block", "packing bench")
DESIGN_KINDS = ("plain", "striped", "picture")


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Something bought and weighed: sugar, glucose syrup, acid, flavour, colour, packaging.

    solids_ppm: dry substance share by mass (sugar 1 000 000). density_g_per_l: lets a volume be taken for a mass, 0 = not known.
    cost: minor units a kilogram. tracked: False for mains water, which has no lot. label: the name on an ingredient list; label_us and
    label_eu: the name where the two markets want different ones (empty: label). e_number: of an additive, such as `E129`; additive_class:
    the word before its name in the EU (empty: from role and number; `none`: it is a food, not an additive). certified_colour: subject to
    batch certification in the US (21 CFR part 74).
    """

    id: str
    name: str
    role: str = "ingredient"  # ingredient, sugar, syrup, water, acid, flavour, colour, packaging
    solids_ppm: int = 1_000_000
    density_g_per_l: int = 0
    allergens: tuple[str, ...] = ()
    label: str = ""
    certified_colour: bool = False
    unit: str = "kg"
    cost: int = 0
    shelf_days: int = 0
    supplier: str = ""
    lead_days: int = 0
    pack_mg: int = 0
    tracked: bool = True
    label_us: str = ""
    label_eu: str = ""
    e_number: str = ""
    additive_class: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flavour:
    """What the candy tastes of. feast and the two day counts bound a flavour sold only for a season (empty: all year; several feasts: `EASTER, CHRISTMAS`).

    like: a flavour it is expected to sell like while it has little history of its own, ``like_share_ppm`` times as much.
    """

    id: str
    name: str
    colour: str = ""
    feast: str = ""
    days_before: int = 0
    days_after: int = 0
    like: str = ""
    like_share_ppm: int = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """What the cross-section shows. piece_mg is the mass of one sound piece as planned; picture names a design file."""

    id: str
    name: str
    kind: str = "picture"
    flavour: str = ""
    picture: str = ""
    feast: str = ""
    log_um: int = 203_200
    rod_um: int = 12_700
    piece_um: int = 12_700
    piece_mg: int = 2_252
    jacket_um: int = 12_700


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeLine:
    """So much of one material in a full kettle; portion names the colour portion it goes into (empty: the whole cook)."""

    material: str
    mass_mg: int
    portion: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepTime:
    """How long a step takes and how many hands, until the ledger's own history says better."""

    step: str
    seconds: int
    people: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What a full kettle of one flavour takes, how hot it goes, and what is expected of it.

    moisture_ppm with its low and high bound is the water left in the glass: it sets theoretical yield, and how much may be
    called evaporated. unexplained_ppm: share of a step's mass that may go missing before it raises a flag.
    """

    id: str
    flavour: str
    lines: tuple[RecipeLine, ...] = ()
    end_temperature_mc: int = 154_444
    temperature_tolerance_mc: int = 3_000
    moisture_ppm: int = 20_000
    moisture_low_ppm: int = 10_000
    moisture_high_ppm: int = 30_000
    process_yield_ppm: int = 900_000
    unexplained_ppm: int = 20_000
    reboil_max_ppm: int = 100_000
    steps: tuple[StepTime, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """A jar or bag as sold: which flavour and design, its net weight, price and life."""

    id: str
    name: str
    flavour: str
    design: str = ""
    net_mg: int
    price: int = 0
    best_before_days: int = 365
    container: str = ""
    gtin: str = ""
    display_minimum: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Worker:
    """One pair of hands, by initials. The name is kept apart, where it can be erased."""

    id: str
    rate: int = 0
    skills: tuple[str, ...] = ()
    week_seconds: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """A kettle, slab, puller, roller, cutting block or packing bench, with its limits."""

    id: str
    kind: str
    name: str = ""
    max_mg: int = 0
    min_mg: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """The shop itself: zone, height above sea, units, currency, days it opens (1 = Monday) and days it makes."""

    id: str
    name: str
    zone: str = "UTC"
    altitude_m: int = 0
    units: str = "metric"
    currency: str = "EUR"
    currency_digits: int = 2
    open_days: tuple[int, ...] = (1, 2, 3, 4, 5, 6)
    making_days: tuple[int, ...] = (1, 2, 3, 4, 5)
    day_seconds: int = 27_000
    address: str = ""
    base_address: str = "HTTP://SLABBOOK.LOCAL"
    allergen_law: str = "eu"
    paper: str = "a4"


@dataclass(frozen=True, slots=True, kw_only=True)
class Feast:
    """A day customers buy for: `12-25` (month and day), `easter`, `easter-7`, `nth 11 4 4` (fourth Thursday of November), or listed dates."""

    id: str
    name: str
    rule: str = ""
    dates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Partner:
    """A supplier or a business customer, by id; name and address are kept with the contacts."""

    id: str
    role: str = "supplier"
    channel: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """Where packs are sold: the shop counter, online, wholesale."""

    id: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Planning:
    """What the shop assumes when it plans a season, beside what book and ledger say anyway. What is left out (or made empty again) is not stated:
    then the figure the planner carries stands, which is common practice without a source, and the Season page says so.

    making_ppm: share of the workers' hours that is free for making. overtime_cost: an hour of overtime; overtime_seconds: most of it a person
    and day. helper_cost: a helper's shift of helper_shift_seconds; helper_shifts: most of them a week. store_mg: room for packed candy;
    store_over_cost: a kilogram and week above it. service_ppm: share of weeks in which an everyday flavour should not run out.
    lost_everyday_ppm, lost_feast_ppm: of those who miss their flavour, how many take no other. salvage_ppm: what a kilogram is worth after its
    feast, as a share of its material. hold_cost: keeping a kilogram a week. keep_ppm: share of its life after which a pack goes on sale no more.
    closing_weeks: weeks of demand that may be left at the end. frozen_weeks: weeks of an adopted plan that stay. moved_cost: moving a batch of
    the plan in force. most_a_week: batches of one thing a week. missed_show_cost: a show without a batch. display_gap_cost: a kilogram and
    week below the least on display. source: where the figures come from, in your words. Shares are whole percents.
    """

    id: str
    making_ppm: int | None = None
    overtime_cost: int | None = None
    overtime_seconds: int | None = None
    helper_cost: int | None = None
    helper_shift_seconds: int | None = None
    helper_shifts: int | None = None
    store_mg: int | None = None
    store_over_cost: int | None = None
    service_ppm: int | None = None
    lost_everyday_ppm: int | None = None
    lost_feast_ppm: int | None = None
    salvage_ppm: int | None = None
    hold_cost: int | None = None
    keep_ppm: int | None = None
    closing_weeks: int | None = None
    frozen_weeks: int | None = None
    moved_cost: int | None = None
    most_a_week: int | None = None
    missed_show_cost: int | None = None
    display_gap_cost: int | None = None
    source: str = ""


Entry = Material | Flavour | Design | Recipe | Pack | Worker | Station | Site | Feast | Partner | Channel | Planning

KINDS: dict[str, type] = {
    "site": Site, "material": Material, "flavour": Flavour, "design": Design, "recipe": Recipe, "pack": Pack,
    "worker": Worker, "station": Station, "feast": Feast, "partner": Partner, "channel": Channel,
    "planning": Planning,
}  # fmt: skip
KIND_OF: dict[type, str] = {cls: kind for kind, cls in KINDS.items()}
