"""The batch sheet in the ledger: planned from book and history, kept as an entry, compared with what came of it.

The arithmetic of the craft has its own tests (tests/craft); here its wiring is checked: against sums made by hand over raw
postings, against IAPWS-IF97 (package ``iapws``) at the ICAO standard atmosphere (package ``ambiance``), and against NIST SP 811.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from ambiance import Atmosphere
from iapws import IAPWS97

from ledger.application import sheets, sheets_check, sheets_compare, sheets_plan
from ledger.application.designs import find_design, folders, read_bench
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.reports_types import basis
from ledger.application.sheets import Ask
from ledger.application.sheets_recipe import match, names_of
from ledger.craft.picture_legend import read_legend
from ledger.craft.sheet import BatchSheet, SheetLine
from ledger.domain.batch import commands as c
from ledger.domain.books import entries as e
from ledger.domain.books.commands import Define
from ledger.domain.lots.commands import CountLot, HoldLots
from ledger.domain.parts import Give, Take
from ledger.errors import BadInput, Refused, SlabbookError, UnknownThing
from ledger.interfaces.cli.main import main
from ledger.projections.check import verify
from seeds.shop import fill
from tests.craft.support import LEGEND, RED, png, ring_picture

LEMON = Ask(design="LEMON-SLICE", packs=40)


@pytest.fixture(scope="module")
def shop_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("shop") / "shop.sqlite"
    fill(f"sqlite:///{path}", seed=7, weeks=6)
    return path


@pytest.fixture
def shop(shop_file: Path, tmp_path: Path) -> Ledger:
    shutil.copy(shop_file, tmp_path / "shop.sqlite")
    return open_ledger(f"sqlite:///{tmp_path}/shop.sqlite")


def define(ledger: Ledger, entry: object) -> None:
    ledger.do(Define(day=ledger.today(), entry=entry))


def run(ledger: Ledger, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    """The command line's exit code and everything it said."""
    with pytest.raises(SystemExit) as left:
        main(["--ledger", str(ledger.store.url.database), *words])
    said = capsys.readouterr()
    return int(left.value.code or 0), said.out + said.err


# --- planning and keeping ---------------------------------------------------------------------------------------------


def test_sizing_records_nothing(shop: Ledger):
    before = shop.queries.as_of()
    sheets.plan(shop, LEMON)
    assert shop.queries.as_of() == before


def test_the_sheet_that_is_kept_is_the_sheet_that_was_planned(shop: Ledger):
    before = shop.queries.as_of().position
    done = sheets.issue(shop, LEMON, "MK")
    assert sheets.kept(shop, done.batch) == done.planned.sheet
    log = shop.queries.log(after=before)
    assert list(log["name"]) == ["batch.opened", "batch.sheet-issued"]
    assert set(log["recorded_by"]) == {"MK"}
    assert done.planned.sheet.address == f"{shop.book().site().base_address}/batch?batch={done.batch}"


def test_every_gram_of_the_plan_has_a_place(shop: Ledger):
    sheet = sheets.plan(shop, LEMON).sheet
    assert (
        sum(line.mass_mg for line in sheet.charge)
        == sheet.cook.charge_mg
        == sheet.cook.cooked_mg + sheet.cook.boiled_off_mg
    )
    assert sum(p.make_mg for p in sheet.portions) == sum(p.mass_mg for p in sheet.pours) == sheet.cook.slab_mg
    for line in (*sheet.charge, *sheet.additions, *sheet.dyes):
        if line.role != "water":
            assert sum(lot.mass_mg for lot in line.lots) + line.short_mg == line.mass_mg


def test_a_command_id_that_comes_again_opens_no_second_batch(shop: Ledger):
    first = sheets.issue(shop, LEMON, "MK", "tap-1")
    at = shop.queries.as_of()
    again = sheets.issue(shop, LEMON, "MK", "tap-1")
    assert (again.batch, again.repeated, again.planned.sheet) == (first.batch, True, first.planned.sheet)
    assert shop.queries.as_of() == at


