"""Three years of the invented shop: its size, its seasons, and every mishap it is meant to show."""

from __future__ import annotations

from datetime import date

import msgspec
import pytest

from ledger.application import audit_recall, season_adopt
from seeds.shop import season
from tests.seeds.conftest import History
from tests.seeds.plausible import MEASURES, batches

pytestmark = pytest.mark.slow


def test_three_years_of_batches_flavours_and_events(whole: History) -> None:
    ledger, summary = whole
    made = ledger.queries.batches()
    assert 900 <= len(made) <= 1200
    assert 14 <= made.flavour.nunique() <= 18
    assert summary["events"] == ledger.queries.as_of().position
    assert 25_000 <= summary["events"] <= 70_000
    seasonal = {
        x.id
        for x in ledger.book().all(__import__("ledger.domain.books.entries", fromlist=["Flavour"]).Flavour)
        if x.feast
    }
    assert len(seasonal) >= 5


def test_the_trial_balance_is_zero_and_no_lot_is_below_nothing(whole: History) -> None:
    queries = whole[0].queries
    assert not queries.postings().groupby("known_from")[MEASURES].sum().to_numpy().any()
    assert (queries.lots(holding=False)[["mass_mg", "pieces", "packs"]] >= 0).all().all()


def test_yields_stay_in_the_band_of_each_kind_of_work(whole: History) -> None:
    """8 to 20 % lost in picture work, 3 to 8 % in plain sticks (common practice, no source); medians, single batches may be worse."""
    b = batches(whole[0])
    medians = b.groupby("kind").process_yield.median()
    assert 0.80 <= medians["picture"] <= 0.95
    assert 0.92 <= medians["plain"] <= 0.97
    assert b.process_yield.between(0.75, 0.985).all()
    assert b.hours.between(4.5, 14).all()


def test_re_boil_stays_under_a_tenth_and_out_of_acid_flavours(whole: History) -> None:
    """5 to 10 % of a later cook of the same flavour, and never acid-bearing ends (common practice, no source)."""
    b = batches(whole[0])
    used = b[b.reboil > 0]
    assert len(used) > 100
    assert (used.reboil / used.poured).max() < 0.10
    assert (used.acid == 0).all()
    edges = whole[0].queries.edges()
    lots = whole[0].queries.lots(holding=False).set_index("lot")
    crossing = edges[(edges.step == "cook") & edges.parent.str.contains("-B")]
    assert (lots.loc[crossing.parent, "flavour"].to_numpy() == lots.loc[crossing.child, "flavour"].to_numpy()).all()


def test_a_month_with_a_bad_thermometer_shows_in_yield_and_is_found(whole: History) -> None:
    """Eight degrees too low leaves about a point more water: heavier pours, sticky cuts; boiled water tells (212 F less altitude)."""
    ledger, _ = whole
    b = batches(ledger)
    kettle = ledger.queries.postings().query("step == 'cook' and batch != ''").groupby("batch").station.first()
    b["kettle"] = kettle
    bad = b[(b.kettle == "K1") & b.day.between("2025-03-03", "2025-04-04")]
    good = b[(b.kettle == "K1") & ~b.index.isin(bad.index)]
    assert len(bad) >= 8
    cooked = lambda x: ((x.poured + x.film) / x.solids).mean()  # noqa: E731
    assert cooked(bad) > cooked(good) * 1.006
    for kind in set(bad.kind):
        assert bad[bad.kind == kind].process_yield.mean() < good[good.kind == kind].process_yield.mean() - 0.01
    checks = [c for _, c in ledger.queries.papers("thermometer")]
    off = [c for c in checks if c.reading_mc - c.expected_mc > 5000]
    assert [c.station for c in off] == ["K1"]
    assert off[0].day > "2025-04-04"


