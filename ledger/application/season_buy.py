"""What to order and by when, from a plan: recipes, packs and their containers, lots in the house with their dates, lead times and pack sizes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pandas as pd

from ledger.analytics.compare import monday, shift
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Basis, Report, Table, basis, columns
from ledger.application.season_adopt import adopted, line_states, read_back
from ledger.application.season_batches import IN_WORK_DAYS, load_of
from ledger.application.season_settings import MOST_WEEKS
from ledger.domain.books import entries as e
from ledger.errors import BadInput
from ledger.planning import Plan, Problem
from ledger.planning.buying import InHouse, Material, Order, Spoils, order_list
from ledger.planning.plan import Line
from ledger.planning.said import listed
from ledger.quantities import money_text

COLUMNS = columns(
    ("order_by", "order by", "day"), ("needed_by", "in the house by", "day"), ("material", "material", "item"), ("supplier", "from"),
    ("packs", "packs", "count"), ("each_mg", "of", "mass"), ("mass_mg", "together", "mass"), ("cost", "cost", "money"), ("late", "late", "yes"),
)  # fmt: skip
CONTAINERS = columns(
    ("needed_by", "in the house by", "day"),
    ("container", "container"),
    ("count", "how many", "count"),
    ("packs", "for"),
)
UNIT_PACK_G = 1000
"""Where the book names no pack size a material is ordered by the kilogram."""


def buy_report(ledger: Ledger, plan: Plan | None = None, problem: Problem | None = None, made_of: Mapping[str, tuple[str, str]] | None = None,
               cover_weeks: int = 4) -> Report:  # fmt: skip
    """The order list of a plan, or of the adopted one. UnknownThing when there is neither, BadInput for orders that cover no week."""
    if not 1 <= cover_weeks <= MOST_WEEKS:
        raise BadInput(
            f"One order covers 1 to {MOST_WEEKS} weeks; {cover_weeks} were asked for.",
            value=cover_weeks,
            limit=MOST_WEEKS,
        )
    on = basis(ledger)
    name = "this plan"
    if plan is None or problem is None or made_of is None:
        paper = adopted(ledger)
        plan, problem = read_back(paper)
        plan = _without_cooked(ledger, paper, plan)
        made_of = {line["item"]: (line["flavour"], line["design"]) for line in paper.lines}
        name = f"plan {paper.plan}"
    plan = _with_opened(ledger, on, plan, problem, made_of)
    orders, spoils, notes = orders_of(on, plan, problem, made_of, cover_weeks)
    rows = [
        (
            o.order_by.isoformat(),
            o.needed_by.isoformat(),
            o.material,
            _supplier(on, o.material),
            o.packs,
            o.amount * 1000 // o.packs,
            o.amount * 1000,
            o.cost,
            o.late,
        )
        for o in orders
    ]
    frame = pd.DataFrame(rows, columns=[c.name for c in COLUMNS])
    late = [o for o in orders if o.late]
    text = f"Nothing needs to be ordered for {name}: what is in the house lasts." if not orders else (
        f"{len(orders)} {'order' if len(orders) == 1 else 'orders'} for {name}, {_money(on, sum(o.cost for o in orders))} together; the first by {orders[0].order_by}." + (f" {len(late)} should have gone out already: {', '.join(dict.fromkeys(o.name for o in late))}." if late else "")
    )  # fmt: skip
    tables = {"orders": Table("Order by date", frame, COLUMNS)}
    boxes = containers_of(on, plan, problem, made_of)
    if len(boxes):
        tables["containers"] = Table("Jars and bags the plan fills", boxes, CONTAINERS, note="Week by week; the ledger does not count empty ones, so look what is there.")  # fmt: skip
    if spoils:
        gone = pd.DataFrame(
            [(s.material, s.amount * 1000, s.use_by.isoformat()) for s in spoils],
            columns=["material", "mass_mg", "use_by"],
        )
        tables["spoils"] = Table("Will pass its date before the plan uses it", gone, columns(("material", "material", "item"), ("mass_mg", "mass", "mass"), ("use_by", "date", "day")))  # fmt: skip
    return Report("season-buy", f"What to order for {name}", on.as_of, text, tables, notes, on.shop)


def _with_opened(
    ledger: Ledger, on: Basis, plan: Plan, problem: Problem, made_of: Mapping[str, tuple[str, str]]
) -> Plan:
    """The plan and, in this week, the batches that are opened for none of its lines and not cooked yet: they will take their materials too."""
    today = date.fromisoformat(on.today)
    labels, keys = [w.label for w in problem.weeks], {thing: key for key, thing in made_of.items()}
    if _this_week(today) not in labels:
        return plan
    week = labels.index(_this_week(today))
    more: dict[str, int] = {}
    first = (today - timedelta(days=IN_WORK_DAYS)).isoformat()
    for row in ledger.queries.batches(status="open", first_day=first).to_dict("records"):
        key = keys.get((str(row["flavour"]), str(row["design"]))) or keys.get((str(row["flavour"]), ""))
        if key and "cook" not in str(row["steps"]).split() and not _of_line(str(row["plan_line"]), plan):
            more[key] = more.get(key, 0) + 1
    lines = tuple(
        Line(week=week, label=labels[week], item=key, batches=n, grams=n * way.batch_g, kettle=way.kettle)
        for key, n in more.items()
        for way in problem.item(key).ways[:1]
    )
    return replace(plan, lines=(*plan.lines, *lines))


def _of_line(plan_line: str, plan: Plan) -> bool:
    """Whether a batch was opened for a line that is still among the plan's (`PLAN/ITEM/WEEK/N`)."""
    parts = plan_line.split("/")
    return len(parts) == 4 and any((x.item, x.label) == (parts[1], parts[2]) for x in plan.lines)


