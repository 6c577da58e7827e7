"""The audit over the real ledger: paths against networkx, exact balances, recalls that add up, corrections respected.

networkx (BSD) is the outside reference for which lots a path reaches.
"""

from __future__ import annotations

import networkx as nx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.application import audit, audit_recall
from ledger.application.ledger import Ledger, open_ledger
from ledger.domain.batch.commands import Amend, Void
from ledger.domain.lots.commands import HoldLots, ReceiveLot, SampleLot
from ledger.errors import BadInput, UnknownThing
from ledger.trace.balance import lot_balance
from ledger.trace.marks import find, plain_mark
from ledger.trace.queries import load
from tests.application.audit_shop import audit_file, shop
from tests.support.ledgers import live

KG = 1_000_000
__all__ = ["audit_file", "shop"]


def whole_graph(ledger: Ledger) -> nx.DiGraph:
    graph = nx.DiGraph()
    graph.add_nodes_from(ledger.queries.lots(holding=False)["lot"])
    graph.add_edges_from(ledger.queries.edges()[["parent", "child"]].itertuples(index=False, name=None))
    return graph


def agrees(ledger: Ledger, lots: list[str]) -> None:
    """Both directions reach what networkx reaches, and every leaf and edge of each lot adds up to what left it."""
    reference = whole_graph(ledger)
    for lot in lots:
        moved = ledger.queries.postings(lot=lot)
        moved = moved[moved["kind"].str.startswith("lot.")]
        if moved.empty:
            continue
        ahead = load(ledger.queries, lot, "forward")
        assert ahead.reach(lot, "forward") == nx.descendants(reference, lot)
        assert load(ledger.queries, lot, "backward").reach(lot, "backward") == nx.ancestors(reference, lot)
        assert load(ledger.queries, lot, "recall").reach(lot, "forward") == nx.descendants(reference, lot)
        went = sum(e.mass_mg for e in ahead.out_of(lot)) + sum(
            x.mass_mg for x in ahead.leaves_of(lot) if x.kind not in ("return", "unexplained")
        )
        left = -int(moved[(moved["mass_mg"] < 0) & (moved["step"] != "count")]["mass_mg"].sum())
        assert went == left, lot
        assert ahead.lot(lot).on_hand_mg == int(moved["mass_mg"].sum())


def test_paths_of_the_whole_shop_agree_with_networkx_in_both_directions(shop):
    agrees(shop, list(shop.queries.lots(holding=False)["lot"])[::9])


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(seed=st.integers(0, 10_000))
def test_paths_of_any_history_agree_with_networkx_and_nothing_that_left_is_forgotten(seed, tmp_path_factory):
    ledger = open_ledger(f"sqlite:///{tmp_path_factory.mktemp('any')}/any.sqlite")
    live(ledger, seed, 45)
    agrees(ledger, list(ledger.queries.lots(holding=False)["lot"]))
    ledger.close()


def test_expected_shares_of_the_supplier_lots_in_a_jar_sum_to_one(shop):
    jar = str(shop.queries.lots(holding=False, kinds=["packs"])["lot"].iloc[-1])
    path = audit.trace(shop, jar, "backward").path
    sources = {x.lot for x in path.sources}
    assert sum(c.expected_share for lot, c in path.carries.items() if lot in sources) == pytest.approx(1)
    assert all(c.least_mg <= c.expected_mg + 1 and c.expected_mg <= c.most_mg + 1 for c in path.carries.values())


def test_every_lots_balance_is_exact_and_its_gap_is_what_the_counts_found(shop):
    for lot in list(shop.queries.lots(holding=False, kinds=["material", "packs", "reboil"])["lot"])[::7]:
        balance = lot_balance(load(shop.queries, lot, "forward"), lot)
        moved = shop.queries.postings(lot=lot)
        measure = "packs" if balance["unit"] == "packs" else "mass_mg"
        counted = -int(moved[(moved["step"] == "count") & moved["kind"].str.startswith("lot.")][measure].sum())
        gone = sum(
            int(balance[k])
            for k in ("used", "delivered", "sold", "sampled", "scrapped", "lost", "on_hand", "unexplained")
        )
        assert int(balance["made"]) + int(balance["returned"]) == gone
        assert balance["unexplained"] == counted, lot


def a_used_lot(shop: Ledger) -> str:
    edges = shop.queries.edges()
    raw = edges[edges["parent"].str.startswith("M")]
    return str(raw.groupby("parent")["child"].nunique().idxmax())


def test_a_recall_holds_every_affected_lot_in_one_command_and_accounts_for_every_jar(shop):
    lot = a_used_lot(shop)
    before = shop.queries.as_of().position
    outcome = audit_recall.start(shop, lot, "the maker called it back", by="MK").outcome
    assert (outcome.first, outcome.last) == (before + 1, before + 2)  # started and held, in one transaction
    reached = {lot, *nx.descendants(whole_graph(shop), lot)}
    holding = shop.queries.lots(holding=True)
    assert set(holding[holding["lot"].isin(reached)]["held"]) == {
        f"recall {audit_recall.the_recall(shop).started.recall}"
    }
    assert not holding[~holding["lot"].isin(reached)]["held"].any()
    worked = audit_recall.work(shop).recall
    rows = worked.accounts[worked.accounts["unit"] == "packs"]
    parts = ("on_hand", "still_out", "sold", "sampled", "scrapped", "lost", "used", "unexplained")
    assert int(rows["made"].sum()) > 0
    assert int(rows["made"].sum()) == sum(int(rows[p].sum()) for p in parts)
    assert (worked.holdings["still_to_hold"] == 0).all()


