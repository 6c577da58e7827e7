"""One thing to plan, from the ledger: its demand, batches, prices and what is there of it, in the planner's words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import pandas as pd

from ledger.application.season_batches import InWork, Size
from ledger.application.season_demand import Demand
from ledger.application.season_floor import Floor
from ledger.application.season_forecast import Made
from ledger.application.season_settings import PlanSettings
from ledger.application.season_windows import season_of
from ledger.domain.books import entries as e
from ledger.planning import Item, Opening
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
    wait, not_yet = _waits(forecast, recipe, lots, today)
    item = Item(
        key=key, name=name, batch_g=size.batch_g, demand_g=tuple(grams), minutes=floor.minutes(recipe, kind), kind=kind, flavour=flavour.id,
        family=flavour.colour or flavour.id, load_g=size.load_g, loads=size.loads,
        has_recipe=recipe is not None, price_per_kg=price, material_per_kg=material,
        lost_per_kg=price_of_a_missed_kilo(price, material, settings.lost_percent_feast if feast else settings.lost_percent_everyday),
        hold_per_kg_week=settings.hold_per_kg_week, display_g=sum(p.display_minimum * p.net_mg for p in packs) // 1000,
        shelf_weeks=max(1, life * settings.keep_percent // 700), opening=_opening(lots, working, flavour.id, design, start, life), season=season,
        earliest_week=wait, not_yet=not_yet, closing_cap_g=0 if feast else settings.closing_weeks * average,
        closing_value_per_kg=0 if feast else material + 120, closing_low_per_kg=0 if feast else material // 2,
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


def _opening(
    lots: pd.DataFrame, working: Sequence[InWork], flavour: str, design: e.Design | None, start: date, life: int
) -> tuple[Opening, ...]:
    """What may be sold of what is there: packs and pieces of finished batches not held, with the last week of each lot's date, and batches in work."""
    open_batches = {w.batch for w in working}
    mine = lots[(lots["flavour"] == flavour) & lots["kind"].isin(["packs", "pieces"]) & (lots["held"] == "")]
    mine = mine[~mine["batch"].isin(open_batches)]
    if design is not None:
        mine = mine[mine["design"].isin(["", design.id])]
    found = []
    for lot in mine.to_dict("records"):
        last = 10_000
        if lot["best_before"]:
            last = (date.fromisoformat(str(lot["best_before"])) - start).days // 7
        if last >= 0 and lot["mass_mg"] > 0:
            found.append(Opening(grams=int(lot["mass_mg"]) // 1000, good_through=last))
    for batch in working:
        if batch.flavour == flavour and (design is None or batch.design in ("", design.id)):
            last = (date.fromisoformat(batch.day) + timedelta(days=life) - start).days // 7
            found.append(Opening(grams=batch.grams, good_through=last))
    return tuple(found)


def _waits(forecast: Made, recipe: e.Recipe | None, lots: pd.DataFrame, today: date) -> tuple[int, str]:
    """First week in which everything for one batch can be in the house, and what it waits for."""
    if recipe is None:
        return 0, "the material is not in the house"
    book = forecast.seen.on.book
    wait, what = 0, ""
    free = lots[(lots["kind"] == "material") & (lots["held"] == "")].groupby("item")["mass_mg"].sum()
    for line in recipe.lines:
        material = book.find(e.Material, line.material)
        if material is None or not material.tracked or int(free.get(line.material, 0)) >= line.mass_mg:
            continue
        there = today + timedelta(days=material.lead_days + 1)
        weeks = (there - today + timedelta(days=today.weekday())).days // 7
        weeks = weeks if weeks > wait else wait
        if weeks >= wait:
            wait, what = weeks, material.name
    return wait, f"{what} is not in the house" if what else "the material is not in the house"


__all__ = ["item_of"]
