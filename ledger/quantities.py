"""What people say ("27.5 lb", "12 kg 400 g", "310 F", "1 h 20 min") as exact integers, and back again.

The one pint registry of the program lives here. Bulk code works on plain integers:

============  ==================  =======================
dimension     canonical integer   suffix used in names
============  ==================  =======================
mass          milligrams          ``_mg``
length        micrometres         ``_um``
volume        microlitres         ``_ul``
temperature   milli-degrees C     ``_mc``
time          seconds             ``_s`` / ``seconds``
money         minor units         ``_minor`` / ``money``
pressure      pascals             ``_pa``
share         parts per million   ``_ppm``
============  ==================  =======================

Conversions are exact fractions (international yard and pound agreement 1959: 1 lb = 0.45359237 kg, 1 in = 25.4 mm) and are
rounded once, half to even, at the edge.
"""

from __future__ import annotations

import re
from datetime import date
from fractions import Fraction
from functools import lru_cache
from typing import Any

import pint

from ledger.errors import BadInput

registry: pint.UnitRegistry[Any] = pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)

_ALIASES = {
    "lb": "pound", "lbs": "pound", "pound": "pound", "pounds": "pound", "oz": "ounce", "ounce": "ounce", "ounces": "ounce",
    "kg": "kilogram", "kilo": "kilogram", "kilos": "kilogram", "g": "gram", "gr": "gram", "gram": "gram", "grams": "gram",
    "mg": "milligram", "t": "metric_ton",
    "in": "inch", "inch": "inch", "inches": "inch", '"': "inch", "ft": "foot", "feet": "foot", "'": "foot",
    "mm": "millimeter", "cm": "centimeter", "m": "meter", "um": "micrometer",
    "l": "liter", "litre": "liter", "litres": "liter", "liter": "liter", "liters": "liter", "ml": "milliliter", "cl": "centiliter",
    "gal": "gallon", "qt": "quart", "pt": "pint", "cup": "cup", "cups": "cup", "floz": "fluid_ounce",
    "h": "hour", "hr": "hour", "hrs": "hour", "hour": "hour", "hours": "hour",
    "min": "minute", "mins": "minute", "minute": "minute", "minutes": "minute", "s": "second", "sec": "second", "secs": "second",
    "d": "day", "day": "day", "days": "day",
}  # fmt: skip

_BASE = {
    "mass": ("milligram", "a mass such as `27.5 lb` or `12 kg 400 g`"),
    "length": ("micrometer", "a length such as `8 in` or `203 mm`"),
    "volume": ("microliter", "a volume such as `3 l` or `2 qt`"),
    "time": ("second", "a time such as `1 h 20 min`"),
}

_COMPOUND = re.compile(
    r"""\s*(?P<sign>[-+]?)(?P<whole>\d+(?:[.,]\d+)?|\.\d+)(?:\s+(?P<num>\d+)/(?P<den>0*[1-9]\d*)|/(?P<over>0*[1-9]\d*))?\s*(?P<unit>[A-Za-z"']+)"""
)


@lru_cache(maxsize=256)
def factor(unit: str, dimension: str) -> Fraction:
    """How many canonical units one `unit` is, exactly. Raises BadInput for a unit of another kind."""
    base, example = _BASE[dimension]
    name = _ALIASES.get(unit) or _ALIASES.get(unit.lower())
    if name is None:
        raise BadInput(f"`{unit}` is not a unit I know; give {example}.", value=unit, dimension=dimension)
    quantity = registry.Quantity(Fraction(1), name)
    if not quantity.check(f"[{dimension}]"):
        kind = "volume" if quantity.check("[volume]") else " and ".join(d.strip("[]") for d in quantity.dimensionality)
        raise BadInput(f"`{unit}` measures {kind}, not {dimension}; give {example}.", value=unit, dimension=dimension)
    return Fraction(quantity.to(base).magnitude)


def _parse(text: str, dimension: str) -> int:
    example = _BASE[dimension][1]
    source, total, at = text.strip(), Fraction(0), 0
    if not source:
        raise BadInput(f"Nothing was given; give {example}.", value=text, dimension=dimension)
    while at < len(source):
        match = _COMPOUND.match(source, at)
        if not match:
            raise BadInput(f"`{text}` cannot be read; give {example}.", value=text, dimension=dimension)
        number = Fraction(match["whole"].replace(",", "."))
        if match["num"]:
            number += Fraction(int(match["num"]), int(match["den"]))
        elif match["over"]:
            number = number / int(match["over"])
        total += number * factor(match["unit"], dimension) * (-1 if match["sign"] == "-" else 1)
        at = match.end()
        while at < len(source) and source[at] in " ,+":
            at += 1
    value = round(total)
    if value < 0:
        raise BadInput(f"`{text}` is below zero; give {example}.", value=text, dimension=dimension)
    return value


