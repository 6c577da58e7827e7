"""Questions to the kept tables: the same answers on both databases, however narrowly they are asked."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd
import pytest

from ledger.analytics import yields
from ledger.analytics.control import STEPS
from ledger.analytics.flows import FLOWS, KINDS, flows
from ledger.analytics.losses import masses
from ledger.application import audit_recall
from ledger.application.ledger import Ledger
from ledger.domain.batch import commands as bc
from ledger.domain.parts import Give, Loss
from ledger.domain.shelf import commands as sc
from ledger.projections import questions as ask
from tests.support.given_when_then import DAY, cook
from tests.support.histories import opening
from tests.support.ledgers import ledger_at

WEEK = "2026-W07"


@pytest.fixture
def ledger(ledger_url: str) -> Iterator[Ledger]:
    """A batch from the kettle to cut pieces, on either database."""
    book = ledger_at(ledger_url)
    for command in opening():
        book.do(command, "AB")
    batch = book.do(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR"), "AB").batch
    book.do(cook(batch=batch), "AB")
    book.do(bc.Build(day=DAY, batch=batch), "AB")
    book.do(bc.Roll(day=DAY, batch=batch), "AB")
    rods = int(book.queries.lots(kinds=["rods"], batch=batch)["mass_mg"].iloc[0])
    cut = (Give(lot="", kind="pieces", mass_mg=rods - 700_000), Give(lot="", kind="reboil", mass_mg=500_000))
    book.do(bc.CutRods(day=DAY, batch=batch, gives=cut, losses=(Loss(cause="ends", mass_mg=150_000),)), "AB")
    book.do(sc.NoteRunOut(day=DAY, flavour="LEMON", channel="SHOP"), "AB")
    yield book
    book.close()


def test_fewer_rows_give_the_same_flows_and_losses(ledger: Ledger) -> None:
    whole = ledger.queries.weekly(WEEK)
    lean = ledger.queries.weekly(WEEK, kinds=KINDS, by=("week", "flavour", "step", "kind"))
    assert 0 < len(lean) < len(whole)
    for by in ((), ("flavour",), ("week",)):
        assert flows(lean, by).equals(flows(whole, by)), by
    assert masses(lean, ("flavour",)).equals(masses(whole, ("flavour",)))
    assert flows(whole, ())[list(FLOWS)].any(axis=None)


def test_a_control_chart_needs_the_cook_and_the_cut_only(ledger: Ledger) -> None:
    named = ["charged_mg", "theory_mg", "theoretical_mg", "good_mg", "process_yield_ratio"]
    whole = yields.yields(ledger.queries.weekly(WEEK, flavour="LEMON"), ("week",))[named]
    lean = ledger.queries.weekly(WEEK, flavour="LEMON", steps=STEPS, by=("week", "step", "kind"))
    assert yields.yields(lean, ("week",))[named].equals(whole) and len(whole) == 1


def test_the_newest_weeks_are_the_last_of_all_weeks(ledger: Ledger) -> None:
    every = ledger.queries.weeks()
    assert every == sorted(ledger.queries.postings()["week"].unique())
    assert [ledger.queries.weeks(n) for n in (1, 2, 99)] == [every[-1:], every[-2:], every]


def test_the_log_by_positions_streams_and_text_is_part_of_the_whole_log(ledger: Ledger) -> None:
    ask_log = ledger.queries.log
    whole = ask_log(most=10_000)
    assert list(whole["position"]) == list(range(1, len(whole) + 1))
    some = [3, 1, len(whole)]
    assert list(ask_log(positions=some)["position"]) == sorted(some)
    stream = str(whole["stream"].iloc[-2])
    mine = whole[whole["stream"] == stream]["position"].tolist()
    assert list(ask_log(stream=stream)["position"]) == mine == list(ask_log(streams=[stream, "none/such"])["position"])
    assert list(ask_log(stream=stream, newest_first=True, most=1)["position"]) == mine[-1:]
    assert list(ask_log(stream=stream, after=mine[0])["position"]) == mine[1:]
    assert list(ask_log(after=2, before=5)["position"]) == [3, 4]


@pytest.mark.parametrize("sign", ["%", "_", "/", "%_/"])
def test_a_sign_of_the_search_language_is_looked_for_as_it_stands(ledger: Ledger, sign: str) -> None:
    ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON", note=f"so{sign}so"), "AB")
    ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON", note="soxxxso"), "AB")
    found = ledger.queries.log(text=f"so{sign}so")
    assert len(found) == 1 and f"so{sign}so" in found["payload"].iloc[0]


def test_lots_and_batches_by_name_come_in_their_usual_order(ledger: Ledger) -> None:
    more = ledger.do(bc.OpenBatch(day=DAY, flavour="LEMON"), "AB").batch
    every = ledger.queries.batches()
    named = ledger.queries.batches(names=[str(x) for x in every["batch"]])
    assert list(named["batch"]) == list(every["batch"]) and more in set(named["batch"])
    lots = ledger.queries.lots(holding=False)
    assert ledger.queries.lots(holding=False, names=[str(x) for x in reversed(lots["lot"])]).equals(lots)
    holding = lots[(lots["mass_mg"] > 0) | (lots["packs"] > 0) | (lots["pieces"] > 0)].reset_index(drop=True)
    assert ledger.queries.lots().equals(holding)
    assert ledger.queries.lots(kinds=["material"]).equals(holding[holding["kind"] == "material"].reset_index(drop=True))


def test_losses_of_named_batches_are_those_of_all(ledger: Ledger) -> None:
    kinds = ["air", "scrap", "water"]
    every = ledger.queries.balances(["batch", "step"], kinds=kinds)
    named = ledger.queries.balances(["batch", "step"], kinds=kinds, batches=sorted(set(every["batch"]) - {""}))
    assert named.equals(every[every["batch"] != ""].reset_index(drop=True)) and len(named)


def test_a_condition_nobody_knows_is_told() -> None:
    with pytest.raises(KeyError, match="colour"):
        ask.LOTS.asked("main", colour="red")


def test_a_shape_of_a_question_is_put_into_words_once() -> None:
    first, values = ask.LOTS.asked("main", flavour="LEMON", batch=None)
    again, others = ask.LOTS.asked("main", flavour="ANISE", batch=None)
    assert first is again and (values, others) == (("main", "LEMON"), ("main", "ANISE"))


def test_a_recall_has_the_same_figures_without_what_stands_behind_it(ledger: Ledger) -> None:
    audit_recall.start(ledger, "SUG-1", "drill", drill=True)
    whole, ahead = (audit_recall.work(ledger, behind=b).recall for b in (True, False))
    for name in ("accounts", "recipients", "counter", "holdings", "progress"):
        pd.testing.assert_frame_equal(getattr(whole, name), getattr(ahead, name))
    for name in ("affected", "score", "score_unit", "clock", "told", "held"):
        assert getattr(whole, name) == getattr(ahead, name), name
