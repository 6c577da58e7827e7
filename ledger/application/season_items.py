"""One thing to plan, from the ledger: its demand, batches, prices and what is there of it, in the planner's words."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, timedelta

import pandas as pd

from ledger.application.season_batches import InWork, Size
from ledger.application.season_demand import Demand, things
from ledger.application.season_floor import Floor
from ledger.application.season_forecast import Made
from ledger.application.season_settings import PlanSettings
from ledger.application.season_windows import season_of
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.planning import Item, Opening
from ledger.planning.buying import first_week_with
from ledger.planning.expected_loss import with_curves, with_safety
from ledger.planning.problem import price_of_a_missed_kilo


def item_of(
    key: str, flavour: e.Flavour, design: e.Design | None, forecast: Made, settings: PlanSettings, floor: Floor, size: Size,
    lots: pd.DataFrame, working: Sequence[InWork], demand: Demand, start: date, today: date, notes: list[str],
) -> Item:  # fmt: skip
    book = forecast.seen.on.book
    recipe = book.recipe_of(flavour.id)
    kind = design.kind if design else "plain"
    name = (
        flavour.name if demand.designs.get(flavour.id, 1) == 1 or design is None else f"{flavour.name}, {design.name}"
    )
    packs = [p for p in book.all(e.Pack) if p.flavour == flavour.id and (not design or p.design in ("", design.id))]
    material = size.material_per_kg
    price = _price_per_kg(packs, forecast, flavour.id)
    grams = demand.grams_by_week(flavour.id, design.id if design else "")
    season = season_of(forecast, flavour, start, settings, material, name, notes)
    feast = season is not None
    if season is not None and season.last_week < 0:
        grams = [0] * len(grams)
    average = sum(grams) // max(1, len(grams))
    life = max((p.best_before_days for p in packs), default=365)
    if not price and any(grams):
        lacks = "has no pack with a price" if packs else "is in no pack of the book"
        notes.append(
            f"{name} {lacks}, so a missed sale of it counts its material only; enter the pack and what it sells for."
        )
    if recipe is not None and not recipe.lines:
        notes.append(
            f"The recipe of {name} takes no material: it costs nothing here and nothing is ordered for it; enter its weights."
        )
    lost = price_of_a_missed_kilo(
        price, material, settings.lost_percent_feast if feast else settings.lost_percent_everyday
    )
    closing = 0 if feast else min(material + 120, max(0, lost - 1))
    wait, not_yet = _waits(forecast, recipe, lots, today)
    item = Item(
        key=key, name=name, batch_g=size.batch_g, demand_g=tuple(grams), minutes=floor.minutes(recipe, kind), kind=kind, flavour=flavour.id,
        family=flavour.colour or flavour.id, load_g=size.load_g, loads=size.loads,
        has_recipe=recipe is not None, price_per_kg=price, material_per_kg=material,
        lost_per_kg=lost, hold_per_kg_week=settings.hold_per_kg_week, display_g=sum(p.display_minimum * p.net_mg for p in packs) // 1000,
        shelf_weeks=max(1, life * settings.keep_percent // 700), opening=_opening(lots, working, flavour.id, _stock_of(book, flavour, design), start, today, life, settings.keep_percent), season=season,
        earliest_week=wait, not_yet=not_yet, closing_cap_g=0 if feast else settings.closing_weeks * average,
        closing_value_per_kg=closing, closing_low_per_kg=min(closing, material // 2),
        good_to_show=kind == "picture", most_a_week=settings.most_a_week,
    )  # fmt: skip
    if feast and any(grams):
        item = with_curves(item, demand.cumulative_sd(flavour.id, grams))
    elif any(grams) and 0 < settings.service_percent < 100:
        item = with_safety(item, demand.week_sd(flavour.id), settings.service_percent / 100)
    return item


def _price_per_kg(packs: list[e.Pack], forecast: Made, flavour: str) -> int:
    """Mean price of a kilo over what was lately sold of each pack; the plain mean where nothing was."""
    sold = forecast.seen.sold
    mine = sold[(sold["flavour"] == flavour)].groupby("item")["mass_mg"].sum()
    known = {p.id: p.price * 1_000_000 // p.net_mg for p in packs if p.net_mg and p.price}
    weight = {id: int(mine.get(id, 0)) for id in known}
    if sum(weight.values()):
        return sum(known[id] * w for id, w in weight.items()) // sum(weight.values())
    return sum(known.values()) // len(known) if known else 0


def _stock_of(book: Book, flavour: e.Flavour, design: e.Design | None) -> set[str] | None:
    """The designs whose stock is this thing's. What was made in no design counts once, with the flavour's first."""
    if design is None:
        return None
    first = next(d for f, d in things(book, {}) if f.id == flavour.id)
    return {design.id, ""} if first is not None and first.id == design.id else {design.id}


def _opening(
    lots: pd.DataFrame, working: Sequence[InWork], flavour: str, designs: Collection[str] | None, start: date, today: date, life: int,
    keep_percent: int,
) -> tuple[Opening, ...]:  # fmt: skip
    """What may be sold of what is there: packs and pieces of finished batches not held, and batches in work, each with its last week on sale.

    Only what is of one of the `designs` (empty text: of none) counts; None takes all. On sale for `keep_percent` of its life, as what will be made. Pieces have no date yet: their life begins with their lot.
    """
    off_sale = timedelta(days=life - life * keep_percent // 100)
    open_batches = {w.batch for w in working}
    mine = lots[(lots["flavour"] == flavour) & lots["kind"].isin(["packs", "pieces"]) & (lots["held"] == "")]
    mine = mine[~mine["batch"].isin(open_batches)]
    if designs is not None:
        mine = mine[mine["design"].isin(designs)]
    found = []
    for lot in mine.to_dict("records"):
        dated = str(lot["best_before"] or date.fromisoformat(str(lot["day"])) + timedelta(days=life))
        last_day = date.fromisoformat(dated) - off_sale
        if last_day >= today and lot["mass_mg"] > 0:
            found.append(Opening(grams=int(lot["mass_mg"]) // 1000, good_through=(last_day - start).days // 7))
    for batch in working:
        if batch.flavour == flavour and (designs is None or batch.design in designs):
            last_day = date.fromisoformat(batch.day) + timedelta(days=life) - off_sale
            found.append(Opening(grams=batch.grams, good_through=max(0, (last_day - start).days // 7)))
    return tuple(found)


def _waits(forecast: Made, recipe: e.Recipe | None, lots: pd.DataFrame, today: date) -> tuple[int, str]:
    """First week in which everything for one batch can be in the house if it is ordered today, and what it waits for."""
    wait, why = 0, "the material is not in the house"
    if recipe is None:
        return wait, why
    book = forecast.seen.on.book
    good = lots[(lots["kind"] == "material") & (lots["held"] == "")]
    good = good[(good["best_before"] == "") | (good["best_before"] >= today.isoformat())]
    free = good.groupby("item")["mass_mg"].sum()
    for line in recipe.lines:
        material = book.find(e.Material, line.material)
        if material is None or not material.tracked or int(free.get(line.material, 0)) >= line.mass_mg:
            continue
        week = first_week_with(today, material.lead_days)
        if week >= wait:
            comes = today + timedelta(days=material.lead_days)
            wait, why = week, f"{material.name} is not in the house (ordered today it comes on {comes})"
    return wait, why


__all__ = ["item_of"]