def test_a_code_that_somebody_else_took_meanwhile_gives_way_to_the_next(shop: Ledger, monkeypatch: pytest.MonkeyPatch):
    first = sheets.issue(shop, LEMON).batch
    honest, calls = sheets_plan._next_code, []

    def late(ledger: Ledger, day: str) -> str:
        calls.append(day)
        return first if len(calls) == 1 else honest(ledger, day)

    monkeypatch.setattr(sheets_plan, "_next_code", late)
    second = sheets.issue(shop, LEMON)
    assert second.batch != first and len(calls) == 2
    assert second.planned.sheet.batch == second.batch and second.planned.sheet.address.endswith(second.batch)


def test_a_code_given_to_a_batch_of_another_day_is_passed_over(shop: Ledger):
    code = sheets.plan(shop, LEMON).sheet.batch
    before = (date.fromisoformat(shop.today()) - timedelta(days=1)).isoformat()
    shop.do(c.OpenBatch(day=before, flavour="LEMON", batch=code))
    assert sheets.issue(shop, LEMON).batch == code[:-1] + chr(ord(code[-1]) + 1)


def test_a_second_sheet_of_a_batch_replaces_the_first_and_both_stay_in_the_log(shop: Ledger):
    first = sheets.issue(shop, LEMON)
    sheets.issue(shop, replace(LEMON, batch=first.batch, packs=60))
    assert sheets.kept(shop, first.batch).sizes.packs == 60
    assert sheets.kept(shop, first.batch, known=first.last).sizes.packs == 40


def test_a_sheet_for_tomorrow_opens_its_batch_today(shop: Ledger):
    tomorrow = (date.fromisoformat(shop.today()) + timedelta(days=1)).isoformat()
    done = sheets.issue(shop, replace(LEMON, day=tomorrow))
    assert done.planned.sheet.planned_for == tomorrow
    assert shop.queries.batches(names=[done.batch])["day"].iloc[0] == shop.today()


def test_an_open_batch_gets_a_sheet_and_a_closed_one_none(shop: Ledger):
    batch = shop.do(c.OpenBatch(day=shop.today(), flavour="LEMON", design="LEMON-SLICE")).batch
    assert sheets.issue(shop, replace(LEMON, batch=batch)).batch == batch
    with pytest.raises(Refused, match="opened for LEMON LEMON-SLICE"):
        sheets.issue(shop, Ask(design="TULIP", packs=40, batch=batch))
    closed = str(shop.queries.batches(status="closed", flavour="LEMON").iloc[0]["batch"])
    with pytest.raises(Refused, match="closed"):
        sheets.issue(shop, replace(LEMON, batch=closed))


# --- what the ledger gives --------------------------------------------------------------------------------------------


def by_hand(ledger: Ledger, flavour: str) -> list[float]:
    """Good pieces over cooked mass of each closed batch, summed over raw postings."""
    shares = []
    for batch in ledger.queries.batches(status="closed", flavour=flavour)["batch"][::-1]:
        rows = ledger.queries.postings(batch=batch)
        cook, cut = rows[rows.step == "cook"], rows[rows.step == "cut"]
        went_in = -cook[(cook.mass_mg < 0)].mass_mg.sum()
        air = rows[rows.kind == "air"].mass_mg.sum()
        good = cut[(cut.kind == "lot.pieces") & (cut.mass_mg > 0)].mass_mg.sum()
        shares.append(good / (went_in - air))
    return shares


def test_the_yield_is_the_mean_of_the_flavours_own_batches(shop: Ledger):
    shares = by_hand(shop, "LEMON")
    assert len(shares) >= 5
    found = sheets.plan(shop, LEMON).sheet.process_yield
    assert found.batches == len(shares)
    # Rounded to parts per million, once: half of one is all that may differ.
    assert found.likely_ppm == pytest.approx(1e6 * sum(shares) / len(shares), abs=0.6)


