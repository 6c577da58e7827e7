"""Recall arithmetic and its report, on an invented shop worked by hand and on GS1-style interchange data.

Outside yardsticks: score and time goals as in the NC State Extension recall checklist (100 % within 2 hours) and 21
CFR 1.361 (24 hours); the reference making's 24 + 2 + 49 = 75 jars. PDF text is read back with pypdfium2, CSV with the
standard library.
"""

from __future__ import annotations

import csv
import statistics
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser
from io import StringIO

import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.errors import BadInput, UnknownThing
from ledger.trace.audit_report import AuditReport, audit_report
from ledger.trace.balance import _median_without, leaks, lot_balance, lot_balances, step_balances
from ledger.trace.epcis_graph import graph_of
from ledger.trace.epcis_import import import_document
from ledger.trace.graph import Leaf, Lot, LotGraph
from ledger.trace.notice import NoticeGoods, recall_notice
from ledger.trace.proof import TreeHead
from ledger.trace.recall import GOAL, LIMIT, Recall, RecallCase, with_progress, work_out
from ledger.trace.recall_report import notice_pdf, to_csv, to_html, to_pdf
from tests.support.shared import shared_path
from tests.trace.shop import CASE, CLOCK, EDGES, HELD, KG, LEAVES, LOTS, PARTIES, T0, TOLD, at, graph

NOTICE = recall_notice(
    [NoticeGoods("Heart jars", "120 g", "J-1", "2027-10-12")],
    reason="wrong colour",
    shop="The Slab",
    phone="555 0199",
    drill=True,
)
HEAD = TreeHead(1234, "ab" * 32, "2026-05-02")


def answered(**more: object) -> Recall:
    values: dict[str, object] = {
        "parties": PARTIES,
        "held": HELD,
        "told": TOLD,
        "clock": CLOCK,
        "doubts": ("one weight estimated",),
    }
    return work_out(graph(), CASE, **{**values, **more})  # type: ignore[arg-type]


def report() -> AuditReport:
    record = [
        ("e1", "cooked", "2026-04-12 08:00", "2026-04-12 08:05", "W2", ""),
        ("e2", "cooked", "2026-04-12", "2026-04-12", "W2", "e9"),
    ]
    return audit_report(
        answered(), graph(), now=at(85), site="The Slab", parties=PARTIES, record=record, head=HEAD, notice=NOTICE
    )  # fmt: skip


def test_a_colour_lot_reaches_its_jars_and_through_re_boil_the_next_days_jars() -> None:
    recall = answered()
    assert set(recall.affected) == {"C-1", "R-1", "J-1", "X-1", "W-2", "J-2"}
    assert list(recall.neighbours["lot"]) == ["P-9", "W-1"]


def test_every_jar_is_accounted_for_by_hand() -> None:
    recall = answered()
    rows = recall.accounts.set_index("lot")
    first = rows.loc["J-1", ["made", "on_hand", "still_out", "sold", "unexplained"]]
    assert [int(v) for v in first] == [75, 49, 24, 2, 0]
    second = rows.loc["J-2", ["made", "on_hand", "still_out", "sampled", "returned", "unexplained"]]
    assert [int(v) for v in second] == [40, 28, 9, 1, 1, 2]
    assert recall.score_unit == "packs"
    assert recall.score == pytest.approx(100 * (75 + 38) / 115)
    assert recall.unexplained == 2


def test_a_count_on_the_shelf_replaces_the_book_and_the_gap_is_shown() -> None:
    recall = answered(counted={"J-1": 47, "J-2": 31})
    rows = recall.accounts.set_index("lot")
    assert (int(rows.loc["J-1", "unexplained"]), int(rows.loc["J-2", "unexplained"])) == (2, -1)
    assert rows.loc["J-2", "score"] > 100  # more than everything is a finding too


def test_customers_still_to_call_are_listed_with_telephone_until_told() -> None:
    recall = answered()
    assert list(recall.to_call["name"]) == ["=HYPERLINK Gifts"]
    assert list(recall.to_call["phone"]) == ["555 0103"]
    assert list(answered(told=()).to_call["party"]) == ["CUS-1", "CUS-2"]  # most packs first


def test_stock_not_yet_held_is_shown_until_it_is() -> None:
    recall = answered()
    open_rows = recall.holdings[recall.holdings["still_to_hold"] > 0].set_index("lot")
    assert int(open_rows.loc["J-2", "still_to_hold"]) == 8
    more = with_progress(recall, graph(), held=[*HELD, replace(HELD[1], amount=8)], told=TOLD)
    assert "J-2" not in set(more.holdings[more.holdings["still_to_hold"] > 0]["lot"])


