"""Books and histories a shop may well have: a recipe changed in mid season, nobody who can cook, no hours, no pack, old stock, nothing in the house.

Each is named or counted, and the rest is planned. The invented shop, 70 weeks.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from ledger.application import season_plan
from ledger.application.ledger import Ledger
from ledger.application.season_batches import load_of
from ledger.application.season_buy import buy_report, orders_of
from ledger.application.season_forecast import make_forecast
from ledger.application.season_history import season_history
from ledger.application.season_problem import Asked, problem_of
from ledger.application.season_settings import PlanSettings
from ledger.domain.batch.commands import OpenBatch
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.lots.commands import ScrapLot
from ledger.errors import BadInput
from ledger.planning import Opening
from ledger.planning.findings import sort_out

pytestmark = pytest.mark.slow

TODAY = "2026-11-25"


def define(ledger: Ledger, *entries: object) -> None:
    for entry in entries:
        ledger.do(Define(day=TODAY, entry=entry))


def asked_of(ledger: Ledger, weeks: int = 8) -> Asked:
    return problem_of(make_forecast(ledger, weeks + 10), PlanSettings(weeks=weeks))


def test_batches_before_a_change_of_the_recipe_count_with_its_new_load(own: Ledger):
    """By hand: the recipe grows by a half, so the big kettle's load and what came of it do, up to what the kettle holds; the price of a kilo stays."""
    book = own.book()
    before = asked_of(own).problem.item("LEMON")
    recipe = book.recipe_of("LEMON")
    assert recipe is not None
    define(own, replace(recipe, lines=tuple(replace(x, mass_mg=x.mass_mg * 3 // 2) for x in recipe.lines)))
    after = asked_of(own).problem.item("LEMON")
    sizes = {k.name: k.size_g for k in asked_of(own).problem.kettles}
    for was, now in zip(before.loads, after.loads, strict=True):
        grown = min(was.load_g * 3 // 2, sizes[now.kettle])
        assert now.load_g == pytest.approx(grown, abs=3)
        assert now.batch_g == pytest.approx(was.batch_g * grown / was.load_g, rel=0.01)
    assert after.loads != before.loads and after.material_per_kg == pytest.approx(before.material_per_kg, rel=0.02)


def test_a_change_of_no_weight_changes_no_batch(own: Ledger):
    before = asked_of(own).problem.item("LEMON").loads
    recipe = own.book().recipe_of("LEMON")
    assert recipe is not None
    define(own, replace(recipe, end_temperature_mc=recipe.end_temperature_mc + 1000))
    assert asked_of(own).problem.item("LEMON").loads == before


def test_mains_water_in_a_recipe_is_no_part_of_what_a_cook_is_charged(own: Ledger):
    free = e.Material(id="TAP", name="Mains water", role="water", solids_ppm=0, tracked=False)
    define(own, free)
    book = own.book()
    recipe = book.recipe_of("LEMON")
    assert recipe is not None
    wet = replace(recipe, lines=(*recipe.lines, e.RecipeLine(material=free.id, mass_mg=2_500_000)))
    assert load_of(wet, book) == load_of(recipe, book) == sum(x.mass_mg for x in recipe.lines) // 1000


def test_a_step_nobody_is_said_to_know_is_told_and_one_nobody_ever_did_is_not_planned(own: Ledger):
    workers = own.book().all(e.Worker)
    define(own, *(replace(w, skills=("pack",)) for w in workers))
    asked = asked_of(own)
    assert any("hours of `cook`, and no worker in the book has that skill" in note for note in asked.notes)
    _, found = sort_out(asked.problem)
    assert not [f for f in found if "cook" in f.message]  # the ledger shows that somebody cooks
    young = replace(asked.problem.weeks[1], stations={"hands who cook": 0})
    never = replace(
        asked.problem,
        weeks=(young,) * 8,
        items=tuple(replace(i, loads=(), minutes={"hands who cook": 9}) for i in asked.problem.items),
    )
    assert any("nobody who can cook has any hours" in f.message for f in sort_out(never)[1])


def test_workers_without_hours_are_told(own: Ledger):
    workers = own.book().all(e.Worker)
    define(own, replace(workers[0], week_seconds=0))
    assert any(note.startswith(f"{workers[0].id} has no hours a week in the book") for note in asked_of(own).notes)
    define(own, *(replace(w, week_seconds=0) for w in workers))
    asked = asked_of(own)
    assert any(note.startswith("No worker in the book has hours a week") for note in asked.notes)
    assert asked.problem.weeks[1].hands_minutes == 0 < asked.problem.weeks[1].overtime_minutes


def test_until_there_is_a_history_minutes_are_those_of_each_flavours_own_recipe(own: Ledger):
    """Every flavour of a kind had the minutes of the kind's first recipe."""
    asked = asked_of(own)
    floor = replace(asked.floor, hands={}, counts={"kettle": 1}, able={})
    recipe = own.book().recipe_of("LEMON")
    assert recipe is not None
    slow = replace(recipe, steps=(e.StepTime(step="cook", seconds=5_400, people=2),))
    quick = replace(recipe, steps=(e.StepTime(step="cook", seconds=1_800, people=1),))
    assert floor.minutes(slow, "plain") == {"hands": 180, "kettle": 90}
    assert floor.minutes(quick, "plain") == {"hands": 30, "kettle": 30}


def test_a_flavour_in_no_pack_or_without_a_price_is_told_and_planned(own: Ledger):
    packs = [p for p in own.book().all(e.Pack) if p.flavour == "LEMON"]
    define(own, *(replace(p, price=0) for p in packs))
    asked = asked_of(own)
    assert any(note.startswith("Sharp lemon has no pack with a price") for note in asked.notes)
    lemon = asked.problem.item("LEMON")
    assert lemon.closing_value_per_kg < lemon.lost_per_kg == lemon.material_per_kg
    assert not [f for f in sort_out(asked.problem)[1] if f.code == "closing-too-dear"]


def test_a_recipe_without_weights_is_told(own: Ledger):
    recipe = own.book().recipe_of("LEMON")
    assert recipe is not None
    define(own, replace(recipe, lines=()))
    assert any(note.startswith("The recipe of Sharp lemon takes no material") for note in asked_of(own).notes)


def test_what_is_in_the_house_leaves_the_shop_after_the_same_share_of_its_life_as_what_will_be_made(own: Ledger):
    """By hand from the lots: date on the label less a quarter of the life; pieces have no date and live from their lot's day."""
    asked = asked_of(own)
    start, today, item = date(2026, 11, 23), date.fromisoformat(TODAY), asked.problem.item("LEMON")
    life = max(p.best_before_days for p in own.book().all(e.Pack) if p.flavour == "LEMON")
    lots = own.queries.lots()
    mine = lots[
        (lots["flavour"] == "LEMON")
        & lots["kind"].isin(["packs", "pieces"])
        & (lots["held"] == "")
        & (lots["mass_mg"] > 0)
    ]
    open_ = {b for b in own.queries.batches(status="open", first_day="2026-11-11")["batch"]}
    expected = []
    for lot in mine[~mine["batch"].isin(open_)].to_dict("records"):
        label = (
            date.fromisoformat(lot["best_before"])
            if lot["best_before"]
            else date.fromisoformat(lot["day"]) + timedelta(days=life)
        )
        last = label - timedelta(days=life - life * 75 // 100)
        if last >= today:
            expected.append(Opening(grams=lot["mass_mg"] // 1000, good_through=(last - start).days // 7))
    told = [lot for lot in item.opening if lot in expected]
    assert expected and sorted(map(repr, told)) == sorted(map(repr, expected))


def test_what_is_not_in_the_house_holds_a_flavour_up_and_the_order_list_says_so(own: Ledger):
    """The plan makes none before the material can come, so no order stands for it: the list names it with the day it would come."""
    oil = own.book().get(e.Material, "LEMONOIL")
    define(own, replace(oil, lead_days=60))
    for lot in own.queries.lots(kinds=["material"], item="LEMONOIL")["lot"]:
        own.do(ScrapLot(day=TODAY, lot=str(lot), cause="spilled"))
    made = season_plan.make(own, PlanSettings(weeks=6), "quick")
    comes = (date.fromisoformat(TODAY) + timedelta(days=60)).isoformat()
    assert not [x for x in made.plan.lines if x.item == "LEMON"]
    assert any(f"{oil.name} is not in the house (ordered today it comes on {comes})" in w.text for w in made.words)
    report = buy_report(own, made.plan, made.problem, made.asked.made_of)
    assert any(
        note == f"{oil.name} is not in the house and holds up Sharp lemon: ordered today it comes on {comes}."
        for note in report.notes
    )
    # by hand: it comes on Sunday 24 January; two days before Monday 1 February, which is ten weeks after 23 November
    assert made.problem.item("LEMON").earliest_week == 10


def test_an_opened_batch_that_is_not_cooked_yet_still_takes_its_materials(own: Ledger):
    made = season_plan.make(own, PlanSettings(weeks=4), "quick")
    on = season_history(own).on
    nothing = replace(made.plan, lines=())
    before = orders_of(on, nothing, made.problem, made.asked.made_of)[0]
    assert before == []
    for lot in own.queries.lots(kinds=["material"], item="LEMONOIL")["lot"]:
        own.do(ScrapLot(day=TODAY, lot=str(lot), cause="spilled"))
    assert len(buy_report(own, nothing, made.problem, made.asked.made_of).tables["orders"].frame) == 0
    own.do(OpenBatch(day=TODAY, flavour="LEMON", design="LEMON-SLICE"))
    frame = buy_report(own, nothing, made.problem, made.asked.made_of).tables["orders"].frame
    row = frame[frame["material"] == "LEMONOIL"].iloc[0]
    assert row["needed_by"] == TODAY and bool(row["late"])


def test_an_order_that_covers_no_week_is_refused(own: Ledger):
    for weeks in (0, -3, 53):
        with pytest.raises(BadInput, match=f"1 to 52 weeks; {weeks} were asked for"):
            buy_report(own, cover_weeks=weeks)


def test_sentences_and_notes_are_in_the_shops_units(own: Ledger):
    define(own, replace(own.book().site(), units="us"))
    made = season_plan.make(own, PlanSettings(weeks=4), "quick")
    masses = " ".join(w.text for w in made.words)
    assert " lb" in masses and " kg" not in masses


def test_a_season_that_runs_on_after_the_weeks_planned_is_named_with_the_weeks_that_show_all_of_it(own: Ledger):
    made = season_plan.make(own, PlanSettings(weeks=3), "quick")
    said = next(w.text for w in made.words if "runs on to" in w.text or "season runs on" in w.text)
    assert "beyond these weeks; plan " in said
    start = next(w.text for w in made.words if w.about == "start")
    assert start.endswith("ends and its season goes on.")
