"""What a batch is and where it stands: kettles of two sizes, batches in work, plan lines opened, and the plan against what happened.

Sizes are held against sums made here by hand over the raw postings.
"""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.application import season_adopt, season_facts, season_plan
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.reports_types import basis
from ledger.application.season_batches import Batches, by_recipe
from ledger.application.season_buy import containers_of, orders_of
from ledger.application.season_compare import compare_report, splits
from ledger.application.season_forecast import make_forecast
from ledger.application.season_plan import PlanMade
from ledger.application.season_problem import problem_of
from ledger.application.season_report import plan_report
from ledger.application.season_settings import PlanSettings
from ledger.application.season_standing import standing
from ledger.domain.batch.commands import Cook, OpenBatch, Void
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.parts import Take
from ledger.errors import Refused
from ledger.planning.deviation import Expected, Happened, split
from ledger.planning.whatif import station_out

TODAY = "2026-11-25"
BIG, SMALL = "Big copper kettle", "Small copper kettle"


# --- kettles ------------------------------------------------------------------------------------------------------------


def by_hand(ledger: Ledger, flavour: str, station: str) -> tuple[int, int]:
    """The middle of the last 24 batches of a flavour cooked in a kettle: grams packed, grams of material charged."""
    lines = ledger.queries.postings()
    mine = lines[lines["flavour"] == flavour]
    cooked = mine[
        (mine["step"] == "cook") & (mine["station"] == station) & mine["kind"].isin(["lot.material", "lot.reboil"])
    ]
    packed = mine[(mine["step"] == "pack") & (mine["kind"] == "lot.packs") & mine["batch"].isin(cooked["batch"])]
    days = packed.groupby("batch")["day"].max().sort_values(kind="stable")
    last = sorted(days.index, key=lambda b: (days[b], b))[-24:]
    grams = [int(packed.loc[packed["batch"] == b, "mass_mg"].sum()) // 1000 for b in last]
    load = [-int(cooked.loc[cooked["batch"] == b, "mass_mg"].sum()) // 1000 for b in last]
    return int(median(grams)), int(median(load))


def test_a_batch_is_as_big_as_the_last_ones_of_its_kettle(season_made: PlanMade, season_shop: Ledger):
    item = season_made.problem.item("LEMON")
    assert [x.kettle for x in item.loads] == [BIG, SMALL]
    for load, station in zip(item.loads, ("K1", "K2"), strict=True):
        grams, charged = by_hand(season_shop, "LEMON", station)
        assert load.batch_g == grams and abs(load.load_g - charged) <= 1
    assert item.loads[0].batch_g > item.loads[1].batch_g > 0
    assert [(k.name, k.size_g, k.minimum_g) for k in season_made.problem.kettles] == [
        (BIG, 20_000, 8_000),
        (SMALL, 14_000, 5_000),
    ]


def test_the_material_of_a_kilo_does_not_depend_on_the_kettle_it_is_cooked_in(
    season_made: PlanMade, season_shop: Ledger
):
    """By hand: the recipe's cost a gram of load, times load over yield."""
    book, item = season_shop.book(), season_made.problem.item("LEMON")
    recipe = book.recipe_of("LEMON")
    assert recipe is not None
    cost = sum(x.mass_mg * book.get(e.Material, x.material).cost for x in recipe.lines) / 1e6
    full = sum(x.mass_mg for x in recipe.lines) / 1000
    loads = sum(x.load_g for x in item.loads) / sum(x.batch_g for x in item.loads)
    assert item.material_per_kg == pytest.approx(cost / full * loads * 1000, rel=0.01)


def test_a_kettle_without_history_takes_the_recipe_cut_down_to_what_it_holds(own: Ledger):
    own.do(Define(day=TODAY, entry=e.Station(id="K3", kind="kettle", name="Pan", max_mg=6_000_000, min_mg=3_000_000)))
    own.do(Define(day=TODAY, entry=e.Station(id="K4", kind="kettle", name="Vat", max_mg=90_000_000, min_mg=40_000_000)))
    on = basis(own)
    recipe = on.book.recipe_of("LEMON")
    size = Batches(on).size("LEMON", "LEMON-SLICE", recipe)
    pan = next(x for x in size.loads if x.kettle == "Pan")
    full = sum(x.mass_mg for x in recipe.lines) // 1000
    assert pan.load_g == 6_000 and pan.batch_g == by_recipe(recipe, on.book) * 6_000 // full
    assert all(x.kettle != "Vat" for x in size.loads)  # the recipe's load is below what the vat can cook


def test_the_yield_by_recipe_counts_dry_substance_over_what_is_not_water():
    """1 kg of sugar and 1 kg of syrup of 80 % dry substance, cooked to 2 % moisture: 1.8 kg over 0.98, times nine tenths."""
    from ledger.domain.books.book import book_of

    sugar, syrup = e.Material(id="S", name="S"), e.Material(id="G", name="G", solids_ppm=800_000)
    lines = (e.RecipeLine(material="S", mass_mg=1_000_000), e.RecipeLine(material="G", mass_mg=1_000_000))
    recipe = e.Recipe(id="R", flavour="F", lines=lines, moisture_ppm=20_000, process_yield_ppm=900_000)
    assert by_recipe(recipe, book_of([(sugar, 1), (syrup, 1)])) == int(1_800_000 / 0.98 * 0.9 / 1000)


def test_the_plan_names_a_kettle_for_every_line_and_two_kettles_may_share_a_week(season_made: PlanMade):
    lines = season_made.plan.lines
    assert {x.kettle for x in lines} == {BIG, SMALL}
    frame = plan_report(season_made).tables["lines"].frame
    assert list(frame["kettle"]) == [x.kettle for x in lines]
    names = [n for line in season_adopt.stored_lines(season_made, "P1") for n in line["plan_lines"]]
    assert max(Counter(names).values()) == 1 and len(names) == sum(x.batches for x in lines)


def test_a_kettle_out_for_a_week_stops_its_own_batches_only(season_made: PlanMade):
    week = next(x.week for x in season_made.plan.lines if x.kettle == BIG)
    after = season_plan.change(season_made, station_out(BIG, [week]), "the big kettle is out")
    assert not [x for x in after.plan.lines if x.week == week and x.kettle == BIG]


def test_a_small_kettle_takes_less_of_everything_on_the_order_list(season_made: PlanMade, season_shop: Ledger):
    """All batches moved to the small kettle: what is ordered and used shrinks with the load."""
    on, problem = basis(season_shop), season_made.problem
    many = tuple(replace(x, batches=x.batches * 6) for x in season_made.plan.lines if x.week > 1)

    def sugar(kettle: str) -> int:
        plan = replace(season_made.plan, lines=tuple(replace(x, kettle=kettle) for x in many))
        orders, _, _ = orders_of(on, plan, problem, season_made.asked.made_of)
        return sum(o.amount for o in orders if o.material == "SUGAR")

    assert 0 < sugar(SMALL) < sugar(BIG)


# --- in work ------------------------------------------------------------------------------------------------------------


def stock(ledger: Ledger, flavour: str) -> int:
    lots = ledger.queries.lots(kinds=["packs"])
    return sum(int(mg) // 1000 for mg in lots.loc[(lots["flavour"] == flavour) & (lots["held"] == ""), "mass_mg"])


def test_the_plan_starts_from_the_packs_in_the_house_and_what_is_in_work(season_made: PlanMade, season_shop: Ledger):
    lots = season_shop.queries.lots(kinds=["mass", "log", "rods"])
    recipe = season_shop.book().recipe_of("LEMON")
    assert recipe is not None
    lying = int(lots.loc[lots["flavour"] == "LEMON", "mass_mg"].sum())
    assert lying > 0
    to_come = lying * recipe.process_yield_ppm // 1_000_000 // 1000
    assert season_made.problem.item("LEMON").opening_g == stock(season_shop, "LEMON") + to_come
    assert season_made.problem.item("ANISEED").opening_g == stock(season_shop, "ANISEED")


def test_a_batch_opened_and_not_cooked_counts_once_and_takes_its_hours(own: Ledger):
    forecast = make_forecast(own, 4)
    before = problem_of(forecast, PlanSettings(weeks=4))
    own.do(OpenBatch(day=TODAY, flavour="ANISEED", design="ANISE-STICK", batch="26329Z"))
    after = problem_of(make_forecast(own, 4), PlanSettings(weeks=4))
    one, two = before.problem.item("ANISEED"), after.problem.item("ANISEED")
    assert two.opening_g == one.opening_g + one.batch_g
    assert (
        before.problem.weeks[0].hands_minutes - after.problem.weeks[0].hands_minutes
        == after.floor.minutes(None, "plain")["hands"]
    )
    assert before.problem.weeks[1] == after.problem.weeks[1]
    assert any("26329Z" in note for note in after.notes)


def test_a_batch_in_no_design_is_stock_of_one_of_the_flavours_designs_not_of_each(own: Ledger):
    first = own.book().get(e.Design, "ANISE-STICK")
    own.do(Define(day=TODAY, entry=replace(first, id="ANISE-TWIST", name="Aniseed twist")))

    def opening() -> int:
        items = problem_of(make_forecast(own, 4), PlanSettings(weeks=4)).problem.items
        mine = [item.opening_g for item in items if item.flavour == "ANISEED"]
        assert len(mine) == 2
        return sum(mine)

    before = opening()
    own.do(OpenBatch(day=TODAY, flavour="ANISEED", batch="26329Y"))
    items = problem_of(make_forecast(own, 4), PlanSettings(weeks=4)).problem.items
    sizes = {item.batch_g for item in items if item.flavour == "ANISEED"}
    assert opening() - before in sizes, "once, not twice"


def test_a_batch_opened_weeks_ago_and_never_cooked_is_not_waited_for(own: Ledger):
    before = problem_of(make_forecast(own, 4), PlanSettings(weeks=4)).problem.item("ANISEED").opening_g
    own.do(OpenBatch(day="2026-10-20", flavour="ANISEED", design="ANISE-STICK", batch="26293Z"))
    assert problem_of(make_forecast(own, 4), PlanSettings(weeks=4)).problem.item("ANISEED").opening_g == before


def test_what_lies_half_made_for_weeks_is_not_waited_for(season_file: Path, tmp_path: Path):
    """The same ledger three weeks later: the half batch of lemon still lies there, open, and takes no hours of that week."""
    shutil.copy(season_file, tmp_path / "later.sqlite")
    later = open_ledger(f"sqlite:///{tmp_path}/later.sqlite", clock=lambda: datetime(2026, 12, 16, 9, tzinfo=UTC))
    asked = problem_of(make_forecast(later, 4), PlanSettings(weeks=4))
    assert not any("in work" in note for note in asked.notes)
    assert asked.problem.item("LEMON").opening_g == stock(later, "LEMON")


def test_a_planned_batch_opened_this_week_is_not_planned_again(own: Ledger):
    """Adopt, open the first line, plan again: the frozen line is gone, its grams are stock to come, nothing is made twice."""
    first = season_plan.make(own, PlanSettings(weeks=6, frozen_weeks=4), "quick")
    season_adopt.adopt(own, first)
    line = season_adopt.next_line(own)
    season_adopt.open_line(own, line["plan_line"])
    again = season_plan.make(own, PlanSettings(weeks=6), "quick")
    item = line["item"]
    assert again.problem.item(item).opening_g > first.problem.item(item).opening_g
    if line["label"] == first.problem.weeks[0].label:
        frozen = [x for x in again.problem.frozen if x.item == item and x.week == 0]
        assert sum(x.batches for x in frozen) == first.plan.batches(item, 0) - 1


def test_what_the_plan_wants_in_a_week_without_a_making_day_left_is_planned_anew_and_told(
    own: Ledger, quick_plan: Callable[[int], PlanMade], tmp_path: Path
):
    """On a Sunday nothing more is made this week, and a closure shuts the next: neither week's lines may count as stock to come."""
    season_adopt.adopt(own, quick_plan(5))
    paper = season_adopt.adopted(own)
    due = {label: sum(x["batches"] for x in paper.lines if x["label"] == label) for label in ("2026-W48", "2026-W49")}
    assert due["2026-W48"] and due["2026-W49"] and paper.frozen_until >= "2026-W49"
    sunday = open_ledger(f"sqlite:///{tmp_path}/shop.sqlite", clock=lambda: datetime(2026, 11, 29, 9, tzinfo=UTC))
    season_facts.record(sunday, {"kind": "closure", "from": "2026-11-30", "to": "2026-12-06"})
    found = standing(sunday)
    asked = found.made.asked
    assert {x.week: sum(y.batches for y in asked.undone if y.week == x.week) for x in asked.undone} == {
        0: due["2026-W48"],
        1: due["2026-W49"],
    }
    assert not [x for x in (*asked.problem.frozen, *asked.problem.kept) if x.week < 2]
    note = f"wants {sum(due.values())} batches ("
    assert any(note in n and "in 2026-W48 to 2026-W49, where no making day is left" in n for n in asked.notes), (
        asked.notes
    )
    assert found.behind == due["2026-W48"]  # the closed week is not due yet
    assert found.batches == sum(x["batches"] for x in paper.lines if x["label"] > "2026-W49")


# --- lines opened -------------------------------------------------------------------------------------------------------


def test_a_line_whose_batch_was_voided_can_be_opened_again(own: Ledger, quick_plan: Callable[[int], PlanMade]):
    season_adopt.adopt(own, quick_plan(5))
    line = season_adopt.next_line(own)["plan_line"]
    done = season_adopt.open_line(own, line)
    own.do(Void(day=TODAY, origin=done.first, reason="wrong flavour taken"))
    assert season_adopt.next_line(own)["plan_line"] == line
    assert season_adopt.open_line(own, line).batch


def test_a_line_of_a_superseded_plan_is_refused_and_the_newer_plan_named(
    own: Ledger, quick_plan: Callable[[int], PlanMade]
):
    season_adopt.adopt(own, quick_plan(4))
    old = season_adopt.next_line(own)["plan_line"]
    newer, _ = season_adopt.adopt(own, season_plan.make(own, PlanSettings(weeks=4), "quick"))
    with pytest.raises(Refused, match=newer):
        season_adopt.open_line(own, old)


def test_every_planned_batch_has_a_day_of_the_calendar_on_which_the_shop_makes(season_made: PlanMade):
    from datetime import date

    for line in season_adopt.stored_lines(season_made, "P1"):
        for number, when in zip(line["days"], line["dates"], strict=True):
            assert bool(number) == bool(when)
            if when:
                year, week, day = date.fromisoformat(when).isocalendar()
                assert f"{year}-W{week:02d}" == line["label"] and day <= 5 and when >= TODAY


def test_the_sheet_of_a_planned_batch_asks_for_its_grams_in_its_kettle(season_made: PlanMade, season_shop: Ledger):
    line = season_adopt.stored_lines(season_made, "P1")[0]
    state = {**line, "batch": "26329A", "grams": line["grams"] // line["batches"]}
    sheet = season_adopt.sheet_of(season_shop.book(), state)
    pack = season_shop.book().get(e.Pack, sheet.pack)
    station = season_shop.book().get(e.Station, sheet.kettle)
    assert station.name == line["kettle"] and pack.flavour == line["flavour"]
    assert 0 <= state["grams"] * 1000 - sheet.packs * pack.net_mg < pack.net_mg


# --- planned, made, sold ------------------------------------------------------------------------------------------------


def test_the_comparison_tells_batches_opened_from_the_plan_from_those_made_beside_it(
    own: Ledger, quick_plan: Callable[[int], PlanMade]
):
    season_adopt.adopt(own, quick_plan(5))
    paper = season_adopt.adopted(own)
    line = season_adopt.next_line(own)
    season_adopt.open_line(own, line["plan_line"])
    last = line["label"]
    weeks = next(n for n, w in enumerate(season_adopt.read_back(paper)[1].weeks, start=1) if w.label == last)
    plan, problem = season_adopt.read_back(paper)
    mine = next(c for c in splits(own, paper, plan, problem, weeks, last) if c.name == problem.item(line["item"]).name)
    assert (mine.opened, mine.beside) == (1, 0)
    assert mine.expected.made_g == sum(x.grams for x in plan.lines if x.item == line["item"] and x.week < weeks)
    report = compare_report(own, through=last)
    total = report.tables["items"].total
    assert total is not None and total["opened"] == 1
    assert f"1 of {total['planned_batches']} planned batches opened, 0 made beside the plan" in report.sentence


def test_a_batch_in_work_when_the_plan_was_made_is_stock_and_not_a_miscount(
    own: Ledger, quick_plan: Callable[[int], PlanMade]
):
    """The demo has half a lemon batch on the slab: nothing was counted, so nothing may be told as count."""
    season_adopt.adopt(own, quick_plan(4))
    paper = season_adopt.adopted(own)
    plan, problem = season_adopt.read_back(paper)
    for c in splits(own, paper, plan, problem, 1, problem.weeks[0].label):
        assert abs(c.split.count_g) <= 30, c.name  # whole grams of each lot


def test_jars_and_bags_hold_what_the_plan_gives(season_made: PlanMade, season_shop: Ledger):
    """By hand: so many packs of each size hold at least the grams of the week's batches, and less than a pack of each more."""
    frame = containers_of(basis(season_shop), season_made.plan, season_made.problem, season_made.asked.made_of)
    packs = {p.name: p for p in season_shop.book().all(e.Pack)}
    held = 0
    for text in frame["packs"]:
        for part in text.split("; "):
            count, _, name = part.partition(" x ")
            held += int(count) * packs[name].net_mg // 1000
    made = sum(x.grams for x in season_made.plan.lines)
    assert made <= held + len(frame) * 100 and held <= made * 1.05
    assert frame["count"].sum() == sum(
        int(part.partition(" x ")[0]) for text in frame["packs"] for part in text.split("; ")
    )


def test_what_is_cooked_is_not_ordered_again(own: Ledger, quick_plan: Callable[[int], PlanMade]):
    from ledger.application.season_buy import _without_cooked

    season_adopt.adopt(own, quick_plan(5))
    paper = season_adopt.adopted(own)
    plan, _ = season_adopt.read_back(paper)
    done = season_adopt.open_line(own, season_adopt.next_line(own)["plan_line"])
    assert sum(x.batches for x in _without_cooked(own, paper, plan).lines) == sum(x.batches for x in plan.lines)
    lots = own.queries.lots(kinds=["material"], item="SUGAR")
    lot = lots[(lots["held"] == "") & (lots["mass_mg"] > 5_000_000)].iloc[0]
    take = Take(lot=str(lot["lot"]), mass_mg=5_000_000, basis="weighed")
    own.do(Cook(day=TODAY, batch=done.batch, takes=(take,), station="K2", end_temperature_mc=154_000))
    assert sum(x.batches for x in _without_cooked(own, paper, plan).lines) == sum(x.batches for x in plan.lines) - 1


grams = st.integers(0, 500_000)


@given(
    grams,
    st.integers(0, 40),
    st.integers(1, 20_000),
    grams,
    st.none() | grams,
    grams,
    st.integers(-50_000, 50_000),
    st.integers(0, 40),
    grams,
    grams,
)
def test_the_split_has_no_rest_whatever_happened(
    opening, batches, batch_g, demand, planned, stock_g, counted, made, made_g, wanted
):
    """Left or short is what the plan knew, plus forecast, batches, yield and count, to the gram; each part is nothing when its cause is nothing."""
    expected = Expected(opening_g=opening, batches=batches, batch_g=batch_g, demand_g=demand, planned_g=planned)
    happened = Happened(opening_g=stock_g, corrections_g=counted, batches=made, made_g=made_g, demand_g=wanted)
    s = split(expected, happened)
    assert s.known_by_plan_g + s.forecast_g + s.made_g + s.yield_g + s.count_g == s.net_g
    assert s.net_g == stock_g + counted + made_g - wanted
    assert (s.forecast_g == 0) == (demand == wanted)
    assert s.made_g == 0 if made == batches else abs(s.made_g) >= batch_g
    assert (s.count_g == 0) == (stock_g + counted == opening)
    if made == batches:
        assert s.yield_g == made_g - expected.made_g
