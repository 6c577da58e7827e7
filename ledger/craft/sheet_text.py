"""What the sheet says, in the shop's units: the one wording that the HTML and the PDF both print."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from ledger import quantities as q
from ledger.craft.numbers import PPM
from ledger.craft.sheet import BatchSheet, Flag, SheetLine

Units = Literal["metric", "us"]

SAFETY = (
    "Molten sugar is hotter than boiling water and sticks. Gloves, sleeves, apron and closed shoes on; eyes shielded; "
    "floor dry, way from kettle to slab clear. Cold running water ready before the burner is lit. Never drop water or "
    "wet tools into the syrup. Burn? Cool running water 20 minutes, pull nothing off, then get medical help."
)
SAFETY_NOTE = "Usual caution only: local rules, your risk assessment and trained first aiders come first."


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A line to weigh and its box: what, how much, which lots; ``colour`` is a swatch or empty."""

    title: str
    mass: str
    note: str
    colour: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetText:
    """The whole wording of one sheet. ``facts`` are ``(label, value, remark)``; ``sizes`` are ``(label, value)``."""

    title: str
    subtitle: str
    facts: tuple[tuple[str, str, str], ...]
    kettle: tuple[Row, ...]
    after: tuple[Row, ...]
    pours: tuple[Row, ...]
    blends: tuple[Row, ...]
    sizes: tuple[tuple[str, str], ...]
    build: tuple[tuple[str, str], ...]
    steps: tuple[tuple[str, str, str], ...]
    flags: tuple[str, ...]
    thin: str
    allergens: str
    changeover: str
    actual: tuple[str, ...]
    footer: str


def inch_text(um: int) -> str:
    """Inches as a rule shows them, to the nearest thirty-second: ``7 3/32 in``."""
    whole, part = divmod(round(Fraction(um, 25400) * 32), 32)
    fraction = Fraction(part, 32)
    shown = " ".join(text for text in (str(whole) if whole or not part else "", str(fraction) if part else "") if text)
    return f"{shown} in"


def size_text(um: int, units: Units) -> str:
    """A size at the bench: millimetres, or inches and thirty-seconds; long runs in metres or feet."""
    if um >= 2_000_000:
        return f"{um / 304_800:.0f} ft" if units == "us" else f"{um / 1e6:.1f} m"
    if units == "us":
        return inch_text(um)
    return f"{um / 1000:.0f} mm" if um >= 100_000 else f"{um / 1000:.1f} mm"


def fine_text(um: int, units: Units) -> str:
    """A fine width: hundredths of a millimetre, or thousandths of an inch."""
    return f"{um / 25_400:.3f} in" if units == "us" else f"{um / 1000:.2f} mm"


def weigh_text(mg: int, units: Units) -> str:
    """A mass as the scale shows it. Under an ounce both systems use the gram scale, with places to match."""
    if units == "us" and mg >= 28_350:
        return q.mass_text(mg, "us")
    return q.mass_text(mg, "metric", 2 if mg < 10_000 else None)


def percent(ppm: int) -> str:
    """Parts per million as percent with one place."""
    return f"{ppm / 10_000:.1f} %"


def _degrees(mc: int, units: Units) -> str:
    return q.temperature_text(mc, units)


def _step_degrees(difference_mc: int, units: Units) -> str:
    return f"{difference_mc * 1.8 / 1000:+.1f} °F" if units == "us" else f"{difference_mc / 1000:+.1f} °C"


def flag_text(flag: Flag, units: Units) -> str:
    """One flag as a sentence with its figures and what to do."""
    match flag.code:
        case "thin-line":
            return (
                f"{flag.subject}: thinnest line {fine_text(flag.value, units)} in the rod, under your limit of "
                f"{fine_text(flag.limit, units)}. It may close: draw it thicker or the rod thicker."
            )
        case "thin-gap":
            return (
                f"{flag.subject}: narrowest gap {fine_text(flag.value, units)} in the rod, under your limit of "
                f"{fine_text(flag.limit, units)}. The parts may run together: move them apart."
            )
        case "lot-short":
            return f"{flag.subject}: {weigh_text(flag.value, units)} short of {weigh_text(flag.limit, units)}."
        case "lot-past-date":
            return f"Past its date and passed over, decide on it: lot {flag.subject}."
        case "ends-exceed-yield":
            return (
                f"Sized by the log's ends: {weigh_text(flag.value, units)} on the slab where the usual yield alone would ask "
                f"{weigh_text(flag.limit, units)}. A thinner log or shorter ends would need less."
            )
        case "soft-glass":
            return (
                f"At the wet end of the band the candy softens at {_degrees(flag.value, units)}: keep it cool and dry, "
                "or cook higher."
            )
        case "thermometer-doubtful":
            return (
                f"The thermometer is {_step_degrees(flag.value, units)} off what the {flag.subject} expects: more than "
                "weather explains. Check it."
            )
    return f"{flag.subject} {flag.code}: {flag.value} against {flag.limit}."


