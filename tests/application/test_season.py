"""The season wired to the ledger: forecast, plan, order list and facts, over the invented shop.

The pure parts have their own outside checks (tests/forecast, tests/planning); here the wiring is held against sums made by hand over
raw postings, ISO 8601 weeks (`datetime`), and Easter by `python-dateutil`.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from dateutil.easter import easter

from ledger.application import season_adopt, season_facts, season_plan
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.season_adopt import adopt, adopted, read_back, recheck
from ledger.application.season_backtest import AsKnown, issued_scores, override_scores, replay
from ledger.application.season_buy import buy_report, orders_of
from ledger.application.season_compare import compare_report, looked_back, splits
from ledger.application.season_forecast import MILLI, issue, make_forecast, override
from ledger.application.season_forecast_report import forecast_report
from ledger.application.season_history import season_history, settings_of_book
from ledger.application.season_jobs import desk_of
from ledger.application.season_plan import PlanMade, change, edit
from ledger.application.season_problem import problem_of
from ledger.application.season_report import plan_report
from ledger.application.season_settings import PlanSettings
from ledger.application.season_standing import standing
from ledger.domain.batch.commands import OpenBatch
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.shelf.commands import Sell
from ledger.errors import BadInput, Refused, UnknownThing
from ledger.interfaces.cli.main import main
from ledger.planning import check_plan
from ledger.planning.whatif import compare, demand_changed
from tests.application.conftest import season_clock

pytestmark = pytest.mark.slow

TODAY = "2026-11-25"


# --- forecast -----------------------------------------------------------------------------------------------------------


def test_the_history_is_the_packs_that_left_with_customers(season_shop: Ledger):
    seen = season_history(season_shop)
    lines = season_shop.queries.postings(kinds=["customer"])
    lemon = lines[(lines["flavour"] == "LEMON") & (lines["channel"] == "SHOP")]
    sales = seen.history.sales
    assert (
        int(sales[(sales.flavour == "LEMON") & (sales.channel == "SHOP")]["units"].sum())
        == int(lemon["packs"].sum())
        > 0
    )
    assert seen.origin == "2026-W48" and date(2026, 11, 25).isocalendar()[:2] == (2026, 48)


def test_a_season_flavour_is_zero_outside_its_window_and_totals_add_up(season_shop: Ledger):
    made = make_forecast(season_shop, 13)
    weekly = made.result.weekly
    clove = weekly[(weekly["level"] == "flavour") & (weekly["flavour"] == "CLOVE")].set_index("week")["mean"]
    assert clove["2026-W51"] > 0 and clove["2027-W04"] == 0
    series = weekly[weekly["level"] == "series"].groupby("week")["mean"].sum()
    whole = weekly[weekly["level"] == "shop"].set_index("week")["mean"]
    assert series.to_numpy() == pytest.approx(whole.loc[series.index].to_numpy())


def test_the_moving_feast_of_the_book_is_the_true_easter(season_shop: Ledger):
    settings, notes = settings_of_book(season_shop.book())
    assert not notes
    assert settings.feast("EASTER").in_year(2027) == easter(2027)


def test_sales_of_the_running_week_do_not_move_the_forecast(own: Ledger):
    before = make_forecast(own).result.weekly["mean"].sum()
    lots = own.queries.shelf(["LEMON-JAR"])
    own.do(Sell(day=TODAY, pack="LEMON-JAR", packs=5, channel="SHOP", lot=str(lots["lot"].iloc[0])))
    assert make_forecast(own).result.weekly["mean"].sum() == pytest.approx(before)


def test_an_issued_forecast_is_kept_in_thousandths_and_scored_as_it_was_made(own: Ledger):
    made = make_forecast(own, 6, known="2026-10-18")
    name, _ = issue(own, made)
    paper = own.queries.papers("forecast")[-1][1]
    assert paper.forecast == name and paper.origin_week == "2026-W42"
    line = next(x for x in paper.lines if x["level"] == "shop")
    shop_mean = made.result.weekly[made.result.weekly["level"] == "shop"]["mean"]
    assert sum(line["mean"]) / MILLI == pytest.approx(shop_mean.sum(), abs=0.01)
    scores = issued_scores(own, season_history(own))
    assert list(scores["forecast"]) == [name] and 0 < scores["wape"].iloc[0] < 1 and scores["n"].iloc[0] > 50


def test_an_override_is_laid_over_and_spread_coherently(own: Ledger):
    issue(own, make_forecast(own, 8))
    said, _ = override(own, "CLOVE", "2026-W50", "2026-W51", 900, "two coach parties")
    made = make_forecast(own, 8)
    weekly = made.result.weekly
    mine = weekly[
        (weekly["level"] == "series") & (weekly["flavour"] == "CLOVE") & weekly["week"].isin(["2026-W50", "2026-W51"])
    ]
    assert mine["mean"].sum() == pytest.approx(900)
    assert mine["model_mean"].sum() == pytest.approx(said, abs=0.6)
    whole = weekly[weekly["level"] == "shop"]["mean"].sum()
    assert whole == pytest.approx(weekly[weekly["level"] == "series"]["mean"].sum())
    assert "overrides" in forecast_report(made).tables


def test_an_override_without_a_reason_or_a_forecast_is_refused_with_the_way_out(own: Ledger):
    with pytest.raises(UnknownThing, match="--issue"):
        override(own, "CLOVE", "2026-W50", "2026-W50", 9, "why not")
    issue(own, make_forecast(own, 4))
    with pytest.raises(BadInput, match="reason"):
        override(own, "CLOVE", "2026-W50", "2026-W50", 9, "  ")
    with pytest.raises(BadInput, match="longer one"):
        override(own, "CLOVE", "2027-W10", "2027-W10", 9, "too far")


def test_later_it_is_told_who_was_nearer(own: Ledger):
    issue(own, make_forecast(own, 6, known="2026-10-18"))
    sold = season_history(own).history.sales
    true = int(sold[(sold.flavour == "LEMON") & (sold.week == "2026-W43")]["units"].sum())
    override(own, "LEMON", "2026-W43", "2026-W43", true, "I counted the heads")
    row = override_scores(own, season_history(own)).iloc[0]
    assert row["sold"] == true and row["nearer"] in ("owner", "both alike")


def test_the_replay_uses_only_what_was_known_at_each_origin(own: Ledger):
    """A late entry (made today, for a day in September) must not be in the history of a September origin."""
    known = AsKnown(own)("2026-W40")
    own.do(Sell(day="2026-09-22", pack="LEMON-JAR", packs=7, channel="SHOP"))
    late = AsKnown(own)("2026-W40")
    assert known.sales.equals(late.sales)
    assert int(season_history(own).history.sales["units"].sum()) > int(late.sales["units"].sum())


def test_a_backtest_scores_weeks_that_came_after_and_beats_nothing_by_itself(season_shop: Ledger):
    _, done = replay(season_shop, origins=2, horizon=4)
    assert set(done.weekly["origin"]) == {"2025-W48", "2026-W47"}
    row = done.weekly[(done.weekly["level"] == "shop") & (done.weekly["origin"] == "2025-W48")].iloc[0]
    sales = season_history(season_shop).history.sales
    bulk = season_history(season_shop).history.bulk_orders
    firm = 0 if bulk is None else int(bulk[bulk["week"] == row["week"]]["units"].sum())
    if row["fair"]:
        fair = int(sales[sales["week"] == row["week"]]["units"].sum()) - firm
        assert 0 < row["actual"] <= fair


def test_a_young_ledger_is_told_what_is_missing(tmp_path: Path):
    ledger = open_ledger(f"sqlite:///{tmp_path}/young.sqlite", clock=season_clock)
    with pytest.raises(BadInput, match="Nothing was sold before"):
        make_forecast(ledger)
    with pytest.raises(BadInput, match="weeks of sales"):
        replay(ledger)


# --- plan ---------------------------------------------------------------------------------------------------------------


def test_the_first_week_has_only_the_days_that_are_left(season_made: PlanMade):
    first, second = season_made.problem.weeks[:2]
    assert (first.label, first.days, second.days) == ("2026-W48", 3, 5)
    assert 0 < first.hands_minutes * 5 <= second.hands_minutes * 3 + 5  # what is in work takes its share of them


def test_minutes_come_from_the_ledgers_own_labour(season_made: PlanMade, season_shop: Ledger):
    lines = season_shop.queries.balances(["step", "batch", "design", "kind"], "2025-W48", "2026-W48", kinds=["work"])
    plain = {d.id for d in season_shop.book().all(e.Design) if d.kind == "plain"}
    cook = lines[lines["design"].isin(plain) & (lines["step"] == "cook") & (lines["batch"] != "")]
    median = cook.groupby("batch")["seconds"].sum().median()
    assert season_made.asked.floor.hands["plain"]["cook"] == -(-round(median) // 60)


def test_a_plan_agrees_with_its_checker_and_is_not_dearer_than_the_best_rule(season_made: PlanMade):
    from ledger.planning import check_plan

    assert check_plan(season_made.plan, season_made.problem).agrees
    assert season_made.plan.cost_milli <= season_made.plan.rule_milli
    assert season_made.plan.bound_milli is not None and season_made.plan.bound_milli <= season_made.plan.cost_milli
    assert plan_report(season_made).tables["lines"].frame["batches"].sum() == sum(
        x.batches for x in season_made.plan.lines
    )


def test_an_adopted_plan_is_checked_again_without_solving(
    own: Ledger, quick_plan: Callable[[int], PlanMade], monkeypatch: pytest.MonkeyPatch
):
    made = quick_plan(6)
    name, _ = adopt(own, made)
    paper = adopted(own)
    assert paper.plan == name and paper.bound <= paper.cost

    def no_solver(*_a: object, **_k: object) -> None:
        raise AssertionError("a replay must not solve")

    monkeypatch.setattr("ledger.planning.season.bound", no_solver)
    monkeypatch.setattr("ledger.planning.season.anneal", no_solver)
    assert recheck(paper).agrees
    plan, _ = read_back(paper)
    assert plan == replace(made.plan, milliseconds=None)
    for key, value in (("cost", paper.cost + 1), ("lines", paper.lines[1:])):
        assert not recheck(replace(paper, **{key: value})).agrees, key


def test_a_planned_batch_opens_as_a_batch_and_only_once(own: Ledger, quick_plan: Callable[[int], PlanMade]):
    adopt(own, quick_plan(6))
    line = season_adopt.next_line(own)["plan_line"]
    batch = season_adopt.open_line(own, line).batch
    row = own.queries.batches(names=[batch]).iloc[0]
    assert row["plan_line"] == line and row["flavour"] == line.split("/")[1]
    with pytest.raises(Refused, match=batch):
        season_adopt.open_line(own, line)
    assert season_adopt.next_line(own)["plan_line"] != line


def test_the_next_plan_keeps_the_frozen_weeks(own: Ledger):
    first = season_plan.make(own, PlanSettings(weeks=6, frozen_weeks=3), "quick")
    adopt(own, first)
    again = season_plan.make(own, PlanSettings(weeks=6), "quick")
    for item in again.problem.items:
        for week in range(3):
            assert again.plan.batches(item.key, week) == first.plan.batches(item.key, week), (item.key, week)


def test_a_change_is_answered_beside_the_plan_and_moves_lines_only_for_a_reason(season_made: PlanMade):
    more = change(season_made, demand_changed(["CLOVE"], 40), "Clove sells 40 % more")
    assert sum(more.plan.of("CLOVE").demand) > sum(season_made.plan.of("CLOVE").demand)
    assert more.plan.cost_milli > season_made.plan.cost_milli
    same = change(season_made, lambda problem: problem, "nothing")
    assert len(compare(season_made.plan, same.plan).lines) == 0


def test_typed_batches_are_costed_and_too_many_are_refused(season_made: PlanMade):
    line = season_made.plan.lines[0]
    fewer = edit(season_made, {(line.item, line.week, line.kettle): line.batches - 1}, rest=False)
    assert fewer.plan.batches(line.item, line.week) == season_made.plan.batches(line.item, line.week) - 1
    assert len(compare(season_made.plan, fewer.plan).lines) == 1
    assert check_plan(fewer.plan, fewer.problem).agrees and not any(
        x.frozen for x in fewer.plan.lines if x.week >= fewer.problem.frozen_weeks
    )
    with pytest.raises(BadInput, match="cannot carry"):
        edit(season_made, {(line.item, line.week, line.kettle): 90}, rest=False)
    with pytest.raises(BadInput, match="0 or more"):
        edit(season_made, {(line.item, line.week, line.kettle): -1}, rest=False)


def test_planned_made_and_sold_are_split_to_the_gram(own: Ledger, quick_plan: Callable[[int], PlanMade]):
    made = quick_plan(4)
    adopt(own, made)
    stock = own.queries.lots(kinds=["packs"])
    own.do(Sell(day=TODAY, pack="LEMON-JAR", packs=4, channel="SHOP"))
    paper = adopted(own)
    plan, problem = read_back(paper)
    for c in splits(own, paper, plan, problem, 1, "2026-W48"):
        name, s, happened = c.name, c.split, c.happened
        assert s.known_by_plan_g + s.forecast_g + s.made_g + s.yield_g + s.count_g == s.net_g, name
        if name == "Sharp lemon":
            jar = own.book().get(e.Pack, "LEMON-JAR").net_mg // 1000
            assert happened.demand_g == pytest.approx(4 * jar, rel=0.05)
    assert len(stock) and compare_report(own, through="2026-W48").tables["items"].total
    with pytest.raises(BadInput, match="--through"):
        compare_report(own)


def test_the_season_as_it_stands_is_the_plan_less_what_was_opened_and_nothing_is_searched(
    own: Ledger, quick_plan: Callable[[int], PlanMade]
):
    """The cost is that of the lines left, recomputed by the plan's own checker."""
    adopt(own, quick_plan(6))
    paper = adopted(own)
    before = standing(own)
    planned = sum(line["batches"] for line in paper.lines)
    assert (before.plan, before.batches, before.behind) == (paper.plan, planned, 0)
    later = max(season_adopt.line_states(own, paper), key=lambda s: s["label"])
    season_adopt.open_line(own, later["plan_line"])  # before its week: it is off its own line, not off this week's
    after = standing(own)
    assert after.batches == planned - 1
    assert not check_plan(after.made.plan, after.made.problem).wrong and after.made.plan.moves == 0
    assert after.made.in_force == paper.plan and len(own.queries.papers("plan")) == 1