def test_a_recall_is_noted_closed_and_reported_with_its_clock(shop):
    audit_recall.start(shop, a_used_lot(shop), "drill", drill=True)
    code = audit_recall.the_recall(shop).started.recall
    calls = audit_recall.work(shop).recall.to_call
    for party in calls["party"]:
        audit_recall.note(shop, code, "called", partner=party)
    assert audit_recall.work(shop).recall.to_call.empty
    audit_recall.close(shop, code, release=True)
    case = audit_recall.the_recall(shop, code)
    assert case.closed is not None and case.closed.accounted_ppm == pytest.approx(1_000_000, abs=20_000)
    assert not shop.queries.lots(holding=True)["held"].str.contains(code).any()
    made = audit_recall.report(shop, code)
    assert [a.number for a in made.answers] == list(range(1, 13)) and all(a.sentence for a in made.answers)
    assert (
        made.title.startswith("Recall drill")
        and made.head is not None
        and made.head.size == shop.queries.as_of().position
    )
    with pytest.raises(UnknownThing, match="No recall is open"):
        audit_recall.work(shop)


def test_a_recall_refuses_a_batch_a_missing_reason_and_an_unknown_note(shop):
    batch = str(shop.queries.batches(most=1)["batch"].iloc[0])
    with pytest.raises(BadInput, match="starts at one lot"):
        audit_recall.start(shop, batch, "why")
    with pytest.raises(BadInput, match="reason"):
        audit_recall.start(shop, a_used_lot(shop), " ")
    audit_recall.start(shop, a_used_lot(shop), "drill", drill=True)
    with pytest.raises(BadInput, match="nothing that can be noted"):
        audit_recall.note(shop, "", "shouted")
    with pytest.raises(BadInput, match="which customer"):
        audit_recall.note(shop, "", "called")


def test_a_void_leaves_the_path_and_an_amendment_changes_it_but_the_old_day_still_tells_the_old_story(shop):
    today = shop.today()
    came = shop.do(ReceiveLot(day=today, material="SUGAR", mass_mg=50 * KG, supplier="DUNMOR", lot="AUD-1"), "MK")
    taken = shop.do(SampleLot(day=today, lot="AUD-1", mass_mg=2 * KG), "MK")
    then = shop.queries.as_of().position
    shop.do(
        Amend(
            day=today,
            origin=came.first,
            command=ReceiveLot(day=today, material="SUGAR", mass_mg=40 * KG, supplier="DUNMOR", lot="AUD-1"),
            reason="misread",
        )
    )
    shop.do(Void(day=today, origin=taken.first, reason="never happened"))
    now = lot_balance(load(shop.queries, "AUD-1", "forward"), "AUD-1")
    old = lot_balance(load(shop.queries, "AUD-1", "forward", known=then), "AUD-1")
    assert (now["made"], now["sampled"], now["on_hand"]) == (40 * KG, 0, 40 * KG)
    assert (old["made"], old["sampled"], old["on_hand"]) == (50 * KG, 2 * KG, 48 * KG)
    with pytest.raises(UnknownThing):
        load(shop.queries, "AUD-1", "forward", known=came.first - 1)


def test_a_batch_a_jar_code_and_a_delivery_document_all_lead_to_their_lots(shop):
    row = shop.queries.lots(holding=False, kinds=["packs"]).iloc[0]
    jar, batch = str(row["lot"]), str(row["batch"])
    for typed in (jar, jar.lower(), f"L {jar}", f"HTTP://SLABBOOK.LOCAL/L/{jar}", f"(01)09506000134352(10){jar}"):
        assert find(shop.queries, typed).lots == (jar,)
    assert jar in find(shop.queries, batch).lots
    forward = audit.trace(shop, batch, "forward").path
    assert jar in forward.others
    shipped = shop.queries.log(name="shelf.shipped", most=1)
    import json

    told = json.loads(shipped["payload"].iloc[0])
    found = find(shop.queries, told["document"])
    assert found.kind == "document" and {t["lot"] for t in told["takes"]} <= set(found.lots)
    back = audit.trace(shop, told["document"], "backward").path
    assert sum(c.expected_share for lot, c in back.carries.items() if not back.graph.into(lot)) == pytest.approx(1)
    with pytest.raises(UnknownThing, match="no lot, batch or delivery"):
        find(shop.queries, "NO-SUCH")
    with pytest.raises(BadInput):
        find(shop.queries, "  ")


@pytest.mark.parametrize(
    "typed, mark", [("L 26302A", "26302A"), ("https://s.example/L/26302A?x=1", "26302A"), ("LEMON-1", "LEMON-1")]
)
def test_a_mark_is_read_out_of_what_a_scanner_gives(typed, mark):
    assert plain_mark(typed) == mark


def test_a_held_lot_says_so_in_its_story_and_reports_render(shop):
    jar = str(shop.queries.lots(kinds=["packs"])["lot"].iloc[-1])
    shop.do(HoldLots(day=shop.today(), lots=(jar,), reason="label smudged"))
    report = audit.lot_report(shop, jar)
    assert "label smudged" in report.sentence and set(report.tables) == {"balance", "story", "leaks"}
    assert audit.leaks_report(shop, a_used_lot(shop)).tables["leaks"].columns
