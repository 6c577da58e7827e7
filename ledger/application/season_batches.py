"""What a batch is: what goes into which kettle, what comes out to sell, what it costs, how long it takes; and what is in work now."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd

from ledger.application.reports_types import Basis
from ledger.domain.books import entries as e
from ledger.planning import Kettle
from ledger.planning.problem import UNSTATED_G, Load

ENOUGH_BATCHES = 3
MOST_BATCHES = 24
IN_WORK_DAYS = 14
"""A batch opened longer ago and still open counts with its pieces only: nobody waits for the rest of it any more."""


@dataclass(frozen=True, slots=True)
class Size:
    """A batch of one thing as planned: sellable grams and grams put in of the typical batch, its loads by kettle, material cost of a sellable kilo."""

    batch_g: int
    load_g: int
    loads: tuple[Load, ...]
    material_per_kg: int


@dataclass(frozen=True, slots=True)
class InWork:
    """A batch that is open: its thing, sellable grams still to come of it, and the steps that are done."""

    batch: str
    flavour: str
    design: str
    grams: int
    done: tuple[str, ...]
    day: str


def kettle_names(book: Any) -> dict[str, str]:
    """What each kettle is called in a plan, by station id: its name, or its id where two have the same name."""
    kettles = [s for s in book.all(e.Station) if s.kind == "kettle"]
    names = [s.name or s.id for s in kettles]
    return {s.id: name if names.count(name) == 1 else s.id for s, name in zip(kettles, names, strict=True)}


def kettles_of(book: Any) -> tuple[Kettle, ...]:
    """The book's kettles as a plan counts them, the largest first."""
    named = kettle_names(book)
    found = [
        Kettle(name=named[s.id], size_g=s.max_mg // 1000 or UNSTATED_G, minimum_g=s.min_mg // 1000)
        for s in book.all(e.Station)
        if s.kind == "kettle"
    ]
    return tuple(sorted(found, key=lambda k: (-k.size_g, k.name)))


class Batches:
    """The batches of the ledger, each with its kettle, what was charged and what was packed, read once."""

    def __init__(self, on: Basis) -> None:
        self.on = on
        self.kettles = kettles_of(on.book)
        named = kettle_names(on.book)
        packed = on.queries.balances(["batch", "day", "flavour", "design", "step"], known=on.known, kinds=["lot.packs"])
        packed = packed[(packed["step"] == "pack") & (packed["batch"] != "")]
        table = (
            packed.sort_values("day", kind="stable")
            .groupby(["batch", "flavour", "design"], as_index=False)
            .agg(day=("day", "last"), mg=("mass_mg", "sum"))
        )
        charge = on.queries.balances(["batch", "station", "step"], known=on.known, kinds=["lot.material", "lot.reboil"])
        charge = charge[(charge["step"] == "cook") & (charge["batch"] != "")]
        charged = charge.groupby("batch", as_index=False).agg(station=("station", "first"), into=("mass_mg", "sum"))
        table = table.merge(charged, on="batch", how="left")
        table["kettle"] = table["station"].map(named).fillna("")
        table["grams"] = table["mg"] // 1000
        table["load"] = (-table["into"].fillna(0)).clip(lower=0).astype("int64") // 1000
        table = self._as_now(table[table["grams"] > 0])
        self.table: pd.DataFrame = table.sort_values(["day", "batch"], ignore_index=True)

    def _as_now(self, table: pd.DataFrame) -> pd.DataFrame:
        """Batches of a recipe whose load was changed since count with as much more or less of everything: its yield stays, its size does not."""
        book, then = self.on.book, {}
        for row in self.on.queries.book_history("recipe").to_dict("records"):
            now, data = book.find(e.Recipe, str(row["id"])), row["data"]
            was = _charged(book, [(str(x["material"]), int(x["mass_mg"])) for x in data.get("lines", ())])
            is_ = load_of(now, book) if now is not None else 0
            if was and is_ and was != is_:
                then[(str(row["id"]), int(row["version"]))] = (is_, was)
        if not then or table.empty:
            return table
        made = self.on.queries.batches(names=list(table["batch"]), most=len(table)).set_index("batch")
        of = [(str(made.at[b, "recipe"]), int(str(made.at[b, "recipe_version"]))) for b in table["batch"]]
        by = [then.get(key, (1, 1)) for key in of]
        table = table.copy()
        for name in ("grams", "load"):
            table[name] = [int(x) * now // was for x, (now, was) in zip(table[name], by, strict=True)]
        return table

    @property
    def kettle_of(self) -> dict[str, str]:
        """Which kettle each packed batch was cooked in, where the entry says."""
        told = self.table[self.table["kettle"] != ""]
        return dict(zip(told["batch"], told["kettle"], strict=True))

    def size(
        self, flavour: str, design: str, recipe: e.Recipe | None, minutes: Mapping[str, Mapping[str, int]] | None = None
    ) -> Size:
        """What a batch of this thing is: the middle of the last packed ones, kettle by kettle where the shop has several; the recipe's till then.

        minutes: what a batch asks for by kettle, where it differs.
        """
        mine = self.table[(self.table["flavour"] == flavour) & ((self.table["design"] == design) | (design == ""))]
        last = mine.tail(MOST_BATCHES)
        full = load_of(recipe, self.on.book)
        if len(last) >= ENOUGH_BATCHES:
            batch_g, load_g = int(last["grams"].median()), int(last["load"].median()) or full
        else:
            batch_g, load_g = by_recipe(recipe, self.on.book), full
        loads = self._loads(mine, recipe, full, minutes or {}) if len(self.kettles) > 1 and batch_g else ()
        cost = self._material(recipe, full)
        given = sum(x.batch_g for x in loads) or batch_g
        taken = sum(x.load_g for x in loads) or load_g or full
        per_kg = cost * taken * 1000 // (full * given) if full and given else 0
        return Size(batch_g, load_g, loads, per_kg)

    def _loads(
        self, mine: pd.DataFrame, recipe: e.Recipe | None, full: int, minutes: Mapping[str, Mapping[str, int]]
    ) -> tuple[Load, ...]:
        """One load a kettle: the middle of what was cooked in it; else the recipe, cut down to what the kettle holds."""
        found = []
        for kettle in self.kettles:
            here = mine[mine["kettle"] == kettle.name].tail(MOST_BATCHES)
            asked = minutes.get(kettle.name)
            if len(here) >= ENOUGH_BATCHES:
                load, grams = int(here["load"].median()), int(here["grams"].median())
                if load > kettle.size_g:  # a recipe grown beyond this kettle is cut down to what it holds
                    load, grams = kettle.size_g, grams * kettle.size_g // load
                found.append(Load(kettle=kettle.name, batch_g=grams, load_g=load, minutes=asked))
            elif full:
                load = min(full, kettle.size_g)
                if load >= kettle.minimum_g:
                    found.append(
                        Load(
                            kettle=kettle.name,
                            batch_g=by_recipe(recipe, self.on.book) * load // full,
                            load_g=load,
                            minutes=asked,
                        )
                    )
        return tuple(x for x in found if x.batch_g > 0)

    def _material(self, recipe: e.Recipe | None, full: int) -> int:
        """Minor units that the recipe's full load costs."""
        if recipe is None or not full:
            return 0
        costs = {m.id: m.cost for m in self.on.book.all(e.Material)}
        return sum(line.mass_mg * costs.get(line.material, 0) for line in recipe.lines) // 1_000_000

    def in_work(self, lots: pd.DataFrame, sizes: Mapping[tuple[str, str], Size], today: date) -> list[InWork]:
        """Batches opened in the last two weeks and still open: what they will still give.

        One that is cooked counts with the mass that lies there of it times its recipe's yield, one that is opened and not cooked yet as a whole batch.
        """
        first = (today - timedelta(days=IN_WORK_DAYS)).isoformat()
        open_ = self.on.queries.batches(status="open", first_day=first)
        lying = lots[lots["kind"].isin(["mass", "log", "rods", "pieces"]) & (lots["held"] == "")]
        found = []
        for row in open_.to_dict("records"):
            key = (str(row["flavour"]), str(row["design"]))
            done = tuple(str(row["steps"]).split())
            here = lying[lying["batch"] == row["batch"]]
            if "cook" in done:
                whole = int(here.loc[here["kind"] == "pieces", "mass_mg"].sum())
                raw = int(here.loc[here["kind"] != "pieces", "mass_mg"].sum())
                grams = (whole + raw * int(row["process_yield_ppm"]) // 1_000_000) // 1000
            else:
                size = sizes.get(key) or next((s for (flavour, _), s in sizes.items() if flavour == key[0]), None)
                grams = size.batch_g if size is not None else 0
            if grams > 0:
                found.append(InWork(str(row["batch"]), *key, grams, done, str(row["day"])))
        return found


def load_of(recipe: e.Recipe | None, book: Any) -> int:
    """Grams that a full load takes from lots: what the recipe lists, less what has no lot (mains water), as a cook is charged."""
    return 0 if recipe is None else _charged(book, [(line.material, line.mass_mg) for line in recipe.lines])


def _charged(book: Any, lines: Iterable[tuple[str, int]]) -> int:
    """Grams of the lines whose material comes from a lot; one that the book does not know is taken to."""
    free = {m.id for m in book.all(e.Material) if not m.tracked}
    return sum(mg for material, mg in lines if material not in free) // 1000


def by_recipe(recipe: e.Recipe | None, book: Any) -> int:
    """Sellable grams of a full load by its recipe: theoretical mass (dry substance over one less the moisture it is cooked to) times process yield.

    0 where nothing can come of it: no lines, or a moisture of all of it.
    """
    if recipe is None or not recipe.lines or recipe.moisture_ppm >= 1_000_000:
        return 0
    solids = {m.id: m.solids_ppm for m in book.all(e.Material)}
    dry = sum(line.mass_mg * solids.get(line.material, 1_000_000) for line in recipe.lines)
    return int(dry // (1_000_000 - recipe.moisture_ppm) * recipe.process_yield_ppm // 1_000_000 // 1000)


__all__ = ["Batches", "InWork", "Size", "by_recipe", "kettle_names", "kettles_of", "load_of"]