def _flags(sheet: BatchSheet, units: Units) -> tuple[str, ...]:
    """All flags, those of lots past their date in one line."""
    past = [flag for flag in sheet.flags if flag.code == "lot-past-date"]
    lines = [flag_text(flag, units) for flag in sheet.flags if flag.code != "lot-past-date"]
    if past:
        lines.append(flag_text(replace(past[0], subject=", ".join(flag.subject for flag in past)), units))
    return tuple(lines)


def _rows(line: SheetLine, units: Units) -> list[Row]:
    """One row to weigh, or one a kettle load, each with its own box."""
    lots = ", ".join(
        f"{lot.lot}" if len(line.lots) == 1 else f"{lot.lot} {weigh_text(lot.mass_mg, units)}" for lot in line.lots
    )
    short = f"SHORT {weigh_text(line.short_mg, units)}" if line.short_mg else ""
    note = "; ".join(text for text in (lots, short) if text)
    loads = len(line.per_load_mg)
    if loads <= 1:
        return [Row(title=line.material, mass=weigh_text(line.mass_mg, units), note=note)]
    return [
        Row(
            title=f"{line.material}, load\u00a0{number}",
            mass=weigh_text(mass, units),
            note=note if number == 1 else f"{weigh_text(line.mass_mg, units)} in all" if number == 2 else "",
        )
        for number, mass in enumerate(line.per_load_mg, 1)
    ]


def _cook_facts(sheet: BatchSheet, units: Units) -> tuple[tuple[str, str, str], ...]:
    cook = sheet.cook
    known = {"reading": "by your reading", "barometer": "by the barometer", "altitude": "by the altitude"}
    check = "" if cook.thermometer_error_mc is None else f", {_step_degrees(cook.thermometer_error_mc, units)} off"
    loads = len(cook.loads_mg)
    return (
        ("Cook to", _degrees(cook.end_mc, units), f"on this thermometer; {cook.stage}"),
        ("Water boils", _degrees(cook.water_boils_mc, units), known[cook.water_known_from] + check),
        (
            "Moisture",
            percent(cook.moisture_ppm),
            f"band {percent(cook.moisture_low_ppm)} to {percent(cook.moisture_high_ppm)}: tables differ",
        ),
        ("Charge", weigh_text(cook.charge_mg, units), f"{loads} load{'s' if loads > 1 else ''}, {cook.kettle}"),
        ("Cooked", weigh_text(cook.cooked_mg, units), f"{percent(cook.cooked_mg * PPM // cook.charge_mg)} of charge"),
        ("Boils off", weigh_text(cook.boiled_off_mg, units), "water"),
    )


def _sizes(sheet: BatchSheet, units: Units) -> tuple[tuple[str, str], ...]:
    s, y = sheet.sizes, sheet.process_yield
    logs = f"{s.logs} logs, each " if s.logs > 1 else ""
    jacket = (
        f"{size_text(s.jacket_log_um, units)} on the log, {fine_text(s.jacket_rod_um, units)} in the rod"
        if s.jacket_log_um
        else "none"
    )
    source = f"last {y.batches} batches" if y.batches else "recipe's figure"
    learned = f"{s.density_weighings} weighings" if s.density_weighings else "not yet weighed"
    pack_net = f", {weigh_text(s.pack_net_mg, units)} net" if s.pack_net_mg else ""
    return (
        ("Log", f"{logs}{size_text(s.log_um, units)} across, {size_text(s.log_length_um, units)} long"),
        ("Jacket", jacket),
        (
            "Draws to",
            f"{size_text(s.drawn_um, units)} of {size_text(s.rod_um, units)} rod (1 : {s.ratio_ppm / PPM:.0f})",
        ),
        ("Rods", f"{s.rods} of {size_text(s.rod_length_um, units)}, {s.pieces_per_rod} pieces each"),
        (
            "Piece",
            f"{size_text(s.piece_um, units)}, {weigh_text(s.piece_mg, units)} "
            f"({weigh_text(s.piece_low_mg, units)} to {weigh_text(s.piece_high_mg, units)}; {learned})",
        ),
        ("Cut / good", f"{s.pieces_cut} / {y.good_pieces} ({y.good_pieces_low} to {y.good_pieces_high})"),
        ("Yield", f"{percent(y.likely_ppm)} ({percent(y.low_ppm)} to {percent(y.high_ppm)}; {source})"),
        (
            "Packs",
            f"{s.packs} x {s.pack}{pack_net}: {s.pieces_per_pack} pieces each, {s.pieces_left_over} left over",
        ),
        (
            "Rod too thick?",
            f"at {size_text(s.thicker_rod_um, units)} a piece weighs {weigh_text(s.thicker_piece_mg, units)} and "
            f"{s.thicker_pieces_cut} are cut",
        ),
    )


