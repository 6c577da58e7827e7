"""The Season page and its API: what it shows, what each button does, and what a refusal says."""

from __future__ import annotations

import json
import re
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from plotly.utils import PlotlyJSONEncoder

from dashboard.app import create_app
from dashboard.components import season_acts as acts
from dashboard.components import season_shown as shown
from dashboard.components.season_change import change_of
from dashboard.components.season_next import next_part
from dashboard.components.season_table import changes_of, edit_panel, table_rows
from dashboard.figures.season_demand import cumulative, weeks
from dashboard.page import read_address
from dashboard.pages import season as page
from dashboard.pages import sheet as sheet_page
from dashboard.shell import render, render_filters
from ledger.application import season_adopt, season_plan, sheets
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.season_jobs import Desk, desk_of
from ledger.application.season_report import money
from ledger.application.season_settings import PlanSettings
from ledger.application.season_view import cumulated
from ledger.domain.books import entries as e
from ledger.errors import BadInput
from ledger.planning import check_plan
from seeds.shop import fill
from tests.support.asgi import client_of

pytestmark = pytest.mark.slow

NOTHING = ("demand", "", 0.0, "", "")
LABELS = [f"2026-W{n}" for n in range(48, 54)] + ["2027-W01", "2027-W02"]
"""The eight ISO weeks from 2026-11-23 on: 2026 has 53 weeks."""


def told(parts: Any) -> str:
    """Everything a page says, as text."""
    return json.dumps(parts, cls=PlotlyJSONEncoder, ensure_ascii=False)


@pytest.fixture(scope="module")
def shop_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("season-page") / "shop.sqlite"
    fill(f"sqlite:///{path}", weeks=20)
    return path


@pytest.fixture(scope="module")
def shop(shop_file: Path) -> Ledger:
    return open_ledger(f"sqlite:///{shop_file}")


@pytest.fixture(scope="module")
def desk(shop: Ledger) -> Desk:
    """A desk with a plan of the standing weeks on it."""
    found = desk_of(shop)
    acts.act(found, "season-make", {"weeks": "6", "effort": "quick"}, NOTHING)
    found.wait()
    assert found.base is not None, found.trouble
    return found


def test_an_empty_ledger_is_told_what_to_do_first(empty: Ledger):
    assert "nothing to plan from yet" in told(render(empty, "/season", ""))


def test_the_page_stands_without_a_plan_shows_demand_against_stock_and_asks_for_one(demo: Ledger):
    assert "Reading what has sold" in told(render(demo, "/season", ""))
    desk = desk_of(demo)
    desk.wait()
    assert desk.base is None and desk.standing is not None and not desk.trouble
    said = told(render(demo, "/season", ""))
    for words in (
        "No plan is in force",
        "can be stopped",
        "demand expected",
        "In the house against what should sell",
        "lasts through",
    ):
        assert words in said, words
    assert "Looking back" not in said and "season-edit" in said
    assert told(render_filters(demo, "/season", "")).count('"type": "filter"') == 6


def test_a_button_pressed_while_the_page_still_reads_is_not_lost(demo: Ledger):
    desk = desk_of(demo)
    desk.look()
    acts.act(desk, "season-make", {"weeks": "4", "effort": "quick"}, NOTHING)
    desk.wait()
    assert desk.base is not None and not desk.base.in_force and not desk.trouble