def test_an_amended_weighing_changes_the_next_sheet(shop: Ledger):
    before = sheets.plan(shop, LEMON).sheet.process_yield.likely_ppm
    batch = str(shop.queries.batches(status="closed", flavour="LEMON").iloc[0]["batch"])
    row = shop.queries.log(batch=batch, name="batch.cut").iloc[0]
    cut = shop.queries.event(int(row["position"]))
    give = cut.gives[0]
    lighter = c.CutRods(
        day=cut.day, batch=batch, gives=(replace(give, mass_mg=give.mass_mg - 400_000), *cut.gives[1:]), piece_um=cut.piece_um
    )  # fmt: skip
    shop.do(c.Amend(day=shop.today(), origin=int(row["position"]), command=lighter, reason="read the scale wrong"))
    assert sheets.plan(shop, LEMON).sheet.process_yield.likely_ppm < before


def test_the_density_is_learned_from_counted_and_weighed_pieces(shop: Ledger):
    sizes = sheets.plan(shop, LEMON).sheet.sizes
    lots = shop.queries.lots(holding=False, kinds=["pieces"], flavour="LEMON")
    volume = 3.141592653589793 / 4 * 12.7**2 * 12.7  # mm3: both are half an inch in the book
    mean = sum(lots.made_mg / lots.made_pieces / volume * 1000) / len(lots)
    assert sizes.density_weighings == len(lots) >= 3
    assert sizes.density_kg_m3 == pytest.approx(mean, abs=0.6)


