"""The form of a book entry, field by field: known fields show what the newest version says, and a field emptied is sent empty."""

from __future__ import annotations

from dataclasses import MISSING, fields
from functools import cache
from typing import Any
from zoneinfo import available_timezones

from dashboard.components.book_words import label as words_of
from dashboard.forms.context import Context
from dashboard.forms.markup import Html, choice, field, group, hidden, join, more, rows, tag
from ledger.domain.books import additives
from ledger.domain.books import entries as e
from ledger.errors import UnknownThing
from ledger.interfaces.commands_in import word_of
from ledger.quantities import duration_text

SPARE = 4


def define(ctx: Context) -> Html:
    """A book entry, field by field; known fields show what the newest version says."""
    asked = ctx.asked or {}
    kind = e.KINDS.get(asked.get("kind", ""))
    if kind is None:
        raise UnknownThing(
            f"There is no kind of book entry `{asked.get('kind')}`.", kind="book", id=asked.get("kind", "")
        )
    known = ctx.book.find(kind, asked.get("id", "")) if asked.get("id") else None
    shown = [hidden("kind", asked["kind"])]
    later: list[Html] = []
    for f in fields(kind):
        made = _book_field(
            ctx,
            asked["kind"],
            f.name,
            getattr(known, f.name) if known is not None else None if f.default is MISSING else f.default,
        )
        (shown if f.default is MISSING or f.name in MAIN.get(asked["kind"], ()) else later).append(made)
    return join([*shown, more("More", *later) if later else Html(""), hidden("day", ctx.today)])


MAIN = {
    "material": ("role", "solids_ppm", "cost"), "recipe": ("lines", "end_temperature_mc", "steps"), "pack": ("design", "price"), "worker": ("rate",),
    "design": ("kind", "flavour"), "planning": tuple(e.Planning.__slots__), "site": ("zone", "units", "currency"), "station": ("name",),
}  # fmt: skip
CHOICES: dict[str, Any] = {
    "units": [("metric", "metric"), ("us", "US")], "role": [(x, x) for x in ("ingredient", "sugar", "syrup", "water", "acid", "flavour", "colour", "packaging")],
    "additive_class": [("", "as role and number say"), *[(x, x) for x in additives.CLASSES], (additives.NO_CLASS, "none: a food, no additive in the EU")],
    "paper": [("a4", "A4"), ("letter", "US Letter")], "allergen_law": [("eu", "EU"), ("us", "US")],
}  # fmt: skip
HINTS = {
    "e_number": "E129; empty for what is no additive", "label_us": "empty: the name on labels", "label_eu": "empty: the name on labels", "allergens": "milk, peanuts",
    "rule": "12-25, easter, easter-7 or nth 11 4 4", "dates": "2026-07-11 2027-07-10", "currency": "EUR", "gtin": "digits under the bars",
}  # fmt: skip
UNITS = {"best_before_days": "days", "shelf_days": "days", "lead_days": "days", "days_before": "days", "days_after": "days", "altitude_m": "m",
         "density_g_per_l": "g/l", "display_minimum": "packs", "helper_shifts": "shifts", "closing_weeks": "weeks", "frozen_weeks": "weeks", "most_a_week": "batches"}  # fmt: skip
HELP = {
    "open_days": "1 is Monday, 7 is Sunday.", "making_days": "1 is Monday, 7 is Sunday.", "zone": "The place whose clock you live by, such as Europe/Paris.",
    "rule": "Month and day; Easter, or days before it; or the nth weekday of a month: `nth 11 4 4` is the fourth Thursday of November.",
    "dates": "For a feast that moves by no rule: the days themselves.", "skills": "Steps these hands can do, such as cook pull roll; empty: all.",
    "base_address": "Where the tablet finds these pages; it goes into the code on every label.", "density_g_per_l": "0: not known. Lets a volume be taken for a weight.",
    "display_minimum": "What should always stand on the shelf.", "altitude_m": "Water boils about 1 °C lower every 300 m.", "currency": "Three letters, as banks write it.",
}  # fmt: skip
"""Height: the 1 °C a 300 m is a round figure, common practice, no source; the sheet works with the boiling point itself."""


