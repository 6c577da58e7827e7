"""What goes into a kettle and what is poured from it: rows that can be added, changed and taken out, for a new cook and for an amended one."""

from __future__ import annotations

from dashboard.forms.context import Context
from dashboard.forms.markup import Html, choice, field, group, hidden, rows
from ledger.analytics.records import records
from ledger.domain.books import entries as e

Charge = tuple[str, str, str, str, str]
"""Material, lot, figure, unit, portion."""
SPARE = 4
ALL_OF_THEM = "the whole kettle"


def named_portions(ctx: Context) -> list[str]:
    """Names of the portions the form starts with: of the old entry, or of the recipe's own lines."""
    if ctx.old is not None:
        return list(dict.fromkeys(g.portion for g in ctx.old.gives if g.portion))
    recipe = ctx.book.find(e.Recipe, ctx.batch["recipe"]) if ctx.batch else None
    return list(dict.fromkeys(x.portion for x in (recipe.lines if recipe else ()) if x.portion))


def poured(ctx: Context) -> Html:
    """The portions: an amended cook shows every one with its name, colour and weight; a new one asks for the weights first."""
    old = list(ctx.old.gives) if ctx.old is not None else []
    named = named_portions(ctx)
    shown: list[Html] = []
    if ctx.old is None:
        for n, portion in enumerate(["", *named] if named else [""]):
            title = f"Poured: {portion}" if portion else "Poured: the rest" if named else "Poured"
            weight = field(f"gives.{n}.mass", title, "", ctx.unit, "empty: worked out")
            shown.append(
                group(f"gives.{n}", hidden(f"gives.{n}.portion", portion), weight, need="mass", rest=not portion)
            )
    for n, give in enumerate(old):
        shown.append(_portion(ctx, n, give, f"portion {give.portion or give.lot}"))
    start = len(shown)
    spare = [_portion(ctx, n, None, "this portion", spare=True) for n in range(start, start + SPARE)]
    return rows("Portions poured" if ctx.old is not None else "", "Add a portion", shown, spare)


def _portion(ctx: Context, n: int, give: object, what: str, spare: bool = False) -> Html:
    path = f"gives.{n}"
    value = lambda name: str(getattr(give, name, "") or "")  # noqa: E731
    kept = [hidden(f"{path}.{x}", value(x)) for x in ("lot", "treatment", "kind") if value(x)]
    return group(
        path, *kept, field(f"{path}.portion", "Portion", value("portion"), mode="text"),
        field(f"{path}.colour", "Colour", value("colour"), mode="text"),
        field(f"{path}.mass", "Poured", ctx.said(give), ctx.unit, "empty: worked out"),
        need="lot mass portion", class_="group trio", remove=what, spare=spare,
    )  # fmt: skip


def charged(ctx: Context) -> tuple[Html, str]:
    """What went in, lot by lot (first expired first), and the water: (rows, water as said)."""
    planned, water = _from_entry(ctx) if ctx.old is not None else _from_recipe(ctx)
    named = [(p, p) for p in named_portions(ctx)]
    shown = []
    for n, (material, lot, said, unit, portion) in enumerate(planned):
        thing = ctx.book.find(e.Material, material)
        name = thing.name if thing else material or "re-boil"
        lots = [(r["lot"], ctx.lot_words(r)) for r in ctx.held(material, lot)] if material else [(lot, lot)]
        path = f"takes.{n}"
        shown.append(
            group(
                path, choice(f"{path}.lot", f"{name}: lot", lots, lot, none="" if lots else "no lot here: receive it first"),
                field(f"{path}.mass", "weighed", said, unit, required=bool(lots)), *_into(path, named, portion, always=ctx.old is not None),
                need="mass", class_="group trio", remove=f"{name} {lot}" if ctx.old is not None else "",
            )
        )  # fmt: skip
    free = _free(ctx)
    start = len(shown)
    spare = [
        group(f"takes.{n}", choice(f"takes.{n}.lot", "Lot", free, none="choose"), field(f"takes.{n}.mass", "weighed", "", ctx.unit),
              *_into(f"takes.{n}", named, "", always=True), need="mass", class_="group trio", remove="this lot", spare=True)
        for n in range(start, start + SPARE)
    ]  # fmt: skip
    title = "What went in" if ctx.old is not None else ""
    return rows(title, "Another lot, a colour, or re-boil", shown, spare if free else []), water


