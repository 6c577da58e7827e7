"""Words from the figures, reasons, what-if, scenarios, the split of planned and sold, and the order list."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import UnknownThing
from ledger.planning import Batches, Effort, Item, Plan, Prices, Problem, Week, make_plan, replan
from ledger.planning.buying import InHouse, Material, first_week_with, needs, order_list, to_csv
from ledger.planning.deviation import Expected, Happened, split
from ledger.planning.expected_loss import with_curves, with_safety
from ledger.planning.helps import TRY as HELP_TRY
from ledger.planning.helps import helps_worth_asking, hour_worth_asking
from ledger.planning.plan import Line
from ledger.planning.reasons import worth_of_hours, worth_of_station
from ledger.planning.scenarios import Spread, rescore, sample_seasons
from ledger.planning.whatif import (
    compare,
    day_added,
    demand_changed,
    design_dropped,
    helper_added,
    hours_added,
    material_sooner,
    station_added,
    station_out,
    store_added,
)
from ledger.planning.words import sentences
from tests.planning.shops import invented_shop

pytestmark = pytest.mark.slow

TRY = Effort(moves=20_000)


@pytest.fixture(scope="module")
def shop() -> Problem:
    return invented_shop(12, 20, 3, load=1.15)


@pytest.fixture(scope="module")
def plan(shop: Problem) -> Plan:
    return make_plan(shop, TRY)


def test_every_figure_in_the_words_is_one_of_the_plan(shop: Problem, plan: Plan) -> None:
    said = sentences(plan, shop, helps_worth_asking(plan, shop))
    assert {"start", "full", "short", "proof"} <= {s.about for s in said}
    for sentence in said:
        assert sentence.keys
        if sentence.about == "start":
            key = sentence.keys[0].removeprefix("item/")
            lines = [line for line in plan.lines if line.item == key]
            assert f"{sum(line.batches for line in lines)} batch" in sentence.text
            assert min(lines, key=lambda line: line.week).label in sentence.text
        for key in sentence.keys:
            if key.startswith("short/"):
                _, item, week = key.split("/")
                assert plan.of(item).short[int(week)] >= 100 and sum(plan.of(item).short) >= 1000
            if sentence.about == "full" and key.startswith("week/"):
                use = plan.weeks[int(key.removeprefix("week/"))]
                full = [(use.hands_used, use.hands_there), *((u, r) for _, u, r in use.stations)]
                assert any(used * 1000 >= 970 * there for used, there in full)
    assert re.search(r"at most \d+\.\d\d % more than the best possible", said[-1].text)


def test_a_week_that_misses_its_show_says_so_and_the_rest_is_planned(shop: Problem) -> None:
    plain = {i.key for i in shop.items if not i.good_to_show}
    closed = replace(shop, weeks=tuple(replace(w, shows=2 if t == 4 else 0) for t, w in enumerate(shop.weeks)))
    kept = replace(closed, prices=replace(shop.prices, missed_show=200_000))
    assert not [s for s in sentences(make_plan(kept, TRY), kept) if s.about == "shows"]
    late = replace(closed, items=tuple(replace(i, earliest_week=8) if i.key not in plain else i for i in closed.items))
    plan = make_plan(late, TRY)
    said = [s for s in sentences(plan, late) if s.about == "shows"]
    assert len(said) == 1 and said[0].keys == ("week/4",)
    assert said[0].text.startswith(f"{late.weeks[4].label} promises 2 shows and has no batches good to show")
    assert dict(plan.parts)["shows"] == 2 * late.prices.missed_show * 1000 and plan.lines


def test_a_rule_that_is_as_good_is_not_said_to_be_nought_dearer(shop: Problem, plan: Plan) -> None:
    for milli, said in ((0, False), (40_000, False), (60_000, True)):
        text = sentences(replace(plan, rule_milli=plan.cost_milli + milli), shop)[-1].text
        assert ("less than the best simple rule" in text) is said and "GBP 0 less" not in text


def test_words_are_not_said_when_there_is_nothing_to_say(shop: Problem) -> None:
    idle = replace(shop, items=tuple(replace(i, demand_g=(0,) * 20, season=None) for i in shop.items))
    said = sentences(make_plan(idle, Effort(moves=500)), idle)
    assert not {"short", "full", "helps", "start"} & {s.about for s in said}


def test_every_shortage_of_a_kilo_has_reasons_for_every_week_before_it(plan: Plan) -> None:
    assert plan.shortages
    for shortage in plan.shortages:
        covered = [t for r in shortage.reasons for t in range(r.first, r.last + 1)]
        assert covered == list(range(shortage.week + 1))


def test_an_hour_is_worth_more_where_hands_are_short(shop: Problem) -> None:
    weeks = tuple(range(20))
    tight = worth_of_hours(shop, weeks).saves_milli
    loose = worth_of_hours(hours_added(weeks, 100_000)(shop), weeks).saves_milli
    assert tight > 0 and loose <= tight // 100
    assert worth_of_station(shop, "slab", weeks).saves_milli >= 0


@pytest.mark.parametrize("weeks", [range(20), range(10, 20)])
def test_what_an_hour_is_said_to_be_worth_is_what_planning_with_it_saves(
    shop: Problem, plan: Plan, weeks: range
) -> None:
    """An hour more in each of many weeks, planned again: within a quarter of the sum of what the hours are said to be worth."""
    again = replan(plan, shop, hours_added(weeks, 60), effort=TRY)
    said = sum(plan.weeks[t].hour_of_hands for t in weeks)
    assert plan.cost_milli - again.cost_milli == pytest.approx(said, rel=0.25)


def test_an_hour_is_worth_the_difference_of_two_bounds_each_solved_from_nothing(shop: Problem, plan: Plan) -> None:
    for t in (0, 8, 17):
        worth = worth_of_hours(shop, (t,)).saves_milli
        assert plan.weeks[t].hour_of_hands == pytest.approx(worth, rel=0.05, abs=100_000)
    narrow = replace(
        shop, weeks=tuple(replace(w, stations=w.stations | {"slab": w.stations["slab"] * 3 // 5}) for w in shop.weeks)
    )
    tight = make_plan(narrow, TRY)
    said = [dict(week.hour_of_stations).get("slab", 0) for week in tight.weeks]
    best = max(range(20), key=lambda t: said[t])
    assert said[best] > 0
    assert said[best] == pytest.approx(worth_of_station(narrow, "slab", (best,)).saves_milli, rel=0.05, abs=100_000)
    assert all(name == "slab" for week in tight.weeks for name, _ in week.hour_of_stations)
    assert Plan.from_dict(json.loads(json.dumps(tight.to_dict()))) == tight


def test_one_change_is_planned_again_and_put_side_by_side(shop: Problem, plan: Plan) -> None:
    more = replan(plan, shop, day_added([5, 6, 7, 8]), effort=TRY, changed="a day more")
    assert more.cost_milli < plan.cost_milli and more.changed == "a day more"
    sides = {side.what: side for side in compare(plan, more).figures}
    assert sides["cost_milli"].before == plan.cost_milli and sides["cost_milli"].after == more.cost_milli
    for line in compare(plan, more).lines:
        assert (line.before, line.after) == (plan.batches(line.item, line.week), more.batches(line.item, line.week))
    dropped = replan(plan, shop, design_dropped("item-02"), effort=TRY)
    assert all(line.item != "item-02" for line in dropped.lines)
    out = replan(plan, shop, station_out("kettle", [6]), effort=TRY)
    assert all(line.week != 6 for line in out.lines) and out.cost_milli > plan.cost_milli


def test_changes_change_what_they_say_and_nothing_else(shop: Problem) -> None:
    up = demand_changed(["item-02"], 20)(shop)
    assert up.item("item-02").demand_g == tuple(d * 120 // 100 for d in shop.item("item-02").demand_g)
    assert up.item("item-03") == shop.item("item-03")
    assert helper_added([1])(shop).weeks[1].helper_shifts == shop.weeks[1].helper_shifts + 1
    assert material_sooner("item-02", 1)(shop).item("item-02").earliest_week <= shop.item("item-02").earliest_week
    assert (store_added(5)(shop).store_g or 0) - (shop.store_g or 0) == 5
    half = station_out("kettle", [2], of=2)(shop)
    assert half.weeks[2].stations["kettle"] == shop.weeks[2].stations["kettle"] // 2
    for change in (demand_changed(["nobody"], 5), design_dropped("nobody"), station_out("oven", [1])):
        with pytest.raises(UnknownThing):
            change(shop)


def test_seasons_are_drawn_around_the_forecast_and_repeat(shop: Problem, plan: Plan) -> None:
    seasons = sample_seasons(shop, 400, seed=3)
    assert (seasons == sample_seasons(shop, 400, seed=3)).all()
    for k, item in enumerate(shop.items):
        assert seasons[:, k].sum(axis=1).mean() == pytest.approx(sum(item.demand_g), rel=0.12)
    still = sample_seasons(
        shop, 3, spread=Spread(common=0, everyday_level=0, season_level=0, everyday_week=0, season_week=0)
    )
    score = rescore(plan, shop, still)
    assert score.mean_milli == score.low_milli == score.high_milli == plan.cost_milli


def test_loss_curves_make_more_of_a_dear_feast_when_demand_is_uncertain(shop: Problem) -> None:
    roomy = hours_added(range(20), 100_000)(replace(shop, store_g=None))
    roomy = replace(roomy, weeks=tuple(replace(w, stations={}) for w in roomy.weeks))
    item = next(i for i in roomy.items if i.season is not None and i.season.last_week > 8)
    alone = replace(roomy, items=(item,))
    sure = make_plan(alone, TRY)
    curved = with_curves(item, [sum(item.demand_g[: t + 1]) * 35 // 100 for t in range(20)])
    unsure = make_plan(replace(alone, items=(curved,)), TRY)
    assert sum(unsure.items[0].made) > sum(sure.items[0].made)
    assert with_safety(item, 3000, 0.9).display_g == 3845  # 1.2816 x 3000, scipy's normal quantile


@given(
    *[st.integers(-50_000, 200_000)] * 4,
    *[st.integers(0, 12)] * 2,
    *[st.integers(0, 90_000)] * 2,
    st.integers(1, 20_000),
)
def test_planned_and_sold_differ_by_named_causes_and_nothing_else(
    opening: int,
    counted: int,
    corrected: int,
    made: int,
    planned: int,
    done: int,
    forecast: int,
    wanted: int,
    batch: int,
) -> None:
    parts = split(
        Expected(opening_g=opening, batches=planned, batch_g=batch, demand_g=forecast),
        Happened(opening_g=counted, corrections_g=corrected, batches=done, made_g=made, demand_g=wanted),
    )
    assert parts.net_g == counted + corrected + made - wanted
    assert parts.net_g == (parts.known_by_plan_g + parts.forecast_g + parts.made_g + parts.yield_g + parts.count_g)


def test_a_worked_split_names_each_cause() -> None:
    parts = split(  # by hand: 5 + 3 x 10 - 40 = -5 known; one batch not made; 1 kg yield lost; 2 kg sold more; 0.5 kg miscounted
        Expected(opening_g=5000, batches=3, batch_g=10_000, demand_g=40_000),
        Happened(opening_g=4500, corrections_g=0, batches=2, made_g=19_000, demand_g=42_000),
    )
    assert (parts.known_by_plan_g, parts.made_g, parts.yield_g, parts.forecast_g, parts.count_g) == (
        -5000, -10_000, -1000, -2000, -500,
    )  # fmt: skip
    assert parts.net_g == -18_500


MONDAYS = [date(2026, 9, 7) + timedelta(days=7 * t) for t in range(20)]
SUGAR = Material(key="sugar", name="white sugar", unit="g", pack=25_000, lead_days=5, price_per_pack=2400)
LEMON = Material(key="oil", name="lemon oil", unit="g", pack=500, lead_days=14, keeps_days=21)


def test_every_batch_is_supplied_and_orders_go_out_in_time(shop: Problem, plan: Plan) -> None:
    recipes = {item.key: {"sugar": 9_000, "oil": 40} for item in shop.items}
    lots = [
        InHouse(material="sugar", amount=60_000, there=date(2026, 9, 1), use_by=date(2028, 1, 1)),
        InHouse(material="oil", amount=400, there=date(2026, 9, 1), use_by=date(2026, 9, 15)),
    ]
    orders, spoils = order_list(plan, recipes, [SUGAR, LEMON], lots, MONDAYS, today=date(2026, 9, 1))
    wanted = needs(plan, recipes)
    for material, have in (("sugar", 60_000), ("oil", 400)):
        for week in sorted(wanted[material]):
            arrived = sum(o.amount for o in orders if o.material == material and o.needed_by <= MONDAYS[week])
            assert arrived + have >= sum(amount for w, amount in wanted[material].items() if w <= week)
    for order in orders:
        lead = SUGAR.lead_days if order.material == "sugar" else LEMON.lead_days
        assert (order.needed_by - order.order_by).days == lead
        assert order.late == (order.order_by < date(2026, 9, 1))
        assert order.amount == order.packs * (25_000 if order.material == "sugar" else 500)
    assert [o.order_by for o in orders] == sorted(o.order_by for o in orders)
    assert all(s.material == "oil" for s in spoils)
    text = to_csv(orders)
    assert text.splitlines()[0].startswith("order_by,needed_by,material") and len(text.splitlines()) == len(orders) + 1


def test_a_lot_past_its_date_is_not_counted_on() -> None:
    plan = make_plan(invented_shop(3, 8, 2), Effort(moves=500))
    recipes = {f"item-{i:02d}": {"sugar": 9_000} for i in range(3)}
    old = [InHouse(material="sugar", amount=10**7, there=date(2026, 9, 1), use_by=date(2026, 9, 2))]
    fresh = [InHouse(material="sugar", amount=10**7, there=date(2026, 9, 1))]
    assert order_list(plan, recipes, [SUGAR], fresh, MONDAYS, date(2026, 9, 1)) == ([], [])
    orders, spoils = order_list(plan, recipes, [SUGAR], old, MONDAYS, date(2026, 9, 1))
    assert orders and spoils[0].amount == 10**7


def test_what_has_no_recipe_or_is_in_no_book_is_named(plan: Plan) -> None:
    with pytest.raises(UnknownThing, match="has no recipe here"):
        order_list(plan, {}, [SUGAR], [], MONDAYS, date(2026, 9, 1))
    with pytest.raises(UnknownThing, match="not in the book of materials"):
        order_list(plan, {i.item: {"salt": 1} for i in plan.items}, [SUGAR], [], MONDAYS, date(2026, 9, 1))


def test_a_lot_that_came_this_week_serves_this_week() -> None:
    """Received on Wednesday, needed in the running week: nothing is ordered. It was ordered, and late, because the week begins on Monday."""
    plan, recipes, wednesday = one_batch_a_week(1), {"x": {"sugar": 9_000}}, date(2026, 9, 9)
    came = [InHouse(material="sugar", amount=9_000, there=wednesday)]
    assert order_list(plan, recipes, [SUGAR], came, MONDAYS, wednesday)[0] == []
    (order,) = order_list(plan, recipes, [SUGAR], [], MONDAYS, wednesday)[0]
    assert (order.needed_by, order.order_by, order.late) == (wednesday, date(2026, 9, 4), True)


def test_an_order_counts_what_lies_there_for_the_weeks_it_keeps() -> None:
    """By hand: 4 weeks of 9 kg; 30 kg keeps through the second week only, so 18 kg of it serve and two weeks are bought, not three."""
    pack = replace(SUGAR, pack=1000)
    lots = [InHouse(material="sugar", amount=30_000, there=date(2026, 9, 1), use_by=date(2026, 9, 20))]
    orders, gone = order_list(one_batch_a_week(4), {"x": {"sugar": 9_000}}, [pack], lots, MONDAYS, date(2026, 9, 1))
    assert [(o.needed_by, o.amount) for o in orders] == [(date(2026, 9, 19), 18_000)]
    assert [(s.amount, s.use_by) for s in gone] == [(12_000, date(2026, 9, 20))]
    some = [InHouse(material="sugar", amount=13_000, there=date(2026, 9, 1), use_by=date(2026, 9, 27))]
    orders, _ = order_list(one_batch_a_week(4), {"x": {"sugar": 9_000}}, [pack], some, MONDAYS, date(2026, 9, 1))
    assert [(o.needed_by, o.amount) for o in orders] == [
        (date(2026, 9, 12), 23_000)
    ]  # 36 kg less the 13 kg, of which 4 kg serve the second week


def test_a_lot_no_batch_needs_is_told_when_its_date_comes() -> None:
    old = [InHouse(material="oil", amount=300, there=date(2026, 9, 1), use_by=date(2026, 10, 1))]
    orders, gone = order_list(
        one_batch_a_week(1), {"x": {"sugar": 1}}, [replace(SUGAR, least_packs=1), LEMON], old, MONDAYS, date(2026, 9, 1)
    )
    assert [o.material for o in orders] == ["sugar"] and [(s.material, s.amount) for s in gone] == [("oil", 300)]


def test_a_pack_larger_than_the_season_is_bought_once() -> None:
    ton = replace(SUGAR, pack=1_000_000)
    orders, _ = order_list(one_batch_a_week(20), {"x": {"sugar": 9_000}}, [ton], [], MONDAYS, date(2026, 9, 1))
    assert [(o.packs, o.amount) for o in orders] == [(1, 1_000_000)]


@given(st.dates(date(2026, 1, 1), date(2027, 12, 31)), st.integers(0, 200))
def test_the_first_week_a_plan_waits_for_material_is_the_first_whose_order_is_not_late(today: date, lead: int) -> None:
    """Plan and order list say the same: in the week before it the order would be late, in it it is not."""
    monday = today - timedelta(days=today.weekday())
    mondays = [monday + timedelta(weeks=t) for t in range(40)]
    first, sugar = first_week_with(today, lead), replace(SUGAR, lead_days=lead)
    late = {}
    for week in {max(0, first - 1), first}:
        plan = one_batch_a_week(1, week)
        (order,), _ = order_list(plan, {"x": {"sugar": 1}}, [sugar], [], mondays, today)
        late[week] = order.late
    assert late[first] is False and all(late[week] for week in late if week < first)


def one_batch_a_week(weeks: int, first: int = 0) -> Plan:
    plan = make_plan(Problem(items=(), weeks=(Week(label="W0"),)), Effort(moves=0, rounds=-1))
    lines = tuple(Line(week=t, label=f"W{t}", item="x", batches=1, grams=8_000) for t in range(first, first + weeks))
    return replace(plan, lines=lines)


def test_a_mass_and_a_shortage_are_said_in_the_shops_units(shop: Problem, plan: Plan) -> None:
    """Pounds by definition: 0.45359237 kg."""
    pounds = {s.keys[0]: s.text for s in sentences(plan, replace(shop, units="us")) if s.about == "start"}
    for sentence in sentences(plan, shop):
        if sentence.about == "start":
            kilos = [float(x) for x in re.findall(r"([\d.]+) kg", sentence.text)]
            lb = [float(x) for x in re.findall(r"([\d.]+) lb", pounds[sentence.keys[0]])]
            assert "kg" not in pounds[sentence.keys[0]] and len(lb) == len(kilos) > 0
            assert lb == pytest.approx([k / 0.45359237 for k in kilos], abs=1.7)


def test_many_small_weeks_are_one_shortage_and_the_sentence_says_all_of_it() -> None:
    """Twelve weeks that each miss half a kilo were not named at all."""
    item = Item(
        key="x",
        name="clove",
        batch_g=9_000,
        demand_g=(500,) * 12,
        has_recipe=False,
        price_per_kg=2000,
        lost_per_kg=2000,
    )
    problem = Problem(items=(item,), weeks=tuple(Week(label=f"W{t}", hands_minutes=100) for t in range(12)))
    plan = make_plan(problem, Effort(moves=0))
    assert sum(s.grams for s in plan.shortages) == 6000
    (short,) = [s for s in sentences(plan, problem) if s.about == "short"]
    assert short.text.startswith("6.0 kg of clove will be missing between W0 and W11, GBP 120 of margin: ")


def test_a_helper_is_proposed_only_with_what_planning_again_gives(shop: Problem, plan: Plan) -> None:
    """Planned again from the same plan with the helper and without: grams, shifts and money of the sentence are the difference, and it pays."""
    tight = replace(shop, weeks=tuple(replace(w, overtime_minutes=0, helper_shifts=0) for w in shop.weeks))
    made = make_plan(tight, TRY)
    (offer,) = helps_worth_asking(made, tight)
    without = replan(made, tight, effort=HELP_TRY)
    having = replan(made, tight, helper_added(offer.weeks), effort=HELP_TRY)
    assert offer.saves_milli == without.cost_milli - having.cost_milli > 0
    assert offer.shifts == sum(w.helper_shifts for w in having.weeks) and set(offer.weeks) >= {
        w.week for w in having.weeks if w.helper_shifts
    }
    assert offer.brings_g == sum(without.of(offer.item).short) - sum(having.of(offer.item).short) > 0
    (said,) = [s.text for s in sentences(made, tight, [offer]) if s.text.startswith("One more helper")]
    assert f"GBP {round(offer.shifts * tight.prices.helper_shift / 100)}," in said
    dear = replace(tight, prices=replace(tight.prices, helper_shift=10**6))
    assert helps_worth_asking(make_plan(dear, TRY), dear) == []
    assert helps_worth_asking(made, tight, days_full=range(20)) == []


def test_an_hour_is_proposed_with_what_planning_again_gives(shop: Problem, plan: Plan) -> None:
    hour = hour_worth_asking(plan, shop)
    assert hour is not None and any(
        r.first <= hour.week <= r.last
        for s in plan.shortages
        for r in s.reasons
        if r.resource in ("hands", hour.what[4:])
    )
    more = hours_added([hour.week], 60) if hour.what == "hands" else station_added(hour.what[4:], [hour.week], 60)
    without, having = replan(plan, shop, effort=HELP_TRY), replan(plan, shop, more, effort=HELP_TRY)
    assert hour.saves_milli == without.cost_milli - having.cost_milli >= 1000 * shop.minor_per_major
    assert hour_worth_asking(plan, shop, stop=lambda: True) is None


def test_a_batch_that_only_a_full_store_keeps_out_is_not_said_to_pay() -> None:
    """It was said that one more batch would pay, though what is left of it lies over the full store from its own week on."""
    item = Item(
        key="x", name="clove", batch_g=9_000, demand_g=(1_000, 1_000, 1_000, 1_000), minutes={"hands": 60}, price_per_kg=1000,
        material_per_kg=10, lost_per_kg=900,
    )  # fmt: skip
    weeks = tuple(Week(label=f"W{t}", hands_minutes=100) for t in range(4))
    full = Problem(items=(item,), weeks=weeks, store_g=0, prices=Prices(store_over_per_kg_week=900))
    made = make_plan(full, Effort(moves=500))
    assert not made.lines and {r.code for s in made.shortages for r in s.reasons} == {"store-full"}
    once = tuple(replace(w, hands_minutes=100 if t == 0 else 0) for t, w in enumerate(weeks))
    kept = replace(full, store_g=None, weeks=once, kept=(Batches(item="x", week=3, batches=1),), kept_weeks=1)
    held = make_plan(replace(kept, prices=Prices(moved_batch=10**6)), Effort(moves=500))
    assert not held.lines and {s.reasons[0].code for s in held.shortages} == {"plan-in-force"}
    assert make_plan(replace(kept, prices=Prices(moved_batch=1)), Effort(moves=500)).lines