@pytest.fixture(scope="module")
def adopted_shop(shop_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    """The shop with a plan adopted three weeks ago and followed in part: a batch opened from it, nothing else since."""
    path = tmp_path_factory.mktemp("adopted") / "own.sqlite"
    shutil.copy(shop_file, path)
    ledger = open_ledger(f"sqlite:///{path}", clock=lambda: datetime(2026, 11, 24, 20, tzinfo=UTC))
    season_adopt.adopt(ledger, season_plan.make(ledger, PlanSettings(weeks=8), "quick"))
    return open_ledger(f"sqlite:///{path}", clock=lambda: datetime(2026, 12, 1, 9, tzinfo=UTC))


def test_on_opening_the_page_shows_the_plan_in_force_on_today_s_stock_and_looks_back(adopted_shop: Ledger):
    desk = desk_of(adopted_shop)
    page.layout(adopted_shop, {})
    desk.wait()
    said = told(page.layout(adopted_shop, {}))
    paper = season_adopt.adopted(adopted_shop)
    assert desk.base is not None and desk.base.in_force == paper.plan and desk.standing is not None
    for words in (f"Plan {paper.plan}, adopted on 2026-11-24, is in force", "What to do", "pinnedBottomRowData", "season-try",
                  f"Looking back: planned, made and sold: {paper.plan}", "Where the difference comes from"):  # fmt: skip
        assert words in said, words
    assert {w.label for w in desk.base.problem.weeks} == {x for x in LABELS if x >= "2026-W49"}
    left = sum(line["batches"] for line in paper.lines if line["label"] >= "2026-W49")
    assert desk.standing.batches == left == sum(line.batches for line in desk.base.plan.lines)
    assert desk.standing.behind == sum(line["batches"] for line in paper.lines) - left
    acts.act(desk, "season-adopt", {}, NOTHING)
    assert "in force already" in desk.trouble and len(adopted_shop.queries.papers("plan")) == 1


def test_a_plan_made_on_the_page_is_not_swept_away_by_looking_at_it_again(adopted_shop: Ledger):
    desk = Desk(adopted_shop)
    desk.make(PlanSettings(weeks=4), "quick")
    desk.wait()
    mine = desk.base
    desk.look()
    desk.wait()
    assert desk.base is mine and desk.standing is not None and desk.standing.plan


def test_every_control_the_callbacks_read_stands_on_the_page(demo: Ledger):
    said = told(render(demo, "/season", ""))
    app = create_app(demo)
    assert app is not None
    for id in ("season-tick", "season-version", "season-base", "season-what", "season-flavour", "season-percent", "season-from", "season-to",
               "season-make", "season-stop", "season-adopt", "season-try", "season-take", "season-drop", "season-next", "season-edit",
               "season-top", "season-side", "season-bottom", "season-files", "season-why", "season-lines", "season-status", "season-whatif", "season-trial-actions", "fact-kind", "fact-from", "fact-go", "fact-told"):  # fmt: skip
        assert f'"{id}"' in said, id


def test_the_plan_is_shown_in_words_charts_and_a_table_to_type_into(desk: Desk):
    said = told(page.layout(desk.ledger, {"flavour": "LEMON"}))
    assert desk.base is not None
    for words in (
        "What to do",
        "No plan can cost less than",
        "if all free hands made it",
        "pinnedBottomRowData",
        "season-undo-all",
        "Order by date",
        "order list (CSV)",
    ):
        assert words in said, words
    for sentence in desk.base.words:
        assert json.dumps(sentence.text, ensure_ascii=False)[1:-1] in said
    assert '"#season-sum"' in said and '"season-sum"' in said


def test_every_link_in_the_words_has_its_figures_on_the_page(desk: Desk):
    said = told(page.layout(desk.ledger, {}))
    for anchor in set(re.findall(r'"href": "#([a-z-]+)"', said)):
        assert f'"id": "{anchor}"' in said, anchor


def test_a_change_stands_beside_the_plan_until_it_is_taken_or_forgotten(desk: Desk):
    before = desk.base
    acts.act(desk, "season-try", {}, ("demand", "LEMON", 50.0, "", ""))
    desk.wait()
    assert desk.trial is not None and "Sharp lemon sells +50 %" in told(shown.trial(desk))
    acts.act(desk, "season-drop", {}, NOTHING)
    assert desk.trial is None and desk.base is before


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (("kettle:Big copper kettle", "", 0.0, "", ""), "the big copper kettle is out"),
        (("helper", "", 0.0, "", ""), "helper shift a week"),
        (("day", "", 0.0, "", ""), "making day a week"),
        (("drop", "LEMON", 0.0, "", ""), "Sharp lemon is dropped"),
    ],
)
def test_each_change_can_be_asked_for(desk: Desk, what: tuple[str, str, float, str, str], words: str):
    assert desk.base is not None
    change, said = change_of(desk.base, *what)
    assert words in said
    changed = change(desk.base.problem)
    assert changed != desk.base.problem


