"""One desk, many tablets: nobody acts on a plan they have not seen, work that goes on is followed everywhere, a plan made can be forgotten, and the plan
in force stands beside a new one."""

from __future__ import annotations

import json
import shutil
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from plotly.utils import PlotlyJSONEncoder

from dashboard.app import create_app
from dashboard.components.season_acts import Seen, act
from dashboard.components.season_shown import old_and_new, status
from dashboard.components.season_ways import ways
from ledger.application import season_adopt, season_jobs, season_plan
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.season_beside import beside
from ledger.application.season_jobs import Desk
from ledger.application.season_settings import PlanSettings
from ledger.domain.shelf.commands import Sell
from ledger.planning import Progress, check_plan
from tests.dashboard.at_work import working
from tests.dashboard.test_never_held_up import body_of
from tests.support.asgi import client_of
from tests.support.made_once import invented_shop

pytestmark = pytest.mark.slow

NOTHING = ("demand", "", 0.0, "", "")
WEEKS = 6


def told(parts: Any) -> str:
    """Everything a part says, as text."""
    return json.dumps(parts, cls=PlotlyJSONEncoder, ensure_ascii=False)


@pytest.fixture(scope="module")
def in_force(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop that adopted a plan of six weeks on Tuesday 2026-11-24."""
    path = tmp_path_factory.mktemp("season-desk") / "shop.sqlite"
    shutil.copy(invented_shop(tmp_path_factory, weeks=16), path)
    ledger = open_ledger(f"sqlite:///{path}", clock=lambda: datetime(2026, 11, 24, 20, tzinfo=UTC))
    season_adopt.adopt(ledger, season_plan.make(ledger, PlanSettings(weeks=WEEKS), "quick"))
    ledger.close()
    return path


@pytest.fixture
def later(in_force: Path, tmp_path: Path) -> Ledger:
    """The same shop a week later, nothing made or sold since."""
    shutil.copy(in_force, tmp_path / "shop.sqlite")
    return open_ledger(f"sqlite:///{tmp_path}/shop.sqlite", clock=lambda: datetime(2026, 12, 1, 9, tzinfo=UTC))


@pytest.fixture(scope="module")
def made(in_force: Path, tmp_path_factory: pytest.TempPathFactory) -> season_plan.PlanMade:
    """A plan of eight weeks made anew a week later."""
    path = tmp_path_factory.mktemp("made") / "shop.sqlite"
    shutil.copy(in_force, path)
    ledger = open_ledger(f"sqlite:///{path}", clock=lambda: datetime(2026, 12, 1, 9, tzinfo=UTC))
    return season_plan.make(ledger, PlanSettings(weeks=8), "quick")


@pytest.fixture
def desk(later: Ledger, made: season_plan.PlanMade) -> Desk:
    """A desk that has read how the season stands and has a plan made anew on it."""
    found = Desk(later)
    found.look()
    found.wait()
    assert found.base is not None and found.base.in_force
    found._lay(made, beside(made))
    return found


def seen(desk: Desk) -> Seen:
    return Seen(desk.version, desk.base_version)


def test_the_plan_in_force_stands_beside_the_new_one_over_the_weeks_both_cover(desk: Desk):
    """By hand: the old lines are the lines of the entry that are left, the new ones those of the plan made, up to the old plan's last week."""
    assert desk.beside is not None and desk.base is not None
    paper = season_adopt.adopted(desk.ledger)
    last = max(line["label"] for line in paper.lines)
    found = desk.beside
    assert (found.plan, found.through, found.looks_on_to) == (
        paper.plan,
        "2026-W53",
        "2027-W03",
    ) and last <= found.through
    left = {(x["item"], x["label"], x["kettle"]): x["batches"] for x in paper.lines if x["label"] >= "2026-W49"}
    old, new = ({(x.item, x.label, x.kettle): x.batches for x in p.plan.lines} for p in (found.old, found.new))
    assert old == left
    assert new == {(x.item, x.label, x.kettle): x.batches for x in desk.base.plan.lines if x.label <= found.through}
    for side in (found.old, found.new):  # one problem for both: the same weeks, demand and stock
        assert side.problem == found.old.problem and check_plan(side.plan, side.problem).agrees
    frozen = {k: n for k, n in left.items() if k[1] <= paper.frozen_until}
    assert frozen and all(new.get(k) == n for k, n in frozen.items())  # the near weeks stay as they are


def test_both_plans_are_told_in_a_sentence_and_a_table_until_one_is_chosen(desk: Desk):
    said = told(old_and_new(desk))
    assert desk.beside is not None
    for words in ("in force", "new", "The new plan", f"through {desk.beside.through}", "looks on to 2027-W03"):
        assert words in said, words
    act(desk, "season-forget", {}, NOTHING, seen(desk))
    assert old_and_new(desk) is None


def test_a_plan_made_here_can_be_forgotten_and_the_plan_in_force_stands_again(desk: Desk):
    assert ways(desk).forget
    act(desk, "season-forget", {}, NOTHING, seen(desk))
    assert desk.base is not None and desk.base.in_force == season_adopt.adopted(desk.ledger).plan
    assert not ways(desk).forget and len(desk.ledger.queries.papers("plan")) == 1


def test_where_no_plan_is_in_force_forgetting_leaves_an_empty_desk(later: Ledger, made: season_plan.PlanMade):
    desk = Desk(later, base=made)
    act(desk, "season-forget", {}, NOTHING)
    assert desk.base is None and not ways(desk).forget


def test_nobody_adopts_a_plan_that_another_tablet_laid_meanwhile(desk: Desk, made: season_plan.PlanMade):
    before = seen(desk)
    desk._lay(made)  # another tablet made a plan anew
    act(desk, "season-adopt", {}, NOTHING, before)
    assert "changed from another tablet" in desk.trouble and len(desk.ledger.queries.papers("plan")) == 1
    assert "changed from another tablet" in told(status(desk))
    act(desk, "season-adopt", {}, NOTHING, seen(desk))
    assert not desk.trouble and len(desk.ledger.queries.papers("plan")) == 2


def test_nobody_takes_a_change_that_another_tablet_tried_meanwhile(desk: Desk, made: season_plan.PlanMade):
    before = seen(desk)
    desk.trial, desk.said, desk.version = made, "another change", desk.version + 1
    for button in ("season-take", "season-drop"):
        act(desk, button, {}, NOTHING, before)
        assert "changed from another tablet" in desk.trouble and desk.trial is made
    act(desk, "season-drop", {}, NOTHING, seen(desk))
    assert desk.trial is None


@pytest.fixture
def at_work(desk: Desk) -> Iterator[Desk]:
    """A desk on which the planner works, as begun from another tablet, until the test is over."""
    there = Progress("search", 3, 4, 250_000_00, 200_000_00, again=2)
    with working(desk, "What if: it rains", lambda job: job.watch(there)):
        yield desk


def test_work_begun_elsewhere_is_told_with_its_stage_cost_and_time_and_a_second_start_is_refused_in_words(
    at_work: Desk,
):
    said = told(status(at_work))
    for words in (
        "What if: it rains",
        "Searching for a better plan",
        "75 %",
        "begun again (2)",
        "best so far EUR 250",
        "at most 20.0 % above",
        " s so far",
    ):
        assert words in said, words
    act(at_work, "season-make", {"weeks": "4"}, NOTHING, seen(at_work))
    assert "was not begun: the planner is at work already (What if: it rains)" in told(status(at_work))


@pytest.mark.parametrize("button", ["season-adopt", "season-forget", "season-take", "season-drop"])
def test_nothing_is_adopted_taken_or_forgotten_under_a_planner_at_work(at_work: Desk, button: str):
    before = at_work.base
    at_work.trial = before if button in ("season-take", "season-drop") else None
    act(at_work, button, {}, NOTHING)
    assert "while the planner works" in at_work.trouble and at_work.base is before
    assert len(at_work.ledger.queries.papers("plan")) == 1


def test_a_planner_that_fails_says_so_and_the_plan_on_the_desk_stays(desk: Desk, monkeypatch: pytest.MonkeyPatch):
    before = desk.base

    def breaks(*_given: Any) -> None:
        raise ZeroDivisionError("the slab is gone")

    monkeypatch.setattr(season_jobs.season_plan, "make", breaks)
    monkeypatch.setattr(threading, "excepthook", lambda _args: None)
    act(desk, "season-make", {}, NOTHING, seen(desk))
    desk.wait()
    said = told(status(desk))
    assert "broke off (ZeroDivisionError: the slab is gone)" in said and "Nothing was changed" in said
    assert not desk.busy and desk.base is before and ways(desk).make and ways(desk).adopt


def test_an_entry_from_another_tablet_does_not_sweep_a_plan_made_here_away(desk: Desk):
    mine, ledger = desk.base, desk.ledger
    ledger.do(Sell(day="2026-12-01", pack="LEMON-JAR", packs=1, channel="SHOP"))
    desk.look()
    desk.wait()
    assert desk.base is mine and old_and_new(desk) is not None
    assert "1 entry was recorded since" in told(status(desk))


def test_a_press_that_arrives_together_with_a_tick_is_not_lost(at_work: Desk, monkeypatch: pytest.MonkeyPatch):
    """On a slow machine the browser sends both in one call, the tick first."""
    monkeypatch.setattr("dashboard.components.season_callbacks.desk_of", lambda _ledger: at_work)
    with client_of(create_app(at_work.ledger)) as client:
        entries = client.get("/_dash-dependencies").json()
        entry = next(e for e in entries if "season-status.children" in e["output"].strip(".").split("..."))
        body = body_of(entry, {"season-stop.n_clicks": 1, "season-tick.n_intervals": 7})
        assert set(body["changedPropIds"]) == {"season-stop.n_clicks", "season-tick.n_intervals"}
        body["changedPropIds"] = ["season-tick.n_intervals", "season-stop.n_clicks"]
        assert client.post("/_dash-update-component", json=body).status_code == 200
    assert at_work.job is not None and at_work.job.stop.is_set()
