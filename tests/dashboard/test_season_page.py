"""The Season page and its API: what it shows, what each button does, and what a refusal says."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from plotly.utils import PlotlyJSONEncoder

from dashboard.app import create_app
from dashboard.figures.season_demand import cumulative, weeks
from dashboard.pages import season as page
from dashboard.shell import render, render_filters
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.season_jobs import Desk, desk_of
from ledger.application.season_view import cumulated
from ledger.errors import BadInput
from seeds.shop import fill
from tests.support.asgi import client_of

NOTHING = ("demand", "", 0.0, "", "")


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
    page.act(found, "season-make", {"weeks": "6", "effort": "quick"}, NOTHING, {})
    found.wait()
    assert found.base is not None, found.trouble
    return found


def test_an_empty_ledger_is_told_what_to_do_first(empty: Ledger):
    assert "nothing to plan from yet" in told(render(empty, "/season", ""))


def test_the_page_stands_without_a_plan_and_asks_for_one(demo: Ledger):
    said = told(render(demo, "/season", ""))
    assert "Make the plan" in said and "can be stopped" in said
    assert len(render_filters(demo, "/season", "")) == 4


def test_every_control_the_callbacks_read_stands_on_the_page(demo: Ledger):
    said = told(render(demo, "/season", ""))
    app = create_app(demo)
    assert app is not None
    for id in ("season-tick", "season-version", "season-base", "season-what", "season-flavour", "season-percent", "season-from", "season-to",
               "season-make", "season-stop", "season-adopt", "season-try", "season-check", "season-again", "season-take", "season-drop",
               "season-top", "season-side", "season-bottom", "season-status", "season-edit-actions", "season-whatif", "season-trial-actions", "fact-kind", "fact-from", "fact-go", "fact-told"):  # fmt: skip
        assert f'"{id}"' in said, id


def test_the_plan_is_shown_in_words_charts_and_a_table_to_type_into(desk: Desk):
    said = told(page.layout(desk.ledger, {"flavour": "LEMON"}))
    assert desk.base is not None
    for words in (
        "What to do",
        "No plan can cost less than",
        "if all free hands made it",
        "season-cell",
        "Order by date",
        "order list (CSV)",
    ):
        assert words in said, words
    for sentence in desk.base.words:
        assert json.dumps(sentence.text, ensure_ascii=False)[1:-1] in said
    assert '"#season-sum"' in said and '"season-sum"' in said


def test_every_link_in_the_words_has_its_figures_on_the_page(desk: Desk):
    said = told(page.layout(desk.ledger, {}))
    import re

    for anchor in set(re.findall(r'"href": "#([a-z-]+)"', said)):
        assert f'"id": "{anchor}"' in said, anchor


def test_a_change_stands_beside_the_plan_until_it_is_taken_or_forgotten(desk: Desk):
    before = desk.base
    page.act(desk, "season-try", {}, ("demand", "LEMON", 50.0, "", ""), {})
    desk.wait()
    assert desk.trial is not None and "Sharp lemon sells +50 %" in told(page.trial(desk))
    page.act(desk, "season-drop", {}, NOTHING, {})
    assert desk.trial is None and desk.base is before


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (("kettle", "", 0.0, "", ""), "one of 2 kettles is out"),
        (("helper", "", 0.0, "", ""), "helper shift a week"),
        (("day", "", 0.0, "", ""), "making day a week"),
        (("drop", "LEMON", 0.0, "", ""), "Sharp lemon is dropped"),
    ],
)
def test_each_change_can_be_asked_for(desk: Desk, what: tuple[str, str, float, str, str], words: str):
    assert desk.base is not None
    change, said = page.change_of(desk.base, *what)
    assert words in said
    changed = change(desk.base.problem)
    assert changed != desk.base.problem


def test_a_week_outside_the_plan_is_refused_with_its_range(desk: Desk):
    assert desk.base is not None
    first = desk.base.problem.weeks[0].label
    with pytest.raises(BadInput, match=first):
        page.change_of(desk.base, "demand", "LEMON", 10, "2031-W01", "")
    page.act(desk, "season-try", {}, ("demand", "LEMON", 10.0, "2031-W01", ""), {})
    assert "2031-W01" in told(page.status(desk))
    page.act(desk, "season-drop", {}, NOTHING, {})


def test_typed_batches_are_checked_and_too_many_are_told_on_the_page(desk: Desk):
    assert desk.base is not None
    line = desk.base.plan.lines[0]
    page.act(desk, "season-check", {}, NOTHING, {(line.item, line.week): line.batches})
    assert "Nothing was changed" in desk.trouble
    page.act(desk, "season-check", {}, NOTHING, {(line.item, line.week): 95})
    desk.wait()
    assert "cannot carry" in told(page.status(desk)) and desk.trial is None
    page.act(desk, "season-drop", {}, NOTHING, {})


def test_an_adopted_plan_is_in_the_ledger_and_on_the_api(shop_file: Path, tmp_path: Path):
    shutil.copy(shop_file, tmp_path / "own.sqlite")
    ledger = open_ledger(f"sqlite:///{tmp_path}/own.sqlite")
    desk = desk_of(ledger)
    with client_of(create_app(ledger)) as client:
        assert client.get("/api/v1/season/plan").status_code in (404, 409)
        assert client.get("/season").status_code == 200
        page.act(desk, "season-make", {"weeks": "4", "effort": "quick"}, NOTHING, {})
        desk.wait()
        page.act(desk, "season-adopt", {}, NOTHING, {})
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
    gone = told(page.note(ledger, row | {"kind": "run-out", "from": today, "flavour": "LEMON", "channel": "shop"}))
    assert "Noted as entry" in gone and ledger.queries.papers("ran-out")[-1][1].flavour == "LEMON"
    assert "A bulk needs" in told(page.note(ledger, row | {"kind": "bulk", "from": today}))
    assert "needs a reason" in told(
        page.note(ledger, row | {"kind": "own", "from": today, "flavour": "LEMON", "packs": "40"})
    )
    own = told(
        page.note(ledger, row | {"kind": "own", "from": today, "flavour": "LEMON", "packs": "40", "note": "a wedding"})
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
    full = pd.DataFrame({"week": ["2026-W50"], "share": [0.99], "station_share": [0.4], "busiest": ["slab"]})
    assert "2026-W50" in weeks(full).layout.meta