def test_one_recall_in_earnest_and_one_drill(whole: History) -> None:
    queries = whole[0].queries
    started = [r for _, r in queries.papers("recall")]
    closed = {r.recall: r for _, r in queries.papers("recall-closed")}
    assert [r.drill for r in started] == [False, True]
    assert set(closed) == {r.recall for r in started}
    earnest, drill = started
    assert queries.lots(holding=True, names=earnest.lots).empty
    assert (queries.lots(holding=False, names=drill.lots).held == "").all()
    figures = closed[earnest.recall].figures
    assert figures["made"] == figures["on_hand"] + figures["returned"] + figures["sold_not_returned"]
    assert 0 < figures["returned"] < figures["made"]
    notes = [n for _, n in queries.papers("recall-note") if n.recall == earnest.recall]
    assert sum(n.packs for n in notes if n.kind == "returned") == figures["returned"]
    progress = audit_recall.work(whole[0], earnest.recall).recall.progress.set_index("lot").loc[list(earnest.lots)[1:]]
    assert int(progress.came_back.sum()) == figures["returned"]
    assert int(progress.destroyed.sum()) == figures["on_hand"] + figures["returned"] and not progress.on_hand.any()
    assert {n.kind for n in notes} == {"called", "returned", "destroyed"}
    assert audit_recall.work(whole[0], drill.recall).recall.progress.counted.notna().any()


def test_recalled_lots_are_every_lot_that_holds_the_material(whole: History) -> None:
    """The path through lots, walked here by plain search over parent and child."""
    queries = whole[0].queries
    edges = queries.edges()
    children = edges.groupby("parent").child.agg(set).to_dict()
    packs, reboil = (set(queries.lots(holding=False, kinds=[kind]).lot) for kind in ("packs", "reboil"))
    for _, recall in queries.papers("recall"):
        seen, todo = set(), [recall.lot]
        while todo:
            for child in children.get(todo.pop(), ()):
                if child not in seen:
                    seen.add(child)
                    todo.append(child)
        assert recall.lots[0] == recall.lot
        held = set(recall.lots[1:])
        by_then = {x for x in seen if date.fromisoformat(_day(queries, x)) <= date.fromisoformat(recall.day)}
        assert held & packs == by_then & packs and held & packs
        cooked_later = set(edges[edges["day"] > recall.day].parent) & reboil & by_then
        assert cooked_later <= held <= by_then and held - packs <= reboil


def _day(queries: object, lot: str) -> str:
    return str(queries.lot(lot)["day"])  # type: ignore[attr-defined]


def test_a_busy_week_runs_out(whole: History) -> None:
    out = [r for _, r in whole[0].queries.papers("ran-out")]
    assert any(r.flavour == "CLOVE" and r.day.startswith("2025-12") for r in out)
    assert len(out) < 60
    assert all(r.day <= r.until_day for r in out)


def test_promotion_bulk_order_and_closures_are_announced_ahead(whole: History) -> None:
    plans = [p for _, p in whole[0].queries.papers("promotion")]
    kinds = {p.kind for p in plans}
    assert {"promotion", "bulk", "closure"} <= kinds
    assert all(p.day < p.from_day for p in plans)
    shipped = whole[0].queries.postings(account="HOTEL")
    assert shipped.packs.max() == 120


def test_nothing_is_sold_or_made_while_the_shop_is_closed(whole: History) -> None:
    rows = whole[0].queries.postings()
    floor = rows[rows.step.isin(["cook", "sell"])]
    for day in ("2024-12-25", "2025-01-01", "2026-01-06", "2026-04-06", "2025-06-01"):
        assert not (floor.day == day).any(), day


def test_season_flavours_are_sold_in_their_season_only(whole: History) -> None:
    """Easter moves: 2024-03-31, 2025-04-20, 2026-04-05 (published tables); its flavour is sold up to eight days after."""
    rows = whole[0].queries.postings(kinds=["customer"])
    elder = rows[(rows.flavour == "ELDER") & (rows.step == "sell")]
    for easter, year in (("2024-03-31", "2024"), ("2025-04-20", "2025"), ("2026-04-05", "2026")):
        days = elder[elder.day.str.startswith(year)].day
        assert days.min() > f"{year}-02-01"
        assert (date.fromisoformat(days.max()) - date.fromisoformat(easter)).days <= 8
    treacle = rows[(rows.flavour == "TREACLE") & (rows.step == "sell")].day.str[5:7]
    assert set(treacle) <= {"09", "10", "11"}