def test_a_week_outside_the_plan_is_refused_with_its_range(desk: Desk):
    assert desk.base is not None
    first = desk.base.problem.weeks[0].label
    with pytest.raises(BadInput, match=first):
        change_of(desk.base, "demand", "LEMON", 10, "2031-W01", "")
    acts.act(desk, "season-try", {}, ("demand", "LEMON", 10.0, "2031-W01", ""))
    assert "2031-W01" in told(shown.status(desk))
    acts.act(desk, "season-drop", {}, NOTHING)


def cell(desk: Desk, batches: int) -> dict[str, Any]:
    """What the grid tells when the first line of the plan is set to so many batches."""
    assert desk.base is not None
    line = desk.base.plan.lines[0]
    return {"rowId": f"{line.item}@{line.kettle}", "colId": f"w{line.week}", "value": batches, "oldValue": line.batches}


def test_a_typed_cell_is_recomputed_at_once_without_a_solver(desk: Desk, monkeypatch: pytest.MonkeyPatch):
    assert desk.base is not None

    def no_search(*_a: object, **_k: object) -> None:
        raise AssertionError("a typed cell must not start a search")

    monkeypatch.setattr("ledger.planning.season.anneal", no_search)
    line, before = desk.base.plan.lines[0], desk.base
    desk.type_in(changes_of([cell(desk, line.batches - 1)]))
    assert (
        desk.trial is not None
        and desk.trial.plan.batches(line.item, line.week) == before.plan.batches(line.item, line.week) - 1
    )
    said = told(edit_panel(desk))
    assert (
        "1 cell changed" in said and money(desk.trial, desk.trial.plan.cost_milli) in said and "fullest week is" in said
    )
    assert shown.trial(desk) is None  # what is typed is told at the table, not as a second plan
    acts.act(desk, "season-undo", {}, NOTHING)
    assert desk.typed == {} and desk.trial is None and desk.base is before


def test_every_change_can_be_taken_back_one_by_one_or_all_at_once(desk: Desk):
    assert desk.base is not None
    line = desk.base.plan.lines[0]
    key = (line.item, line.week, line.kettle)
    for batches in (line.batches + 1, 0):
        desk.type_in({key: batches})
    assert desk.typed == {key: 0}
    acts.act(desk, "season-undo", {}, NOTHING)
    assert desk.typed == {key: line.batches + 1}
    acts.act(desk, "season-undo-all", {}, NOTHING)
    assert desk.typed == {} and desk.past == []
    desk.type_in({key: line.batches + 1})
    desk.type_in({key: line.batches})  # typed back by hand: nothing differs from the plan
    assert desk.typed == {} and desk.trial is None
    acts.act(desk, "season-undo-all", {}, NOTHING)


def test_what_the_floor_cannot_carry_is_refused_and_stays_typed(desk: Desk):
    desk.type_in(changes_of([cell(desk, 95)]))
    assert "cannot carry" in told(edit_panel(desk)) and desk.trial is None and desk.typed
    rows = {r["id"]: r for r in table_rows(desk, range(6))}
    assert 95 in rows[cell(desk, 95)["rowId"]].values()
    acts.act(desk, "season-undo-all", {}, NOTHING)