def _without_cooked(ledger: Ledger, paper: Any, plan: Plan) -> Plan:
    """The plan less its batches that are cooked already: what they took has left the lots."""
    steps = {
        str(r["batch"]): str(r["steps"]).split() for r in ledger.queries.batches(first_day=paper.day).to_dict("records")
    }
    cooked: dict[tuple[str, str, str], int] = {}
    for state in line_states(ledger, paper):
        if "cook" in steps.get(state["batch"], ()):
            key = (state["item"], state["label"], state["kettle"])
            cooked[key] = cooked.get(key, 0) + 1
    lines = [(x, x.batches - cooked.get((x.item, x.label, x.kettle), 0)) for x in plan.lines]
    return replace(plan, lines=tuple(replace(x, batches=n, grams=x.grams * n // x.batches) for x, n in lines if n > 0))


def orders_of(
    on: Basis, plan: Plan, problem: Problem, made_of: Mapping[str, tuple[str, str]], cover_weeks: int = 4
) -> tuple[list[Order], list[Spoils], tuple[str, ...]]:
    """Orders, lots that spoil, and what could not be reckoned. Weeks gone by need nothing any more."""
    book, notes = on.book, []
    today = date.fromisoformat(on.today)
    recipes: dict[str, dict[str, int]] = {}
    loads = {(item.key, load.kettle): load.load_g for item in problem.items for load in item.ways}
    for key, (flavour, _design) in made_of.items():
        recipe = book.recipe_of(flavour)
        wanted: dict[str, int] = {}
        for line in recipe.lines if recipe else ():
            material = book.find(e.Material, line.material)
            if material is None:
                notes.append(
                    f"The recipe of {flavour} takes `{line.material}`, which is not in the book of materials; it is not on the list."
                )
            elif material.tracked:
                wanted[line.material] = wanted.get(line.material, 0) + -(-line.mass_mg // 1000)
        full = load_of(recipe, book)
        for item, kettle in [(k, name) for k, name in loads if k == key] or [(key, "")]:
            load = (
                loads.get((item, kettle)) or full
            )  # a smaller kettle, or a smaller load, takes so much less of everything
            recipes[f"{key}@{kettle}"] = {m: -(-g * load // full) if full else g for m, g in wanted.items()}
    ahead = tuple(
        replace(line, item=f"{line.item}@{line.kettle}")
        for line in plan.lines
        if problem.weeks[line.week].label >= _this_week(today) and f"{line.item}@{line.kettle}" in recipes
    )
    materials = [_material(m) for m in book.all(e.Material) if m.tracked]
    lots = on.queries.lots(kinds=["material"])
    house = [
        InHouse(material=str(lot["item"]), amount=int(lot["mass_mg"]) // 1000, there=date.fromisoformat(str(lot["day"])),
                use_by=date.fromisoformat(str(lot["best_before"])) if lot["best_before"] else None)
        for lot in lots[lots["held"] == ""].to_dict("records")
    ]  # fmt: skip
    orders, spoils = order_list(
        replace(plan, lines=ahead),
        recipes,
        materials,
        house,
        [monday(w.label) for w in problem.weeks],
        today,
        cover_weeks,
    )
    notes += _held_up(on, plan, problem, made_of, house, recipes)
    free = list(dict.fromkeys(o.name for o in orders if not book.get(e.Material, o.material).lead_days))
    if free:
        notes.append(f"The book has no lead time for {listed(free)}: taken to come on the day of the order.")
    return orders, spoils, tuple(dict.fromkeys(notes))


def _held_up(
    on: Basis, plan: Plan, problem: Problem, made_of: Mapping[str, tuple[str, str]], house: list[InHouse], recipes: Mapping[str, Mapping[str, int]]
) -> list[str]:  # fmt: skip
    """What is short because a material is not in the house, material by material: the plan makes none of it yet, so no order stands for it."""
    today = date.fromisoformat(on.today)
    short: dict[str, list[str]] = {}
    for key in dict.fromkeys(s.item for s in plan.shortages if any(r.code == "material" for r in s.reasons)):
        if key not in made_of:
            continue
        least = min((recipes[k] for k in recipes if k.split("@")[0] == key), key=lambda r: sum(r.values()), default={})
        for id, grams in least.items():
            there = sum(h.amount for h in house if h.material == id and (h.use_by is None or h.use_by >= today))
            if there < grams:
                short.setdefault(id, []).append(problem.item(key).name)
    found = []
    for id, names in short.items():
        material = on.book.get(e.Material, id)
        comes = today + timedelta(days=material.lead_days)
        found.append(
            f"{material.name} is not in the house and holds up {listed(names)}: ordered today it comes on {comes}."
        )
    return found


def containers_of(on: Basis, plan: Plan, problem: Problem, made_of: Mapping[str, tuple[str, str]]) -> pd.DataFrame:
    """Containers to have in the house when each coming week begins: what its batches give, shared among the packs as they sold in the last half year.

    ``needed_by`` (the Monday, today in the running week), ``container``, ``count``, ``packs`` (which packs they are for). A pack whose container the book does not name is left out.
    """
    today = date.fromisoformat(on.today)
    sold = on.queries.balances(["item", "kind"], shift(_this_week(today), -26), known=on.known, kinds=["customer"])
    mass = sold.groupby("item")["mass_mg"].sum().to_dict()
    wanted: dict[tuple[str, str], dict[str, int]] = {}
    for line in plan.lines:
        if line.item not in made_of or problem.weeks[line.week].label < _this_week(today):
            continue
        flavour, design = made_of[line.item]
        packs = [p for p in on.book.all(e.Pack) if p.flavour == flavour and (not design or p.design in ("", design))]
        weight = {p.id: max(0, int(mass.get(p.id, 0))) for p in packs}
        if not sum(weight.values()):
            weight = {p.id: 1 for p in packs}
        for pack in packs:
            if pack.container and weight[pack.id]:
                count = -(-line.grams * 1000 * weight[pack.id] // (sum(weight.values()) * pack.net_mg))
                here = wanted.setdefault((problem.weeks[line.week].label, pack.container), {})
                here[pack.name] = here.get(pack.name, 0) + count
    rows = [
        (
            max(monday(label), today).isoformat(),
            container,
            sum(found.values()),
            "; ".join(f"{c} x {n}" for n, c in sorted(found.items())),
        )
        for (label, container), found in sorted(wanted.items())
    ]
    return pd.DataFrame(rows, columns=[c.name for c in CONTAINERS])


def _money(on: Basis, minor: int) -> str:
    return money_text(minor, on.site.currency, on.site.currency_digits)


def _this_week(today: date) -> str:
    iso = today.isocalendar()
    return f"{iso.year}-W{iso.week:02d}"


def _material(m: e.Material) -> Material:
    pack = max(1, m.pack_mg // 1000) if m.pack_mg else UNIT_PACK_G
    return Material(key=m.id, name=m.name, unit="g", pack=pack, lead_days=m.lead_days, keeps_days=m.shelf_days or None,
                    price_per_pack=m.cost * pack // 1000)  # fmt: skip


def _supplier(on: Basis, material: str) -> str:
    found = on.book.find(e.Material, material)
    return found.supplier if found else ""


__all__ = ["COLUMNS", "buy_report", "containers_of", "orders_of"]
