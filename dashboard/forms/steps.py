"""The forms of the floor: one function a step, each a plain function from its context to HTML."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dashboard.forms.context import STICKS, Context, caution, crew, foot, used
from dashboard.forms.markup import Html, choice, field, group, hidden, join, more, taps
from ledger.domain.books import entries as e
from ledger.quantities import length_text, temperature_text

CAUSES = {
    "cook": ("kettle film", "boiled over"),
    "cut": ("ends", "crumbs", "picture"),
    "pack": ("broken", "crumbs"),
}
STATIONS = {
    "cook": ("kettle",), "pull": ("puller", "slab"), "blend": ("slab",), "build": ("slab",), "roll": ("roller", "slab"),
    "cut": ("cutting block",), "pack": ("packing bench",),
}  # fmt: skip


def batch_of(ctx: Context) -> dict[str, Any]:
    """The batch the form is about (a step form always has one)."""
    assert ctx.batch is not None
    return ctx.batch


def losses(ctx: Context, step: str, start: int = 0) -> Html:
    """Scrap by cause; a row is sent only when it has a figure."""
    old = list(ctx.old.losses) if ctx.old is not None else []
    causes = list(dict.fromkeys([*(x.cause for x in old), *CAUSES.get(step, ())]))
    rows = []
    for number, cause in enumerate(causes):
        had = next((x for x in old if x.cause == cause), None)
        path = f"losses.{start + number}"
        rows.append(
            group(
                path,
                hidden(f"{path}.cause", cause),
                field(f"{path}.mass", f"Scrap: {cause}", ctx.said(had), ctx.unit),
                need="mass",
            )
        )
    path = f"losses.{start + len(causes)}"
    rows.append(
        more(
            "Another cause",
            group(
                path,
                field(f"{path}.cause", "Cause", mode="text"),
                field(f"{path}.mass", "Mass", "", ctx.unit),
                need="mass",
            ),
        )
    )
    return join(rows)


def cook(ctx: Context) -> Html:
    """Charge by lot (first expired first, the recipe's masses filled in), water, end temperature, portions poured, hands."""
    batch = batch_of(ctx)
    recipe = ctx.book.find(e.Recipe, batch["recipe"])
    parts: list[Html] = [caution()]
    number, water = 0, ""
    planned: list[tuple[str, str, int, str, str]] = []  # material, lot, mass, said, portion
    if ctx.old is not None:
        rows = ctx.ledger.queries.lots(holding=False, names=[t.lot for t in ctx.old.takes])
        item = dict(zip(rows["lot"], rows["item"], strict=True))
        planned = [
            (str(item.get(t.lot, "")), t.lot, t.mass_mg, ctx.said(t) or ctx.mass(t.mass_mg), t.portion)
            for t in ctx.old.takes
        ]
        water = ctx.mass(ctx.old.water_mg)
    else:
        for line in recipe.lines if recipe else ():
            material = ctx.book.find(e.Material, line.material)
            if material is not None and not material.tracked:
                water = ctx.mass(line.mass_mg)
                continue
            left = line.mass_mg
            for row in ctx.held(line.material):
                part = min(left, int(row["mass_mg"]))
                if part:
                    planned.append((line.material, row["lot"], part, ctx.mass(part), ""))
                    left -= part
            if left and not any(p[0] == line.material for p in planned):
                planned.append((line.material, "", left, ctx.mass(left), ""))
    for material, lot, _mass, said, portion in planned:
        thing = ctx.book.find(e.Material, material)
        path = f"takes.{number}"
        lots = [(r["lot"], ctx.lot_words(r)) for r in ctx.held(material, lot)] if material else [(lot, lot)]
        parts.append(
            group(path, choice(f"{path}.lot", f"{thing.name if thing else material or 're-boil'}: lot", lots, lot, none="" if lots else "no lot here: receive it first"),
                  field(f"{path}.mass", "weighed", said, ctx.unit, required=bool(lots)),
                  hidden(f"{path}.portion", portion) if portion else Html(""), need="mass", class_="group pair")
        )  # fmt: skip
        number += 1
    extra = [(m.id, m.name) for m in ctx.book.all(e.Material) if m.tracked and m.role != "packaging"]
    free = [
        (r["lot"], f"{ctx.book.get(e.Material, m).name}, {ctx.lot_words(r)}") for m, _n in extra for r in ctx.held(m)
    ]
    again = ctx.ledger.queries.lots(kinds=["reboil"], flavour=batch["flavour"])
    free = [
        (str(r["lot"]), f"re-boil, {ctx.lot_words(dict(r))}") for r in again.to_dict("records") if not r["held"]
    ] + free
    spare = [group(f"takes.{n}", choice(f"takes.{n}.lot", "Lot", free, none="choose"), field(f"takes.{n}.mass", "weighed", "", ctx.unit),
                   need="mass", class_="group pair") for n in range(number, number + 3)]  # fmt: skip
    parts.append(more("Another lot, or re-boil", *spare) if free else Html(""))
    parts.append(field("water", "Mains water", water, ctx.unit))
    hint = temperature_text(int(batch["end_temperature_mc"]), ctx.site.units)
    old_temperature = (
        ctx.old.end_temperature or (temperature_text(ctx.old.end_temperature_mc) if ctx.old.end_temperature_mc else "")
        if ctx.old is not None
        else ""
    )
    parts.append(field("end_temperature", "Ended at", old_temperature, ctx.degrees, f"recipe: {hint}"))
    poured = [(g.portion, ctx.said(g)) for g in ctx.old.gives] if ctx.old is not None else []
    named = (
        poured
        or [(p, "") for p in dict.fromkeys(x.portion for x in (recipe.lines if recipe else ()) if x.portion)]
        or [("", "")]
    )
    for n, (portion, said) in enumerate(named):
        title = f"Poured: {portion}" if portion else "Poured"
        parts.append(
            group(
                f"gives.{n}",
                hidden(f"gives.{n}.portion", portion),
                field(f"gives.{n}.mass", title, said, ctx.unit, "empty: by recipe"),
                need="mass",
            )
        )
    if ctx.old is None:
        rest = [group(f"gives.{n}", field(f"gives.{n}.portion", "Portion", mode="text"), field(f"gives.{n}.mass", "Poured", "", ctx.unit), need="mass",
                      class_="group pair") for n in range(len(named), len(named) + 3)]  # fmt: skip
        parts.append(more("More portions", *rest))
    parts.append(more("Scrap", losses(ctx, "cook")))
    parts.append(crew(ctx, "cook"))
    return join(parts)


def mass_step(step: str) -> Callable[[Context], Html]:
    """Pulling: one portion, all of it unless a mass is given."""

    def make(ctx: Context) -> Html:
        parts = [caution(STICKS)]
        if ctx.old is None:
            rows = (
                []
                if ctx.lots is None
                else [r for r in ctx.lots.to_dict("records") if r["kind"] == "mass" and r["mass_mg"] > 0]
            )
            rows.sort(key=lambda r: r["treatment"] != "clear")
            options = [(r["lot"], f"{r['portion'] or r['treatment']} ({ctx.lot_words(dict(r))})") for r in rows]
            parts.append(taps("takes.0.lot", "Which portion", options, options[0][0] if options else ""))
        else:
            parts.append(used(ctx))
        give = ctx.old.gives[0] if ctx.old is not None else None
        parts.append(group("gives.0", field("gives.0.mass", f"Weight after the {step}", ctx.said(give), ctx.unit, "empty: all of it"),
                           field("gives.0.portion", "Call it", give.portion if give else "", mode="text"), need="mass portion"))  # fmt: skip
        parts.append(crew(ctx, step))
        return join(parts)

    return make


def blend(ctx: Context) -> Html:
    """Portions worked together: each with its mass, or all of it."""
    parts = [caution(STICKS), used(ctx)]
    if ctx.old is None and ctx.lots is not None:
        rows = [r for r in ctx.lots.to_dict("records") if r["kind"] == "mass" and r["mass_mg"] > 0]
        for n, r in enumerate(rows):
            path = f"takes.{n}"
            parts.append(group(path, hidden(f"{path}.lot", r["lot"]), field(f"{path}.mass", f"From {r['portion'] or r['treatment']} {r['lot']}", "", ctx.unit, "empty: none"),
                               need="mass"))  # fmt: skip
    give = ctx.old.gives[0] if ctx.old is not None else None
    parts.append(
        group("gives.0", field("gives.0.portion", "Call it", give.portion if give else "", mode="text"), need="portion")
    )
    return join([*parts, crew(ctx, "blend")])


def shape(step: str) -> Callable[[Context], Html]:
    """Building and rolling: everything the batch has goes in; a weight and sizes where somebody took them."""

    def make(ctx: Context) -> Html:
        design = ctx.book.find(e.Design, batch_of(ctx)["design"]) if batch_of(ctx)["design"] else None
        old = ctx.old
        give = old.gives[0] if old is not None else None
        plan = (design.log_um if step == "build" else design.rod_um) if design else 0
        hint = f"planned: {length_text(plan, ctx.site.units)}" if plan else ""
        sizes = [field("diameter", "Diameter", _length(getattr(old, "diameter_um", 0)), ctx.size, hint)]
        if step == "build":
            sizes.append(field("length", "Length", _length(getattr(old, "length_um", 0)), ctx.size))
        weight = field(
            "gives.0.mass",
            f"Weight of the {'log' if step == 'build' else 'rods'}",
            ctx.said(give),
            ctx.unit,
            "empty: all of it",
        )
        return join(
            [caution(STICKS), used(ctx), group("gives.0", weight, need="mass"), more("Sizes", *sizes), crew(ctx, step)]
        )

    return make


def _length(um: int) -> str:
    return f"{um / 1000:g} mm" if um else ""


def cut(ctx: Context) -> Html:
    """Pieces by weight and count, ends kept for re-boil, scrap by cause."""
    gives = list(ctx.old.gives) if ctx.old is not None else []
    pieces = next((g for g in gives if g.kind == "pieces"), None)
    again = next((g for g in gives if g.kind == "reboil"), None)
    counted = str(pieces.pieces) if pieces and ctx.old is not None and pieces.basis == "weighed" else ""
    return join([
        used(ctx),
        group("gives.0", hidden("gives.0.kind", "pieces"), field("gives.0.mass", "Good pieces", ctx.said(pieces), ctx.unit, "empty: what is left"),
              field("gives.0.pieces", "Counted", counted, "", "empty: by the design's piece", mode="numeric"), need="mass pieces", class_="group pair"),
        group("gives.1", hidden("gives.1.kind", "reboil"), field("gives.1.mass", "Kept for re-boil", ctx.said(again), ctx.unit), need="mass"),
        losses(ctx, "cut"), crew(ctx, "cut"),
    ])  # fmt: skip


def pack(ctx: Context) -> Html:
    """How many of which pack; the lot and its date come by themselves."""
    batch = batch_of(ctx)
    packs = [
        p
        for p in ctx.book.all(e.Pack)
        if p.flavour == batch["flavour"] and (not p.design or not batch["design"] or p.design == batch["design"])
    ]
    value = ctx.old.pack if ctx.old is not None else packs[0].id if packs else ""
    number = str(ctx.old.gives[0].packs) if ctx.old is not None else ""
    return join([
        taps("pack", "Pack", [(p.id, p.name) for p in packs], value) if packs else caution("No pack of this flavour is in the book. Enter one on the Book page first."),
        field("packs", "Filled", number, "", mode="numeric", required=True), more("Scrap", losses(ctx, "pack")), crew(ctx, "pack"),
    ])  # fmt: skip


STEP_FORMS: dict[str, tuple[str, Callable[[Context], Html]]] = {
    "cook": ("Cook and pour", cook), "pull": ("Pull a portion", mass_step("pull")), "blend": ("Blend portions", blend),
    "build": ("Build the log", shape("build")), "roll": ("Roll to rods", shape("roll")), "cut": ("Cut and sort", cut), "pack": ("Pack", pack),
}  # fmt: skip


def step_form(step: str, ctx: Context) -> Html:
    """The fields of a step."""
    return join([hidden("batch", batch_of(ctx)["batch"]), STEP_FORMS[step][1](ctx), foot(ctx, *STATIONS[step])])