def mass(text: str, density_g_per_l: int | None = None) -> int:
    """Milligrams of what was said. A volume is taken too where the material's density (g/l) is known."""
    try:
        return _parse(text, "mass")
    except BadInput:
        if density_g_per_l is None:
            raise
        try:
            microlitres = _parse(text, "volume")
        except BadInput:
            raise BadInput(
                f"`{text}` cannot be read; give {_BASE['mass'][1]} or {_BASE['volume'][1]}.", value=text
            ) from None
        return round(Fraction(microlitres * density_g_per_l, 1000))


def length(text: str) -> int:
    """Micrometres of what was said (`8 in`, `1/2 in`, `12.7 mm`)."""
    return _parse(text, "length")


def volume(text: str) -> int:
    """Microlitres of what was said."""
    return _parse(text, "volume")


def duration(text: str) -> int:
    """Seconds of what was said (`1 h 20 min`, `45 min`); `1:20` reads as hours and minutes."""
    clock = re.fullmatch(r"\s*(\d{1,3}):([0-5]\d)\s*", text)
    if clock:
        return int(clock[1]) * 3600 + int(clock[2]) * 60
    return _parse(text, "time")


def temperature(text: str) -> int:
    """Milli-degrees Celsius of what was said (`310 F`, `154 C`); C = (F - 32) / 1.8 exactly, rounded once."""
    match = re.fullmatch(r"\s*(-?\d+(?:[.,]\d+)?)\s*°?\s*([CFcf])\s*", text)
    if not match:
        raise BadInput(f"`{text}` cannot be read as a temperature; give it as `310 F` or `154 C`.", value=text)
    degrees = Fraction(match[1].replace(",", "."))
    celsius = degrees if match[2].upper() == "C" else (degrees - 32) * Fraction(5, 9)
    if celsius < Fraction(-27315, 100):
        raise BadInput(f"`{text}` is below absolute zero (-273.15 C).", value=text)
    return round(celsius * 1000)


def count(text: str) -> int:
    """A whole number of pieces or packs; spaces, commas and a trailing word are allowed (`5,016 pieces`)."""
    match = re.fullmatch(r"\s*(\d[\d\s,_]*)\s*(?:pieces?|pcs|packs?|jars?|bags?)?\s*", text, re.IGNORECASE)
    if not match:
        raise BadInput(f"`{text}` is not a whole number; give a count such as `5016`.", value=text)
    return int(re.sub(r"[\s,_]", "", match[1]))


def share(text: str) -> int:
    """Parts per million of what was said (`2 %`, `0.803`)."""
    match = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*(%?)\s*", text)
    if not match:
        raise BadInput(f"`{text}` cannot be read as a share; give `2 %` or `0.02`.", value=text)
    value = Fraction(match[1].replace(",", ".")) / (100 if match[2] else 1)
    if value > 1:
        raise BadInput(f"`{text}` is more than 100 %; a share lies between 0 % and 100 %.", value=text, limit="100 %")
    return round(value * 1_000_000)


def money(text: str, digits: int = 2) -> int:
    """Minor units of an amount (`12.50` -> 1250)."""
    match = re.fullmatch(r"\s*(?:[A-Z]{3}|[£$€])?\s*(-?\d[\d ]*(?:[.,]\d{1,4})?)\s*(?:[A-Z]{3}|[£$€])?\s*", text)
    if not match:
        raise BadInput(f"`{text}` cannot be read as an amount of money; give it as `12.50`.", value=text)
    minor: int = round(Fraction(match[1].replace(" ", "").replace(",", ".")) * 10**digits)
    return minor


_PRESSURE = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*([A-Za-z]+)\s*")
_PASCAL = {
    "pa": Fraction(1), "hpa": Fraction(100), "mbar": Fraction(100), "mb": Fraction(100), "kpa": Fraction(1000), "bar": Fraction(100_000),
    "mmhg": Fraction(133_322_387, 1_000_000), "torr": Fraction(101_325, 760), "inhg": Fraction(33_863_886, 10_000), "atm": Fraction(101_325),
}  # fmt: skip
"""Pascals in a unit of pressure. Conventional mercury: NIST SP 811 (2008), appendix B.8: 1 inHg = 3.386 389 kPa."""