def _build(sheet: BatchSheet, units: Units) -> tuple[tuple[str, str], ...]:
    rows = []
    for step in sheet.build:
        note = f"{step.seconds // 60} min" if step.seconds else ""
        if step.drawn_um != step.bar_um:
            note += (
                f"; bar {size_text(step.bar_um, units)} at {step.scale_ppm / PPM:.2f} x size, draw to "
                f"{size_text(step.drawn_um, units)}"
            )
        if step.copies > 1:
            note += f", cut in {step.copies}"
        if step.mirror:
            note += ", turn every second over" if step.copies > 2 else ", turn one over"
        rows.append((step.title, note.lstrip("; ,")))
    return tuple(rows)


def _pours(sheet: BatchSheet, units: Units) -> tuple[tuple[Row, ...], tuple[Row, ...]]:
    colours = {portion.key: portion.colour for portion in sheet.portions}
    titles = {pour.key: pour.title for pour in sheet.pours}
    pours = []
    for pour in sheet.pours:
        dyes = ", ".join(f"{weigh_text(dose, units)} {name}" for name, dose in pour.dyes)
        pulled = "clear" if not pour.pulled_ppm else "pull all" if pour.pulled_ppm == PPM else ""
        pulled = pulled or f"pull {percent(pour.pulled_ppm)}"
        note = "; ".join(text for text in (pulled, dyes) if text)
        mass = weigh_text(pour.mass_mg, units)
        pours.append(Row(title=pour.title, mass=mass, note=note, colour=colours.get(pour.key, "")))
    blends = [
        Row(
            title=portion.title,
            mass=weigh_text(portion.make_mg, units),
            note=" + ".join(f"{weigh_text(mass, units)} {titles[key]}" for key, mass in portion.blended_of),
            colour=portion.colour,
        )
        for portion in sheet.portions
        if portion.blended_of
    ]
    return tuple(pours), tuple(blends)


def sheet_text(sheet: BatchSheet, units: Units) -> SheetText:
    """Word a sheet in metric or US units."""
    pours, blends = _pours(sheet, units)
    thinnest = min(sheet.thinness, key=lambda item: item.line_um)
    steps = tuple(
        (
            step.title,
            q.duration_text(step.seconds),
            ""
            if step.from_mc is None
            else _degrees(step.from_mc, units) + ("" if step.to_mc is None else f" to {_degrees(step.to_mc, units)}"),
        )
        for step in sheet.steps
    )
    return SheetText(
        title=f"{sheet.design} · {sheet.flavour}",
        subtitle=(
            f"{sheet.shop} · for {sheet.planned_for} · recipe version {sheet.recipe_version} · "
            f"design version {sheet.design_version}"
        ),
        facts=_cook_facts(sheet, units),
        kettle=tuple(row for line in sheet.charge for row in _rows(line, units)),
        after=tuple(row for line in (*sheet.additions, *sheet.dyes) for row in _rows(line, units)),
        pours=pours,
        blends=blends,
        sizes=_sizes(sheet, units),
        build=_build(sheet, units),
        steps=steps,
        flags=_flags(sheet, units),
        thin=f"Thinnest line in the rod: {fine_text(thinnest.line_um, units)} ({thinnest.title})",
        allergens=", ".join(sheet.allergens) if sheet.allergens else "none named in the recipe",
        changeover=sheet.changeover,
        actual=("End temp.", "Cooked mass", "Log length", "Rods", "Good pieces", "Scrap", "Packs"),
        footer=(
            f"Moisture from the boiling curve: {sheet.cook.curve_source}; read it within "
            f"{_step_degrees(sheet.cook.band_mc, units).replace('+', '± ')}. Print at 100 %: the rod and the ruler are "
            "true to size only then."
        ),
    )
