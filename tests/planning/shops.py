"""Invented shops of any size for the planning tests and benchmarks; nothing here is anybody's data."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from ledger.planning.problem import Item, Kettle, Load, Opening, Prices, Problem, Season, Week, price_of_a_missed_kilo

KINDS = {
    "plain": {"hands": 190, "kettle": 45, "slab": 18, "table": 20, "roller": 30},
    "striped": {"hands": 240, "kettle": 45, "slab": 20, "table": 40, "roller": 35},
    "picture": {"hands": 360, "kettle": 45, "slab": 25, "table": 75, "roller": 40},
}


def invented_shop(items: int, weeks: int, seed: int, load: float = 0.95, store: bool = True) -> Problem:
    """A made-up shop: two thirds everyday flavours, one third season designs, hands loaded to ``load`` of normal hours."""
    draw = Random(seed * 7919 + items * 31 + weeks)
    kinds = [draw.choice(["plain", "plain", "striped", "striped", "picture"]) for _ in range(items)]
    batches_wanted, rows = 0.0, []
    for i in range(items):
        batch = draw.choice([12_000, 14_000, 15_000, 16_000, 18_000])
        material = draw.randint(180, 320)
        price = draw.randint(1400, 2600)
        season = None
        if i % 3 == 2:
            last = draw.randint(weeks // 3, weeks - 2)
            first = max(0, last - draw.randint(4, 8))
            season = Season(first_week=first, last_week=last, salvage_per_kg=60)
            size = draw.uniform(4, 16) * batch
            shape = [(1.45 ** (t - last) if first <= t <= last else 0.0) for t in range(weeks)]
            demand = [int(size * s / sum(shape) * draw.uniform(0.8, 1.2)) for s in shape]
        else:
            level = draw.uniform(0.3, 1.3) * batch
            peak = draw.uniform(0.3, 1.0)
            demand = [
                int(level * (1 + peak * max(0.0, 1 - abs(t - 0.8 * weeks) / (weeks / 6))) * draw.uniform(0.75, 1.25))
                for t in range(weeks)
            ]
        opening = int(sum(demand[:2]) * draw.uniform(0.2, 1.2)) if season is None else 0
        everyday = season is None
        average = sum(demand) // weeks
        rows.append(
            Item(
                key=f"item-{i:02d}",
                name=f"design {i}",
                kind=kinds[i],
                batch_g=batch,
                load_g=int(batch * 1.08),
                demand_g=tuple(demand),
                minutes=KINDS[kinds[i]],
                price_per_kg=price,
                material_per_kg=material,
                lost_per_kg=price_of_a_missed_kilo(price, material, 60 if everyday else 90),
                hold_per_kg_week=5,
                display_g=2000,
                shelf_weeks=39,
                opening=(Opening(grams=opening, good_through=30),) if opening else (),
                season=season,
                earliest_week=draw.choice([0, 0, 0, 1, 2]),
                closing_cap_g=6 * average if everyday else 0,
                closing_value_per_kg=material + 120 if everyday else 0,
                closing_low_per_kg=material // 2 if everyday else 0,
                good_to_show=kinds[i] == "picture",
            )
        )
        batches_wanted += sum(demand) / batch * KINDS[kinds[i]]["hands"]
    people = int(batches_wanted / weeks / load)
    stations = {"kettle": people // 4, "slab": people // 6, "table": people // 4, "roller": people // 4}
    closed = draw.randrange(2, weeks - 2)
    return Problem(
        items=tuple(rows),
        weeks=tuple(
            Week(
                label=f"2026-W{t + 1:02d}" if t < 52 else f"2027-W{t - 51:02d}",
                days=0 if t == closed else 5,
                hands_minutes=people,
                overtime_minutes=people // 12,
                helper_shifts=2,
                stations=stations,
                shows=1,
            )
            for t in range(weeks)
        ),
        prices=Prices(),
        store_g=items * 50_000 if store else None,
    )


BIG, SMALL = "big kettle", "small kettle"


def two_kettles(problem: Problem, small_percent: int = 70) -> Problem:
    """The same shop with a big kettle for every batch as it is and a small one that takes ``small_percent`` of it."""

    def loads(item: Item) -> tuple[Load, ...]:
        less = {name: m * (15 + 85 * small_percent // 100) // 100 for name, m in item.minutes.items()}
        return (
            Load(kettle=BIG, batch_g=item.batch_g, load_g=item.load_g),
            Load(
                kettle=SMALL,
                batch_g=item.batch_g * small_percent // 100,
                load_g=item.load_g * small_percent // 100,
                minutes=less,
            ),
        )

    def week(old: Week) -> Week:
        rest = {name: minutes for name, minutes in old.stations.items() if name != "kettle"}
        half = old.stations.get("kettle", 0) // 2
        return replace(old, stations={**rest, BIG: half, SMALL: half})

    return replace(
        problem,
        items=tuple(replace(item, loads=loads(item)) for item in problem.items),
        weeks=tuple(week(old) for old in problem.weeks),
        kettles=(
            Kettle(name=BIG, size_g=22_000, minimum_g=8_000),
            Kettle(name=SMALL, size_g=15_000, minimum_g=5_000),
        ),
    )