def test_the_clock_is_part_of_the_answer_and_cannot_run_backward() -> None:
    assert answered().took == timedelta(minutes=85)
    assert (timedelta(hours=2), timedelta(hours=24)) == (GOAL, LIMIT)
    with pytest.raises(BadInput, match="before the recall was started"):
        answered(clock=(("held", at(-1)),))


def test_an_unknown_lot_cannot_be_recalled() -> None:
    with pytest.raises(UnknownThing):
        work_out(graph(), RecallCase("RC", "NO-SUCH", "", T0))


@pytest.mark.shared
def test_the_reference_making_is_accounted_for_to_the_last_jar() -> None:
    doc = import_document(shared_path("epcis", "making", "making-26-0412.jsonld").read_text())
    graph_, _ = graph_of(doc)
    uri = "https://trace.candy.example/class/"
    recall = work_out(graph_, RecallCase("RC-26-01", uri + "COLOUR-RED.R26-003", "supplier notice", T0))
    assert (recall.score, recall.unexplained) == (100.0, 0)
    assert [int(v) for v in recall.recipients["packs"]] == [24]
    assert list(recall.recipients["party"]) == ["customer-31"]
    assert [int(v) for v in recall.counter["packs"]] == [2]
    jars = recall.accounts.set_index("lot").loc[uri + "JAR-HEART-120G.J26-0412"]
    assert [int(jars[c]) for c in ("still_out", "sold", "on_hand", "made")] == [24, 2, 49, 75]


@settings(deadline=None)
@given(
    st.integers(0, 10**9),
    st.lists(
        st.tuples(st.sampled_from(["delivery", "counter", "sample", "scrap", "loss", "return"]), st.integers(0, 10**8))
    ),
    st.integers(0, 10**9),
)
def test_the_balance_of_a_lot_is_exact_whatever_happened(made: int, moves: list[tuple[str, int]], on_hand: int) -> None:
    leaves = [Leaf("A", kind, mass_mg=mass) for kind, mass in moves]
    row = lot_balance(LotGraph.build([Lot("A", "mass", made_mg=made, on_hand_mg=on_hand)], [], leaves), "A")
    right = sum(
        int(row[c]) for c in ("used", "delivered", "sold", "sampled", "scrapped", "lost", "on_hand", "unexplained")
    )
    assert made + int(row["returned"]) == right


def test_the_sugar_lot_received_equals_used_plus_on_hand_plus_unexplained() -> None:
    row = lot_balance(graph(), "S-1")
    assert (row["made"], row["used"], row["on_hand"], row["unexplained"]) == (25 * KG, 13_980_000, 11 * KG, 20_000)
    assert len(lot_balances(graph())) == len(LOTS)


def test_a_step_leaks_only_beyond_what_is_usual_for_it() -> None:
    frame = step_balances(graph()).set_index(["batch", "step"])
    assert int(frame.loc[("B1", "cook"), "difference_mg"]) == KG  # 8 kg in, 7 kg out
    assert int(frame.loc[("B2", "cook"), "difference_mg"]) == 0
    assert int(frame.loc[("B3", "cook"), "difference_mg"]) == -200_000
    # the usual share of B1's cook is the median of B2 (0) and B3 (-0.0526), worked by hand: -0.2/3.8/2
    assert frame.loc[("B1", "cook"), "usual_share"] == pytest.approx(-0.2 / 3.8 / 2)
    worst = leaks(graph(), "S-1")
    assert worst.iloc[0]["batch"] == "B1"
    with_air = step_balances(graph(), {("B1", "cook"): KG}).set_index(["batch", "step"])
    assert int(with_air.loc[("B1", "cook"), "difference_mg"]) == 0


@given(st.lists(st.floats(-1, 1), min_size=2, max_size=20), st.data())
def test_the_usual_loss_is_the_median_of_the_other_batches(shares: list[float], data: st.DataObject) -> None:
    n = data.draw(st.integers(0, len(shares) - 1))
    want = statistics.median(shares[:n] + shares[n + 1 :])  # the standard library's own median
    assert _median_without(sorted(shares), shares[n]) == pytest.approx(want)


