"""A batch sheet planned from the shop's book and its ledger: what is asked, what the book and the air say, and the sheet. Nothing is recorded."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from ledger import quantities
from ledger.application.designs import find_design, folders, read_bench
from ledger.application.ledger import Ledger
from ledger.application.sheets_facts import OLD_CHECK_DAYS, age_in_days, facts, newest_check
from ledger.application.sheets_recipe import (
    choose_kettle,
    dress,
    limits_of,
    names_of,
    pack_of,
    read_recipe,
    sizes_of,
    thinner_log,
)
from ledger.craft.cook import KettleLimits
from ledger.craft.numbers import within
from ledger.craft.plan import plan_batch
from ledger.craft.sheet import BatchSheet
from ledger.craft.sheet_request import PackSpec, SheetRequest
from ledger.craft.sheet_text import Units, size_text
from ledger.craft.water import SiteConditions, water_boils_here
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.domain.codes import next_batch_code
from ledger.errors import BadInput

Paper = Literal["a4", "letter"]
ANY_KETTLE = KettleLimits(name="any", max_charge_mg=10**12, max_loads=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """What somebody wants made. Empty text and 0 mean: as the book says.

    Attributes:
        packs / pieces: what is wanted; one of them. kettle: station id (empty: the one that fits).
        water_reads_mc: what the cook's thermometer shows in boiling water today (water_said: as it was typed); barometer_pa: air pressure, with
            barometer_is_sea_level for a weather report's figure. Without either the newest check counts, then the altitude.
        on_low_yield: size the batch so that even the low end of the yield band gives the packs.
        batch: plan for this batch, opened already, instead of a new one.
    """

    design: str
    flavour: str = ""
    packs: int = 0
    pieces: int = 0
    pack: str = ""
    kettle: str = ""
    day: str = ""
    batch: str = ""
    water_reads_mc: int | None = None
    water_said: str = ""
    barometer_pa: int | None = None
    barometer_is_sea_level: bool = False
    log_um: int = 0
    rod_um: int = 0
    piece_um: int = 0
    ends_um: int | None = None
    on_low_yield: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A sheet with how the shop prints it. notes: what was assumed, chosen or left out; hints: ways out of its warnings, in words."""

    sheet: BatchSheet
    notes: tuple[str, ...]
    units: Units
    paper: Paper
    flavour: str
    design: str
    kettle: str
    pack: str
    hints: tuple[str, ...] = ()


def how_printed(book: Book) -> tuple[Units, Paper]:
    """Units and paper of the shop."""
    site = book.site()
    units: Units = "us" if site.units == "us" else "metric"
    paper: Paper = "letter" if site.paper == "letter" else "a4"
    return units, paper


def surroundings(book: Book, ask: Ask) -> SiteConditions:
    """Altitude and barometer, without any thermometer."""
    altitude = book.site().altitude_m if book.all(e.Site) else None
    return SiteConditions(
        altitude_m=altitude, barometer_pa=ask.barometer_pa, barometer_is_sea_level=ask.barometer_is_sea_level
    )


def air(ledger: Ledger, book: Book, ask: Ask, kettle: str, day: str) -> tuple[SiteConditions, list[str]]:
    """What is known of the air and the thermometer, the most direct first, and where it came from in words."""
    units, notes = how_printed(book)[0], []
    around = surroundings(book, ask)
    site, altitude = replace(around, boiling_water_mc=ask.water_reads_mc), around.altitude_m
    if altitude == 0 and ask.water_reads_mc is None and ask.barometer_pa is None:
        notes.append(
            "The book says that the shop lies at sea level. If nobody entered its altitude, do so: 300 m are 1 °C."
        )
    if ask.water_reads_mc is not None:
        return site, notes
    check = newest_check(ledger, kettle, day)
    if check is None:
        if ask.barometer_pa is None:
            notes.append(
                f"The thermometer of {kettle} was never checked: boil water and enter what it shows (`slabbook sheet-check {kettle} --reads ...`)."
            )
        return site, notes
    age, error = age_in_days(check.day, day), check.reading_mc - check.expected_mc
    when = "today" if age == 0 else f"on {check.day}"
    if ask.barometer_pa is None:
        site = replace(site, boiling_water_mc=check.reading_mc)
    else:
        site = replace(site, boiling_water_mc=water_boils_here(site).mc + error)
    told = quantities.temperature_text(check.reading_mc, units)
    notes.append(f"Thermometer of {kettle} as checked {when}: {told} in boiling water, {_difference(error, units)}.")
    if age > OLD_CHECK_DAYS:
        notes.append(f"That check is {age} days old: boil water again before the burner is lit.")
    return site, notes


def _difference(mc: int, units: Units) -> str:
    if abs(mc) < 50:
        return "as it should"
    return f"{mc * 1.8 / 1000:+.1f} °F off" if units == "us" else f"{mc / 1000:+.1f} °C off"


