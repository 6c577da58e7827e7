"""Fields of a book entry as people say them: a label, a value in the shop's units, and the number it is compared by."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ledger.application.season_settings import ASSUMPTIONS
from ledger.domain.books import entries as e
from ledger.quantities import duration_text, fixed, length_text, mass_text, temperature_text

SAID = {
    "id": "Code", "solids_ppm": "Dry solids", "density_g_per_l": "Density", "shelf_days": "Keeps", "lead_days": "Delivered in", "pack_mg": "Sack or can",
    "tracked": "Has lots", "unit": "Counted in", "certified_colour": "Certified colour (US)", "label_us": "Name on US labels", "label_eu": "Name on EU labels",
    "label": "Name on labels", "e_number": "E number", "additive_class": "Class of additive (EU)", "log_um": "Log across", "rod_um": "Rod across",
    "piece_um": "Piece, length", "piece_mg": "Piece, weight", "jacket_um": "Jacket", "lines": "Full kettle", "end_temperature_mc": "Ends at",
    "temperature_tolerance_mc": "Give or take", "moisture_ppm": "Moisture expected", "moisture_low_ppm": "Moisture, least", "moisture_high_ppm": "Moisture, most",
    "process_yield_ppm": "Process yield", "unexplained_ppm": "May go missing", "reboil_max_ppm": "Re-boil at most", "steps": "Steps take", "net_mg": "Net weight",
    "best_before_days": "Keeps", "gtin": "GTIN", "rate": "Wage an hour", "week_seconds": "Hours a week", "max_mg": "Largest load", "min_mg": "Smallest load",
    "altitude_m": "Above the sea", "day_seconds": "A working day", "currency_digits": "Digits after the point", "base_address": "Address in label codes",
    "allergen_law": "Allergen law", "like": "Sells like, while it is new", "like_share_ppm": "As much as", "cost": "Cost a kilogram",
}  # fmt: skip
PLANNED = {a.field: a.words[0].upper() + a.words[1:] for a in ASSUMPTIONS}
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def label(kind: str, name: str) -> str:
    """The words over a field."""
    if kind == "planning" and name in PLANNED:
        return PLANNED[name]
    if (kind, name) == ("planning", "source"):
        return "Where the figures come from"
    bare = name
    for suffix in ("_mg", "_um", "_mc", "_ppm", "_seconds"):
        bare = bare.removesuffix(suffix)
    return SAID.get(name, bare.replace("_", " ").capitalize())


def value(name: str, raw: Any, site: e.Site) -> str:
    """A field's value in words; empty for what says nothing (an empty text, an empty list, no figure)."""
    if raw is None or raw == "" or raw == []:
        return ""
    if isinstance(raw, bool):
        return "yes" if raw else "no"
    if isinstance(raw, (list, tuple)):
        return (
            "; ".join(_line(x, site) for x in raw)
            if isinstance(raw[0], Mapping)
            else ", ".join(DAYS[x - 1] if name.endswith("_days") and isinstance(x, int) else str(x) for x in raw)
        )
    if not isinstance(raw, int):
        return str(raw)
    if name.endswith("_ppm"):
        return f"{raw / 10_000:g} %"
    if name.endswith("_mg"):
        return _mass(raw, site) if raw else ""
    if name.endswith("_um"):
        return length_text(raw, site.units)
    if name == "temperature_tolerance_mc":
        return f"{raw * 1.8 / 1000:.1f} °F" if site.units == "us" else f"{raw / 1000:g} °C"
    if name.endswith("_mc"):
        return temperature_text(raw, site.units)
    if name == "seconds" or name.endswith("_seconds"):
        return duration_text(raw) if raw else ""
    if name in ("cost", "price", "rate") or name.endswith("_cost"):
        return f"{fixed(raw, 10**site.currency_digits, site.currency_digits)} {site.currency}"
    if name in ("best_before_days", "shelf_days", "lead_days"):
        return f"{raw} days" if raw else ""
    if name == "altitude_m":
        return f"{raw} m"
    if name == "density_g_per_l":
        return f"{raw} g/l" if raw else ""
    return str(raw)


def compared(name: str, raw: Any, site: e.Site) -> float | None:
    """The number a value is sorted and narrowed by: percent, kg or lb, mm, °C, minutes, whole money; None where it is words."""
    if not isinstance(raw, int) or isinstance(raw, bool):
        return None
    scale = {
        "_ppm": 10_000,
        "_mg": 453_592.37 if site.units == "us" else 1e6,
        "_um": 1_000,
        "_mc": 1_000,
        "seconds": 60,
    }
    part = next((by for suffix, by in scale.items() if name.endswith(suffix)), 1)
    return raw / (10**site.currency_digits if name in ("cost", "price", "rate") or name.endswith("_cost") else part)


def _mass(mg: int, site: e.Site) -> str:
    return f"{mg / 1000:g} g" if mg < 100_000 else mass_text(mg, site.units)


def _line(line: Mapping[str, Any], site: e.Site) -> str:
    if "material" in line:
        portion = f" into {line['portion']}" if line.get("portion") else ""
        return f"{line['material']} {_mass(line['mass_mg'], site)}{portion}"
    if "step" in line:
        return f"{line['step']} {duration_text(line['seconds'])}" + (
            f" x {line['people']}" if line.get("people", 1) != 1 else ""
        )
    return ", ".join(f"{k} {v}" for k, v in line.items() if v not in ("", None))