def test_changes_kept_become_the_plan_and_are_adopted_as_it(desk: Desk):
    assert desk.base is not None
    before, line = desk.base, desk.base.plan.lines[0]
    desk.type_in({(line.item, line.week, line.kettle): line.batches - 1})
    acts.act(desk, "season-keep", {}, NOTHING)
    assert desk.base.plan.changed == "changed by hand" and not desk.typed
    assert check_plan(desk.base.plan, desk.base.problem).agrees
    desk.base = before


def test_the_rest_is_planned_again_around_what_is_typed(desk: Desk):
    assert desk.base is not None
    line = desk.base.plan.lines[0]
    acts.act(desk, "season-again", {}, NOTHING)
    assert "Nothing was changed" in desk.trouble
    desk.type_in({(line.item, line.week, line.kettle): line.batches - 1})
    acts.act(desk, "season-again", {}, NOTHING)
    desk.wait()
    assert desk.trial is not None and "planned again" in told(shown.trial(desk))
    mine = [
        x.batches for x in desk.trial.plan.lines if (x.item, x.week, x.kettle) == (line.item, line.week, line.kettle)
    ]
    assert sum(mine) == line.batches - 1
    acts.act(desk, "season-drop", {}, NOTHING)


def test_strange_cells_are_no_batches():
    events = [{"rowId": "A.B@K", "colId": "w3", "value": v} for v in ("", None, "-4", "x")] + [
        {"rowId": "hands", "colId": "what", "value": 3}
    ]
    assert changes_of(events) == {("A.B", 3, "K"): 0}
    assert changes_of([{"rowId": "A@", "colId": "w0", "value": 2.0}]) == {("A", 0, ""): 2}


def test_a_planned_batch_is_opened_on_the_page_and_leads_to_its_sheet(shop_file: Path, tmp_path: Path):
    shutil.copy(shop_file, tmp_path / "own.sqlite")
    ledger = open_ledger(f"sqlite:///{tmp_path}/own.sqlite")
    assert next_part(ledger) is None
    season_adopt.adopt(ledger, season_plan.make(ledger, PlanSettings(weeks=4), "quick"))
    line = season_adopt.next_line(ledger)
    said = told(next_part(ledger))
    assert line["plan_line"] in said
    name = (
        ledger.book().get(e.Flavour, line["flavour"]).name
    )  # the flavour first: on a telephone nothing stands right of its button
    assert said.index(name) < said.index(line["date"]) < said.index("Open this batch")
    done = told(acts.open_batch(ledger, line["plan_line"]))
    batch = ledger.queries.batches(first_day=ledger.today()).iloc[0]
    assert batch["plan_line"] == line["plan_line"] and f"Batch {batch['batch']} is open" in done
    sheet = re.search(r'"href": "(/sheet\?[^"]+)"', done)
    assert sheet is not None
    asked = read_address(sheet[1].partition("?")[2])
    assert asked["batch"] == batch["batch"] and asked["design"] == batch["design"]
    sheets.issue(ledger, sheet_page.ask_of(ledger.book(), asked))
    assert sheets.kept(ledger, batch["batch"]).batch == batch["batch"]
    assert f"{batch['batch']}" in told(next_part(ledger)) and "Its sheet" in told(next_part(ledger))
    assert "opened for" in told(acts.open_batch(ledger, line["plan_line"]))


def test_an_adopted_plan_is_in_the_ledger_and_on_the_api(shop_file: Path, tmp_path: Path):
    shutil.copy(shop_file, tmp_path / "own.sqlite")
    ledger = open_ledger(f"sqlite:///{tmp_path}/own.sqlite")
    desk = desk_of(ledger)
    with client_of(create_app(ledger)) as client:
        assert client.get("/api/v1/season/plan").status_code in (404, 409)
        assert client.get("/season").status_code == 200
        acts.act(desk, "season-make", {"weeks": "4", "effort": "quick"}, NOTHING)
        desk.wait()
        acts.act(desk, "season-adopt", {}, NOTHING)
        assert desk.adopted and ledger.queries.papers("plan")[-1][1].plan == desk.adopted
        plan = client.get("/api/v1/season/plan").json()
        assert desk.base is not None
        assert len(plan["tables"]["lines"]["rows"]) == len(desk.base.plan.lines)
        csv = client.get("/api/v1/season/plan?form=csv&table=lines").text.splitlines()
        assert csv[0].startswith("week,") and len(csv) == len(desk.base.plan.lines) + 1
        assert client.get("/api/v1/season/buy?form=csv").text.startswith("order_by,needed_by,material")
        answer = client.get("/api/v1/season/forecast?horizon=4&flavour=LEMON").json()
        assert {r["week"] for r in answer["tables"]["weekly"]["rows"]} == {w.label for w in desk.base.problem.weeks[:4]}
        assert client.get("/api/v1/season/forecast?horizon=99").status_code == 422