def _into(path: str, named: list[tuple[str, str]], portion: str, always: bool) -> list[Html]:
    """Which portion it went into; a hidden field where a new cook's recipe says so already."""
    if always:
        return [choice(f"{path}.portion", "Went into", named, portion, none=ALL_OF_THEM, into=True)]
    return [hidden(f"{path}.portion", portion)] if portion else []


def _from_entry(ctx: Context) -> tuple[list[Charge], str]:
    found = ctx.ledger.queries.lots(holding=False, names=[t.lot for t in ctx.old.takes])
    item = dict(zip(found["lot"], found["item"], strict=True))
    planned: list[Charge] = [
        (str(item.get(t.lot, "")), t.lot, ctx.said(t) or ctx.exact(t.mass_mg), ctx.scale(t.mass_mg)[1], t.portion)
        for t in ctx.old.takes
    ]
    return planned, ctx.exact(ctx.old.water_mg)


def _from_recipe(ctx: Context) -> tuple[list[Charge], str]:
    recipe = ctx.book.find(e.Recipe, ctx.batch["recipe"]) if ctx.batch else None
    planned: list[Charge] = []
    water = ""
    for line in recipe.lines if recipe else ():
        material = ctx.book.find(e.Material, line.material)
        if material is not None and not material.tracked:
            water = ctx.mass(line.mass_mg)
            continue
        left, begun = line.mass_mg, len(planned)
        for row in ctx.held(line.material):
            part = min(left, int(row["mass_mg"]))
            if part:
                planned.append((line.material, row["lot"], *ctx.scale(part), line.portion))
                left -= part
        if left and len(planned) == begun:
            planned.append((line.material, "", *ctx.scale(left), line.portion))
    return planned, water


def _free(ctx: Context) -> list[tuple[str, str]]:
    """Every lot that may go into a kettle: re-boil of the flavour first, then materials."""
    assert ctx.batch is not None
    again = ctx.ledger.queries.lots(kinds=["reboil"], flavour=ctx.batch["flavour"])
    free = [(str(r["lot"]), f"re-boil, {ctx.lot_words(r)}") for r in records(again) if not r["held"]]
    for material in ctx.book.all(e.Material):
        if material.tracked and material.role != "packaging":
            free += [(r["lot"], f"{material.name}, {ctx.lot_words(r)}") for r in ctx.held(material.id)]
    return free


def used(ctx: Context, kinds: tuple[str, ...]) -> Html:
    """The lots an amended later step used, each with its weight or all of it, and the other lots of its batch that it may have used."""
    if ctx.old is None:
        return Html("")
    found = ctx.ledger.queries.lots(holding=False, batch=ctx.batch["batch"] if ctx.batch else "")
    rows_of = {r["lot"]: r for r in records(found)}
    takes = [t for t in ctx.old.takes if t.basis != "nominal"]
    shown = [_used(ctx, n, t.lot, rows_of.get(t.lot), t) for n, t in enumerate(takes)]
    have = {t.lot for t in ctx.old.takes} | {g.lot for g in ctx.old.gives}
    others = [
        r for r in rows_of.values() if r["kind"] in kinds and r["lot"] not in have and (r["mass_mg"] or r["pieces"])
    ]
    spare = []
    for n, row in enumerate(others[:SPARE], len(shown)):
        spare.append(_used(ctx, n, row["lot"], row, None))
    if not shown and not spare:
        return Html("")
    return rows("What it used", "It used another lot too", shown, spare)


def _used(ctx: Context, n: int, lot: str, row: dict[str, object] | None, take: object) -> Html:
    path = f"takes.{n}"
    name = str(row["portion"] or row["treatment"] or row["kind"]) if row else ""
    counted = getattr(take, "pieces", 0) if getattr(take, "basis", "") == "share" else 0
    parts = [
        hidden(f"{path}.lot", lot),
        field(f"{path}.mass", f"From {name} {lot}", ctx.said(take), ctx.unit, "empty: all of it"),
    ]
    if counted:
        parts.append(hidden(f"{path}.pieces", str(counted)))
    return group(path, *parts, need="lot", class_="group with-remove", remove=f"{name} {lot}", spare=take is None)


__all__ = ["charged", "named_portions", "poured", "used"]