def pressure(text: str) -> int:
    """Pascals of what was said (`97.2 kPa`, `972 hPa`, `28.7 inHg`). Raises BadInput for what is no pressure."""
    match = _PRESSURE.fullmatch(text)
    factor = _PASCAL.get(match[2].lower()) if match else None
    if match is None or factor is None:
        raise BadInput(
            f"`{text}` cannot be read as air pressure; give it as `97.2 kPa`, `972 hPa` or `28.7 inHg`.", value=text
        )
    return round(Fraction(match[1].replace(",", ".")) * factor)


# --- and back again -----------------------------------------------------------------------------------------------


def day(text: str) -> str:
    """A day as an ISO 8601 date (`2026-10-30`). Raises BadInput naming what was typed and how to give it."""
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError as error:
        raise BadInput(f"`{text}` is no day; give it as `2026-10-30`.", value=text) from error


_SPAN = re.compile(r"\s*(\d{1,2})[:.](\d{2})\s*(?:-|–|to|\s)\s*(\d{1,2})[:.](\d{2})\s*")


def time_span(text: str) -> tuple[int, int]:
    """From when to when on a day: `14:00-15:30` as minutes after midnight (840, 930). Raises BadInput with the way out."""
    match = _SPAN.fullmatch(text)
    numbers = [int(n) for n in match.groups()] if match else [99, 99, 99, 99]
    if not (numbers[0] < 24 and numbers[2] < 24 and numbers[1] < 60 and numbers[3] < 60):
        raise BadInput(f"`{text}` is no time span; give it as `14:00-15:30`.", value=text)
    start, end = numbers[0] * 60 + numbers[1], numbers[2] * 60 + numbers[3]
    if end <= start:
        raise BadInput(f"`{text}` ends before it begins; give it as `14:00-15:30`.", value=text)
    return start, end


def time_span_text(start: int, end: int) -> str:
    """Minutes after midnight as `14:00-15:30`."""
    return f"{start // 60:02d}:{start % 60:02d}-{end // 60:02d}:{end % 60:02d}"


def fixed(numerator: int, denominator: Fraction | int, places: int) -> str:
    """A quotient with fixed places, rounded once, its thousands parted by narrow spaces."""
    scaled = round(Fraction(numerator) / Fraction(denominator) * 10**places)
    sign, digits = ("-" if scaled < 0 else ""), str(abs(scaled)).rjust(places + 1, "0")
    whole, part = (digits[:-places], digits[-places:]) if places else (digits, "")
    return f"{sign}{int(whole):,}{'.' + part if part else ''}".replace(",", "\u202f")


def mass_text(mg: int, system: str = "metric", places: int | None = None) -> str:
    """A mass in the shop's units: metric kg (g below 1 kg), US lb (oz below 1 lb)."""
    if system == "us":
        if abs(mg) >= 453_592:
            return f"{fixed(mg, Fraction(45359237, 100), 2 if places is None else places)} lb"
        return f"{fixed(mg, Fraction(28349523125, 1_000_000), 2 if places is None else places)} oz"
    if abs(mg) >= 1_000_000:
        return f"{fixed(mg, 1_000_000, 3 if places is None else places)} kg"
    return f"{fixed(mg, 1000, 1 if places is None else places)} g"


def kilograms(mg: int | float, places: int = 3) -> str:
    """Kilograms with fixed places and no unit, for a table whose head carries the unit."""
    return fixed(round(mg), 1_000_000, places)


def temperature_text(mc: int, system: str = "metric") -> str:
    """A temperature in the shop's degrees, whole for F and one place for C."""
    if system == "us":
        return f"{fixed(mc * 9 + 160_000, 5000, 0)} °F"
    return f"{fixed(mc, 1000, 1)} °C"


def duration_text(seconds: int) -> str:
    """Hours and minutes (`1 h 20 min`), seconds only below one minute."""
    if abs(seconds) < 60:
        return f"{seconds} s"
    hours, minutes = divmod(round(abs(seconds) / 60), 60)
    sign = "-" if seconds < 0 else ""
    if not hours:
        return f"{sign}{minutes} min"
    return f"{sign}{hours} h {minutes:02d} min"


def length_text(um: int, system: str = "metric") -> str:
    """Millimetres (two places) or inches (three places)."""
    return f"{fixed(um, 25400, 3)} in" if system == "us" else f"{fixed(um, 1000, 1)} mm"


def money_text(minor: int, currency: str = "", digits: int = 2) -> str:
    """An amount with its currency code behind it."""
    return f"{fixed(minor, 10**digits, digits)} {currency}".strip()