def test_facts_and_the_owners_own_figure_are_noted_on_the_page(shop_file: Path, tmp_path: Path):
    shutil.copy(shop_file, tmp_path / "own.sqlite")
    ledger = open_ledger(f"sqlite:///{tmp_path}/own.sqlite")
    row = dict.fromkeys(("kind", "from", "to", "flavour", "channel", "packs", "at", "note"), "")
    today = ledger.today()
    gone = told(acts.note(ledger, row | {"kind": "run-out", "from": today, "flavour": "LEMON", "channel": "shop"}))
    assert "Noted as entry" in gone and ledger.queries.papers("ran-out")[-1][1].flavour == "LEMON"
    assert "A bulk needs" in told(acts.note(ledger, row | {"kind": "bulk", "from": today}))
    assert "needs a reason" in told(
        acts.note(ledger, row | {"kind": "own", "from": today, "flavour": "LEMON", "packs": "40"})
    )
    own = told(
        acts.note(ledger, row | {"kind": "own", "from": today, "flavour": "LEMON", "packs": "40", "note": "a wedding"})
    )
    assert "the model said" in own and ledger.queries.papers("override")[-1][1].units == 40


def test_the_cumulated_figures_are_sums_of_the_plan(desk: Desk):
    assert desk.base is not None
    frame, row = cumulated(desk.base, "LEMON"), desk.base.plan.of("LEMON")
    opening = desk.base.problem.item("LEMON").opening_g
    assert frame["mean"].iloc[-1] == pytest.approx(sum(row.demand) / 1000)
    assert frame["supply"].iloc[-1] == pytest.approx((opening + sum(row.made)) / 1000)
    assert (frame["low"] <= frame["mean"] + 1e-9).all() and (frame["high"] >= frame["mean"] - 1e-9).all()
    assert (frame["could"] >= frame["supply"] - 1e-9).all()


def test_the_charts_say_what_to_see():
    frame = pd.DataFrame(
        {
            "week": ["2026-W50", "2026-W51"],
            "mean": [5.0, 20.0],
            "low": [4.0, 15.0],
            "high": [6.0, 25.0],
            "supply": [10.0, 12.0],
            "could": [12.0, 14.0],
        }
    )
    assert "falls behind expected demand from 2026-W51" in cumulative(frame, "Clove").layout.meta
    assert "good season would outrun" in cumulative(frame.assign(supply=[10.0, 21.0]), "Clove").layout.meta
    assert "covered, even" in cumulative(frame.assign(supply=[10.0, 30.0]), "Clove").layout.meta
    none = pd.DataFrame(
        {
            "week": ["2026-W50"],
            "share": [0.0],
            "station_share": [0.0],
            "busiest": [""],
            "hands_used_s": [0],
            "hands_there_s": [0],
        }
    )
    assert "nothing can be made" in weeks(none).layout.meta
    assert "hands for more" in weeks(none.assign(hands_there_s=60)).layout.meta
    full = pd.DataFrame({"week": ["2026-W50"], "share": [0.99], "station_share": [0.4], "busiest": ["slab"]})
    assert "2026-W50" in weeks(full).layout.meta
