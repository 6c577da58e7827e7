"""How figures look on the wire: exact decimals as text with a unit, times and days in ISO 8601, counts as whole numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from decimal import Decimal
from typing import Any

import msgspec
import pandas as pd

from ledger.domain.books.entries import Site
from ledger.quantities import duration_text, length_text, mass_text, temperature_text

MONEY = {"money", "cost", "amount", "price", "rate"}
UNITS = {"_mg": ("kg", 6), "_um": ("mm", 3), "_mc": ("Cel", 3), "_ppm": ("1", 6)}


def quantity(value: int, places: int, unit: str) -> dict[str, str]:
    """A whole number of small units as a decimal text with its unit: 12473790, 6, kg -> {"value": "12.47379", "unit": "kg"}."""
    number = Decimal(int(value)).scaleb(-places)
    text = format(number.normalize() if number else Decimal(0), "f")
    return {"value": text, "unit": unit}


def spoken(name: str, value: Any, site: Site) -> tuple[str, Any]:
    """A column or field as it stands in an answer: (name without unit suffix, value)."""
    if isinstance(value, bool) or value is None:
        return name, value
    if pd.api.types.is_integer(value):
        value = int(value)
        for suffix, (unit, places) in UNITS.items():
            if name.endswith(suffix):
                return name.removesuffix(suffix), quantity(value, places, unit)
        if name == "seconds" or name.endswith("_seconds"):
            return name.removesuffix("seconds") + "time", quantity(value, 0, "s")
        if name in MONEY or name.endswith("_cost"):
            return name, quantity(value, site.currency_digits, site.currency)
        return name, value
    if isinstance(value, Mapping):
        return name, dict(spoken(str(k), v, site) for k, v in value.items())
    if isinstance(value, (list, tuple)):
        return name, [
            dict(spoken(str(k), v, site) for k, v in x.items()) if isinstance(x, Mapping) else x for x in value
        ]
    if pd.api.types.is_float(value):
        return name, None if pd.isna(value) else float(value)
    return name, value


def rows(frame: pd.DataFrame, site: Site) -> list[dict[str, Any]]:
    """A frame as a list of objects."""
    return [dict(spoken(str(k), v, site) for k, v in row.items()) for row in frame.to_dict("records")]


def thing(value: Any, site: Site) -> dict[str, Any]:
    """A dataclass (an event, a book entry) as an object."""
    return dict(spoken(k, v, site) for k, v in msgspec.to_builtins(value).items())


def echo(command: Any, units: str, path: str = "") -> dict[str, str]:
    """What was understood of a command, by the path of each field: {"takes.0.mass": "12.474 kg"}."""
    said: dict[str, str] = {}
    for field in fields(command):
        value = getattr(command, field.name)
        if is_dataclass(value):
            said |= echo(value, units, f"{path}{field.name}.")
        elif isinstance(value, tuple):
            for number, item in enumerate(value):
                if is_dataclass(item):
                    said |= echo(item, units, f"{path}{field.name}.{number}.")
        elif isinstance(value, int) and value:
            if field.name.endswith("_mg"):
                said[path + field.name[:-3]] = mass_text(value, units)
            elif field.name.endswith("_mc"):
                said[path + field.name[:-3]] = temperature_text(value, units)
            elif field.name.endswith("_um"):
                said[path + field.name[:-3]] = length_text(value, units)
            elif field.name == "seconds":
                said[path + "time"] = duration_text(value)
    return said