def test_a_lot_promised_to_a_batch_not_cooked_yet_is_not_promised_twice(shop: Ledger):
    def oil(sheet: BatchSheet) -> SheetLine:
        return next(line for line in sheet.additions if line.material == "Lemon oil")

    need = oil(sheets.plan(shop, LEMON).sheet).mass_mg
    lots = [str(x) for x in shop.queries.lots(kinds=["material"], item="LEMONOIL")["lot"]]
    for number, lot in enumerate(lots):
        shop.do(CountLot(day=shop.today(), lot=lot, mass_mg=0 if number else need * 3 // 2))
    first = sheets.issue(shop, LEMON)
    assert oil(first.planned.sheet).short_mg == 0
    second = sheets.plan(shop, LEMON)
    assert oil(second.sheet).short_mg == need - need // 2
    assert any(first.batch in note for note in second.notes)
    make(shop, first.planned.sheet)  # once it is cooked the lot itself says what is left
    assert oil(sheets.plan(shop, LEMON).sheet).short_mg == need - need // 2


def test_a_held_lot_is_not_proposed_and_what_is_short_is_said(shop: Ledger):
    lots = [str(x) for x in shop.queries.lots(kinds=["material"], item="LEMONOIL")["lot"]]
    for lot in lots:
        shop.do(HoldLots(day=shop.today(), lots=(lot,), reason="cloudy"))
    planned = sheets.plan(shop, LEMON)
    oil = next(line for line in planned.sheet.additions if line.material == "Lemon oil")
    assert not oil.lots and oil.short_mg == oil.mass_mg
    assert any(flag.code == "lot-short" and flag.subject == "Lemon oil" for flag in planned.sheet.flags)
    assert any(lots[0] in note for note in planned.notes)


def test_allergens_come_from_the_materials_and_the_changeover_from_the_batch_before(shop: Ledger):
    define(shop, replace(shop.book().get(e.Material, "LEMONOIL"), allergens=("milk",)))
    done = sheets.issue(shop, LEMON)
    assert done.planned.sheet.allergens == ("milk",)
    assert "milk" not in done.planned.sheet.changeover
    make(shop, done.planned.sheet)
    assert "The batch before held milk" in sheets.plan(shop, Ask(design="MINT-STRIPE", packs=80)).sheet.changeover
    assert "Nothing carried over" in sheets.plan(shop, LEMON).sheet.changeover


# --- the thermometer ----------------------------------------------------------------------------------------------------


def boils_at(altitude_m: int) -> float:
    """IAPWS-IF97 saturation temperature at the standard atmosphere's pressure, degrees C."""
    return float(IAPWS97(P=float(Atmosphere(altitude_m).pressure[0]) / 1e6, x=0).T) - 273.15


@pytest.mark.parametrize("altitude", [0, 320, 1600])
def test_the_end_temperature_falls_with_the_boiling_point_of_water(shop: Ledger, altitude: int):
    define(shop, replace(shop.book().site(), altitude_m=altitude))
    for kettle in ("K1", "K2"):
        found = sheets_check.check(shop, kettle, f"{boils_at(altitude):.3f} C")
        # 0.02 C: the formula's four digits of pressure, and thousandths of a degree in the reading.
        assert found.expected_mc / 1000 == pytest.approx(boils_at(altitude), abs=0.02)
    cook = sheets.plan(shop, LEMON).sheet.cook
    recipe = shop.book().recipe_of("LEMON")
    assert recipe is not None
    assert cook.end_mc / 1000 == pytest.approx(recipe.end_temperature_mc / 1000 + boils_at(altitude) - 100, abs=0.03)


def test_the_newest_check_is_used_and_a_reading_of_today_comes_before_it(shop: Ledger):
    kettle = sheets.plan(shop, LEMON).kettle
    sheets_check.check(shop, kettle, "98.0 C")
    sheets_check.check(shop, kettle, "211 F", by="MK")
    planned = sheets.plan(shop, LEMON)
    assert planned.sheet.cook.water_boils_mc == 99_444  # (211 - 32) / 1.8
    event = shop.queries.papers("thermometer")[-1][1]
    assert (event.station, event.reading, event.by) == (kettle, "211 F", "MK")
    assert sheets.plan(shop, replace(LEMON, water_reads_mc=98_600)).sheet.cook.water_boils_mc == 98_600


def test_a_reading_the_sheet_was_planned_with_is_kept_as_a_check(shop: Ledger, capsys):
    code, _ = run(shop, capsys, "--by", "MK", "sheet", "LEMON-SLICE", "--packs", "40", "--water-reads", "98.6 C")
    assert code == 0
    event = shop.queries.papers("thermometer")[-1][1]
    assert (event.reading_mc, event.reading, event.by) == (98_600, "98.6 C", "MK")
    assert sheets.plan(shop, LEMON).sheet.cook.water_boils_mc == 98_600


def test_with_a_barometer_the_thermometers_own_error_stays(shop: Ledger):
    kettle = sheets.plan(shop, LEMON).kettle
    error = sheets_check.check(shop, kettle, "99.0 C")
    known = sheets.plan(shop, replace(LEMON, barometer_pa=97_200)).sheet.cook.water_boils_mc
    expected = float(IAPWS97(P=0.0972, x=0).T) - 273.15 + (error.reading_mc - error.expected_mc) / 1000
    assert known / 1000 == pytest.approx(expected, abs=0.02)


def test_a_check_that_no_weather_explains_is_refused_and_not_kept(shop: Ledger):
    before = shop.queries.as_of()
    with pytest.raises(SlabbookError, match="more than 8 C apart"):
        sheets_check.check(shop, "K1", "150 F")
    with pytest.raises(BadInput, match="belongs to a kettle"):
        sheets_check.check(shop, "SLAB", "99 C")
    assert shop.queries.as_of() == before


# --- plan against actual ------------------------------------------------------------------------------------------------


def make(ledger: Ledger, sheet: BatchSheet, heavier: float = 1.0) -> None:
    """Record the batch as the sheet says, with every pour `heavier` times as heavy."""
    day, batch = ledger.today(), sheet.batch
    takes = [
        Take(lot=lot.lot, mass_mg=lot.mass_mg)
        for line in (*sheet.charge, *sheet.additions, *sheet.dyes) for lot in line.lots
    ]  # fmt: skip
    water = next(line.mass_mg for line in sheet.charge if line.role == "water")
    gives = tuple(Give(lot="", kind="mass", mass_mg=round(p.mass_mg * heavier), portion=p.key) for p in sheet.pours)
    ledger.do(
        c.Cook(
            day=day, batch=batch, takes=tuple(takes), gives=gives, water_mg=water, end_temperature_mc=sheet.cook.end_mc
        )
    )
    lots = {row["portion"]: row["lot"] for row in ledger.queries.lots(batch=batch).to_dict("records")}
    for portion in sheet.portions:
        if portion.blended_of:
            parts = tuple(Take(lot=lots[key], mass_mg=round(mass * heavier)) for key, mass in portion.blended_of)
            ledger.do(
                c.Blend(
                    day=day,
                    batch=batch,
                    takes=parts,
                    gives=(Give(lot="", kind="mass", basis="derived", portion=portion.key),),
                )
            )
    ledger.do(c.Build(day=day, batch=batch))
    ledger.do(
        c.Roll(
            day=day,
            batch=batch,
            diameter_um=sheet.sizes.rod_um,
            gives=(Give(lot="", kind="rods", pieces=sheet.sizes.rods, basis="derived"),),
        )
    )
    pieces = sheet.process_yield.good_pieces
    ledger.do(
        c.CutRods(
            day=day, batch=batch, piece_um=sheet.sizes.piece_um,
            gives=(Give(lot="", kind="pieces", mass_mg=pieces * sheet.sizes.piece_mg, pieces=pieces),),
        )
    )  # fmt: skip
    ledger.do(c.PackUp(day=day, batch=batch, pack="LEMON-JAR", packs=sheet.sizes.packs))


def test_a_batch_made_as_planned_is_off_by_nothing(shop: Ledger):
    done = sheets.issue(shop, LEMON)
    make(shop, done.planned.sheet)
    _, lines, found = sheets_compare.compared(basis(shop), shop, done.batch)
    assert not found.beyond
    by_key = {line.key: line for line in lines}
    assert all(line.actual is not None for line in lines), [line.key for line in lines if line.actual is None]
    assert {
        key: line.off
        for key, line in by_key.items()
        if key.split(":")[0] in ("charge", "addition", "dye", "pour") and line.off
    } == {}
    assert (by_key["end"].off, by_key["good-pieces"].off, by_key["packs"].off, by_key["rods"].off) == (0, 0, 0, 0)
    # The blend is what is left of two pours, whose parts are rounded to the milligram: a few may lie between.
    assert all(abs(line.off or 0) <= 3 for key, line in by_key.items() if key.startswith("portion:"))


def test_a_heavy_pour_shows_as_over_and_a_report_says_so(shop: Ledger):
    done = sheets.issue(shop, LEMON)
    make(shop, done.planned.sheet, heavier=0.97)
    report = sheets_compare.batch_report(shop, done.batch)
    pours = report.tables["portions"].frame
    assert pours[pours.key.str.startswith("pour:")]["off_ratio"].tolist() == pytest.approx([-0.03] * 3, abs=1e-5)
    assert "3.0 % under" in report.sentence
    every = sheets_compare.all_report(shop)
    assert (
        every.tables["batches"].frame["batch"].tolist()[0] == done.batch
    )  # newest first; the demo has sheets of its own behind it


def test_what_was_recorded_and_never_planned_stands_apart(shop: Ledger):
    done = sheets.issue(shop, LEMON)
    sheet = done.planned.sheet
    extra = str(shop.queries.lots(kinds=["material"], item="MALIC")["lot"].iloc[0])
    sugar = next(line for line in sheet.charge if line.role == "sugar")
    takes = (Take(lot=sugar.lots[0].lot, mass_mg=1_000_000), Take(lot=extra, mass_mg=12_000))
    shop.do(c.Cook(day=shop.today(), batch=done.batch, takes=takes, water_mg=300_000))
    report = sheets_compare.batch_report(shop, done.batch)
    assert ("Malic acid", 12_000) in list(report.tables["beyond"].frame.itertuples(index=False, name=None))
    weighed = report.tables["materials"].frame.set_index("title")
    assert weighed.loc["Granulated sugar", "off"] == 1_000_000 - sugar.mass_mg


# --- pictures and what stands in the way --------------------------------------------------------------------------------


def own_design(ledger: Ledger, stem: str, legend: str, picture: bytes) -> None:
    """A design of the shop's own, in the folder beside its ledger."""
    place = folders(ledger)[0]
    place.mkdir(exist_ok=True)
    (place / f"{stem}.toml").write_text(legend)
    (place / "ring.png").write_bytes(picture)
    define(ledger, e.Design(id="OWN", name="Own ring", flavour="LEMON", picture=stem, log_um=150_000))


def soft(size: int = 400) -> bytes:
    """A ring with softened edges: shrunk from three times the size with averaging."""
    import numpy as np

    big = ring_picture(size * 3).astype(float)
    return png(big.reshape(size, 3, size, 3, 3).mean(axis=(1, 3)).round().astype(np.uint8))


def strange() -> bytes:
    """A ring with a patch of a colour that no portion has."""
    picture = ring_picture()
    picture[180:220, 180:220] = (0, 128, 0)
    return png(picture)


def open_rim() -> bytes:
    """A ring whose jacket is broken on one side."""
    picture = ring_picture()
    wedge = (picture == RED).all(axis=2)
    wedge[:, :200] = False
    wedge[:150] = wedge[250:] = False
    picture[wedge] = (238, 238, 238)
    return png(picture)


BAD_PICTURES = {
    "more colours than the legend": (LEGEND, strange, "colours that the legend gives to no portion"),
    "soft edges": (LEGEND, soft, "anti-aliasing off"),
    "no closed jacket": (LEGEND, open_rim, "of the rim"),
    "a colour without a portion": (LEGEND.replace('colour = "#ffaaaa"\n', ""), lambda: png(ring_picture()), "no portion"),
    "a portion nowhere painted": (LEGEND + '[portion.gold]\ncolour = "#123456"\n', lambda: png(ring_picture()), "nowhere in the picture"),
}  # fmt: skip


@pytest.mark.parametrize("what", sorted(BAD_PICTURES))
def test_a_picture_that_cannot_be_measured_is_refused_with_the_way_out(shop: Ledger, capsys, what: str):
    legend, picture, told = BAD_PICTURES[what]
    own_design(shop, "own", legend, picture())
    before = shop.queries.as_of()
    code, said = run(shop, capsys, "sheet", "OWN", "--packs", "40")
    assert code == 2 and told in said
    assert shop.queries.as_of() == before


BAD_FIGURES = {
    "a kettle too small": (("LEMON-SLICE", "--packs", "400", "--kettle", "K2"), "only 2 can be worked together"),
    "a load too small": (("LEMON-SLICE", "--packs", "15", "--kettle", "K1"), "it would scorch"),
    "a reading that is no boiling water": (("LEMON-SLICE", "--packs", "40", "--water-reads", "20 C"), "must lie between 65 and 110"),
    "a rod thicker than the log": (("LEMON-SLICE", "--packs", "40", "--log", "30 mm", "--rod", "40 mm"), "the log must be thicker"),
    "a unit of another kind": (("LEMON-SLICE", "--packs", "40", "--rod", "5 kg"), "not length"),
    "no count": (("LEMON-SLICE",), "how many packs or how many pieces"),
    "an unknown design": (("LEMONSLICE", "--packs", "40"), "LEMON-SLICE"),
    "another flavour's pack": (("LEMON-SLICE", "--packs", "40", "--pack", "ROCK-JAR"), "LEMON-JAR"),
    "a station that is no kettle": (("LEMON-SLICE", "--packs", "40", "--kettle", "SLAB"), "not a kettle"),
    "no pressure": (("LEMON-SLICE", "--packs", "40", "--barometer", "97.2 m"), "97.2 kPa"),
}  # fmt: skip


@pytest.mark.parametrize("what", sorted(BAD_FIGURES))
def test_a_figure_that_cannot_be_is_refused_with_the_way_out(shop: Ledger, capsys, what: str):
    words, told = BAD_FIGURES[what]
    code, said = run(shop, capsys, "size", *words)
    assert code == 2 and told in said


def test_a_moisture_over_the_whole_is_refused_at_the_book(shop: Ledger, tmp_path: Path, capsys):
    recipe = shop.book().recipe_of("LEMON")
    assert recipe is not None
    with pytest.raises(BadInput, match="moisture is 105 %, it must lie between 0 % and 100 %"):
        define(shop, replace(recipe, moisture_ppm=1_050_000))
    (tmp_path / "wet.toml").write_text('[recipe.LEMON]\nflavour = "LEMON"\nmoisture = "105 %"\n')
    code, said = run(shop, capsys, "book", "load", str(tmp_path / "wet.toml"))
    assert code == 2 and "105 %" in said and "100 %" in said


def test_an_unknown_altitude_is_refused_until_water_is_boiled(shop: Ledger, tmp_path: Path, capsys):
    bare = open_ledger(f"sqlite:///{tmp_path}/bare.sqlite")
    book = shop.book()
    for kind in (e.Material, e.Flavour, e.Recipe, e.Design, e.Pack, e.Station):
        for entry in book.all(kind):
            if kind is not e.Material or not entry.supplier:
                define(bare, entry)
            else:
                define(bare, replace(entry, supplier=""))
    code, said = run(bare, capsys, "size", "LEMON-SLICE", "--packs", "40")
    assert code == 2 and "altitude is unknown" in said
    assert sheets.plan(bare, replace(LEMON, water_reads_mc=98_600)).sheet.cook.water_boils_mc == 98_600
    code, said = run(bare, capsys, "sheet-check", "K1", "--reads", "98.6 C")
    assert code == 2 and "barometer" in said


def test_a_file_of_the_shops_own_hides_the_one_that_came_with_the_program(shop: Ledger):
    design = shop.book().get(e.Design, "LEMON-SLICE")
    shipped = find_design(folders(shop), design)
    own = folders(shop)[0]
    own.mkdir()
    (own / "lemon-slice.toml").write_bytes(shipped.legend.replace(b"version = 1", b"version = 2"))
    (own / "lemon-slice.png").write_bytes(shipped.picture)
    assert sheets.plan(shop, LEMON).sheet.design_version == 2


@pytest.mark.parametrize("name", ["../secret", "/etc/passwd", "a/b"])
def test_a_design_cannot_reach_outside_its_folder(shop: Ledger, name: str):
    with pytest.raises(BadInput, match="without folders"):
        find_design(folders(shop), e.Design(id="X", name="X", picture=name))


def test_a_legend_cannot_reach_outside_its_folder(shop: Ledger):
    own_design(shop, "own", LEGEND.replace("ring.png", "../../ring.png"), b"")
    with pytest.raises(BadInput, match="without folders"):
        sheets.plan(shop, Ask(design="OWN", packs=40))


def test_the_folder_may_be_named_by_the_environment(shop: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("SLABBOOK_DESIGNS", str(tmp_path / "elsewhere"))
    assert folders(shop)[0] == tmp_path / "elsewhere"


def test_the_shops_own_limits_are_read_and_a_misspelt_one_is_refused(shop: Ledger):
    own = folders(shop)[0]
    own.mkdir()
    (own / "sheet.toml").write_text('least_line = "1/32 in"\nrod_length = "50 cm"\nloads = 3\n')
    bench = read_bench(folders(shop))
    assert (bench.least_line_um, bench.rod_length_um, bench.loads) == (794, 500_000, 3)
    assert any(flag.code == "thin-line" for flag in sheets.plan(shop, LEMON).sheet.flags)
    (own / "sheet.toml").write_text('least_lime = "1 mm"\n')
    with pytest.raises(BadInput, match="least_line"):
        sheets.plan(shop, LEMON)


def test_every_design_of_the_invented_shop_has_its_files_and_the_book_knows_its_dyes(shop: Ledger):
    materials = names_of(shop.book())
    for design in shop.book().all(e.Design):
        legend = read_legend(find_design(folders(shop), design).legend)
        assert [d.material for p in legend.portions for d in p.dyes if match(d.material, materials) is None] == []


@pytest.mark.parametrize("design", ["MINT-STRIPE", "RHUBARB-STRIPE", "GINGER-STICK", "HOLLY"])
def test_striped_plain_and_picture_work_can_all_be_sized(shop: Ledger, design: str):
    planned = sheets.plan(shop, Ask(design=design, packs=80))
    assert planned.sheet.process_yield.good_pieces >= planned.sheet.sizes.pieces_wanted > 0
    dyed = sum(line.mass_mg for line in planned.sheet.dyes)
    assert (dyed > 0) == (design != "GINGER-STICK")


def test_a_stripes_dose_is_the_recipes(shop: Ledger):
    """Beet red in the book: 3.4 g for a full kettle as written, so the same share of any size of batch."""
    recipe = shop.book().recipe_of("PEPPERMINT")
    assert recipe is not None
    solids = sum(
        x.mass_mg * shop.book().get(e.Material, x.material).solids_ppm for x in recipe.lines if x.mass_mg > 10**6
    )
    full = solids / (1_000_000 - recipe.moisture_ppm)
    sheet = sheets.plan(shop, Ask(design="MINT-STRIPE", packs=80)).sheet
    # The recipe's dose is for the cooked mass; the slab carries the few grams of flavour too: 0.2 %.
    assert sheet.dyes[0].mass_mg == pytest.approx(3_400 * sheet.cook.slab_mg / full, rel=3e-3)


def test_a_thinner_log_is_named_where_the_ends_take_too_much_and_it_helps(shop: Ledger):
    ask = replace(LEMON, log_um=260_000)
    planned = sheets.plan(shop, ask)
    assert [flag.code for flag in planned.sheet.flags] == ["ends-exceed-yield"]
    named = int(planned.hints[0].split(" mm")[0].split()[-1])
    helped = sheets.plan(shop, replace(ask, log_um=named * 1000)).sheet
    assert helped.sizes.pieces_cut >= helped.sizes.pieces_wanted
    assert not helped.flags
    assert helped.cook.slab_mg < planned.sheet.cook.slab_mg
    worse = sheets.plan(shop, replace(ask, log_um=(named + 15) * 1000)).sheet
    assert [flag.code for flag in worse.flags] in ([], ["ends-exceed-yield"])
    assert worse.cook.slab_mg >= helped.cook.slab_mg


# --- the command line ---------------------------------------------------------------------------------------------------


def test_the_command_writes_pdf_and_html_and_keeps_the_sheet(shop: Ledger, tmp_path: Path, capsys):
    pdf, html = tmp_path / "s.pdf", tmp_path / "s.html"
    code, said = run(
        shop,
        capsys,
        "sheet",
        "LEMON-SLICE",
        "--flavour",
        "LEMON",
        "--packs",
        "40",
        "--pdf",
        str(pdf),
        "--html",
        str(html),
    )
    assert code == 0 and "Batch " in said and "its sheet is kept" in said
    assert pdf.read_bytes().startswith(b"%PDF") and b"Lemon slice" in html.read_bytes()
    batch = shop.queries.batches(status="open", most=1)["batch"].iloc[0]
    assert batch in said and sheets.kept(shop, batch).sizes.packs == 40
    code, said = run(shop, capsys, "sheet-compare", batch)
    assert code == 0 and "Nothing of it has been cooked yet" in said


def test_the_size_can_be_had_as_whole_numbers(shop: Ledger, capsys):
    code, said = run(shop, capsys, "size", "LEMON-SLICE", "--pieces", "2000", "--json")
    plain = json.loads(said)
    assert code == 0 and plain["sizes"]["pieces_wanted"] == 2000
    assert plain["cook"]["charge_mg"] == sum(line["mass_mg"] for line in plain["charge"])


def test_the_kept_tables_and_the_log_agree_after_sheets_and_checks(shop: Ledger):
    sheets.issue(shop, replace(LEMON, water_reads_mc=99_000))
    assert verify(shop.store).holds


def test_a_shop_in_pounds_gets_pounds_and_letter(shop: Ledger, capsys):
    define(shop, replace(shop.book().site(), units="us", paper="letter"))
    planned = sheets.plan(shop, LEMON)
    assert (planned.units, planned.paper) == ("us", "letter")
    code, said = run(shop, capsys, "size", "LEMON-SLICE", "--packs", "40")
    assert code == 0 and " lb" in said and "°F" in said


def test_a_batch_without_a_sheet_says_how_to_get_one(shop: Ledger):
    with_sheets = {event.batch for _, event in shop.queries.papers("sheet")}
    closed = next(str(b) for b in shop.queries.batches(status="closed")["batch"] if b not in with_sheets)
    with pytest.raises(UnknownThing, match="slabbook sheet DESIGN --batch"):
        sheets.kept(shop, closed)
