"""The forms beside the floor: opening and closing a batch, receiving, the shelf, flags, time, the book."""

from __future__ import annotations

from collections.abc import Callable

from dashboard.forms.book import define
from dashboard.forms.context import Context, crew, foot
from dashboard.forms.markup import Html, choice, field, first, hidden, join, more, tag, taps
from ledger.analytics.records import records
from ledger.application.season_adopt import openable
from ledger.domain.books import entries as e
from ledger.errors import UnknownThing
from ledger.planning.said import mass_said


def open_batch(ctx: Context) -> Html:
    """Flavour and design by tapping; a line of the plan has both."""
    old, line = ctx.old, (ctx.asked or {}).get("line", "")
    if line and old is None:
        return _planned(ctx, line)
    flavours = [(f.id, f.name) for f in ctx.book.all(e.Flavour) if ctx.book.recipe_of(f.id)]
    if not flavours:
        return first("No flavour with a recipe is in the book yet.", "recipe", "a recipe")
    designs = [(d.id, d.name) for d in ctx.book.all(e.Design)]
    return join([
        taps("flavour", "Flavour", flavours, old.flavour if old is not None else ""),
        choice("design", "Design", designs, old.design if old is not None else "", none="none"), foot(ctx),
    ])  # fmt: skip


def _planned(ctx: Context, line: str) -> Html:
    """A batch as the plan has it. Refused where it is opened already, or where a newer plan does not know it."""
    state = openable(ctx.ledger, line)
    flavour, design = ctx.book.find(e.Flavour, state["flavour"]), ctx.book.find(e.Design, state["design"])
    what = ", ".join(x.name for x in (flavour, design) if x is not None)
    where = f" in {state['kettle']}" if state["kettle"] else ""
    return join([
        tag("p", tag("strong", what), f": about {mass_said(state['grams'], ctx.book.site().units)}{where}, planned for {state['date'] or state['label']}."),
        hidden("flavour", state["flavour"]), hidden("design", state["design"]), hidden("plan_line", line), foot(ctx),
    ])  # fmt: skip


def receive(ctx: Context) -> Html:
    """Goods in: what, how much, from whom, which lot of theirs."""
    old = ctx.old
    give = old.gives[0] if old is not None else None
    materials = [(m.id, m.name) for m in ctx.book.all(e.Material) if m.tracked]
    if not materials:
        return first("No material is in the book yet.", "material", "a material")
    partners = [(p.id, p.id) for p in ctx.book.all(e.Partner) if p.role == "supplier"]
    supplier = old.partner if old is not None else ""
    cost = f"{give.cost / 10**ctx.site.currency_digits:.{ctx.site.currency_digits}f}" if give and give.cost else ""
    return join([
        choice("material", "Material", materials, give.item if give else ""),
        field("mass", "Weight", ctx.said(give), ctx.unit, required=True),
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
        else [r for r in records(ctx.lots) if r["kind"] in ("mass", "log", "rods") and r["mass_mg"] > 0]
    )
    told = (
        "Still unfinished, and posted to unexplained when closed: " + ", ".join(ctx.lot_words(r) for r in left)
        if left
        else "Nothing unfinished is left."
    )
    loose = [] if ctx.lots is None else [r for r in records(ctx.lots) if r["kind"] == "pieces" and r["mass_mg"] > 0]
    kept = (
        tag(
            "p",
            f"Not packed, and kept in stock as loose pieces: {', '.join(ctx.lot_words(r) for r in loose)}. Pack them first if they are to be packed.",
            class_="note",
        )
        if loose
        else None
    )
    return join(
        [hidden("batch", ctx.batch["batch"]), tag("p", told, class_="caution" if left else "quiet"), kept, foot(ctx)]
    )


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
        if packs:
            return first("The book does not say yet where you sell.", "channel", "where you sell")
        return first("No jar or bag is in the book yet.", "pack", "a jar or bag")
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


OTHER_FORMS: dict[str, tuple[str, Callable[[Context], Html]]] = {
    "open-batch": ("Open a batch", open_batch), "receive": ("Receive goods", receive), "close-batch": ("Close the batch", close_batch),
    "work": ("Other time", work), "count": ("Stock-take", lot_form()), "sample": ("Take a sample", lot_form()), "scrap": ("Throw away", lot_form(cause)),
    "sell": ("Sell", sell), "hold": ("Hold the lot", hold), "release": ("Release the lot", hold), "answer-flag": ("Answer a flag", answer_flag),
    "void": ("It never happened", void), "define": ("Enter in the book", define),
}  # fmt: skip