def test_without_a_plan_the_season_stands_on_its_stock_alone(season_shop: Ledger):
    now = standing(season_shop)
    assert not now.plan and not now.made.plan.lines and now.batches == now.behind == 0
    for row in now.made.plan.items:
        item = now.made.problem.item(row.item)
        assert sum(row.sold) <= item.opening_g


def test_the_plan_looked_back_on_is_the_newest_with_enough_weeks_behind_it(
    own: Ledger, quick_plan: Callable[[int], PlanMade], tmp_path: Path
):
    adopt(own, quick_plan(4))
    assert looked_back(own) == ""
    later = open_ledger(f"sqlite:///{tmp_path}/shop.sqlite", clock=lambda: datetime(2026, 12, 9, tzinfo=UTC))
    assert looked_back(later) == looked_back(later, 8) == adopted(later).plan
    report = compare_report(later)
    assert "split" in report.tables and adopted(later).plan in report.sentence
    for row in report.tables["split"].frame.to_dict("records"):
        assert (
            row["known_mg"] + row["forecast_mg"] + row["batches_mg"] + row["yield_mg"] + row["count_mg"]
            == row["net_mg"]
        )


# --- bad input ----------------------------------------------------------------------------------------------------------


def test_what_is_wrong_is_named_and_the_rest_is_planned(own: Ledger):
    book = own.book()
    with pytest.raises(
        BadInput, match="smallest load"
    ):  # a kettle smaller than its minimum load does not get into the book
        own.do(Define(day=TODAY, entry=replace(book.get(e.Station, "K1"), max_mg=4_000_000)))
    own.do(Define(day=TODAY, entry=e.Flavour(id="NEWONE", name="Quince and bay")))
    own.do(Define(day=TODAY, entry=e.Pack(id="NEWONE-JAR", name="Quince jar", flavour="NEWONE", net_mg=113_000)))
    own.do(Define(day=TODAY, entry=replace(book.get(e.Feast, "VALENTINE"), rule="", dates=("2024-02-14",))))
    for row in ({"at": "14:00-15:30"}, {"at": "15:00-16:00"}):
        season_facts.record(own, {"kind": "show", "from": "2026-12-02"} | row)
    made = season_plan.make(own, PlanSettings(weeks=14), "quick")
    said = " ".join(w.text for w in made.words)
    for words in (
        "Quince and bay has no recipe",
        "its feast VALENTINE was last on 2024-02-14",
        "overlaps the show",
    ):
        assert words in said, words
    assert made.plan.lines