@cache
def _zones() -> tuple[str, ...]:
    """Time zones by name, for the list under the field."""
    return tuple(sorted(z for z in available_timezones() if "/" in z and not z.startswith(("Etc/", "SystemV/", "US/"))))


def _of_the_book(ctx: Context, kind: str, name: str, value: Any) -> Html | None:
    """A field that names something which stands in the book already, as a list to choose from; None where it is none."""
    found: list[tuple[str, str]]
    if name == "supplier":
        found = [(x.id, x.id) for x in ctx.book.all(e.Partner) if x.role == "supplier"]
    elif name == "container":
        found = [(x.id, x.name) for x in ctx.book.all(e.Material) if x.role == "packaging"]
    elif (kind, name) == ("design", "feast"):
        found = [(x.id, x.name) for x in ctx.book.all(e.Feast)]
    elif (kind, name) == ("partner", "channel"):
        found = [(x.id, x.name) for x in ctx.book.all(e.Channel)]
    else:
        return None
    if value and value not in {id for id, _ in found}:
        found.append((value, value))
    return choice(f"entry.{name}", words_of(kind, name), found, value or "", none="none", clears=True)


def _book_field(ctx: Context, kind: str, name: str, value: Any) -> Html:
    path, label = f"entry.{name}", words_of(kind, name)
    if name == "id":
        told = "Short, in capitals; it never changes." if not value else "The code of an entry never changes."
        return field(path, "Code", value or "", mode="text", required=True, help=told)
    listed = _of_the_book(ctx, kind, name, value)
    if listed is not None:
        return listed
    if kind == "flavour" and name == "like":
        others = [(x.id, x.name) for x in ctx.book.all(e.Flavour)]
        return choice(path, "Sells like, while it is new", others, value or "", none="none", clears=True)
    if (
        kind in ("recipe", "pack", "design")
        and name in ("flavour", "design")
        and not (kind == "design" and name == "design")
    ):
        things: list[e.Flavour] | list[e.Design] = (
            ctx.book.all(e.Flavour) if name == "flavour" else ctx.book.all(e.Design)
        )
        found = [(x.id, x.name) for x in things]
        return choice(path, label, found, value or "", none="none", clears=name == "design")
    if name == "kind":
        return choice(
            path, label, [(x, x) for x in (e.STATION_KINDS if kind == "station" else e.DESIGN_KINDS)], value or ""
        )
    if (kind, name) == ("partner", "role"):
        return choice(path, label, [("supplier", "supplier"), ("customer", "customer")], value or "supplier")
    if name in CHOICES:
        return choice(
            path, label, CHOICES[name], str(value or "").lower() if name in ("paper", "allergen_law") else value or ""
        )
    if name == "zone":
        return field(path, label, value or "", mode="text", help=HELP[name], among=_zones())
    if (kind, name) == ("flavour", "feast"):
        feasts = [x.id for x in ctx.book.all(e.Feast)]
        return field(
            path,
            label,
            value or "",
            mode="text",
            hint="empty: sold all year",
            help="Several: EASTER, CHRISTMAS",
            clears=True,
            among=feasts,
        )
    if kind == "recipe" and name == "lines":
        return _recipe_lines(ctx, value or ())
    if kind == "recipe" and name == "steps":
        return _step_times(value or ())
    if isinstance(value, bool):
        return choice(path, label, [("true", "yes"), ("false", "no")], "true" if value else "false")
    unit = {"_mg": ctx.unit, "_um": ctx.size, "_mc": ctx.degrees, "_ppm": "%"}.get("_" + name.rsplit("_", 1)[-1], "")
    if (unit and isinstance(value, int)) or (unit and value is None):
        shown, unit, exact = ("", unit, "") if value is None else _shown(ctx, name, value, unit)
        stated = name if name.startswith("piece_") else word_of(name)  # a piece has a length and a weight
        if name == "net_mg" and not value:
            unit = "oz" if ctx.site.units == "us" else "g"
        return field(f"entry.{stated}", label, shown, unit, exact=exact)
    if name.endswith("_seconds"):
        return field(
            f"entry.{word_of(name)}", label, duration_text(value) if value else "", hint="1 h 30 min", mode="text"
        )
    if (name in ("cost", "price", "rate") and isinstance(value, int)) or name.endswith("_cost"):
        digits = ctx.site.currency_digits
        shown = "" if value is None else f"{value / 10**digits:.{digits}f}"
        return field(path, f"{label} ({ctx.site.currency})", shown)
    if isinstance(value, tuple):
        return field(
            path,
            label,
            " ".join(str(x) for x in value),
            mode="text",
            clears=True,
            hint=HINTS.get(name, ""),
            help=HELP.get(name, ""),
        )
    return field(
        path, label, "" if value is None else str(value), UNITS.get(name, ""), mode="text" if not isinstance(value, int) else "numeric",
        hint=HINTS.get(name, ""), clears=isinstance(value, str), help=HELP.get(name, ""), worded=True,
    )  # fmt: skip


