"""The Season page offers what can be done now and says in words why the rest cannot; what is to be made next stands first; the rest is folded."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from plotly.utils import PlotlyJSONEncoder

from dashboard.components import season_acts as acts
from dashboard.components import season_shown as shown
from dashboard.components.season_change import change_of, week_named
from dashboard.components.season_parts import words
from dashboard.components.season_side import side_by_side
from dashboard.components.season_table import brief, not_shown, table_rows
from dashboard.components.season_ways import ways
from dashboard.pages import season as page
from ledger.application import season_plan
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.season_jobs import Desk
from ledger.application.season_settings import PlanSettings
from ledger.application.season_sides import side_words
from ledger.errors import BadInput
from ledger.planning.words import Sentence
from seeds.shop import fill
from tests.dashboard.at_work import working

NOTHING = ("demand", "", 0.0, "", "")
WITH_IT = ("With the change the plan", "The change makes")


def told(parts: Any) -> str:
    """Everything a page says, as text."""
    return json.dumps(parts, cls=PlotlyJSONEncoder, ensure_ascii=False)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    path = tmp_path_factory.mktemp("season-ways") / "shop.sqlite"
    fill(f"sqlite:///{path}", weeks=16)
    return open_ledger(f"sqlite:///{path}", clock=lambda: datetime(2026, 11, 24, 20, tzinfo=UTC))


@pytest.fixture(scope="module")
def made(shop: Ledger) -> season_plan.PlanMade:
    return season_plan.make(shop, PlanSettings(weeks=4), "quick")


@pytest.fixture
def desk(shop: Ledger, made: season_plan.PlanMade) -> Desk:
    return Desk(shop, base=made)


@pytest.fixture
def at_work(desk: Desk) -> Iterator[Desk]:
    """A desk on which the planner works until the test is over."""
    with working(desk, "Making the plan"):
        yield desk


def test_without_a_plan_there_is_nothing_to_adopt_or_to_stop(shop: Ledger):
    can = ways(Desk(shop))
    assert (can.make, can.stop, can.adopt, can.tries) == (True, False, False, False)
    assert "make one first" in can.why


def test_a_plan_made_here_can_be_adopted_and_needs_no_reason(desk: Desk):
    can = ways(desk)
    assert (can.make, can.stop, can.adopt, can.tries, can.why) == (True, False, True, True, "")


def test_while_the_planner_works_only_stopping_is_offered(at_work: Desk):
    can = ways(at_work)
    assert (can.make, can.stop, can.adopt, can.tries) == (False, True, False, False)
    assert "wait, or stop it" in can.why
    acts.act(at_work, "season-stop", {}, NOTHING)
    assert "Stopping, with the best so far" in told(shown.status(at_work))


def test_what_is_typed_while_the_planner_works_is_refused_in_words_and_not_lost_in_silence(at_work: Desk):
    assert at_work.base is not None
    line = at_work.base.plan.lines[0]
    assert at_work.type_in({(line.item, line.week, line.kettle): line.batches + 1}) is False
    assert at_work.typed == {} and "What was typed is not taken" in at_work.trouble


def test_the_table_asked_before_anything_is_typed_is_not_a_change_to_undo(desk: Desk):
    assert desk.type_in({}) is True
    assert desk.past == []


@pytest.mark.parametrize(
    ("state", "why"),
    [("in force", "in force already"), ("typed", "keep them or undo them"), ("tried", "take it or forget it"), ("adopted", "is adopted, as P1")],
)  # fmt: skip
def test_what_cannot_be_adopted_says_why_and_is_not_adopted_by_a_press_either(
    shop: Ledger, made: season_plan.PlanMade, state: str, why: str
):
    desk = Desk(shop, base=replace(made, in_force="P1" if state == "in force" else ""))
    if state == "typed":
        line = made.plan.lines[0]
        desk.type_in({(line.item, line.week, line.kettle): line.batches - 1})
    if state == "tried":
        desk.trial = made
    if state == "adopted":
        desk.adopted = "P1"
    can = ways(desk)
    assert not can.adopt and why in can.why
    acts.act(desk, "season-adopt", {}, NOTHING)
    assert why in desk.trouble and shop.queries.papers("plan") == []


def test_the_page_hides_and_disables_what_cannot_be_done_with_the_reason_beside_it(shop: Ledger):
    said = told(page.layout(shop, {}))
    stop = re.search(r'\{"children": "Stop, keep[^}]*\}', said)
    adopt = re.search(r'\{"children": "Adopt this plan"[^}]*\}', said)
    assert stop and '"hidden": true' in stop[0]
    assert adopt and '"disabled": true' in adopt[0] and '"aria-describedby": "season-why"' in adopt[0]


def test_a_kettle_in_which_nothing_is_planned_has_no_row_until_every_row_is_asked_for(desk: Desk):
    assert desk.base is not None
    weeks = range(len(desk.base.problem.weeks))
    rows, every = table_rows(desk, weeks), table_rows(desk, weeks, every=True)
    assert all(any(row.get(f"w{t}") for t in weeks) for row in rows)
    assert {r["id"] for r in rows} == {f"{x.item}@{x.kettle}" for x in desk.base.plan.lines}
    assert len(every) > len(rows) and f"{len(every) - len(rows)} rows are left out" in not_shown(desk, weeks)
    idle = next(row for row in every if row["id"] not in {r["id"] for r in rows})
    item, _, kettle = idle["id"].partition("@")
    week = next(t for t in weeks if desk.base.problem.weeks[t].days)
    desk.type_in({(item, week, kettle): 1})
    assert idle["id"] in {r["id"] for r in table_rows(desk, weeks)}


def test_kettles_are_told_apart_in_few_words():
    kettles = ["Big copper kettle", "Small copper kettle"]
    assert [brief(k, kettles) for k in kettles] == ["big kettle", "small kettle"]
    assert brief("Big copper kettle", ["Big copper kettle"]) == "big copper kettle"
    assert brief("K1", ["K1", "K2"]) == "K1"


def test_with_nothing_planned_at_all_every_row_stands_so_that_it_can_be_typed_into(desk: Desk):
    assert desk.base is not None
    desk.base = replace(desk.base, plan=replace(desk.base.plan, lines=()))
    weeks = range(len(desk.base.problem.weeks))
    assert len(table_rows(desk, weeks)) == len(table_rows(desk, weeks, every=True)) > 0
    assert not_shown(desk, weeks) == ""


def test_every_fold_says_with_a_figure_what_is_inside(desk: Desk):
    assert desk.base is not None
    heads = re.findall(r'"children": \[\{"props": \{"children": "([^"]+)"\}, "type": "H2".{0,60}?\}, \{"props": \{"children": "([^"]*)", "className": "fold-figure"', told(shown.bottom(desk)))  # fmt: skip
    found = dict(heads)
    weeks = len(desk.base.problem.weeks)
    assert f"of {weeks} " in found["The weeks, hands and stations"]
    kilos = sum(sum(row.made) for row in desk.base.plan.items) / 1000
    assert f"{kilos:.0f} kg to make" in found["Each flavour over these weeks"]
    assert "order" in found["What to order, with jars and bags"]
    assert all(re.search(r"\d|none|nothing", figure) for figure in found.values()), found


@pytest.mark.parametrize(
    ("typed", "week"),
    [("2026-W50", "2026-W50"), ("w50", "2026-W50"), (" 50 ", "2026-W50"), ("2027W02", "2027-W02"), ("2", "2027-W02"), ("", ""), ("soon", "soon"), ("W30", "W30")],
)  # fmt: skip
def test_a_week_is_understood_as_people_write_it(typed: str, week: str):
    assert week_named(typed, ["2026-W49", "2026-W50", "2027-W01", "2027-W02"]) == week


def test_a_feast_s_demand_is_changed_for_all_its_flavours_at_once(desk: Desk):
    assert desk.base is not None
    problem = desk.base.problem
    change, said = change_of(desk.base, "demand", "feast:CHRISTMAS", 20.0, "", "")
    assert said == "Everything for Christmas sells +20 % in all these weeks"
    before, after = ({i.key: sum(i.demand_g) for i in p.items} for p in (problem, change(problem)))
    grown = {key for key in before if after[key] > before[key]}
    assert {problem.item(key).flavour for key in grown} == {"CLOVE", "CASSIA"}
    with pytest.raises(BadInput, match="No flavour for Easter is in this plan"):
        change_of(desk.base, "demand", "feast:EASTER", 20.0, "", "")


def test_a_dropped_flavour_s_sales_stand_beside_the_cost_it_saves(desk: Desk):
    """The cost alone would call it a gain: what is sold of a flavour that is gone is in no cost."""
    assert desk.base is not None
    change, said = change_of(desk.base, "drop", "CASSIA", 0.0, "", "")
    trial = season_plan.change(desk.base, change, said)
    item = desk.base.problem.item("CASSIA")
    gone = sum(desk.base.plan.of("CASSIA").sold) * item.price_per_kg // 1000 // 100
    words = told(side_by_side(desk.base, trial, said))
    found = re.search(r"brings EUR ([\d ]+) less", words)
    assert found and gone // 2 < int(found[1].replace(" ", "")) <= gone  # others sell a little more in its place
    assert "sales bring" in words and "\u2212EUR" in words


def test_a_change_that_changes_nothing_says_so(made: season_plan.PlanMade):
    none = [(what, 5, 5) for what in ("cost_milli", "made_g", "sold_g", "short_g", "brings_milli")]
    assert side_words(made, none, *WITH_IT) == "The change makes no difference to cost, making or sales."
    more = [("cost_milli", 0, 41_000_000), ("overtime_minutes", 0, 90), ("helper_shifts", 3, 1)]
    assert (
        side_words(made, more, *WITH_IT)
        == "With the change the plan costs EUR 410 more, asks for 1.5 h more overtime, asks for 2 fewer helper shifts."
    )


def test_many_findings_are_folded_after_the_first_and_nothing_else_is_hidden():
    said = [Sentence(f"Flavour {n} has no recipe.", "finding", ()) for n in range(20)] + [
        Sentence("Start it in W50.", "start", ())
    ]
    shown = words(said, ["2026-W50"])
    first, more = told(shown.children[1]), told(shown.children[2])
    assert "Start it in W50." in first and "Flavour 7 has" in first and "Flavour 8 has" not in first
    assert "12 more things to mind" in more and "Flavour 19 has" in more
    assert "more things" not in told(words(said[12:], ["2026-W50"]))