def test_no_workers_and_no_making_days_still_give_a_plan_that_says_so(own: Ledger):
    site = own.book().site()
    own.do(Define(day=TODAY, entry=replace(site, making_days=())))
    made = season_plan.make(own, PlanSettings(weeks=4), "quick")
    assert not made.plan.lines
    assert any("No week has a making day" in w.text for w in made.words)


def test_settings_out_of_range_are_refused_with_their_limit():
    with pytest.raises(BadInput, match="1 to 52"):
        PlanSettings(weeks=0)
    with pytest.raises(BadInput, match="0 to 100"):
        PlanSettings(making_percent=130)


def test_half_the_hands_make_no_more(season_shop: Ledger):
    forecast = make_forecast(season_shop, 8)
    whole = problem_of(forecast, PlanSettings(weeks=8))
    half = problem_of(forecast, PlanSettings(weeks=8, making_percent=50))
    assert half.problem.weeks[1].hands_minutes < whole.problem.weeks[1].hands_minutes


# --- facts, buying, command line, desk ------------------------------------------------------------------------------------


def test_orders_cover_what_the_plan_takes_beyond_what_is_in_the_house(season_made: PlanMade, season_shop: Ledger):
    """By hand: over the weeks planned, sugar in the house and sugar ordered are at least what the lines take."""
    orders, _, _ = orders_of(buy_basis(season_shop), season_made.plan, season_made.problem, season_made.asked.made_of)
    for material in ("SUGAR", "SYRUP", "LEMONOIL"):
        takes = 0
        for line in season_made.plan.lines:
            recipe = season_shop.book().recipe_of(season_made.asked.made_of[line.item][0])
            assert recipe is not None
            full = sum(x.mass_mg for x in recipe.lines)
            load = next(x.load_g for x in season_made.problem.item(line.item).loads if x.kettle == line.kettle)
            takes += line.batches * load * sum(x.mass_mg for x in recipe.lines if x.material == material) / full
        lots = season_shop.queries.lots(kinds=["material"], item=material)
        house = int(lots["mass_mg"].sum()) // 1000
        assert house + sum(o.amount for o in orders if o.material == material) >= takes - 1, material
    lead = {m.id: m.lead_days for m in season_shop.book().all(e.Material)}
    for order in orders:
        assert order.needed_by - order.order_by == timedelta(days=lead[order.material])
    assert buy_report(season_shop, season_made.plan, season_made.problem, season_made.asked.made_of).tables[
        "orders"
    ].frame.shape[0] == len(orders)


