"""The form of a book entry, field by field: known fields show what the newest version says, and a field emptied is sent empty."""

from __future__ import annotations

from dataclasses import MISSING, fields
from typing import Any

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
    later = []
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
}  # fmt: skip
HINTS = {
    "e_number": "E129; empty for what is no additive",
    "label_us": "empty: the name on labels",
    "label_eu": "empty: the name on labels",
}


def _book_field(ctx: Context, kind: str, name: str, value: Any) -> Html:
    path, label = f"entry.{name}", words_of(kind, name)
    if name == "id":
        return field(path, "Code", value or "", mode="text", required=True, help="Short, capitals; it never changes.")
    if kind == "flavour" and name == "like":
        others = [(x.id, x.name) for x in ctx.book.all(e.Flavour)]
        return choice(path, "Sells like, while it is new", others, value or "", none="none", clears=True)
    if (
        kind in ("recipe", "pack", "design")
        and name in ("flavour", "design")
        and not (kind == "design" and name == "design")
    ):
        found = [(x.id, x.name) for x in ctx.book.all(e.Flavour if name == "flavour" else e.Design)]
        return choice(path, label, found, value or "", none="none", clears=name == "design")
    if name == "kind":
        return choice(
            path, label, [(x, x) for x in (e.STATION_KINDS if kind == "station" else e.DESIGN_KINDS)], value or ""
        )
    if name in CHOICES and kind != "partner":
        return choice(path, label, CHOICES[name], value or "")
    if kind == "recipe" and name == "lines":
        return _recipe_lines(ctx, value or ())
    if kind == "recipe" and name == "steps":
        return _step_times(value or ())
    if isinstance(value, bool):
        return choice(path, label, [("true", "yes"), ("false", "no")], "true" if value else "false")
    unit = {"_mg": ctx.unit, "_um": ctx.size, "_mc": ctx.degrees, "_ppm": "%"}.get("_" + name.rsplit("_", 1)[-1], "")
    if (unit and isinstance(value, int)) or (unit and value is None):
        shown = "" if kind == "planning" and value is None else _shown(ctx, name, value or 0)
        stated = name if name.startswith("piece_") else word_of(name)  # a piece has a length and a weight
        return field(f"entry.{stated}", label, shown, unit, exact=ctx.exact(value or 0) if name.endswith("_mg") else "")
    if name.endswith("_seconds"):
        return field(
            f"entry.{word_of(name)}", label, duration_text(value) if value else "", hint="1 h 30 min", mode="text"
        )
    if (name in ("cost", "price", "rate") and isinstance(value, int)) or name.endswith("_cost"):
        digits = ctx.site.currency_digits
        shown = "" if value is None else f"{value / 10**digits:.{digits}f}"
        return field(path, f"{label} ({ctx.site.currency})", shown)
    if isinstance(value, tuple):
        return field(path, label, " ".join(str(x) for x in value), mode="text", clears=True)
    return field(
        path, label, "" if value is None else str(value), mode="text" if not isinstance(value, int) else "numeric",
        hint=HINTS.get(name, "") if kind == "material" else "", clears=isinstance(value, str),
    )  # fmt: skip


def _shown(ctx: Context, name: str, value: int) -> str:
    if name.endswith("_mg"):
        return ctx.mass(value)
    if name.endswith("_um"):
        return f"{value / 1000:g} mm" if value else ""
    if name.endswith("_mc"):
        return f"{value / 1000:g} C" if value else ""
    return f"{value / 10_000:g}"


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