def plan(ledger: Ledger, ask: Ask) -> Planned:
    """Plan a batch. Nothing is recorded.

    Raises:
        UnknownThing, BadInput, Refused: the book lacks something, or a figure cannot be read.
        DesignMissing and the errors of `read_design`: the picture. The errors of `plan_batch`: the figures.
    """
    book = ledger.book()
    day = quantities.day(ask.day or ledger.today())
    design = book.get(e.Design, ask.design)
    flavour = book.get(e.Flavour, ask.flavour or design.flavour or _no_flavour(design))
    if ask.packs < 0 or ask.pieces < 0 or (ask.packs > 0) == (ask.pieces > 0):
        raise BadInput("Say how many packs or how many pieces are wanted: one of them, above zero.", packs=ask.packs)
    for word, value, low, high in (
        ("log", ask.log_um, 5, 1000),
        ("rod", ask.rod_um, 2, 200),
        ("piece", ask.piece_um, 1, 1000),
    ):
        if value:
            within(f"the {word}", value / 1000, low, high, "mm", "Check the unit.")
    places = folders(ledger)
    bench, found = read_bench(places), find_design(places, design)
    recipe = read_recipe(book, flavour, bench)
    dressed = dress(found.legend, found.picture, names_of(book), recipe.dyes, recipe.cooked_mg)
    pack, pack_note = pack_of(book, flavour, design, ask.pack)
    known = facts(ledger, book, flavour, design, day)
    units, paper = how_printed(book)
    code = ask.batch or _next_code(ledger, min(day, ledger.today()))
    over = {"log_um": ask.log_um, "rod_um": ask.rod_um, "piece_um": ask.piece_um}
    if ask.ends_um is not None:
        over["ends_um"] = ask.ends_um
    request = SheetRequest(
        shop=book.site().name,
        batch=code,
        address=f"{book.site().base_address}/batch?batch={code}",
        planned_for=date.fromisoformat(day),
        design=dressed.picture,
        recipe=replace(recipe.cook, allergens=tuple(sorted({*recipe.cook.allergens, *dressed.allergens}))),
        kettle=ANY_KETTLE,
        pack=PackSpec(name=pack.name, net_mg=pack.net_mg),
        sizes=sizes_of(design, bench, over),
        site=SiteConditions(altitude_m=0),
        packs=ask.packs,
        pieces=ask.pieces,
        plan_on_low_yield=ask.on_low_yield,
        yields=known.yields,
        weighings=known.weighings,
        lots=known.lots,
        previous_allergens=known.previous,
        least_line_um=bench.least_line_um,
        rod_step_um=bench.rod_step_um,
        clear_kg_m3=bench.clear_kg_m3,
        pulled_kg_m3=bench.pulled_kg_m3,
    )
    if ask.kettle:
        station, limits = book.get(e.Station, ask.kettle), limits_of(book.get(e.Station, ask.kettle), bench)
    else:
        station, limits = choose_kettle(book, plan_batch(request).cook.charge_mg, bench, "")
    site, air_notes = air(ledger, book, ask, station.id, day)
    sheet = plan_batch(replace(request, kettle=limits, site=site))
    notes = [*air_notes, *recipe.notes, *dressed.notes, *known.notes, *([pack_note] if pack_note else [])]
    hints = []
    if any(flag.code == "ends-exceed-yield" for flag in sheet.flags):
        flag = next(flag for flag in sheet.flags if flag.code == "ends-exceed-yield")
        log = thinner_log(sheet.sizes, ask.ends_um is None and not bench.ends_um, flag.limit / flag.value)
        if log:
            hints.append(
                f"A thinner log loses less in its ends: one of {size_text(log, units)} would give the {sheet.sizes.pieces_wanted} pieces from the usual mass."
            )
    if not found.folder:
        notes.append("No picture file: planned as a plain rod of one colour.")
    if design.flavour and design.flavour != flavour.id:
        notes.append(f"Design {design.name} is entered for {design.flavour}; this sheet makes it in {flavour.name}.")
    return Planned(
        sheet=sheet, notes=tuple(dict.fromkeys(notes)), units=units, paper=paper, flavour=flavour.id, design=design.id,
        kettle=station.id, pack=pack.id, hints=tuple(hints),
    )  # fmt: skip


def _next_code(ledger: Ledger, day: str) -> str:
    """The day's next free batch code; one that somebody gave to a batch of another day is passed over."""
    taken = set(ledger.queries.batches(first_day=day, last_day=day)["batch"])
    code = next_batch_code(day, taken)
    while not ledger.queries.batches(names=[code]).empty:
        taken.add(code)
        code = next_batch_code(day, taken)
    return code


def _no_flavour(design: e.Design) -> str:
    raise BadInput(f"Design {design.id} belongs to no flavour: name one with --flavour.", value=design.id)