def _shown(ctx: Context, name: str, value: int, unit: str) -> tuple[str, str, str]:
    """(figure, unit, what is sent while nobody touches it) of a mass, length, temperature or share in the shop's own units."""
    us = ctx.site.units == "us"
    if name.endswith("_mg"):
        return (*ctx.scale(value), ctx.exact(value))
    if name.endswith("_um"):
        shown = f"{value / 25_400:.3f}".rstrip("0").rstrip(".") if us else f"{value / 1000:g}"
        return (shown, unit, f"{value / 1000:g} mm") if value else ("", unit, "")
    if name.endswith("_mc"):
        apart = name == "temperature_tolerance_mc"  # a difference has no zero to be moved by
        shown = f"{value * 1.8 / 1000 + (0 if apart else 32):.1f}" if us else f"{value / 1000:.1f}"
        return shown.removesuffix(".0"), unit, f"{value / 1000:g} C"
    return f"{value / 10_000:g}", unit, ""


def _recipe_lines(ctx: Context, lines: tuple[e.RecipeLine, ...]) -> Html:
    materials = [(m.id, m.name) for m in ctx.book.all(e.Material)]

    def row(n: int, line: e.RecipeLine | None) -> Html:
        path = f"entry.lines.{n}"
        return group(
            path, choice(f"{path}.material", "Material", materials, line.material if line else "", none="none"),
            field(f"{path}.mass", "Full kettle", *ctx.scale(line.mass_mg if line else 0), exact=ctx.exact(line.mass_mg) if line else ""),
            field(f"{path}.portion", "For portion", line.portion if line else "", hint="empty: all of it", mode="text"),
            class_="group trio", need="mass", remove=line.material if line else "this material", spare=line is None and n >= 3,
        )  # fmt: skip

    shown = [row(n, line) for n, line in enumerate(lines)]
    shown += [row(n, None) for n in range(len(shown), 3)]
    made = rows(
        "What goes into the kettle",
        "Another material",
        shown,
        [row(n, None) for n in range(len(shown), len(shown) + SPARE)],
    )
    return tag("div", made, data_list="entry.lines")


def _step_times(steps: tuple[e.StepTime, ...]) -> Html:
    """Minutes and hands of every step; a step left empty has no time of its own."""
    known = {x.step: x for x in steps}
    shown = []
    for n, step in enumerate(e.STEPS):
        path, at = f"entry.steps.{n}", known.get(step)
        shown.append(
            group(
                path, hidden(f"{path}.step", step),
                field(f"{path}.time", f"{step.capitalize()}: time", f"{at.seconds / 60:.6g}" if at else "", "min", "empty: not said"),
                field(f"{path}.people", "Pairs of hands", str(at.people) if at else "1", mode="numeric"), need="time", class_="group pair",
            )
        )  # fmt: skip
    told = tag("p", "Used until your own entries say how long a step takes.", class_="quiet")
    return tag("div", told, rows("How long each step takes", "", shown, []), data_list="entry.steps")