def test_all_twelve_questions_are_answered_in_order() -> None:
    answers = report().answers
    assert [a.number for a in answers] == list(range(1, 13))
    assert all(a.sentence and a.question.endswith("?") for a in answers)
    by_number = {a.number: a for a in answers}
    assert "Colour Supplier" in by_number[1].sentence
    assert by_number[3].table is not None and list(by_number[3].table["telephone"]) == ["555 0102", "555 0103"]
    assert "98.3 %" in by_number[6].sentence and "2 packs" in by_number[6].sentence
    assert "inside the goal" in by_number[8].sentence
    assert "1 of them corrected later" in by_number[9].sentence and HEAD.root in by_number[9].sentence
    assert "not wholly held" in by_number[10].sentence
    assert by_number[11].sentence == "1 of 2 customers were told, 1 have answered."
    assert "DRILL" in by_number[12].sentence
    facts = dict(report().facts)
    assert facts["Reconciliation"].startswith(
        "115 packs made = 77 packs on hand + 33 packs with customers + 2 packs counter"
    )
    assert facts["Reconciliation"].endswith("+ 2 packs unexplained")


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag not in ("meta", "path", "rect", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in ("path", "rect"):
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_page_is_well_formed_and_says_what_the_structure_says() -> None:
    html = to_html(report())
    tags = _Tags()
    tags.feed(html)
    assert tags.open == []
    for word in ("Recall drill RC-1: lot C-1", "DRILL, not a real recall", "Corner Shop", HEAD.root, "no legal advice"):
        assert word in tags.text
    assert html.count("<h2>") == 14 and "<svg" in html
    assert "<script" not in to_html(replace(report(), title="<script>alert(1)</script>"))
    assert not to_html(report(), whole_page=False).startswith("<!doctype")


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_document_carries_every_answer_and_the_root_at_each_foot(paper: str) -> None:
    pdf = to_pdf(report(), paper=paper)
    document = pypdfium2.PdfDocument(pdf)
    pages = [page.get_textpage().get_text_range() for page in document]
    size = document[0].get_size()
    document.close()
    text = " ".join("\n".join(pages).split())
    for answer in report().answers:
        assert f"{answer.number}. {answer.question}" in text
    assert all(HEAD.root in page for page in pages)
    assert round(size[0]) == {"A4": 595, "Letter": 612}[paper]
    assert to_pdf(report(), paper=paper) == pdf
    with pytest.raises(BadInput, match="A4 or Letter"):
        to_pdf(report(), paper="A5")


def test_the_tables_open_in_a_spreadsheet_and_no_name_becomes_a_formula() -> None:
    rows = list(csv.reader(StringIO(to_csv(report()))))
    assert rows[0] == ["Recall drill RC-1: lot C-1"]
    cells = [cell for row in rows for cell in row]
    assert "Corner Shop" in cells and "'=HYPERLINK Gifts" in cells
    assert not any(cell.startswith("=") for cell in cells)


def test_a_notice_names_goods_lots_and_telephone_and_says_when_it_is_a_drill() -> None:
    for word in (
        "DRILL, NOT A REAL RECALL",
        "Heart jars, 120 g, lot L J-1, best before 2027-10-12",
        "555 0199",
        "how many packs",
    ):
        assert word in NOTICE
    real = recall_notice([NoticeGoods("Jars", "120 g", "J-1")], reason="r", shop="s", phone="5")
    assert real.startswith("FOOD RECALL: URGENT")
    with pytest.raises(BadInput, match="a reason and a telephone number"):
        recall_notice([NoticeGoods("Jars", "120 g", "J-1")], reason="", shop="s", phone="")
    document = pypdfium2.PdfDocument(notice_pdf(NOTICE))
    assert len(document) == 1 and "555 0199" in document[0].get_textpage().get_text_range()
    document.close()


def test_a_lot_nobody_used_yet_still_gives_a_whole_report() -> None:
    alone = LotGraph.build([Lot("S-9", "material", "sugar", made_mg=KG, on_hand_mg=KG)], [])
    recall = work_out(alone, RecallCase("RC-2", "S-9", "damp sack", T0))
    made = audit_report(recall, alone, now=T0)
    assert (recall.score, recall.score_unit, recall.took) == (100.0, "mg", None)
    assert len(made.answers) == 12 and to_pdf(made) and to_html(made) and to_csv(made)


def test_rows_voided_later_are_not_in_the_answer_but_are_in_the_answer_of_that_day() -> None:
    wrong = replace(LEAVES[0], known_from=5, known_to=9)
    then = LotGraph.build(LOTS, EDGES, [wrong], as_known=7)
    now = LotGraph.build(LOTS, EDGES, [wrong])
    assert len(work_out(then, CASE).recipients) == 1
    assert len(work_out(now, CASE).recipients) == 0
