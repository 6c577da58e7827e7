"""The forms beside the floor: opening and closing a batch, receiving, the shelf, flags, time, the book."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, fields
from typing import Any

import msgspec

from dashboard.forms.context import Context, crew, foot
from dashboard.forms.markup import Html, choice, field, hidden, join, more, tag, taps
from ledger.domain.books import additives
from ledger.domain.books import entries as e
from ledger.errors import UnknownThing


def open_batch(ctx: Context) -> Html:
    """Flavour and design by tapping."""
    old = ctx.old
    flavours = [(f.id, f.name) for f in ctx.book.all(e.Flavour) if ctx.book.recipe_of(f.id)]
    if not flavours:
        return tag(
            "p",
            "No flavour with a recipe is in the book. Enter materials, a flavour and its recipe on the Book page first.",
            class_="caution",
        )
    designs = [(d.id, d.name) for d in ctx.book.all(e.Design)]
    return join([
        taps("flavour", "Flavour", flavours, old.flavour if old is not None else ""),
        choice("design", "Design", designs, old.design if old is not None else "", none="none"), foot(ctx),
    ])  # fmt: skip


def receive(ctx: Context) -> Html:
    """Goods in: what, how much, from whom, which lot of theirs."""
    old = ctx.old
    give = old.gives[0] if old is not None else None
    materials = [(m.id, m.name) for m in ctx.book.all(e.Material) if m.tracked]
    if not materials:
        return tag("p", "No material is in the book yet. Enter one on the Book page first.", class_="caution")
    partners = [(p.id, p.id) for p in ctx.book.all(e.Partner) if p.role == "supplier"]
    supplier = old.partner if old is not None else ""
    cost = f"{give.cost / 10**ctx.site.currency_digits:.{ctx.site.currency_digits}f}" if give and give.cost else ""
    return join([
        choice("material", "Material", materials, give.item if give else ""),
        field("mass", "Weight", give.entered if give else "", ctx.unit, required=True),
        choice("supplier", "Supplier", partners, supplier) if partners else field("supplier", "Supplier", supplier, mode="text", required=True),
        field("supplier_lot", "Their lot", old.supplier_lot if old is not None else "", mode="text"),
        field("best_before", "Best before", give.best_before if give else "", kind="date"),
        more("Cost and papers", field("cost", f"Cost of all of it ({ctx.site.currency})", cost), field("document", "Document", getattr(old, "document", ""), mode="text"),
             field("carrier", "Carrier", getattr(old, "carrier", ""), mode="text")),
        foot(ctx),
    ])  # fmt: skip


def close_batch(ctx: Context) -> Html:
    """Nothing more will come of the batch."""
    assert ctx.batch is not None
    left = (
        []
        if ctx.lots is None
        else [r for r in ctx.lots.to_dict("records") if r["kind"] in ("mass", "log", "rods") and r["mass_mg"] > 0]
    )
    told = (
        "Still unfinished, and posted to unexplained when closed: " + ", ".join(ctx.lot_words(dict(r)) for r in left)
        if left
        else "Nothing unfinished is left."
    )
    return join([hidden("batch", ctx.batch["batch"]), tag("p", told, class_="caution" if left else "quiet"), foot(ctx)])


def work(ctx: Context) -> Html:
    """Time that no step holds."""
    code = ctx.batch["batch"] if ctx.batch else ""
    tasks = ("cleaning", "weighing", "setting up", "other")
    return join(
        [
            hidden("batch", code),
            taps("task", "Task", [(t, t) for t in tasks], getattr(ctx.old, "task", "cleaning")),
            crew(ctx, "work"),
            foot(ctx),
        ]
    )


def lot_form(*parts: Callable[[Context], Html]) -> Callable[[Context], Html]:
    """A form about one lot."""

    def make(ctx: Context) -> Html:
        row = ctx.ledger.queries.lot(ctx.lot)
        if row is None:
            raise UnknownThing(f"There is no lot `{ctx.lot}` in this ledger.", kind="lot", id=ctx.lot)
        packs = row["kind"] == "packs"
        amount = field("packs", "Packs", "", mode="numeric") if packs else field("mass", "Weight", "", ctx.unit)
        head = tag(
            "p",
            f"The books say {row['packs']} packs." if packs else f"The books say {ctx.lot_words(row)}.",
            class_="quiet",
        )
        return join([hidden("lot", ctx.lot), head, amount, *[p(ctx) for p in parts], foot(ctx)])

    return make


def sell(ctx: Context) -> Html:
    """Packs sold over a channel; first expired first by itself."""
    packs = [(p.id, p.name) for p in ctx.book.all(e.Pack)]
    channels = [(c.id, c.name) for c in ctx.book.all(e.Channel)]
    if not packs or not channels:
        return tag(
            "p", "Selling needs a pack and a channel in the book. Enter them on the Book page first.", class_="caution"
        )
    return join([choice("pack", "Pack", packs, ctx.lot), field("packs", "Packs", mode="numeric", required=True), taps("channel", "Channel", channels, channels[0][0]),
                 field("amount", f"For all of them ({ctx.site.currency})"), foot(ctx)])  # fmt: skip


def hold(ctx: Context) -> Html:
    """Put a lot aside."""
    return join([hidden("lots", ctx.lot), field("reason", "Why", mode="text", required=True), foot(ctx)])


def cause(ctx: Context) -> Html:
    """Why something is thrown away."""
    return taps("cause", "Cause", [(c, c) for c in ("damp", "past date", "broken", "floor", "other")])


def answer_flag(ctx: Context) -> Html:
    """What a flag turned out to be."""
    asked = ctx.asked or {}
    return join([hidden("origin", asked.get("flag", "")), hidden("code", asked.get("code", "")), tag("p", asked.get("text", ""), class_="quiet"),
                 field("answer", "What it was", mode="text", required=True), hidden("day", ctx.today)])  # fmt: skip


def void(ctx: Context) -> Html:
    """An entry never happened."""
    return join(
        [
            hidden("origin", str(ctx.origin)),
            field("reason", "Why it never happened", mode="text", required=True),
            hidden("day", ctx.today),
        ]
    )


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
    "material": ("role", "solids_ppm", "cost"), "recipe": ("lines", "end_temperature_mc"), "pack": ("design", "price"), "worker": ("rate",),
    "design": ("kind", "flavour"), "site": ("zone", "units", "currency"), "station": ("name",),
}  # fmt: skip
CHOICES: dict[str, Any] = {
    "units": [("metric", "metric"), ("us", "US")], "role": [(x, x) for x in ("ingredient", "sugar", "syrup", "water", "acid", "flavour", "colour", "packaging")],
    "additive_class": [("", "as role and number say"), *[(x, x) for x in additives.CLASSES], (additives.NO_CLASS, "none: a food, no additive in the EU")],
}  # fmt: skip
SAID = {"label": "Name on labels", "label_us": "Name on US labels", "label_eu": "Name on EU labels", "e_number": "E number", "additive_class": "Class of additive (EU)",
        "certified_colour": "Certified colour (US, 21 CFR 74)"}  # fmt: skip
HINTS = {
    "e_number": "E129; empty for what is no additive",
    "label_us": "empty: the name on labels",
    "label_eu": "empty: the name on labels",
}


def _book_field(ctx: Context, kind: str, name: str, value: Any) -> Html:
    path, label = f"entry.{name}", name.rsplit("_", 1)[0] if name.endswith(("_mg", "_um", "_mc", "_ppm")) else name
    label = (
        SAID.get(name, label.replace("_", " ").capitalize())
        if kind == "material"
        else label.replace("_", " ").capitalize()
    )
    if name == "id":
        return field(path, "Code", value or "", mode="text", required=True, help="Short, capitals; it never changes.")
    if (
        kind in ("recipe", "pack", "design")
        and name in ("flavour", "design")
        and not (kind == "design" and name == "design")
    ):
        found = [(x.id, x.name) for x in ctx.book.all(e.Flavour if name == "flavour" else e.Design)]
        return choice(path, label, found, value or "", none="none")
    if name == "kind":
        return choice(
            path, label, [(x, x) for x in (e.STATION_KINDS if kind == "station" else e.DESIGN_KINDS)], value or ""
        )
    if name in CHOICES and kind != "partner":
        return choice(path, label, CHOICES[name], value or "")
    if kind == "recipe" and name == "lines":
        return _recipe_lines(ctx, value or ())
    if isinstance(value, bool):
        return choice(path, label, [("true", "yes"), ("false", "no")], "true" if value else "false")
    unit = {"_mg": ctx.unit, "_um": ctx.size, "_mc": ctx.degrees, "_ppm": "%"}.get("_" + name.rsplit("_", 1)[-1], "")
    if (unit and isinstance(value, int)) or (unit and value is None):
        return field(f"entry.{label.lower().replace(' ', '_')}", label, _shown(ctx, name, value or 0), unit)
    if name in ("cost", "price", "rate") and isinstance(value, int):
        return field(
            path,
            f"{label} ({ctx.site.currency})",
            f"{value / 10**ctx.site.currency_digits:.{ctx.site.currency_digits}f}",
        )
    if isinstance(value, tuple):
        if value and not isinstance(value[0], (str, int)):
            return tag("p", f"{label}: {msgspec.json.encode(value).decode()[:200]}", class_="quiet")
        return field(path, label, " ".join(str(x) for x in value), mode="text")
    return field(
        path, label, "" if value is None else str(value), mode="text" if not isinstance(value, int) else "numeric",
        hint=HINTS.get(name, "") if kind == "material" else "",
    )  # fmt: skip


def _shown(ctx: Context, name: str, value: int) -> str:
    if name.endswith("_mg"):
        return ctx.mass(value)
    if name.endswith("_um"):
        return f"{value / 1000:g} mm" if value else ""
    if name.endswith("_mc"):
        return f"{value / 1000:g} C" if value else ""
    return f"{value / 10_000:g}"


def _recipe_lines(ctx: Context, lines: Any) -> Html:
    materials = [(m.id, m.name) for m in ctx.book.all(e.Material)]
    rows = []
    for n in range(max(len(lines) + 2, 5)):
        line = lines[n] if n < len(lines) else None
        path = f"entry.lines.{n}"
        rows.append(tag("div", choice(f"{path}.material", "Material", materials, line.material if line else "", none="none"),
                        field(f"{path}.mass", "A full kettle takes", ctx.mass(line.mass_mg) if line else "", ctx.unit),
                        field(f"{path}.portion", "For portion", line.portion if line else "", hint="empty: all of it", mode="text"),
                        class_="group pair", data_row=path, data_need="mass"))  # fmt: skip
    return tag("fieldset", tag("legend", "What goes into the kettle"), *rows)


OTHER_FORMS: dict[str, tuple[str, Callable[[Context], Html]]] = {
    "open-batch": ("Open a batch", open_batch), "receive": ("Receive goods", receive), "close-batch": ("Close the batch", close_batch),
    "work": ("Other time", work), "count": ("Stock-take", lot_form()), "sample": ("Take a sample", lot_form()), "scrap": ("Throw away", lot_form(cause)),
    "sell": ("Sell", sell), "hold": ("Hold the lot", hold), "release": ("Release the lot", hold), "answer-flag": ("Answer a flag", answer_flag),
    "void": ("It never happened", void), "define": ("Enter in the book", define),
}  # fmt: skip