def test_late_entries_amendments_and_voids_are_there_and_reports_can_be_asked_as_known(whole: History) -> None:
    queries = whole[0].queries
    log = queries.log(most=200_000)
    late = log[log.recorded_at.str[:10] > log.occurred_at.str[:10]]
    assert 300 < len(late) < len(log) // 10
    assert log.name.eq("ledger.amended").sum() >= 40
    assert log.name.eq("ledger.voided").sum() >= 10
    changed = 0
    for week, sunday in (
        ("2025-W20", "2025-05-18"),
        ("2025-W25", "2025-06-22"),
        ("2025-W30", "2025-07-27"),
        ("2025-W38", "2025-09-21"),
    ):
        then = queries.weekly(week, known=queries.known_on(sunday))[MEASURES].abs().sum()
        now = queries.weekly(week)[MEASURES].abs().sum()
        changed += not then.equals(now)
    assert changed >= 1


def test_counts_find_differences_and_flags_are_partly_answered(whole: History) -> None:
    queries = whole[0].queries
    flags = queries.flags()
    assert {"unexplained", "end-temperature", "count"} <= set(flags.code)
    assert 0 < (flags.answered > 0).sum() < len(flags)
    held = queries.log(name="lot.held", most=1000)
    assert len(held) >= 4


def test_sales_show_growth_the_weekday_and_the_feasts(whole: History) -> None:
    rows = whole[0].queries.postings(kinds=["customer"])
    sold = rows[rows.step == "sell"].groupby("day").packs.sum()
    by_year = [sold[(sold.index >= f"{y}-02-01") & (sold.index < f"{y}-11-01")].sum() for y in (2024, 2025, 2026)]
    assert by_year[0] < by_year[1] < by_year[2]
    weekday = sold.groupby([date.fromisoformat(d).weekday() for d in sold.index]).mean()
    assert 6 not in weekday.index
    december = sold[sold.index.str.startswith("2024-12")].mean()
    assert december > 1.4 * sold[sold.index.str.startswith("2025-02")].mean()
    online = (
        rows[(rows.step == "sell") & (rows.channel == "ONLINE")].packs.sum() / rows[rows.step == "sell"].packs.sum()
    )
    assert 0.2 < online < 0.45


def test_the_plans_the_shop_adopted_still_fit_its_history_and_its_planner(whole: History) -> None:
    """They are files made by the product (`python -m seeds.shop.make_plans`); a changed history, book or plan shape makes them stale."""
    ledger, _ = whole
    papers = ledger.queries.papers("plan")
    assert [paper.day for _, paper in papers] == [day.isoformat() for day in season.MOMENTS]
    assert papers[1][1].supersedes == papers[0][1].plan
    for position, paper in papers:
        assert paper.as_of < position and not season_adopt.recheck(paper).wrong
        _, problem = season_adopt.read_back(paper)
        there = ledger.queries.balances(["flavour"], known=paper.as_of, kinds=["lot.packs"])
        stock = (there.groupby("flavour")["mass_mg"].sum() // 1000).to_dict()
        for item in problem.items:
            assert item.opening_g == pytest.approx(stock.get(item.flavour, 0), abs=5), item.key


def test_the_shop_opened_most_of_its_autumn_plan_and_made_some_beside_it(whole: History) -> None:
    ledger, _ = whole
    autumn, winter = (paper for _, paper in ledger.queries.papers("plan"))
    due = [s for s in season_adopt.line_states(ledger, autumn) if s["label"] <= "2026-W47"]
    opened = sum(bool(s["batch"]) for s in due)
    assert 0.6 * len(due) < opened < len(due)
    assert any(s["batch"] for s in season_adopt.line_states(ledger, winter))


def test_filling_the_shop_adopts_its_plans_word_for_word_from_their_files(whole: History) -> None:
    """No solver runs: only the place in the log is new."""
    for day, weeks in season.MOMENTS.items():
        command = season.kept(whole[0], day)  # type: ignore[arg-type]
        assert command is not None and len(msgspec.json.decode(command.settings["problem"])["weeks"]) == weeks
        paper = next(p for _, p in whole[0].queries.papers("plan") if p.day == day.isoformat())
        assert (paper.settings, list(paper.lines), paper.cost) == (command.settings, list(command.lines), command.cost)
