"""Reports read from a ledger that was filled through commands, against figures worked by hand."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import pytest

from ledger.application import report_text as text
from ledger.application import reports as r
from ledger.application.ledger import Ledger
from ledger.application.reports_demand import demand
from ledger.domain.batch.commands import Amend, CloseBatch, Cook, CutRods, OpenBatch
from ledger.domain.parts import Give, Loss, Take
from ledger.domain.shelf.commands import Sell
from ledger.errors import BadInput, UnknownThing
from tests.analytics.workshop import FIRST, make, shop, weeks_of_work

WEEK = "2026-W45"


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ledger]:
    """Five weeks of two flavours; read only."""
    made, _clock = weeks_of_work(f"sqlite:///{tmp_path_factory.mktemp('shop') / 'ledger.db'}")
    yield made
    made.close()


def test_the_week_tells_what_mattered(ledger: Ledger) -> None:
    told = r.week_report(ledger, WEEK).sentence
    assert told == (
        "4 batches gave 49.800 kg of good pieces, a process yield of 82.3 %; 380 packs packed and 228 packs sold. "
        "Anise fell to 72.7 % from 91.9 % over the four weeks before, mostly more ends at cutting (+19.2 points). "
        "The largest loss was ends at cutting: 7.240 kg, 88 % of all that was lost. Ran out: Lemon (Counter, 2 days). "
        "Short on the shelf: Lemon (1 day). Hands worked 24 h 00 min, 29 min a good kg (26 before)."
    )


def test_the_week_adds_up_to_the_milligram(ledger: Ledger) -> None:
    report = r.week_report(ledger, WEEK)
    made, batches = report.tables["flavours"].frame, report.tables["batches"].frame
    for name in (
        "charged_mg",
        "evaporated_mg",
        "poured_mg",
        "built_mg",
        "good_mg",
        "good_pieces",
        "expected_pieces",
        "packed_packs",
    ):
        assert report.tables["flavours"].total[name] == made[name].sum() == batches[name].sum(), name  # type: ignore[index]
    fall = report.tables["waterfall"].frame
    assert fall["change_mg"].iloc[:-1].sum() == fall["change_mg"].iloc[-1] == 42_940_000
    assert made.set_index("flavour").loc["LEMON", "expected_pieces"] == 2 * (15_120_408 * 919_300 // 1_000_000 // 2252)
    assert report.tables["hours"].frame["seconds"].sum() == report.tables["workers"].frame["seconds"].sum() == 24 * 3600
    assert report.tables["days"].frame["total_s"].sum() == 24 * 3600


def test_a_whole_ledger_balances_in_the_weekly_frame(ledger: Ledger) -> None:
    frame = ledger.queries.weekly("2026-W01", "2026-W53")
    assert frame[["mass_mg", "pieces", "packs", "seconds", "money"]].sum().tolist() == [0, 0, 0, 0, 0]


def test_flavours_without_a_design_on_their_pack_keep_their_sales(ledger: Ledger) -> None:
    sold = r.week_report(ledger, WEEK).tables["sold"].frame.set_index("flavour")
    assert sold["sold_packs"].to_dict() == {"ANISE": 38, "LEMON": 190}


def test_a_flavour_that_was_only_sold_has_no_row_of_noughts_and_a_step_not_reached_has_a_dash(sqlite_url: str) -> None:
    book, clock = weeks_of_work(sqlite_url)
    day = clock.at(date(2026, 11, 10))
    batch = book.do(OpenBatch(day=day, flavour="LEMON", design="STAR")).batch
    takes = (Take(lot="S1", mass_mg=10_000_000), Take(lot="G1", mass_mg=6_000_000))
    poured = (Give(lot="", kind="mass", mass_mg=15_120_000),)
    book.do(Cook(day=day, batch=batch, takes=takes, water_mg=3_000_000, gives=poured))
    book.do(Sell(day=day, pack="AJ", packs=7, channel="post", amount=4_200))
    book.do(Sell(day=day, pack="LJ", packs=9, channel="post", amount=5_400))
    report = r.week_report(book, "2026-W46")
    made, sold = report.tables["flavours"], report.tables["sold"]
    assert list(made.frame["flavour"]) == ["LEMON"]
    (row, total), heads = text.cells(made, report.shop), [c.title for c in made.columns]
    assert dict(zip(heads, row, strict=True)) | {"boiled off": "", "by recipe": "", "expected": ""} == {
        "flavour": "Lemon", "batches": "1", "charged": "19.000", "boiled off": "", "by recipe": "", "poured": "15.120", "built": "–",
        "cut good": "–", "pieces": "–", "expected": "", "packed": "–",
    }  # fmt: skip
    assert total[0] == "shop" and total[1:] == row[1:]
    assert [tuple(x) for x in sold.frame[["flavour", "sold_packs", "takings_minor"]].to_numpy()] == [
        ("LEMON", 9, 5_400),
        ("ANISE", 7, 4_200),
    ]
    assert sold.total == {"flavour": "shop", "sold_packs": 16, "takings_minor": 9_600}
    book.close()


def test_an_empty_week_says_what_to_do_first(ledger: Ledger) -> None:
    report = r.week_report(ledger, "2026-W20")
    assert not report.tables and "slabbook open" in report.sentence
    assert "Nothing is recorded in week 2026-W20" in text.as_text(report)


def test_an_empty_ledger_asks_for_the_book_first(sqlite_url: str) -> None:
    from ledger.application.ledger import open_ledger

    empty = open_ledger(sqlite_url)
    assert "book load" in r.week_report(empty, WEEK).sentence or "empty" in r.week_report(empty, WEEK).sentence
    for report in (
        r.stock_report(empty),
        r.hours_report(empty, WEEK),
        r.losses_report(empty, WEEK),
        r.flags_report(empty),
    ):
        assert report.sentence and text.as_text(report) and json.dumps(text.as_data(report))
    assert demand(empty).sales.empty
    empty.close()


@pytest.mark.parametrize(
    ("week", "says"),
    [
        ("2026-44", "`2026-W44`"),
        ("2025-W53", "W01 to W52"),
        ("2026-W00", "W01 to W53"),
        ("last week", "ISO 8601"),
        ("", "ISO 8601"),
    ],
)
def test_a_bad_week_is_refused_with_the_way_out(ledger: Ledger, week: str, says: str) -> None:
    # ISO 8601: 2026 has 53 weeks, 2025 has 52
    with pytest.raises(BadInput, match=says):
        r.week_report(ledger, week)


def test_a_range_that_runs_backwards_is_refused(ledger: Ledger) -> None:
    for ask in (r.hours_report, r.losses_report):
        with pytest.raises(BadInput, match="before the first"):
            ask(ledger, "2026-W45", "2026-W41")


def test_unknown_things_are_named(ledger: Ledger) -> None:
    with pytest.raises(UnknownThing, match="26001A"):
        r.batch_report(ledger, "26001A")
    with pytest.raises(UnknownThing, match="ROSE"):
        r.control_report(ledger, "ROSE", "2026-W41", "2026-W45")
    with pytest.raises(BadInput, match="9999"):
        r.week_report(ledger, WEEK, known=9999)


def test_a_report_as_known_is_the_report_that_was_made_then(sqlite_url: str) -> None:
    book, clock = weeks_of_work(sqlite_url)
    then = {n: text.as_data(ask(book)) for n, ask in _ASKED.items()}
    [root] = {kept["as_of"].pop("root") for kept in then.values()}
    assert len(root) == 64
    position = book.queries.as_of().position
    clock.now = clock.now.replace(month=11, day=20)
    cut = next(p for p in range(position, 0, -1) if getattr(book.queries.event(p), "step", "") == "cut")
    event = book.queries.event(cut)
    pieces = Give(lot="26308B-K1", kind="pieces", mass_mg=12_500_000, pieces=5550)
    again = CutRods(day=event.day, batch=event.batch, gives=(pieces, Give(lot="26308B-B1", kind="reboil", mass_mg=620_000)),
                    losses=(Loss(cause="ends", mass_mg=1_760_000),))  # fmt: skip
    book.do(Amend(day="2026-11-20", origin=cut, command=again, reason="read the wrong line"), "AB")
    assert r.week_report(book, WEEK).tables["flavours"].frame["good_mg"].sum() == 51_300_000
    for known in (position, "2026-11-08"):
        for name, ask in _ASKED.items():
            found = text.as_data(ask(book, known=known))
            assert found["as_of"].pop("root") == root, (
                "the root over the entries up to then is the root that was told then"
            )
            if name == "week":  # only the live report speaks of today's shelf
                found["sentence"], kept = (
                    found["sentence"],
                    then[name] | {"sentence": _no_shelf(then[name]["sentence"])},
                )
                assert found == kept, known
            elif name != "stock":
                assert found == then[name], (name, known)
    stock = text.as_data(r.stock_report(book, known="2026-11-08"))
    assert stock["tables"]["shelf"] == then["stock"]["tables"]["shelf"]
    assert stock["tables"]["lots"]["rows"] == then["stock"]["tables"]["lots"]["rows"]
    book.close()


def _no_shelf(sentence: str) -> str:
    return sentence.replace("Short on the shelf: Lemon (1 day). ", "")


_ASKED = {
    "week": lambda book, known=None: r.week_report(book, WEEK, known),
    "stock": lambda book, known=None: r.stock_report(book, known),
    "hours": lambda book, known=None: r.hours_report(book, "2026-W41", WEEK, known),
    "losses": lambda book, known=None: r.losses_report(book, "2026-W41", WEEK, known),
    "control": lambda book, known=None: r.control_report(book, "ANISE", "2026-W41", WEEK, known),
}


def test_the_stock_says_what_is_free_held_short_and_old(ledger: Ledger) -> None:
    report = r.stock_report(ledger)
    shelf = report.tables["shelf"].frame.set_index("item")
    assert shelf.loc["LJ", ["packs", "held_packs", "sold_packs"]].tolist() == [50, 0, 760]
    assert shelf.loc["AJ", ["packs", "held_packs"]].tolist() == [612, 90]
    assert shelf["packs"].sum() + shelf["held_packs"].sum() == report.tables["lots"].frame["packs"].sum()
    raw = report.tables["materials"].frame.set_index("item")
    assert raw.loc["SUGAR", ["mass_mg", "used_mg", "cover_days"]].tolist() == [700_000_000, 160_000_000, 122.5]
    assert "Short on the shelf: Lemon (1 day)" in report.sentence


def test_the_unusual_week_is_named(ledger: Ledger) -> None:
    report = r.control_report(ledger, "ANISE", "2026-W41", WEEK)
    assert set(report.tables["unusual"].frame.week) == {WEEK}
    assert "2026-W45 (72.7 %: outside the limits)" in report.sentence and report.notes


def test_a_batch_on_one_page(ledger: Ledger) -> None:
    report = r.batch_report(ledger, "26306B")
    figures = report.tables["summary"].frame.set_index("measure")["value"]
    assert (figures["charged_mg"], figures["good_mg"], figures["packed_packs"]) == (19_000_000, 11_000_000, 90)
    assert report.tables["lots_in"].frame.lot.tolist() == ["S1", "G1"]
    assert "expects 90.0 %" in report.sentence


def test_a_batch_just_opened_says_what_comes_next(sqlite_url: str) -> None:
    book, clock = shop(sqlite_url)
    code = book.do(OpenBatch(day=clock.now.date().isoformat(), flavour="LEMON"), "AB").batch
    assert "Next is the cook" in r.batch_report(book, code).sentence
    book.close()


def test_demand_reads_sales_gaps_and_open_days(ledger: Ledger) -> None:
    found = demand(ledger, weeks_ahead=2)
    assert len(found.sales) == 10 and found.sales["units"].sum() == 5 * 230 - 2
    assert found.exposure.to_dict("records") == [
        {"flavour": "LEMON", "channel": "counter", "week": WEEK, "share": pytest.approx(4.5 / 6)}
    ]
    assert found.open_days["week"].iloc[[0, -1]].tolist() == ["2026-W41", "2026-W47"] and set(
        found.open_days["days"]
    ) == {6}


# --- shown ---------------------------------------------------------------------------------------------------------


def test_every_column_of_every_report_is_there_and_every_row_can_be_shown(ledger: Ledger) -> None:
    reports = [ask(ledger) for ask in _ASKED.values()] + [
        r.batch_report(ledger, "26306B"),
        r.flags_report(ledger, "2026-W41", WEEK),
    ]
    for report in reports:
        shown = text.as_text(report, 200)
        assert report.title in shown and f"As of entry {report.as_of.position}" in shown
        json.dumps(text.as_data(report), allow_nan=False)
        for name, table in report.tables.items():
            assert [c.name for c in table.columns if c.name not in table.frame] == [], (report.name, name)
            assert len(list(csv.reader(io.StringIO(text.as_csv(report, name))))) == len(table.frame) + 1


def test_a_shop_in_pounds_sees_pounds(ledger: Ledger) -> None:
    report = r.week_report(ledger, WEEK)
    us = replace(report, shop=replace(report.shop, units="us"))
    shown = text.as_text(us, 200)
    # 76.000 kg is 167.55 lb: 1 lb = 0.453 592 37 kg exactly (international yard and pound agreement, 1959)
    assert (
        "167.55" in shown
        and "lb" in shown
        and "min/lb" in shown
        and " kg" not in shown.split("Kettle to jar")[1].split("Beside")[0]
    )


def test_csv_and_json_keep_whole_milligrams(ledger: Ledger) -> None:
    report = r.week_report(ledger, WEEK)
    rows = list(csv.DictReader(io.StringIO(text.as_csv(report, "flavours"))))
    assert [row["charged_mg"] for row in rows] == ["38000000", "38000000"]
    assert text.as_data(report)["tables"]["flavours"]["rows"][0]["charged_mg"] == 38_000_000


@pytest.mark.parametrize(
    ("value", "kind", "units", "says"),
    [
        (1_234_567_890, "mass", "metric", "1\u202f234.568"), (453_592, "mass", "us", "1.00"), (240_000, "small", "metric", "240.0"),
        (-1, "mass", "metric", "0.000"), (float("nan"), "share", "metric", "–"), (0.9193, "share", "metric", "91.9"), (5430, "time", "metric", "1:30"),
        (-0.0123, "points", "metric", "-1.2"), (10.0, "per_mass", "us", "4.5"), (123456, "money", "metric", "1\u202f234.56"), (None, "count", "metric", "–"),
        (True, "yes", "metric", "yes"), (float("inf"), "number", "metric", "–"),
    ],
)  # fmt: skip
def test_figures_are_shown_in_the_shops_units(value: object, kind: str, units: str, says: str) -> None:
    assert text.shown(value, kind, r.Shop(units=units)) == says


def test_a_report_holds_the_figures_of_the_kept_table(ledger: Ledger) -> None:
    # read independently: plain SQL
    asked = "SELECT sum(mass_mg) FROM postings WHERE week = ? AND kind = ?"
    with sqlite3.connect(str(ledger.store.url.database)) as connection:
        scrap, air = (connection.execute(asked, (WEEK, kind)).fetchone()[0] for kind in ("scrap", "air"))
    report = r.week_report(ledger, WEEK)
    assert report.tables["waterfall"].frame.set_index("flow").loc[
        ["evaporated_mg", "scrap_mg"], "change_mg"
    ].tolist() == [-air, -scrap]


def test_a_batch_still_to_be_cut_has_no_yield_in_any_table_and_one_closed_uncut_has_none_left(tmp_path: object) -> None:
    ledger, clock = shop(f"sqlite:///{tmp_path}/open.sqlite")
    make(ledger, clock, FIRST)
    day = clock.at(FIRST)
    open_ = ledger.do(OpenBatch(day=day, flavour="ANISE", design="PLAIN"), "AB").batch
    takes = (Take(lot="S1", mass_mg=10_000_000), Take(lot="G1", mass_mg=6_000_000))
    poured = (Give(lot="", kind="mass", mass_mg=15_120_000, portion="clear"),)
    ledger.do(Cook(day=day, batch=open_, takes=takes, water_mg=3_000_000, gives=poured), "AB")

    def figures() -> tuple[list[str], str, str]:
        report = r.week_report(ledger, "2026-W41")
        shown = {n: text.cells(report.tables[n], report.shop) for n in ("yields", "batches", "compare")}
        assert report.sentence.split("process yield of ")[1].startswith(shown["yields"][-1][4])
        rows = [x[4] for x in shown["yields"][:-1]]
        return (
            rows,
            next(x[8] for x in shown["batches"] if x[0] == open_),
            next(x[1] for x in shown["compare"] if x[0] == "process yield"),
        )

    assert figures() == (["–", "91.9"], "–", "91.9 %")
    ledger.do(CloseBatch(day=day, batch=open_), "AB")
    assert figures() == (["0.0", "91.9"], "0.0", "46.0 %")