def buy_basis(ledger: Ledger):
    from ledger.application.reports_types import basis

    return basis(ledger)


def test_a_wait_on_the_desk_ends_with_a_plan_and_a_stop_with_the_best_so_far(season_shop: Ledger):
    desk = desk_of(season_shop)
    desk.make(PlanSettings(weeks=5), "quick")
    desk.wait()
    assert desk.base is not None and not desk.busy and not desk.trouble
    desk.make(PlanSettings(weeks=8), "normal")
    desk.stop()
    desk.wait()
    assert desk.base is not None and desk.base.plan.stopped and desk.base.plan.cost_milli <= desk.base.plan.rule_milli


def test_the_command_line_forecasts_plans_adopts_and_buys(
    own: Ledger, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    url = f"sqlite:///{tmp_path}/shop.sqlite"
    assert own.queries.as_of().position

    def run(*words: str) -> str:
        with pytest.raises(SystemExit) as left:
            main(["--ledger", url, "season", *words])
        assert left.value.code == 0
        return capsys.readouterr().out

    assert json.loads(run("forecast", "--flavour", "CLOVE", "--json"))["tables"]["weekly"]["rows"]
    assert "gap" in run("plan", "--weeks", "4", "--effort", "quick", "--adopt")
    assert "agree" in run("check")
    assert run("buy", "--csv").startswith("order_by,needed_by,material")


def test_batches_opened_by_hand_are_no_planned_lines(own: Ledger):
    own.do(OpenBatch(day=TODAY, flavour="LEMON", design="LEMON-SLICE"))
    adopt(own, season_plan.make(own, PlanSettings(weeks=4), "quick"))
    assert all(not s["batch"] for s in season_adopt.line_states(own, adopted(own)))


def test_a_flavour_sold_for_two_feasts_is_planned_for_the_one_that_comes_first(own: Ledger):
    """Clove for Christmas and Easter: on 25 November the Christmas season runs; from January on it is Easter that is planned for."""
    clove = own.book().get(e.Flavour, "CLOVE")
    own.do(Define(day=TODAY, entry=replace(clove, feast="EASTER, CHRISTMAS", days_before=42, days_after=8)))
    settings, notes = settings_of_book(own.book())
    assert {w.feast for w in settings.windows_of("CLOVE")} == {"EASTER", "CHRISTMAS"} and not notes
    asked = problem_of(make_forecast(own, 26), PlanSettings(weeks=20))
    season = asked.problem.item("CLOVE").season
    assert season is not None
    last = date.fromisocalendar(2026, 48, 1) + timedelta(weeks=season.last_week, days=6)
    assert last >= date(2027, 1, 2) > last - timedelta(days=7)  # Christmas Day and eight days after
    assert any("its season through 2027-01-02 is planned" in n and "for EASTER, is not" in n for n in asked.notes)
