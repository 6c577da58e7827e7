"""The forms of the floor: one function a step, each a plain function from its context to HTML."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dashboard.forms.context import STICKS, Context, caution, crew, foot
from dashboard.forms.markup import BLOCKED, Html, field, first, group, hidden, join, more, taps
from dashboard.forms.portions import charged, poured, used
from ledger.analytics.records import records
from ledger.domain.batch.steps import MAY_TAKE
from ledger.domain.books import entries as e
from ledger.quantities import length_text, temperature_text

CAUSES = {
    "cook": ("kettle film", "boiled over"),
    "cut": ("ends", "crumbs", "picture"),
    "pack": ("broken", "crumbs"),
    "pull": ("hook strings", "floor"),
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
    had = [(x.cause, x) for x in old]
    had += [(cause, None) for cause in CAUSES.get(step, ()) if cause not in {x.cause for x in old}]
    rows = []
    for number, (cause, loss) in enumerate(had, start):
        path = f"losses.{number}"
        said = ctx.said(loss) or (ctx.exact(loss.mass_mg) if loss else "")
        counts = [hidden(f"{path}.{x}", str(getattr(loss, x))) for x in ("pieces", "packs") if getattr(loss, x, 0)]
        rows.append(
            group(
                path,
                hidden(f"{path}.cause", cause),
                *counts,
                field(f"{path}.mass", f"Scrap: {cause}", said, ctx.unit),
                need="mass",
            )
        )
    path = f"losses.{start + len(had)}"
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
    hint = temperature_text(int(batch_of(ctx)["end_temperature_mc"]), ctx.site.units)
    old = ctx.old
    reached = (
        old.end_temperature or (temperature_text(old.end_temperature_mc) if old.end_temperature_mc else "")
        if old is not None
        else ""
    )
    charge, water = charged(ctx)
    return join([
        caution(), charge, field("water", "Mains water", water, ctx.unit), field("end_temperature", "Ended at", reached, ctx.degrees, f"recipe: {hint}"),
        poured(ctx), scrap(ctx, "cook"), crew(ctx, "cook"),
    ])  # fmt: skip


def mass_step(step: str) -> Callable[[Context], Html]:
    """Pulling: one portion, all of it unless a mass is given."""

    def make(ctx: Context) -> Html:
        parts = [caution(STICKS)]
        if ctx.old is None:
            rows = (
                [] if ctx.lots is None else [r for r in records(ctx.lots) if r["kind"] == "mass" and r["mass_mg"] > 0]
            )
            rows.sort(key=lambda r: r["treatment"] != "clear")
            options = [(r["lot"], f"{r['portion'] or r['treatment']} ({ctx.lot_words(r)})") for r in rows]
            parts.append(taps("takes.0.lot", "Which portion", options, options[0][0] if options else ""))
        else:
            parts.append(used(ctx, MAY_TAKE[step]))
        give = ctx.old.gives[0] if ctx.old is not None else None
        parts.append(group("gives.0", *made(give), field("gives.0.mass", f"Weight after the {step}", ctx.said(give), ctx.unit, "empty: all of it"),
                           field("gives.0.portion", "Call it", give.portion if give else "", mode="text"), need="mass portion lot"))  # fmt: skip
        parts.append(scrap(ctx, step))
        parts.append(crew(ctx, step))
        return join(parts)

    return make


def blend(ctx: Context) -> Html:
    """Portions worked together: each with its mass, or all of it."""
    parts = [caution(STICKS), used(ctx, MAY_TAKE["blend"])]
    if ctx.old is None and ctx.lots is not None:
        rows = [r for r in records(ctx.lots) if r["kind"] == "mass" and r["mass_mg"] > 0]
        for n, r in enumerate(rows):
            path = f"takes.{n}"
            parts.append(group(path, hidden(f"{path}.lot", r["lot"]), field(f"{path}.mass", f"From {r['portion'] or r['treatment']} {r['lot']}", "", ctx.unit, "empty: none"),
                               need="mass"))  # fmt: skip
    give = ctx.old.gives[0] if ctx.old is not None else None
    weight = field("gives.0.mass", "Weight after the blend", ctx.said(give), ctx.unit, "empty: all of it")
    name = field("gives.0.portion", "Call it", give.portion if give else "", mode="text")
    parts.append(group("gives.0", *made(give), name, weight, need="portion mass lot"))
    return join([*parts, scrap(ctx, "blend"), crew(ctx, "blend")])


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
        return join([
            caution(STICKS), used(ctx, MAY_TAKE[step]), group("gives.0", *made(give), weight, need="mass lot"), more("Sizes", *sizes), scrap(ctx, step),
            crew(ctx, step),
        ])  # fmt: skip

    return make


def _length(um: int) -> str:
    return f"{um / 1000:g} mm" if um else ""


def cut(ctx: Context) -> Html:
    """Pieces by weight and count, ends kept for re-boil, scrap by cause."""
    gives = list(ctx.old.gives) if ctx.old is not None else []
    pieces = next((g for g in gives if g.kind == "pieces"), None)
    again = next((g for g in gives if g.kind == "reboil"), None)
    each = int(batch_of(ctx)["piece_mg"] or 0)
    counted = ""
    if pieces is not None and pieces.pieces and not (each and pieces.pieces == pieces.mass_mg // each):
        counted = str(pieces.pieces)  # other than the design's piece makes of the weight: somebody counted
    length = getattr(ctx.old, "piece_um", 0)
    return join([
        used(ctx, MAY_TAKE["cut"]), hidden("piece_um", _length(length)) if length else None,
        group("gives.0", *made(pieces), hidden("gives.0.kind", "pieces"),
              field("gives.0.mass", "Good pieces", ctx.said(pieces), ctx.unit, "empty: what is left"),
              field("gives.0.pieces", "Counted", counted, "", "empty: by weight", mode="numeric"), need="mass pieces lot", class_="group pair"),
        group("gives.1", *made(again, "gives.1"), hidden("gives.1.kind", "reboil"), field("gives.1.mass", "Kept for re-boil", ctx.said(again), ctx.unit), need="mass"),
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
    if not packs:
        return first("No jar or bag of this flavour and design is in the book yet.", "pack", "a jar or bag")
    value = ctx.old.pack if ctx.old is not None else packs[0].id if packs else ""
    give = ctx.old.gives[0] if ctx.old is not None else None
    dated = field("gives.0.best_before", "Best before", give.best_before, kind="date") if give is not None else None
    return join([
        taps("pack", "Pack", [(p.id, p.name) for p in packs], value),
        *(made(give)), field("packs", "Filled", str(give.packs) if give is not None else "", "", mode="numeric", required=True), dated,
        used(ctx, MAY_TAKE["pack"]), scrap(ctx, "pack"), crew(ctx, "pack"),
    ])  # fmt: skip


def made(give: Any, path: str = "gives.0") -> list[Html]:
    """What an amended output keeps though nobody types it: its lot, colour and treatment."""
    return [
        hidden(f"{path}.{x}", getattr(give, x))
        for x in ("lot", "colour", "treatment")
        if give is not None and getattr(give, x)
    ]


def scrap(ctx: Context, step: str) -> Html:
    """Scrap by cause, out of the way unless an amended entry has some."""
    return more("Scrap", losses(ctx, step), open=ctx.old is not None and bool(ctx.old.losses))


STEP_FORMS: dict[str, tuple[str, Callable[[Context], Html]]] = {
    "cook": ("Cook and pour", cook), "pull": ("Pull a portion", mass_step("pull")), "blend": ("Blend portions", blend),
    "build": ("Build the log", shape("build")), "roll": ("Roll to rods", shape("roll")), "cut": ("Cut and sort", cut), "pack": ("Pack", pack),
}  # fmt: skip


def step_form(step: str, ctx: Context) -> Html:
    """The fields of a step."""
    body = STEP_FORMS[step][1](ctx)
    return (
        body if BLOCKED in body else join([hidden("batch", batch_of(ctx)["batch"]), body, foot(ctx, *STATIONS[step])])
    )
